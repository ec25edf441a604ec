// Units and rounding are chosen here and nowhere else. Times are milliseconds since 1970; "now" comes in with the data.

const minute = 60_000;
const hour = 60 * minute;
const day = 24 * hour;

/** "12 s", "4 min", "3 h", "2 days": how long something has lasted; whole numbers, since nobody acts on fractions. */
export function duration_words(ms: number): string {
  const span = Math.max(0, ms);
  if (span < 90_000) return `${Math.round(span / 1000)} s`;
  if (span < 90 * minute) return `${Math.round(span / minute)} min`;
  if (span < 48 * hour) return `${Math.round(span / hour)} h`;
  return `${Math.round(span / day)} days`;
}

/** "9 days", "2.4 days", "7 h", "now": how long there is. People plan in days; tenths count only when little is left. */
export function days_left_words(days: number): string {
  if (days <= 0.02) return 'now';
  if (days < 1) return `${Math.max(1, Math.round(days * 24))} h`;
  if (days < 3) return `${trimmed(days.toFixed(1))} ${days.toFixed(1) === '1.0' ? 'day' : 'days'}`;
  return `${Math.round(days)} days`;
}

/** "6 to 12 days", "hours to 3 days"; both ends in days from now. */
export function days_range_words(low: number, high: number): string {
  // "7 to 7 days" says nothing.
  const close = Math.round(low) === Math.round(high);
  const first = low < 0.5 ? 'hours' : low < 3 || close ? trimmed(low.toFixed(1)) : `${Math.round(low)}`;
  const last = high < 0.5 ? 'hours' : high < 3 || close ? `${trimmed(high.toFixed(1))} days` : `${Math.round(high)} days`;
  return first === 'hours' && last === 'hours' ? 'hours' : `${first} to ${last}`;
}

function trimmed(text: string): string {
  return text.endsWith('.0') ? text.slice(0, -2) : text;
}

/** Three figures that count: 0.42, 8.3, 87.6, 212. */
export function figure(value: number | null): string {
  if (value === null) return '–';
  const size = Math.abs(value);
  if (size >= 100) return value.toFixed(0);
  if (size >= 10) return value.toFixed(1);
  return value.toFixed(2);
}

/** The same in prose: 150, 2.1, 20. */
export function plain(value: number | null): string {
  return value === null ? '–' : Number(figure(value)).toString();
}

export function with_unit(value: number | null, unit: string): string {
  return value === null ? 'unknown' : `${plain(value)} ${unit}`;
}

/** "+12 %": against what is usual. */
export function against_usual(value: number, usual: number): string {
  const percent = 100 * (value / usual - 1);
  const rounded = Math.round(percent);
  return `${rounded >= 0 ? '+' : '−'}${Math.abs(rounded)}\u00a0%`;
}

const months = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];
const two = (n: number): string => (n < 10 ? `0${n}` : `${n}`);

/** Minutes to add to UTC for the reader's clock at `ms`; the page passes the browser's, tests pass 0. */
export type Offset = (ms: number) => number;
export const utc: Offset = () => 0;

function parts(ms: number, offset: Offset): Date {
  return new Date(ms + offset(ms) * minute);
}

/** "14 Oct". */
export function day_words(ms: number, offset: Offset): string {
  const d = parts(ms, offset);
  return `${d.getUTCDate()} ${months[d.getUTCMonth()] ?? ''}`;
}

/** "14 Oct 2026". */
export function date_words(ms: number, offset: Offset): string {
  return `${day_words(ms, offset)} ${parts(ms, offset).getUTCFullYear()}`;
}

/** "14 Oct 06:12". */
export function moment_words(ms: number, offset: Offset): string {
  return `${day_words(ms, offset)} ${clock_words(ms, offset)}`;
}

/** "06:12". */
export function clock_words(ms: number, offset: Offset): string {
  const d = parts(ms, offset);
  return `${two(d.getUTCHours())}:${two(d.getUTCMinutes())}`;
}

/** "1 station", "4 stations". */
export function counted(n: number, one: string, many = `${one}s`): string {
  return `${n.toLocaleString('en-GB')} ${n === 1 ? one : many}`;
}
