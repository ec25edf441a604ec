import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { warning as decoder, warnings as list_decoder } from '../wire/types';
import { warnings_query } from './route';
import { acts_of, evidence_words, life_words, remaining, replaced, shelf_choices, shown_warnings } from './warnings';
import { utc } from './words';

const read = (name: string): unknown => JSON.parse(readFileSync(new URL(`../../../../tests/page/samples/${name}`, import.meta.url), 'utf8'));
const warning = decoder(read('warning.json'), '');
const list = list_decoder(read('warnings.json'), '').warnings;

describe('warnings', () => {
  // A number without what is usual cannot be judged by who reads it.
  test('the evidence names value, usual, spread, shift and limit', () => {
    expect(evidence_words(warning)).toBe('Time to pressure 98.8 s, usual 87.7 ± 2.1 (+13\u00a0%), limit 150');
    expect(evidence_words({ ...warning, figure: null })).toBe('');
  });

  // How long there is must not be told in the sender's time.
  test('what is left counts from now', () => {
    expect(remaining(warning.forecast, warning.forecast.limit_at_ms ?? 0)).toMatchObject({ words: 'now' });
    const before = (warning.forecast.limit_at_earliest_ms ?? 0) - 2 * 86_400_000;
    expect(remaining(warning.forecast, before)).toEqual({ words: '5 days', range: '2 to 10 days' });
    expect(remaining({ limit_at_ms: null, limit_at_earliest_ms: null, limit_at_latest_ms: null }, 0)).toBeNull();
  });

  // A button that the gateway must refuse teaches people to distrust the page; one that lacks leaves them helpless.
  test('each life offers what may be done in it', () => {
    expect(acts_of('unacknowledged')).toContain('acknowledge');
    expect(acts_of('acknowledged')).not.toContain('acknowledge');
    expect(acts_of('shelved')).toContain('unshelve');
    expect(acts_of('latched-acknowledged')).toContain('reset');
    expect(life_words({ ...warning, life: 'acknowledged', owner: 'duty' }, utc)).toBe('acknowledged by duty');
    expect(life_words({ ...warning, life: 'shelved', shelved_until_ms: Date.UTC(2026, 2, 9) }, utc)).toBe('shelved until 9 Mar 2026');
  });

  // An "act" that can be put away for weeks is an "act" that is forgotten.
  test('what is urgent can be put aside for a day at most', () => {
    expect(Math.max(...shelf_choices('act').map((c) => c.days))).toBe(1);
    expect(Math.max(...shelf_choices('plan').map((c) => c.days))).toBe(14);
  });

  // A warning that was answered must not jump away under the reader's hand, nor another be changed.
  test('an answer replaces its own warning only', () => {
    const first = list[0] ?? warning;
    const changed = { ...first, life: 'acknowledged' as const };
    const after = replaced(list, changed);
    expect(after.map((w) => w.key)).toEqual(list.map((w) => w.key));
    expect(after.filter((w, i) => w !== list[i])).toEqual([changed]);
    expect(replaced(list, { ...changed, raised_ms: 1 })).toEqual(list);
  });

  // Filters that do not hold together show the wrong list to a colleague.
  test('search, site and urgency narrow the list', () => {
    const keys = (query: Partial<typeof warnings_query>): number => shown_warnings(list, { ...warnings_query, ...query }).length;
    expect(keys({})).toBe(list.length);
    expect(keys({ site: 'nowhere' })).toBe(0);
    expect(keys({ search: 'ps-01 LEAK' })).toBe(list.filter((w) => w.station === 'ps-01' && w.causes[0]?.words.includes('leak') === true).length);
    expect(keys({ urgency: 'plan' })).toBe(list.filter((w) => w.urgency === 'plan').length);
  });
});
