// The Trial bench as pure values: what is asked, and what its address holds.

export interface TrialSettings {
  /** Smallest lasting shift that matters, per cent; null: as in force. */
  shift: number | null;
  /** False warnings a year allowed for the condition; null: as in force. */
  budget: number | null;
}
export interface TrialAsked {
  station: string;
  /** Judged along with it: '' alone, "site northyard", "kind twin", "all", or stations with commas. */
  along: string;
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
  return { condition: asked.condition, candidates: candidates_of(asked), vary: `${asked.condition}/smallest_shift_pct=${knob.from}..${knob.to}:9` };
}

/** The same of one station of several: only what a row of a table needs. */
export function brief_question_of(asked: TrialAsked): Record<string, unknown> {
  return { condition: asked.condition, candidates: candidates_of(asked), brief: true };
}

function candidates_of(asked: TrialAsked): { name: string; thresholds: Record<string, unknown> }[] {
  const candidates = [{ name: 'first', thresholds: patch_of(asked.condition, asked.first) }];
  if (asked.second !== null) candidates.push({ name: 'second', thresholds: patch_of(asked.condition, asked.second) });
  return candidates;
}

export interface Group { for: string; stations: readonly string[] }

/** Stations that are judged along with the one that is shown; it is always among them. */
export function stations_along(asked: TrialAsked, groups: readonly Group[]): string[] {
  const group = groups.find((g) => g.for === asked.along);
  const along = group?.stations ?? asked.along.split(',').filter((one) => name.test(one));
  return [...new Set([...along, asked.station])].filter((one) => one !== '').sort();
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
    along: decoded(ask.get('with') ?? ''),
    condition: knob_of(ask.get('condition') ?? '').name,
    first: { shift: figure('shift'), budget: figure('budget') },
    second: second.shift === null && second.budget === null && ask.get('second') !== 'yes' ? null : second,
  };
}

const along_forms = /^(all|(site|kind) [A-Za-z0-9._-]{1,64}|[A-Za-z0-9._/,-]{0,2000})$/;
function decoded(text: string): string {
  try {
    const along = decodeURIComponent(text);
    return along_forms.test(along) ? along : '';
  } catch {
    return '';
  }
}

export function rest_of(asked: TrialAsked): string {
  const parts: string[] = [];
  if (asked.along !== '') parts.push(`with=${encodeURIComponent(asked.along)}`);
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

interface Stretch { line: number | null; raised_ms: number; cleared_ms: number | null }

/** How the second's warnings stand to the first's: as the gateway compares a candidate with what is in force. */
export function between(first: readonly Stretch[], second: readonly Stretch[]): { differences: { difference: string }[]; gone: number } {
  const met = new Set<Stretch>();
  const ends = (w: Stretch): number => w.cleared_ms ?? Infinity;
  const differences = second.map((one) => {
    const other = first.find((w) => !met.has(w) && w.line === one.line && ends(w) >= one.raised_ms && ends(one) >= w.raised_ms);
    if (other === undefined) return { difference: 'added' };
    met.add(other);
    return { difference: one.raised_ms === other.raised_ms ? 'same' : one.raised_ms < other.raised_ms ? 'earlier' : 'later' };
  });
  return { differences, gone: first.length - met.size };
}

/** A row a set of thresholds, over all stations: sums, and means of what has a price. */
export interface Sum { warnings: number; added: number; gone: number; before_trouble: number; false_a_year: number | null; lead_days: number | null }
interface SetOf { warnings: readonly { difference: string; lead_days: number | null }[]; gone: readonly unknown[]; price: { false_a_year: number; lead_days: number } | null }
export function sum_of(sets: readonly SetOf[]): Sum {
  const prices = sets.flatMap((s) => (s.price === null ? [] : [s.price]));
  const mean = (of: (p: { false_a_year: number; lead_days: number }) => number): number | null =>
    prices.length === 0 ? null : prices.reduce((all, p) => all + of(p), 0) / prices.length;
  const count = (of: (s: SetOf) => number): number => sets.reduce((all, s) => all + of(s), 0);
  return {
    warnings: count((s) => s.warnings.length),
    added: count((s) => s.warnings.filter((w) => w.difference === 'added').length),
    gone: count((s) => s.gone.length),
    before_trouble: count((s) => s.warnings.filter((w) => w.lead_days !== null).length),
    false_a_year: mean((p) => p.false_a_year),
    lead_days: mean((p) => p.lead_days),
  };
}

export interface Entry { at_ms: number; act: string; proposal: string; for: string; by: string; why: string; days: number }
interface Proposed { name: string; for: string; done: readonly { act: string; at_ms: number; by: string; why: string; days: number }[] }
/** All that was done with thresholds, newest first. */
export function log_of(proposals: readonly Proposed[]): Entry[] {
  return proposals.flatMap((p) => p.done.map((d) => ({ ...d, proposal: p.name, for: p.for }))).sort((a, b) => b.at_ms - a.at_ms);
}
