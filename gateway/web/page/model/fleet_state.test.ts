import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { fleet as decoder, type Fleet, type LiveFleet } from '../wire/types';
import { from_fleet, strips_wanted, with_event, with_heard, with_strips } from './fleet_state';

const sample: Fleet = decoder(JSON.parse(readFileSync(new URL('../../../../tests/page/samples/fleet.json', import.meta.url), 'utf8')), '');
const event = (revision: number): LiveFleet => ({
  revision,
  as_of_ms: sample.as_of_ms + 1000,
  head: { ...sample.head, act: 1, plan: 0 },
  sites: sample.sites,
  columns: { ...Object.fromEntries(Object.entries(sample.columns).map(([name, list]) => [name, list.slice(0, 1)])), urgency: [2] } as unknown as LiveFleet['columns'],
  removed: [],
  reload: false,
});

describe('fleet state', () => {
  // An event that came before the list was fetched would undo what the list says.
  test('an event of the list’s own revision or before changes nothing', () => {
    const state = from_fleet(sample, null);
    expect(with_event(state, event(sample.revision))).toBe(state);
    const after = with_event(state, event(sample.revision + 1));
    expect(after?.rows[0]?.urgency).toBe('act');
    expect(after?.head.act).toBe(1);
    expect(state.rows[0]?.urgency).toBe('plan');
  });

  // "Heard 50 s ago" of a station that sends each second; and rows drawn anew for nothing.
  test('when a station was heard moves forward only, and only where it is news', () => {
    const state = from_fleet(sample, null);
    const row = state.rows[0];
    if (row === undefined || row.heard_ms === null) throw new Error('the sample has a first row that was heard');
    const came = (ms: number | null) => ({ as_of_ms: 0, stations: [row.key, 'no/where'], heard_ms: [ms, null] });
    expect(with_heard(state, came(row.heard_ms))).toBe(state);
    expect(with_heard(state, came(null))).toBe(state);
    const after = with_heard(state, came(row.heard_ms + 3000));
    expect(after.rows[0]?.heard_ms).toBe(row.heard_ms + 3000);
    expect(after.rows[1]).toBe(state.rows[1]);
  });

  // Rows laid over a list that has been renewed would be a mixture of two plants.
  test('a reload asks for the list anew', () => {
    expect(with_event(from_fleet(sample, null), { ...event(999), reload: true })).toBeNull();
  });

  // Strips asked for again and again would cost more than the list.
  test('strips are kept over a new list of the same days, and asked for once', () => {
    const state = from_fleet({ ...sample, strips: sample.strips.slice(0, 1) }, null);
    expect(strips_wanted(state, state.rows)).toEqual(['northyard/ps-02', 'southyard/ps-11']);
    const more = with_strips(state, { strip: state.shape, stations: ['northyard/ps-02', 'southyard/ps-11'], strips: [[[1]], null] });
    expect(strips_wanted(more, more.rows)).toEqual([]);
    // A gateway that has just started is asked again, and what it did not know yet is not kept.
    const early = { ...state, shape: { ...state.shape, complete: false } };
    expect(strips_wanted(early, early.rows)).toHaveLength(3);
    expect(with_strips(early, { strip: state.shape, stations: ['southyard/ps-11'], strips: [[[1]]] }).strips.size).toBe(1);
    expect(from_fleet({ ...sample, strips: [] }, more).strips.size).toBe(3);
    expect(from_fleet({ ...sample, strips: [], strip: { ...sample.strip, from_ms: 5 } }, more).strips.size).toBe(0);
  });
});
