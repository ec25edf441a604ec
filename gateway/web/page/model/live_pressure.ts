// The pressure as it comes: the last minutes of every line, and the turn in progress in words.
import type { LivePressure, TurnInProgress } from '../wire/types';
import { plain } from './words';

export const window_s = 600;
/** At 10 Hz ten minutes are 6000 samples; a chart of this width shows no more than this. */
const points_max = 2400;

export interface PressureWindow {
  at_s: readonly number[];
  /** One list a line; null: that sensor gave nothing. */
  bar: readonly (readonly (number | null)[])[];
  pump: boolean | null;
  line: number | null;
  level_pct: number | null;
  temp_c: number | null;
}

export const no_pressure: PressureWindow = { at_s: [], bar: [], pump: null, line: null, level_pct: null, temp_c: null };

/** Samples not newer than what is there are passed over: the gateway sends the last minutes again when the feed comes back. */
export function with_pressure(held: PressureWindow, came: LivePressure): PressureWindow {
  const newest = held.at_s[held.at_s.length - 1] ?? -Infinity;
  const from = came.at_ms.findIndex((ms) => ms / 1000 > newest);
  const now = { pump: came.pump, line: came.line, level_pct: came.level_pct, temp_c: came.temp_c };
  if (from < 0) return { ...held, ...now };
  const added = came.at_ms.slice(from).map((ms) => ms / 1000);
  const end = added[added.length - 1] ?? newest;
  const kept = held.at_s.findIndex((s) => s >= end - window_s);
  const old_from = kept < 0 ? held.at_s.length : kept;
  const lines = Math.max(held.bar.length, came.bar.length);
  const old_length = held.at_s.length - old_from;
  const bar = Array.from({ length: lines }, (_, i) => [
    ...(held.bar[i]?.slice(old_from) ?? Array<null>(old_length).fill(null)),
    ...(came.bar[i]?.slice(from) ?? Array<null>(added.length).fill(null)),
  ]);
  return thinned({ at_s: [...held.at_s.slice(old_from), ...added], bar, ...now });
}

/** Every second sample of the older half goes when there are too many: the newest stay as they came. */
function thinned(window: PressureWindow): PressureWindow {
  if (window.at_s.length <= points_max) return window;
  const half = Math.floor(window.at_s.length / 2);
  const stays = (_: unknown, i: number): boolean => i >= half || i % 2 === 0;
  return { ...window, at_s: window.at_s.filter(stays), bar: window.bar.map((line) => line.filter(stays)) };
}

/** "Line 1 is pumping: 72.4 bar of 180, 31 s so far, about 57 s to go (usual 88 s)." */
export function turn_words(turn: TurnInProgress | null): string {
  if (turn === null) return 'No turn is in progress.';
  const bar = turn.bar === null ? 'pressure unknown' : `${plain(turn.bar)} bar${turn.target_bar === null ? '' : ` of ${plain(turn.target_bar)}`}`;
  if (turn.phase === 'venting') return `Line ${turn.line} is venting: ${turn.bar === null ? 'pressure unknown' : `${plain(turn.bar)} bar`}.`;
  const usual = turn.usual_s === null ? '' : ` (usual ${Math.round(turn.usual_s)} s)`;
  const left =
    turn.remaining_s === null ? 'how long it should take is not known yet'
    : turn.remaining_s <= 0 ? `it should have reached its target by now${usual}`
    : `about ${Math.round(turn.remaining_s)} s to go${usual}`;
  return `Line ${turn.line} is pumping: ${bar}, ${Math.round(turn.elapsed_s)} s so far, ${left}.`;
}
