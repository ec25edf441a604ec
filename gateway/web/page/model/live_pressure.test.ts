import { describe, expect, test } from 'vitest';
import type { LivePressure, TurnInProgress } from '../wire/types';
import { no_pressure, turn_words, window_s, with_pressure } from './live_pressure';

const came = (from_s: number, n: number, lines = 1): LivePressure => ({
  station: 'a/b',
  at_ms: Array.from({ length: n }, (_, i) => (from_s + i) * 1000),
  bar: Array.from({ length: lines }, (_, l) => Array.from({ length: n }, (_, i) => from_s + i + l * 1000)),
  heard_ms: null,
  pump: true,
  line: 1,
  level_pct: null,
  temp_c: null,
});

describe('live pressure', () => {
  // Samples told twice after a break would draw the line back over itself.
  test('what is there already is passed over', () => {
    const held = with_pressure(with_pressure(no_pressure, came(100, 5)), came(102, 6));
    expect(held.at_s).toEqual([100, 101, 102, 103, 104, 105, 106, 107]);
    expect(held.bar).toEqual([held.at_s]);
  });

  // A page left open overnight must not hold the night.
  test('it holds ten minutes, and no more points than can be seen', () => {
    let held = no_pressure;
    for (let s = 0; s < 4000; s += 10) held = with_pressure(held, came(s, 10));
    expect(held.at_s[0]).toBeGreaterThanOrEqual(3999 - window_s - 10);
    const fast: LivePressure = { ...came(0, 1), at_ms: Array.from({ length: 6000 }, (_, i) => i * 100), bar: [Array<number>(6000).fill(3)] };
    held = with_pressure(no_pressure, fast);
    expect(held.at_s.length).toBeLessThan(6000);
    expect(held.at_s.slice(-100)).toEqual(fast.at_ms.slice(-100).map((ms) => ms / 1000));
  });

  // A line that came later would be drawn at the times of another.
  test('a line that appears later is unknown before', () => {
    const held = with_pressure(with_pressure(no_pressure, came(0, 2)), came(2, 1, 2));
    expect(held.bar).toEqual([[0, 1, 2], [null, null, 1002]]);
  });

  // "0 s to go" for a turn that is late would sound as if all were well.
  test('the turn in progress is told with what is left of it', () => {
    const turn: TurnInProgress = { line: 1, started_ms: 0, elapsed_s: 31.2, bar: 72.41, target_bar: 180, phase: 'pumping', usual_s: 87.9, remaining_s: 56.7 };
    expect(turn_words(turn)).toBe('Line 1 is pumping: 72.4 bar of 180, 31 s so far, about 57 s to go (usual 88 s).');
    expect(turn_words({ ...turn, elapsed_s: 120, remaining_s: 0 })).toContain('should have reached its target by now');
    expect(turn_words({ ...turn, usual_s: null, remaining_s: null })).toContain('not known yet');
    expect(turn_words({ ...turn, phase: 'venting' })).toBe('Line 1 is venting: 72.4 bar.');
    expect(turn_words(null)).toBe('No turn is in progress.');
  });
});
