// The turns of a line as a chart shows them: value, what was usual, and which points stand out.
import type { TurnColumns } from '../wire/types';

export type Figure = 'time_to_pressure_s' | 'peak_bar' | 'residual_bar' | 'vent_s';
export const figures: readonly Figure[] = ['time_to_pressure_s', 'peak_bar', 'residual_bar', 'vent_s'];
export const figure_words: Record<Figure, string> = {
  time_to_pressure_s: 'Time to pressure',
  peak_bar: 'Peak pressure',
  residual_bar: 'Residual pressure',
  vent_s: 'Vent time',
};
export const figure_units: Record<Figure, string> = { time_to_pressure_s: 's', peak_bar: 'bar', residual_bar: 'bar', vent_s: 's' };

/** The band is what 997 of 1000 turns in good order stay within: three deviations to either side. */
export const band_deviations = 3;
/** Without a turn for this many usual intervals, the line of the chart is broken: nothing is known in between. */
const gap_intervals = 6;

export type PointKind = 'usual' | 'high' | 'low' | 'missed' | 'unfinished' | 'unjudged';

export interface FigureSeries {
  /** Seconds since 1970, rising; a point with null breaks the line. */
  at_s: readonly number[];
  value: readonly (number | null)[];
  low: readonly (number | null)[];
  high: readonly (number | null)[];
  kind: readonly PointKind[];
  id: readonly (number | null)[];
}

export function series_of(columns: TurnColumns, outcomes: readonly string[], figure: Figure, thinned: boolean): FigureSeries {
  const at_s: number[] = [];
  const value: (number | null)[] = [];
  const low: (number | null)[] = [];
  const high: (number | null)[] = [];
  const kind: PointKind[] = [];
  const id: (number | null)[] = [];
  const values = columns[figure];
  const usuals = columns[`usual_${figure}`];
  const deviations = columns[`deviation_${figure}`];
  const gaps = gaps_of(columns.pump_start_ms, thinned);
  columns.pump_start_ms.forEach((start, i) => {
    const gap = gaps.get(i);
    if (gap !== undefined) {
      at_s.push(gap);
      value.push(null);
      low.push(null);
      high.push(null);
      kind.push('unfinished');
      id.push(null);
    }
    const v = values[i] ?? null;
    const usual = usuals[i] ?? null;
    const deviation = deviations[i] ?? null;
    const lower = usual === null || deviation === null ? null : usual - band_deviations * deviation;
    const upper = usual === null || deviation === null ? null : usual + band_deviations * deviation;
    at_s.push(start / 1000);
    value.push(v);
    low.push(lower === null ? null : Math.max(0, lower));
    high.push(upper);
    kind.push(kind_of(v, lower, upper, outcomes[columns.outcome[i] ?? -1] ?? 'unclear'));
    id.push(columns.id[i] ?? null);
  });
  return { at_s, value, low, high, kind, id };
}

/** Before which turns nothing is known for long, and a moment in between, seconds. */
function gaps_of(starts: readonly number[], thinned: boolean): ReadonlyMap<number, number> {
  // Thinning leaves four turns of each stretch of time, wherever they stood in it.
  const stretch = thinned ? (4 * ((starts[starts.length - 1] ?? 0) - (starts[0] ?? 0))) / starts.length : 0;
  const longest = Math.max(gap_intervals * usual_interval(starts), 3 * stretch);
  const found = new Map<number, number>();
  starts.forEach((start, i) => {
    const before = starts[i - 1];
    if (before !== undefined && start - before > longest) found.set(i, (before + start) / 2000);
  });
  return found;
}

/** A column that is only shown, broken where nothing is known. */
export function with_gaps(columns: TurnColumns, list: readonly (number | null)[], thinned: boolean): Pick<FigureSeries, 'at_s' | 'value'> {
  const gaps = gaps_of(columns.pump_start_ms, thinned);
  const at_s: number[] = [];
  const value: (number | null)[] = [];
  columns.pump_start_ms.forEach((start, i) => {
    const gap = gaps.get(i);
    if (gap !== undefined) {
      at_s.push(gap);
      value.push(null);
    }
    at_s.push(start / 1000);
    value.push(list[i] ?? null);
  });
  return { at_s, value };
}

function kind_of(value: number | null, low: number | null, high: number | null, outcome: string): PointKind {
  if (outcome === 'not-reached') return 'missed';
  if (outcome !== 'reached') return 'unfinished';
  if (value === null || low === null || high === null) return 'unjudged';
  return value > high ? 'high' : value < low ? 'low' : 'usual';
}

function usual_interval(starts: readonly number[]): number {
  const between: number[] = [];
  for (let i = 1; i < starts.length; ++i) between.push((starts[i] ?? 0) - (starts[i - 1] ?? 0));
  between.sort((a, b) => a - b);
  return between[Math.floor(between.length / 2)] ?? Number.MAX_VALUE / 10;
}

/** Lowest and highest of all that is drawn, over several lines, so that they can be compared. Null: nothing is there. */
export function range_of(all: readonly FigureSeries[], also: readonly number[]): readonly [number, number] | null {
  let low = Infinity;
  let high = -Infinity;
  const take = (v: number | null): void => {
    if (v === null) return;
    low = Math.min(low, v);
    high = Math.max(high, v);
  };
  for (const s of all) for (const list of [s.value, s.low, s.high]) for (const v of list) take(v);
  for (const v of also) take(v);
  if (low > high) return null;
  const room = Math.max((high - low) * 0.06, high === low ? Math.max(1, Math.abs(high) * 0.05) : 0);
  return [Math.max(0, low - room), high + room];
}

/** One sentence for those who do not see the chart, and as its caption. */
export function series_words(series: FigureSeries, figure: Figure, thinned: boolean): string {
  const known = series.value.filter((v): v is number => v !== null);
  const count = (kind: PointKind): number => series.kind.filter((k, i) => k === kind && series.id[i] !== null).length;
  const turns = series.id.filter((i) => i !== null).length;
  if (turns === 0) return 'No turn is known in these days.';
  const out = [
    [count('high'), 'above the usual'],
    [count('low'), 'below the usual'],
    [count('missed'), 'missed the target'],
    [count('unfinished'), 'interrupted or unclear'],
  ] as const;
  const parts = out.filter(([n]) => n > 0).map(([n, words]) => `${n} ${words}`);
  const last = known[known.length - 1];
  const now = last === undefined ? 'no figure is known' : `last ${round(last)} ${figure_units[figure]}`;
  const learnt = series.high.some((v) => v !== null);
  return `${turns} turns${thinned ? ' drawn' : ''}, ${now}; ${parts.length > 0 ? parts.join(', ') : learnt ? 'all within the usual' : 'what is usual is not learnt yet'}.`;
}

function round(v: number): string {
  return v >= 100 ? v.toFixed(0) : v.toFixed(1);
}

/** The turn next to a moment; null where none is. */
export function nearest_turn(series: FigureSeries, at_s: number): number | null {
  let best: number | null = null;
  let distance = Infinity;
  series.at_s.forEach((t, i) => {
    const away = Math.abs(t - at_s);
    if (series.id[i] !== null && away < distance) {
      distance = away;
      best = i;
    }
  });
  return best;
}
