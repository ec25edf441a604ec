import { expect, test } from 'vitest';
import { asked_of, difference_words, off_slider, on_slider, patch_of, price_words, question_of, rest_of, type TrialAsked } from './trial';

// An address that a colleague is sent must show what was seen.
test('an address holds all that was asked, and back', () => {
  const asked: TrialAsked[] = [
    { station: '', condition: 'slow-to-pressure', first: { shift: null, budget: null }, second: null },
    { station: 'northyard/ps-01', condition: 'slow-vent', first: { shift: 10, budget: null }, second: null },
    { station: 'northyard/ps-01', condition: 'peak-shift', first: { shift: 1.25, budget: 0.1 }, second: { shift: 4, budget: null } },
    { station: 'northyard/ps-01', condition: 'peak-shift', first: { shift: null, budget: null }, second: { shift: null, budget: null } },
  ];
  for (const one of asked) expect(asked_of(rest_of(one))).toEqual(one);
  expect(asked_of('/a b/../c?condition=nonsense&shift=-3&budget=x')).toEqual(asked[0]);
});

// A patch that says more than was moved would take a threshold from the layers below.
test('only what was moved is in the patch', () => {
  expect(patch_of('slow-vent', { shift: null, budget: null })).toEqual({});
  expect(patch_of('slow-vent', { shift: 10, budget: null })).toEqual({ conditions: { 'slow-vent': { smallest_shift_pct: 10 } } });
  expect(question_of({ station: 'a/b', condition: 'slow-vent', first: { shift: 10, budget: null }, second: { shift: 20, budget: null } })).toMatchObject({
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
