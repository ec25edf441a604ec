import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { refill_round as decoder } from '../wire/types';
import { amount_words, by_words, rounds_of, total_words } from './refill';

const sample = decoder(JSON.parse(readFileSync(new URL('../../../../tests/page/samples/refill-round.json', import.meta.url), 'utf8')), '');

describe('refill round', () => {
  // A station left off the list runs dry.
  test('every visit stands once, by site and day', () => {
    const [first] = sample.visits;
    if (first === undefined) throw new Error('no visit');
    const visits = [{ ...first, station: 'later', visit_by_ms: 9e12 }, first, { ...first, station: 'first', visit_by_ms: null }, ...sample.visits.slice(1)];
    const rounds = rounds_of(visits, null);
    expect(rounds.map((r) => r.site)).toEqual(['northyard', 'southyard']);
    expect(rounds[0]?.visits.map((v) => v.station)).toEqual(['first', 'ps-02', 'later']);
    expect(rounds_of(visits, 'southyard').map((r) => r.visits.length)).toEqual([1]);
  });

  // Too little grease is a second way; an unknown amount that counts as nothing is one too.
  test('amounts are rounded up, and unknown ones are said', () => {
    expect(amount_words({ kg: 13.11, litres: 14.2 })).toBe('13.2 kg, 14.2 l');
    expect(amount_words({ kg: null, litres: null })).toBe('unknown: bring a drum');
    expect(total_words(sample)).toBe('13.1 kg, 14.2 l, and 1 of unknown amount');
  });

  // The day before, or the day after, depending on where the reader sits.
  test('days are told as the gateway counts them', () => {
    const visit = sample.visits[0];
    if (visit === undefined) throw new Error('no visit');
    expect(by_words(visit, 0)).toBe('7 Mar 2026');
    expect(by_words(visit, visit.visit_by_ms ?? 0)).toBe('today');
    expect(by_words({ ...visit, visit_by_ms: null }, 0)).toBe('first of all');
  });
});
