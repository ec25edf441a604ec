// The Trial bench as pure values: what is asked, and what its address holds.

export interface TrialSettings {
  /** Smallest lasting shift that matters, per cent; null: as in force. */
  shift: number | null;
  /** False warnings a year allowed for the condition; null: as in force. */
  budget: number | null;
}
export interface TrialAsked {
  station: string;
  condition: string;
  first: TrialSettings;
  /** A second candidate to compare with. */
  second: TrialSettings | null;
}

export interface Knob { name: string; words: string; unit: string; from: number; to: number; usual: number }
/** Conditions whose thresholds have a price, with the range of the smallest shift, per cent. */
export const priced: readonly Knob[] = [
  { name: 'slow-to-pressure', words: 'slow to pressure', unit: 's', from: 0.5, to: 12, usual: 2.5 },
  { name: 'residual-pressure', words: 'holds residual pressure', unit: 'bar', from: 4, to: 80, usual: 20 },
  { name: 'slow-vent', words: 'vents slowly', unit: 's', from: 4, to: 80, usual: 28 },
  { name: 'peak-shift', words: 'peak pressure shifted', unit: 'bar', from: 0.5, to: 12, usual: 3 },
];
export const as_in_force: TrialSettings = { shift: null, budget: null };

export function knob_of(condition: string): Knob {
  return priced.find((k) => k.name === condition) ?? (priced[0] as Knob);
}

/** Three significant digits, as a person writes a threshold. */
export function written(value: number): number {
  return Number(value.toPrecision(3));
}

/** A slider of 0 to 100 over a range, at even ratios, and back. */
export function on_slider(value: number, from: number, to: number): number {
  return (100 * Math.log(value / from)) / Math.log(to / from);
}
export function off_slider(at: number, from: number, to: number): number {
  return written(from * Math.pow(to / from, at / 100));
}

export function patch_of(condition: string, s: TrialSettings): Record<string, unknown> {
  const own: Record<string, number> = {};
  if (s.shift !== null) own.smallest_shift_pct = s.shift;
  if (s.budget !== null) own.false_warnings_per_year = s.budget;
  return Object.keys(own).length === 0 ? {} : { conditions: { [condition]: own } };
}

export function question_of(asked: TrialAsked): Record<string, unknown> {
  const knob = knob_of(asked.condition);
  const candidates = [{ name: 'first', thresholds: patch_of(asked.condition, asked.first) }];
  if (asked.second !== null) candidates.push({ name: 'second', thresholds: patch_of(asked.condition, asked.second) });
  return { condition: asked.condition, candidates, vary: `${asked.condition}/smallest_shift_pct=${knob.from}..${knob.to}:9` };
}

const name = /^[A-Za-z0-9._-]{1,64}\/[A-Za-z0-9._-]{1,64}$/;

/** From "/northyard/ps-01?condition=slow-vent&shift=10"; what is not known is left out. */
export function asked_of(rest: string): TrialAsked {
  const cut = rest.indexOf('?');
  const path = (cut < 0 ? rest : rest.slice(0, cut)).replace(/^\/+/, '');
  const ask = new Map((cut < 0 ? '' : rest.slice(cut + 1)).split('&').map((part) => {
    const at = part.indexOf('=');
    return [part.slice(0, at), part.slice(at + 1)] as const;
  }));
  const figure = (key: string): number | null => {
    const value = Number(ask.get(key) ?? '');
    return ask.has(key) && Number.isFinite(value) && value > 0 ? value : null;
  };
  const second = { shift: figure('shift2'), budget: figure('budget2') };
  return {
    station: name.test(path) ? path : '',
    condition: knob_of(ask.get('condition') ?? '').name,
    first: { shift: figure('shift'), budget: figure('budget') },
    second: second.shift === null && second.budget === null && ask.get('second') !== 'yes' ? null : second,
  };
}

export function rest_of(asked: TrialAsked): string {
  const parts: string[] = [];
  if (asked.condition !== priced[0]?.name) parts.push(`condition=${asked.condition}`);
  if (asked.first.shift !== null) parts.push(`shift=${asked.first.shift}`);
  if (asked.first.budget !== null) parts.push(`budget=${asked.first.budget}`);
  if (asked.second !== null) {
    if (asked.second.shift === null && asked.second.budget === null) parts.push('second=yes');
    if (asked.second.shift !== null) parts.push(`shift2=${asked.second.shift}`);
    if (asked.second.budget !== null) parts.push(`budget2=${asked.second.budget}`);
  }
  const path = asked.station === '' ? '' : `/${asked.station}`;
  return path + (parts.length === 0 ? '' : `?${parts.join('&')}`);
}

/** "4 warnings: 3 the same, 1 earlier; 1 gone" */
export function difference_words(warnings: readonly { difference: string }[], gone: number): string {
  const counts = new Map<string, number>();
  for (const w of warnings) counts.set(w.difference, (counts.get(w.difference) ?? 0) + 1);
  const parts = ['same', 'earlier', 'later', 'added'].filter((d) => counts.has(d)).map((d) => `${counts.get(d)} ${d}`);
  if (gone > 0) parts.push(`${gone} gone`);
  return parts.length === 0 ? 'none then as now' : parts.join(', ');
}

export function price_words(false_a_year: number): string {
  if (false_a_year < 0.005) return 'less than one in 200 years';
  if (false_a_year < 0.1) return `one in ${Math.round(1 / false_a_year)} years`;
  return `${written(false_a_year)} a year`;
}
