import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { fleet as decoder, type Fleet } from '../wire/types';
import { head_parts, heard_words, merged, names_of, oldest_words, rows_of, shown, time_left, what_words, worst_first, type FleetRow } from './fleet';
import { fleet_query } from './route';
import { draw_strip, strip_words } from './strip';

const sample: Fleet = decoder(JSON.parse(readFileSync(new URL('../../../../tests/page/samples/fleet.json', import.meta.url), 'utf8')), '');
const rows = rows_of(names_of(sample), sample.columns, sample.as_of_ms);
const row = (i: number): FleetRow => rows[i] as FleetRow;

describe('fleet', () => {
  // Columns read at the wrong place would give one station the other's warning.
  test('rows are made of the columns', () => {
    expect(rows.map((r) => [r.key, r.state, r.urgency, r.words, r.line, r.cause])).toEqual([
      ['northyard/ps-01', 'heard', 'plan', 'slow to pressure', 2, 'slow leak'],
      ['northyard/ps-02', 'silent', 'notice', 'station silent', null, 'link lost'],
      ['southyard/ps-11', 'heard', null, '', null, null],
    ]);
    expect(row(0).heard_ms).toBe(sample.as_of_ms - 4000);
    expect(heard_words(row(0), sample.now_ms)).toBe('5 s ago');
  });

  // The list would jump when the first live event comes, if the page ordered otherwise than the gateway.
  test('the order is the gateway’s', () => {
    expect([...rows].reverse().sort(worst_first)).toEqual(rows);
    const later: FleetRow = { ...row(0), key: 'a/z', limit_days: 20 };
    const never: FleetRow = { ...row(0), key: 'a/y', limit_days: null };
    const quiet: FleetRow = { ...row(2), key: 'z/z', state: 'silent' };
    expect([quiet, row(2), never, later, row(0)].sort(worst_first)).toEqual([row(0), later, never, quiet, row(2)]);
  });

  // "No data" that reads as "in order" is the worst thing this page could say.
  test('only a station that is heard is in order', () => {
    const states = ['heard', 'silent', 'never-heard', 'out-of-service', 'not-judged'] as const;
    const said = states.map((state) => what_words({ ...row(2), state }));
    expect(said.filter((words) => words.includes('in order'))).toEqual(['in order']);
    expect(new Set(said).size).toBe(states.length);
    expect(shown(states.map((state) => ({ ...row(2), state })), { ...fleet_query, show: 'in-order' })).toHaveLength(1);
  });

  // A changed station must not stand twice, nor a removed one stay.
  test('a live event replaces, adds and removes rows', () => {
    const worse: FleetRow = { ...row(2), urgency: 'act', condition: 'pressure-not-reached', words: 'target pressure not reached' };
    const added: FleetRow = { ...row(2), key: 'southyard/ps-12', station: 'ps-12' };
    expect(merged(rows, [worse, added], ['northyard/ps-02']).map((r) => r.key)).toEqual(['southyard/ps-11', 'northyard/ps-01', 'southyard/ps-12']);
    expect(merged(rows, [], [])).toBe(rows);
  });

  // A colleague who opens the filtered address must see what was meant.
  test('search and filters narrow the list together', () => {
    const keys = (query: Partial<typeof fleet_query>): string[] => shown(rows, { ...fleet_query, ...query }).map((r) => r.key);
    expect(keys({ search: 'LEAK north' })).toEqual(['northyard/ps-01']);
    expect(keys({ site: 'southyard' })).toEqual(['southyard/ps-11']);
    expect(keys({ show: 'silent' })).toEqual(['northyard/ps-02']);
    expect(keys({ show: 'notice' })).toEqual([]);
    expect(keys({ show: 'trouble', condition: 'slow-to-pressure' })).toEqual(['northyard/ps-01']);
  });

  // What has no forecast must not look as if there were no hurry, and what is not served now has no days left.
  test('how long there is', () => {
    expect(time_left(row(0))).toEqual({ words: '10 days', range: '6 to 14 days' });
    expect(time_left(row(1))).toEqual({ words: 'unknown', range: '' });
    expect(time_left(row(2))).toBeNull();
    expect(time_left({ ...row(0), limit_days: null })).toEqual({ words: 'no limit in sight', range: '' });
    expect(time_left({ ...row(0), condition: 'pressure-not-reached' })).toEqual({ words: 'not served now', range: '' });
  });

  // The plant's head reads this line alone.
  test('the line at the top counts every station once and names the oldest unanswered', () => {
    const head = { ...sample.head, out_of_service: 2, not_judged: 1, watched: 6 };
    const counts = head_parts(head).slice(1).map((part) => Number(part.count));
    expect(counts.reduce((a, b) => a + b, 0)).toBe(6);
    expect(oldest_words(sample.head, sample.now_ms)).toBe('2 warnings are unanswered, the oldest for 7 days.');
    expect(oldest_words({ ...sample.head, unanswered: 0, oldest_unanswered: null }, sample.now_ms)).toBe('Every warning has been answered.');
  });
});

describe('strip', () => {
  // A gap that is drawn through would hide that nothing was known on those days.
  test('days without a turn break the line and are marked', () => {
    const made = draw_strip([null, 0, 100, null, null, -100, null]);
    expect(made.path).toBe('M1.5 50L2.5 4M5.15 96H5.85');
    expect(made.unknown).toEqual([{ from: 0, to: 1 }, { from: 3, to: 5 }, { from: 6, to: 7 }]);
  });

  // Only what is abnormal has a mark: without it, colour would be everywhere or nowhere.
  test('days outside the usual and missed targets are marked, others are not', () => {
    const made = draw_strip([10, -20, 60, -90, 120, 34]);
    expect(made.off.map((o) => o.x)).toEqual([2.5, 3.5]);
    expect(made.missed).toEqual([4.5]);
  });

  // Those who do not see the strip would know nothing of it, or take "unknown" for "as usual".
  test('it is put into words', () => {
    expect(strip_words(2, [null, 5, 60, 120, -50], sample.strip)).toBe(
      'line 2, 5 days: 1 missed the target, 1 slower than usual, 1 quicker than usual, 1 without a known turn',
    );
    expect(strip_words(1, [null, null], sample.strip)).toBe('line 1, 2 days: no turn is known');
    expect(strip_words(1, [0, 5], sample.strip)).toBe('line 1, 2 days: all as usual');
  });
});
