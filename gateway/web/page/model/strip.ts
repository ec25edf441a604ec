// The strip of 30 days: time to pressure over its baseline band, a value a day.
import type { StripShape } from '../wire/types';

/** Tenths of the usual deviation: within this a day is usual. A day's worst of some thirty turns seldom lies further out. */
export const usual_within = 35;
const missed = 120;
const drawn_to = 100;

export interface StripDrawing {
  /** SVG path of the days that are known; x in days, y 0 (top) to 100. */
  path: string;
  /** Days outside the usual: x, y. */
  off: readonly { x: number; y: number }[];
  /** Days on which a turn missed its target: x. */
  missed: readonly number[];
  /** Stretches of days without a known turn: from, to. */
  unknown: readonly { from: number; to: number }[];
}

export const band = { top: y_of(usual_within), bottom: y_of(-usual_within) };

// Small deviations are drawn larger than far ones, so that the band fills half of the height and nothing leaves the strip.
function y_of(value: number): number {
  return 50 - Math.sign(value) * Math.pow(Math.min(1, Math.abs(value) / drawn_to), 0.6) * 46;
}

export function draw_strip(days: readonly (number | null)[]): StripDrawing {
  const path: string[] = [];
  const off: { x: number; y: number }[] = [];
  const missing: number[] = [];
  const unknown: { from: number; to: number }[] = [];
  let pen = false;
  days.forEach((value, i) => {
    const x = i + 0.5;
    if (value === null) {
      pen = false;
      const last = unknown[unknown.length - 1];
      if (last !== undefined && last.to === i) last.to = i + 1;
      else unknown.push({ from: i, to: i + 1 });
      return;
    }
    if (value >= missed) {
      pen = false;
      missing.push(x);
      return;
    }
    const y = round(y_of(value));
    // A single day between two unknown ones is drawn as a short dash, or it would not be seen.
    const alone = !pen && !known(days[i + 1]);
    path.push(alone ? `M${x - 0.35} ${y}H${x + 0.35}` : `${pen ? 'L' : 'M'}${x} ${y}`);
    pen = !alone;
    if (Math.abs(value) > usual_within) off.push({ x, y });
  });
  return { path: path.join(''), off, missed: missing, unknown };
}

function known(value: number | null | undefined): boolean {
  return value !== null && value !== undefined && value < missed;
}

function round(y: number): number {
  return Math.round(y * 10) / 10;
}

/** For those who do not see it. */
export function strip_words(line: number, days: readonly (number | null)[], shape: StripShape): string {
  const known = days.filter((d): d is number => d !== null);
  const span = `line ${line}, ${days.length} ${shape.slot_s === 86_400 ? 'days' : 'steps'}`;
  if (known.length === 0) return `${span}: no turn is known`;
  const said = [
    [known.filter((d) => d >= missed).length, 'missed the target'],
    [known.filter((d) => d > usual_within && d < missed).length, 'slower than usual'],
    [known.filter((d) => d < -usual_within).length, 'quicker than usual'],
    [days.length - known.length, 'without a known turn'],
  ] as const;
  const parts = said.filter(([n]) => n > 0).map(([n, words]) => `${n} ${words}`);
  return `${span}: ${parts.length === 0 ? 'all as usual' : parts.join(', ')}`;
}
