// All that the Fleet page holds, and how what comes changes it.
import type { Fleet, Head, Heard, LiveFleet, Strip, Strips, StripShape } from '../wire/types';
import { merged, names_of, rows_of, type FleetRow, type Names } from './fleet';

export interface FleetState {
  names: Names;
  rows: readonly FleetRow[];
  head: Head;
  as_of_ms: number;
  revision: number;
  shape: StripShape;
  /** null: the gateway knows no strip of it. */
  strips: ReadonlyMap<string, Strip | null>;
}

export function from_fleet(fleet: Fleet, before: FleetState | null): FleetState {
  const names = names_of(fleet);
  const rows = rows_of(names, fleet.columns, fleet.as_of_ms);
  // Strips of another window of days would be drawn at the wrong day.
  const same_days = before !== null && before.shape.from_ms === fleet.strip.from_ms && before.shape.complete && fleet.strip.complete;
  const strips = new Map(same_days ? before.strips : []);
  fleet.strips.forEach((strip, i) => {
    const row = rows[i];
    if (row !== undefined) strips.set(row.key, strip);
  });
  return { names, rows, head: fleet.head, as_of_ms: fleet.as_of_ms, revision: fleet.revision, shape: fleet.strip, strips };
}

/** null: what came cannot be laid over what is there; the list must be fetched anew. */
export function with_event(state: FleetState, event: LiveFleet): FleetState | null {
  if (event.reload) return null;
  if (event.revision <= state.revision) return state;
  const names = { ...state.names, sites: event.sites };
  const changed = rows_of(names, event.columns, event.as_of_ms);
  return { ...state, names, rows: merged(state.rows, changed, event.removed), head: event.head, as_of_ms: event.as_of_ms, revision: event.revision };
}

export function with_strips(state: FleetState, came: Strips): FleetState {
  // Of other days, or read before the gateway had read all: neither may stand beside what came now.
  const anew = came.strip.from_ms !== state.shape.from_ms || (came.strip.complete && !state.shape.complete);
  if (anew) return { ...state, shape: came.strip, strips: named(came) };
  return { ...state, shape: came.strip, strips: new Map([...state.strips, ...named(came)]) };
}

function named(came: Strips): Map<string, Strip | null> {
  return new Map(came.stations.map((key, i) => [key, came.strips[i] ?? null]));
}

/** Rows keep their identity where nothing is new, so that nothing is drawn for nothing. */
export function with_heard(state: FleetState, came: Heard): FleetState {
  const fresh = new Map(came.stations.map((key, i) => [key, came.heard_ms[i] ?? null]));
  let changed = false;
  const rows = state.rows.map((row) => {
    const heard_ms = fresh.get(row.key);
    if (heard_ms === undefined || heard_ms === null || (row.heard_ms !== null && heard_ms <= row.heard_ms)) return row;
    changed = true;
    return { ...row, heard_ms };
  });
  return changed ? { ...state, rows } : state;
}

/** The rows among these whose strips are to be asked for; the gateway gives a hundred at most at a time. */
export function strips_wanted(state: FleetState, rows: readonly FleetRow[]): readonly string[] {
  return rows.filter((row) => !state.shape.complete || !state.strips.has(row.key)).slice(0, 100).map((row) => row.key);
}
