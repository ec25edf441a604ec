import { expect, test } from 'vitest';
import { asked_of, between, brief_question_of, difference_words, log_of, off_slider, on_slider, patch_of, price_words, question_of, rest_of, stations_along, sum_of, type TrialAsked } from './trial';

// An address that a colleague is sent must show what was seen.
test('an address holds all that was asked, and back', () => {
  const asked: TrialAsked[] = [
    { station: '', along: '', condition: 'slow-to-pressure', first: { shift: null, budget: null }, second: null },
    { station: 'northyard/ps-01', along: 'site northyard', condition: 'slow-vent', first: { shift: 10, budget: null }, second: null },
    { station: 'northyard/ps-01', along: 'northyard/ps-01,quarry/ps-02', condition: 'peak-shift', first: { shift: 1.25, budget: 0.1 }, second: { shift: 4, budget: null } },
    { station: 'northyard/ps-01', along: 'all', condition: 'peak-shift', first: { shift: null, budget: null }, second: { shift: null, budget: null } },
  ];
  for (const one of asked) expect(asked_of(rest_of(one))).toEqual(one);
  expect(asked_of('/a b/../c?condition=nonsense&with=%zz&shift=-3&budget=x')).toEqual(asked[0]);
});

// A patch that says more than was moved would take a threshold from the layers below.
test('only what was moved is in the patch', () => {
  expect(patch_of('slow-vent', { shift: null, budget: null })).toEqual({});
  expect(patch_of('slow-vent', { shift: 10, budget: null })).toEqual({ conditions: { 'slow-vent': { smallest_shift_pct: 10 } } });
  expect(question_of({ station: 'a/b', along: '', condition: 'slow-vent', first: { shift: 10, budget: null }, second: { shift: 20, budget: null } })).toMatchObject({
    condition: 'slow-vent',
    vary: 'slow-vent/smallest_shift_pct=4..80:9',
    candidates: [{ name: 'first' }, { name: 'second' }],
  });
});

// A slider that jumps when it is let go cannot be set.
test('a slider gives back what it was set to', () => {
  for (const value of [0.5, 1, 2.5, 12]) expect(off_slider(on_slider(value, 0.5, 12), 0.5, 12)).toBeCloseTo(value, 2);
});

test('differences and prices in words', () => {
  expect(difference_words([{ difference: 'same' }, { difference: 'same' }, { difference: 'added' }], 1)).toBe('2 same, 1 added, 1 gone');
  expect(difference_words([], 0)).toBe('none then as now');
  expect(price_words(0.001)).toBe('less than one in 200 years');
  expect(price_words(0.02)).toBe('one in 50 years');
  expect(price_words(1.234)).toBe('1.23 a year');
});

// A row of a table that asks for all turns would make twenty stations slow.
test('of several stations only what a row needs is asked', () => {
  const asked: TrialAsked = { station: 'a/b', along: 'site a', condition: 'slow-vent', first: { shift: 10, budget: null }, second: null };
  expect(brief_question_of(asked)).toEqual({ condition: 'slow-vent', brief: true, candidates: [{ name: 'first', thresholds: { conditions: { 'slow-vent': { smallest_shift_pct: 10 } } } }] });
  const groups = [{ for: 'site a', stations: ['a/c', 'a/b'] }];
  expect(stations_along(asked, groups)).toEqual(['a/b', 'a/c']);
  expect(stations_along({ ...asked, along: 'x/y,not one,a/b' }, groups)).toEqual(['a/b', 'x/y']);
  expect(stations_along({ ...asked, along: '' }, groups)).toEqual(['a/b']);
});

// Two candidates that are called alike and are not would be chosen between by a coin.
test('two candidates are compared as a candidate is with what is in force', () => {
  const at = (line: number, raised_ms: number, cleared_ms: number | null = raised_ms + 10): { line: number; raised_ms: number; cleared_ms: number | null } => ({ line, raised_ms, cleared_ms });
  const told = between([at(1, 100), at(1, 200), at(2, 300)], [at(1, 100), at(1, 195), at(2, 311), at(1, 500, null)]);
  expect(told.differences.map((d) => d.difference)).toEqual(['same', 'earlier', 'added', 'added']);
  expect(told.gone).toBe(1);
});

test('sums over stations leave out what has no price', () => {
  const one = { warnings: [{ difference: 'added', lead_days: 3 }, { difference: 'same', lead_days: null }], gone: [1], price: { false_a_year: 0.2, lead_days: 10 } };
  expect(sum_of([one, { warnings: [], gone: [], price: null }, { ...one, price: { false_a_year: 0.4, lead_days: 20 } }])).toEqual({
    warnings: 4, added: 2, gone: 2, before_trouble: 2, false_a_year: expect.closeTo(0.3), lead_days: 15,
  });
  expect(sum_of([]).false_a_year).toBeNull();
});

test('the log holds all that was done, newest first', () => {
  const done = (act: string, at_ms: number): { act: string; at_ms: number; by: string; why: string; days: number } => ({ act, at_ms, by: 'x', why: '', days: 0 });
  const log = log_of([{ name: 'b', for: 'all', done: [done('proposed', 20)] }, { name: 'a', for: 'site n', done: [done('proposed', 10), done('in-force', 30)] }]);
  expect(log.map((e) => `${e.proposal} ${e.act}`)).toEqual(['a in-force', 'b proposed', 'a proposed']);
});
