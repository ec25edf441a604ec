// The address of a page holds what a colleague should see when it is sent to them.

export type Urgency = 'act' | 'plan' | 'notice';
export const urgencies: readonly Urgency[] = ['act', 'plan', 'notice'];

export interface FleetQuery {
  search: string;
  site: string | null;
  condition: string | null;
  /** `silent` and `in-order` are not urgencies of a warning, but what people also filter by. */
  show: FleetShow;
}
export type FleetShow = 'all' | 'trouble' | Urgency | 'silent' | 'in-order';
export const fleet_shows: readonly FleetShow[] = ['all', 'trouble', 'act', 'plan', 'notice', 'silent', 'in-order'];

export interface StationQuery {
  days: number;
  /** The turn whose row and curve are open, by its id. */
  turn: number | null;
}
export const station_days: readonly number[] = [7, 30, 90, 365];

export interface WarningsQuery {
  search: string;
  site: string | null;
  urgency: Urgency | null;
  /** open: raised and not ended; unanswered: of them, those nobody has acknowledged or shelved; all: the ended ones as well. */
  which: WarningsWhich;
  /** The warning that is open for reading, by its key. */
  key: string | null;
}

export type WarningsWhich = 'open' | 'unanswered' | 'all';
export const warnings_whiches: readonly WarningsWhich[] = ['unanswered', 'open', 'all'];

export interface RefillQuery {
  days: number;
  site: string | null;
}
export const refill_days: readonly number[] = [3, 7, 14, 30];

export type Route =
  | { page: 'fleet'; query: FleetQuery }
  | { page: 'station'; site: string; station: string; query: StationQuery }
  | { page: 'note'; site: string; station: string }
  | { page: 'warnings'; query: WarningsQuery }
  | { page: 'refill'; query: RefillQuery }
  | { page: 'trial'; rest: string }
  | { page: 'sign-in'; to: string }
  | { page: 'nowhere'; path: string };

export const fleet_query: FleetQuery = { search: '', site: null, condition: null, show: 'all' };
export const station_query: StationQuery = { days: 30, turn: null };
export const warnings_query: WarningsQuery = { search: '', site: null, urgency: null, which: 'open', key: null };
export const refill_query: RefillQuery = { days: 7, site: null };

const name_pattern = /^[A-Za-z0-9._-]{1,64}$/;

/** Whatever stands in the address: what is not known is left out, not guessed. */
export function route_of(address: string): Route {
  const cut = address.indexOf('?');
  const path = cut < 0 ? address : address.slice(0, cut);
  const ask = query_of(cut < 0 ? '' : address.slice(cut + 1));
  const steps = path.split('/').filter((step) => step !== '').map(decoded);
  const [first, site, station] = steps;
  if (first === undefined || (first === 'fleet' && steps.length === 1)) return { page: 'fleet', query: fleet_of(ask) };
  if (first === 'trial') return { page: 'trial', rest: address.slice(path.indexOf('trial') + 5) };
  if (steps.length === 3 && name_pattern.test(site ?? '') && name_pattern.test(station ?? '')) {
    const place = { site: site ?? '', station: station ?? '' };
    if (first === 'station') return { page: 'station', ...place, query: station_of(ask) };
    if (first === 'note') return { page: 'note', ...place };
  }
  if (steps.length === 1) {
    if (first === 'warnings') return { page: 'warnings', query: warnings_of(ask) };
    if (first === 'refill') return { page: 'refill', query: refill_of(ask) };
    if (first === 'sign-in') return { page: 'sign-in', to: own_path(ask.get('to')) };
  }
  return { page: 'nowhere', path };
}

/** The address of a route; what is as usual is left out, so that addresses stay short. */
export function address_of(route: Route): string {
  switch (route.page) {
    case 'fleet': {
      const q = route.query;
      return with_query('/', [['q', q.search], ['site', q.site], ['condition', q.condition], ['show', q.show === 'all' ? null : q.show]]);
    }
    case 'station': {
      const q = route.query;
      return with_query(`/station/${route.site}/${route.station}`, [['days', q.days === station_query.days ? null : `${q.days}`], ['turn', q.turn === null ? null : `${q.turn}`]]);
    }
    case 'note': return `/note/${route.site}/${route.station}`;
    case 'warnings': {
      const q = route.query;
      return with_query('/warnings', [['q', q.search], ['site', q.site], ['urgency', q.urgency], ['which', q.which === 'open' ? null : q.which], ['key', q.key]]);
    }
    case 'refill':
      return with_query('/refill', [['days', route.query.days === refill_query.days ? null : `${route.query.days}`], ['site', route.query.site]]);
    case 'trial': return `/trial${route.rest}`;
    case 'sign-in': return with_query('/sign-in', [['to', route.to === '/' ? null : route.to]]);
    case 'nowhere': return route.path;
  }
}

type Ask = ReadonlyMap<string, string>;

function query_of(text: string): Ask {
  const found = new Map<string, string>();
  for (const part of text.split('&')) {
    const cut = part.indexOf('=');
    if (cut > 0) found.set(decoded(part.slice(0, cut)), decoded(part.slice(cut + 1).replace(/\+/g, ' ')));
  }
  return found;
}

function decoded(text: string): string {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}

function with_query(path: string, parts: readonly (readonly [string, string | null])[]): string {
  const said = parts.filter((p): p is readonly [string, string] => p[1] !== null && p[1] !== '');
  return said.length === 0 ? path : `${path}?${said.map(([name, value]) => `${name}=${encodeURIComponent(value)}`).join('&')}`;
}

function one_of<T extends string>(text: string | undefined, known: readonly T[]): T | null {
  return known.find((k) => k === text) ?? null;
}

function days_of(text: string | undefined, known: readonly number[], otherwise: number): number {
  return known.find((k) => `${k}` === text) ?? otherwise;
}

function name_of(text: string | undefined): string | null {
  return text !== undefined && name_pattern.test(text) ? text : null;
}

function key_of(text: string | undefined): string | null {
  return text !== undefined && /^[A-Za-z0-9._-]{1,64}(\/[A-Za-z0-9._-]{1,64}){3}$/.test(text) ? text : null;
}

function fleet_of(ask: Ask): FleetQuery {
  return {
    search: (ask.get('q') ?? '').slice(0, 100),
    site: name_of(ask.get('site')),
    condition: name_of(ask.get('condition')),
    show: one_of(ask.get('show'), fleet_shows) ?? 'all',
  };
}

function station_of(ask: Ask): StationQuery {
  const turn = ask.get('turn') ?? '';
  return {
    days: days_of(ask.get('days'), station_days, station_query.days),
    turn: /^\d{1,14}$/.test(turn) ? Number(turn) : null,
  };
}

function warnings_of(ask: Ask): WarningsQuery {
  return {
    search: (ask.get('q') ?? '').slice(0, 100),
    site: name_of(ask.get('site')),
    urgency: one_of(ask.get('urgency'), urgencies),
    which: one_of(ask.get('which'), warnings_whiches) ?? 'open',
    key: key_of(ask.get('key')),
  };
}

function refill_of(ask: Ask): RefillQuery {
  return { days: days_of(ask.get('days'), refill_days, refill_query.days), site: name_of(ask.get('site')) };
}

/** Where to go after sign-in: only to a path of this page, never to another host. */
function own_path(text: string | undefined): string {
  return text !== undefined && /^\/(?![/\\])[^\\]*$/.test(text) ? text : '/';
}
