// Warnings: what may be done with one, in which words, and which are shown.
import type { ActKind, Forecast, Urgency, Warning } from '../wire/types';
import type { WarningsQuery } from './route';
import { against_usual, date_words, days_left_words, days_range_words, plain, type Offset } from './words';

const day_ms = 86_400_000;

const life_said: Record<Warning['life'], string> = {
  normal: 'normal',
  unacknowledged: 'unacknowledged',
  acknowledged: 'acknowledged',
  'returned-unacknowledged': 'returned to normal, unacknowledged',
  'latched-unacknowledged': 'latched, unacknowledged',
  'latched-acknowledged': 'latched, acknowledged',
  shelved: 'shelved',
  suppressed: 'suppressed by design',
  'out-of-service': 'out of service',
};

export function life_words(warning: Warning, offset: Offset): string {
  const words = life_said[warning.life];
  if (warning.life === 'shelved' && warning.shelved_until_ms !== null) return `${words} until ${date_words(warning.shelved_until_ms, offset)}`;
  if (warning.life === 'acknowledged' && warning.owner !== null && warning.owner !== '') return `${words} by ${warning.owner}`;
  return words;
}

/** What a person may do with it now. */
export function acts_of(life: Warning['life']): readonly ActKind[] {
  switch (life) {
    case 'normal': return ['note'];
    case 'unacknowledged': return ['acknowledge', 'shelve', 'note'];
    case 'acknowledged': return ['shelve', 'note'];
    case 'returned-unacknowledged': return ['acknowledge', 'note'];
    case 'latched-unacknowledged': return ['acknowledge', 'note'];
    case 'latched-acknowledged': return ['reset', 'note'];
    case 'shelved': return ['unshelve', 'note'];
    case 'suppressed': return ['note'];
    case 'out-of-service': return ['return-to-service', 'note'];
  }
}

export const act_words: Record<ActKind, string> = {
  acknowledge: 'Acknowledge',
  shelve: 'Shelve',
  unshelve: 'Take off the shelf',
  reset: 'Reset',
  'take-out-of-service': 'Take out of service',
  'return-to-service': 'Return to service',
  note: 'Note',
};

/** The longest a warning may be put aside, days; the gateway holds to its own limits and says so. */
const shelf_days: Record<Urgency, readonly number[]> = { act: [0.25, 1], plan: [1, 3, 7, 14], notice: [7, 14, 30, 90] };

export function shelf_choices(urgency: Urgency): readonly { days: number; words: string }[] {
  return shelf_days[urgency].map((days) => ({ days, words: days_left_words(days) }));
}

const past: Record<string, string> = {
  raised: 'raised',
  'urgency-changed': 'urgency changed',
  cleared: 'ended',
  acknowledge: 'acknowledged',
  shelve: 'shelved',
  unshelve: 'taken off the shelf',
  reset: 'reset',
  'take-out-of-service': 'taken out of service',
  'return-to-service': 'returned to service',
  note: 'noted',
  suppress: 'suppressed',
  unsuppress: 'no longer suppressed',
  'shelf-ended': 'off the shelf, its time was over',
};

export function done_words(act: string): string {
  return past[act] ?? act;
}

/** "Time to pressure 98.8 s, usual 87.7 ± 2.1 (+13 %), limit 150": the evidence in a line. */
export function evidence_words(warning: Warning): string {
  const f = warning.figure;
  if (f === null) return '';
  const unit = f.unit === '' ? '' : ` ${f.unit}`;
  let words = `${f.words} ${plain(f.value)}${unit}`;
  if (f.usual !== null) {
    words += `, usual ${plain(f.usual)}${f.spread === null || plain(f.spread) === '0' ? '' : ` ± ${plain(f.spread)}`}`;
    if (f.usual > 0 && f.unit !== 'bar') words += ` (${against_usual(f.value, f.usual)})`;
  }
  if (f.limit !== null) words += `, limit ${plain(f.limit)}`;
  return words;
}

export interface Remaining {
  words: string;
  range: string;
}

export function remaining(forecast: Forecast, now_ms: number): Remaining | null {
  if (forecast.limit_at_ms === null) return null;
  const days = (ms: number): number => Math.max(0, (ms - now_ms) / day_ms);
  const { limit_at_earliest_ms: low, limit_at_latest_ms: high } = forecast;
  const words = days_left_words(days(forecast.limit_at_ms));
  return { words, range: low === null || high === null || words === 'now' ? '' : days_range_words(days(low), days(high)) };
}

/** What was found, without the urgency and the station that stand beside it. */
export function found_words(warning: Warning): string {
  return warning.line === null ? warning.words : `Line ${warning.line}: ${warning.words}`;
}

export function is_open(warning: Warning): boolean {
  return warning.cleared_ms === null;
}

export function shown_warnings(all: readonly Warning[], query: WarningsQuery): readonly Warning[] {
  const wanted = query.search.trim().toLowerCase().split(/\s+/).filter((w) => w !== '');
  return all.filter((w) => {
    if (query.site !== null && w.site !== query.site) return false;
    if (query.urgency !== null && w.urgency !== query.urgency) return false;
    const text = `${w.site}/${w.station} ${w.words} ${w.owner ?? ''} ${w.causes[0]?.words ?? ''}`.toLowerCase();
    return wanted.every((word) => text.includes(word));
  });
}

/** The member of the list that changed in its place: the list keeps its order while it is read. */
export function replaced(all: readonly Warning[], changed: Warning): readonly Warning[] {
  return all.map((w) => (w.key === changed.key && w.raised_ms === changed.raised_ms ? changed : w));
}
