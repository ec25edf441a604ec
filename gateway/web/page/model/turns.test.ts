import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { turns as decoder } from '../wire/types';
import { nearest_turn, range_of, series_of, series_words, with_gaps } from './turns';

const sample = decoder(JSON.parse(readFileSync(new URL('../../../../tests/page/samples/turns.json', import.meta.url), 'utf8')), '');
const line = (n: number) => {
  const found = sample.lines.find((l) => l.line === n);
  if (found === undefined) throw new Error(`no line ${n}`);
  return found;
};

describe('turns', () => {
  // A turn that missed its target has no time to pressure; drawn as a gap it would vanish where it matters most.
  test('a missed target is kept as such, and a point outside its band stands out', () => {
    const series = series_of(line(2), sample.outcomes, 'time_to_pressure_s', false);
    expect(series.kind).toEqual(['unjudged', 'usual', 'usual', 'missed', 'usual', 'usual']);
    const slow = { ...line(2), time_to_pressure_s: [88, 70, 89, null, 92, 94.1] };
    expect(series_of(slow, sample.outcomes, 'time_to_pressure_s', false).kind).toEqual(['unjudged', 'low', 'usual', 'missed', 'usual', 'high']);
  });

  // A line drawn over an outage claims to know what nobody knows.
  test('an outage breaks the line', () => {
    const starts = [...line(1).pump_start_ms];
    const last = starts.length - 1;
    starts[last] = (starts[last] ?? 0) + 9 * 2_880_000;
    const series = series_of({ ...line(1), pump_start_ms: starts }, sample.outcomes, 'vent_s', false);
    expect(series.value.map((v) => v === null)).toEqual([false, false, false, false, false, true, false]);
    expect(series.id[5]).toBeNull();
    expect(with_gaps({ ...line(1), pump_start_ms: starts }, line(1).temp_c, false).at_s).toEqual(series.at_s);
    expect([...series.at_s].sort((a, b) => a - b)).toEqual(series.at_s);
  });

  // Thinned turns stand at uneven distances: breaks between them would look like outages.
  test('thinned turns are not broken where nothing is missing', () => {
    const starts = Array.from({ length: 400 }, (_, i) => Math.floor(i / 4) * 6 * 3_600_000 + [0, 0.2, 0.4, 4.9][i % 4]! * 3_600_000);
    const many = { ...line(1), pump_start_ms: starts, temp_c: starts.map(() => 5) };
    expect(with_gaps(many, many.temp_c, true).value.every((v) => v !== null)).toBe(true);
    expect(with_gaps(many, many.temp_c, false).value.some((v) => v === null)).toBe(true);
  });

  // Two lines on scales of their own could not be compared.
  test('one range holds values, bands and the limit', () => {
    const both = sample.lines.map((l) => series_of(l, sample.outcomes, 'time_to_pressure_s', false));
    const range = range_of(both, [150]);
    expect(range?.[0]).toBeLessThan(82);
    expect(range?.[1]).toBeGreaterThan(150);
    expect(range_of([], [])).toBeNull();
  });

  // The caption is all that some readers have of the chart.
  test('it is put into words', () => {
    expect(series_words(series_of(line(2), sample.outcomes, 'time_to_pressure_s', false), 'time_to_pressure_s', false)).toBe('6 turns, last 92.6 s; 1 missed the target.');
    expect(series_words(series_of(line(1), sample.outcomes, 'peak_bar', false), 'peak_bar', true)).toBe('6 turns drawn, last 183 bar; what is usual is not learnt yet.');
    const none = { ...line(1), id: [], pump_start_ms: [], outcome: [] };
    expect(series_words(series_of(none, sample.outcomes, 'vent_s', false), 'vent_s', false)).toBe('No turn is known in these days.');
  });

  // A click would open another turn than the one pointed at.
  test('the turn next to the pointer is found', () => {
    const series = series_of(line(1), sample.outcomes, 'vent_s', false);
    expect(nearest_turn(series, (line(1).pump_start_ms[2] ?? 0) / 1000 + 300)).toBe(2);
    expect(nearest_turn({ ...series, id: series.id.map(() => null) }, 0)).toBeNull();
  });
});
