// The list of stations: rows made of the API's columns, kept up to date by the live feed, ordered, filtered, put into words.
import type { Fleet, FleetColumns, Head, StationState, Urgency } from '../wire/types';
import type { FleetQuery } from './route';
import { counted, days_left_words, days_range_words, duration_words } from './words';

export interface FleetRow {
  key: string;  // site/station
  site: string;
  station: string;
  lines: number;
  state: StationState;
  heard_ms: number | null;
  urgency: Urgency | null;
  condition: string | null;
  words: string;           // of the condition; empty where nothing is open
  line: number | null;
  since_ms: number | null;
  life: string | null;
  limit_days: number | null;
  limit_days_earliest: number | null;
  limit_days_latest: number | null;
  cause: string | null;    // in words
  open: number;
  unanswered: number;
  level_pct: number | null;
  life_days: number | null;
  life_days_low: number | null;
  life_days_high: number | null;
}

/** The lists that columns index into. */
export interface Names {
  sites: readonly string[];
  states: readonly StationState[];
  urgencies: readonly Urgency[];
  conditions: readonly string[];
  condition_words: readonly string[];
  lives: readonly string[];
  cause_words: readonly string[];
}

export function names_of(fleet: Fleet): Names {
  const { sites, states, urgencies, conditions, condition_words, lives, cause_words } = fleet;
  return { sites, states, urgencies, conditions, condition_words, lives, cause_words };
}

function at<T>(names: readonly T[], index: number | null | undefined): T | null {
  return index === null || index === undefined ? null : names[index] ?? null;
}

export function rows_of(names: Names, columns: FleetColumns, as_of_ms: number): readonly FleetRow[] {
  const before = (seconds: number | null | undefined): number | null =>
    seconds === null || seconds === undefined ? null : as_of_ms - seconds * 1000;
  return columns.station.map((station, i) => {
    const site = at(names.sites, columns.site[i]) ?? '?';
    return {
      key: `${site}/${station}`,
      site,
      station,
      lines: columns.lines[i] ?? 0,
      state: at(names.states, columns.state[i]) ?? 'not-judged',
      heard_ms: before(columns.heard_s[i]),
      urgency: at(names.urgencies, columns.urgency[i]),
      condition: at(names.conditions, columns.condition[i]),
      words: at(names.condition_words, columns.condition[i]) ?? '',
      line: columns.line[i] ?? null,
      since_ms: before(columns.since_s[i]),
      life: at(names.lives, columns.life[i]),
      limit_days: columns.limit_days[i] ?? null,
      limit_days_earliest: columns.limit_days_earliest[i] ?? null,
      limit_days_latest: columns.limit_days_latest[i] ?? null,
      cause: at(names.cause_words, columns.cause[i]),
      open: columns.open[i] ?? 0,
      unanswered: columns.unanswered[i] ?? 0,
      level_pct: columns.level_pct[i] ?? null,
      life_days: columns.life_days[i] ?? null,
      life_days_low: columns.life_days_low[i] ?? null,
      life_days_high: columns.life_days_high[i] ?? null,
    };
  });
}

const worth: Record<Urgency, number> = { act: 0, plan: 1, notice: 2 };

/** The gateway's order: act, plan, notice, within them what has least time left; then silent ones; then by site and name. */
export function worst_first(a: FleetRow, b: FleetRow): number {
  const rank = (row: FleetRow): number => (row.urgency === null ? (is_silent(row) ? 3 : 4) : worth[row.urgency]);
  if (rank(a) !== rank(b)) return rank(a) - rank(b);
  if (a.urgency !== null) {
    const left = (row: FleetRow): number => row.limit_days ?? Number.MAX_VALUE;
    if (left(a) !== left(b)) return left(a) - left(b);
  }
  return a.key < b.key ? -1 : a.key > b.key ? 1 : 0;
}

export function is_silent(row: FleetRow): boolean {
  return row.state === 'silent' || row.state === 'never-heard';
}

/** Changed rows in the place of those with their key, new ones in theirs. */
export function merged(rows: readonly FleetRow[], changed: readonly FleetRow[], removed: readonly string[]): readonly FleetRow[] {
  if (changed.length === 0 && removed.length === 0) return rows;
  const gone = new Set(removed);
  const fresh = new Map(changed.map((row) => [row.key, row]));
  const kept = rows.filter((row) => !gone.has(row.key)).map((row) => {
    const now = fresh.get(row.key);
    if (now === undefined) return row;
    fresh.delete(row.key);
    return now;
  });
  return [...kept, ...fresh.values()].sort(worst_first);
}

export function shown(rows: readonly FleetRow[], query: FleetQuery): readonly FleetRow[] {
  const wanted = query.search.trim().toLowerCase().split(/\s+/).filter((word) => word !== '');
  if (wanted.length === 0 && query.site === null && query.condition === null && query.show === 'all') return rows;
  return rows.filter(
    (row) =>
      (query.site === null || row.site === query.site) &&
      (query.condition === null || row.condition === query.condition) &&
      fits(row, query.show) &&
      wanted.every((word) => searched(row).includes(word)),
  );
}

function searched(row: FleetRow): string {
  return `${row.key} ${row.words} ${row.cause ?? ''}`.toLowerCase();
}

function fits(row: FleetRow, show: FleetQuery['show']): boolean {
  switch (show) {
    case 'all': return true;
    case 'trouble': return row.urgency !== null || row.state !== 'heard';
    // A silent station counts as silent whatever was open when it fell silent, as in the line at the top.
    case 'silent': return is_silent(row);
    case 'in-order': return row.urgency === null && row.state === 'heard';
    case 'act':
    case 'plan':
    case 'notice': return row.urgency === show && row.state === 'heard';
  }
}

/** "all in order" is said only of a station that is heard; of all others, what is not known. */
export function what_words(row: FleetRow): string {
  if (row.words !== '') return row.words;
  switch (row.state) {
    case 'heard': return 'in order';
    case 'silent': return 'silent: nothing is known';
    case 'never-heard': return 'never heard: nothing is known';
    case 'out-of-service': return 'out of service: not judged';
    case 'not-judged': return 'set aside: not judged';
  }
}

export interface TimeLeft {
  words: string;
  range: string;  // empty: none
}

const not_by_days: Record<string, string> = {
  'pressure-not-reached': 'not served now',
  'missed-turn': 'not greased now',
  'station-silent': 'unknown',
};

export function time_left(row: FleetRow): TimeLeft | null {
  if (row.urgency === null || row.condition === null) return null;
  const now = not_by_days[row.condition];
  if (now !== undefined) return { words: now, range: '' };
  if (row.limit_days === null) return { words: 'no limit in sight', range: '' };
  const low = row.limit_days_earliest;
  const high = row.limit_days_latest;
  const words = days_left_words(row.limit_days);
  return { words, range: low === null || high === null || words === 'now' ? '' : days_range_words(low, high) };
}

export function heard_words(row: FleetRow, now_ms: number): string {
  return row.heard_ms === null ? 'never heard' : `${duration_words(now_ms - row.heard_ms)} ago`;
}

export interface HeadPart {
  count: string;
  words: string;
  show: FleetQuery['show'];
  /** Whose shape stands before it; null where there is nothing abnormal to show. */
  mark: Urgency | 'silent' | 'off' | null;
}

/** The line that the plant's head reads. What is not known comes before what is well. */
export function head_parts(head: Head): readonly HeadPart[] {
  const part = (n: number, words: string, show: HeadPart['show'], mark: HeadPart['mark']): HeadPart => ({
    count: n.toLocaleString('en-GB'), words, show, mark: n > 0 ? mark : null,
  });
  const parts = [
    { ...part(head.watched, 'watched', 'all', null), count: counted(head.watched, 'station') },
    part(head.act, 'to act on', 'act', 'act'),
    part(head.plan, 'to plan', 'plan', 'plan'),
    part(head.notice, 'to know of', 'notice', 'notice'),
    part(head.silent, 'silent', 'silent', 'silent'),
  ];
  if (head.out_of_service > 0) parts.push(part(head.out_of_service, 'out of service', 'trouble', 'off'));
  if (head.not_judged > 0) parts.push(part(head.not_judged, 'not judged', 'trouble', 'off'));
  parts.push(part(head.well, 'in order', 'in-order', null));
  return parts;
}

export function oldest_words(head: Head, now_ms: number): string {
  if (head.unanswered === 0 || head.oldest_unanswered === null) return 'Every warning has been answered.';
  const age = duration_words(now_ms - head.oldest_unanswered.since_ms);
  return head.unanswered === 1
    ? `One warning is unanswered, for ${age}.`
    : `${counted(head.unanswered, 'warning')} are unanswered, the oldest for ${age}.`;
}
