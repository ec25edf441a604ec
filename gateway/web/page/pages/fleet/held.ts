// What the Fleet page holds stays while other pages are shown: coming back shows it at once and then asks what is new.
import { useEffect, useRef, useState } from 'preact/hooks';
import { failed, loading, type Loaded } from '../../model/loaded';
import { from_fleet, strips_wanted, with_event, with_heard, with_strips, type FleetState } from '../../model/fleet_state';
import type { FleetRow } from '../../model/fleet';
import { use_events } from '../../parts/events';
import { use_place } from '../../parts/place';
import { get } from '../../wire/http';
import { fleet, heard, strips } from '../../wire/types';

let kept: Loaded<FleetState> = loading;

/** The feed tells of changed rows only; reservoirs and forecasts that move by hairs come with the whole list. */
const anew_ms = 60_000;
/** When the stations in view were last heard is asked for by itself. */
const heard_ms = 5_000;
const heard_max = 100;
/** After a start the gateway reads for some seconds before it knows all strips. */
const incomplete_ms = 4_000;

interface Held {
  loaded: Loaded<FleetState>;
  again: () => void;
  want_strips: (rows: readonly FleetRow[]) => void;
}

export function use_fleet(): Held {
  const [loaded, set_loaded] = useState<Loaded<FleetState>>(kept);
  const leaving = useRef<AbortController | null>(null);
  const asking_strips = useRef(false);
  const in_view = useRef<readonly FleetRow[]>([]);
  const later = useRef<ReturnType<typeof setTimeout> | undefined>(undefined);
  const { go } = use_place();
  const change = (next: (before: Loaded<FleetState>) => Loaded<FleetState>): void => {
    kept = next(kept);
    set_loaded(kept);
  };
  const signal = (): AbortSignal => (leaving.current ??= new AbortController()).signal;

  const ask = async (): Promise<void> => {
    const wanted = signal();
    const answer = await get(wanted, '/fleet?strips=40', fleet);
    if (wanted.aborted) return;
    if (answer.ok) {
      change((before) => ({ kind: 'ready', at: Date.now(), value: from_fleet(answer.value, before.kind === 'ready' || before.kind === 'stale' ? before.value : null) }));
      if (!answer.value.strip.complete) ask_strips_later(wanted);
      return;
    }
    if (answer.trouble.kind === 'sign-in') go({ page: 'sign-in', to: location.pathname + location.search }, 'replace');
    change((before) => failed(before, answer.trouble));
  };

  const ask_strips = (until: AbortSignal): void => {
    if (until.aborted || asking_strips.current || (kept.kind !== 'ready' && kept.kind !== 'stale')) return;
    const wanted = strips_wanted(kept.value, in_view.current);
    if (wanted.length === 0) return;
    asking_strips.current = true;
    void get(until, `/fleet/strips?of=${wanted.join(',')}`, strips).then((answer) => {
      asking_strips.current = false;
      if (until.aborted || !answer.ok) return;
      change((before) => (before.kind === 'ready' || before.kind === 'stale' ? { ...before, value: with_strips(before.value, answer.value) } : before));
      if (!answer.value.strip.complete) ask_strips_later(until);
    });
  };
  const ask_heard = (): void => {
    if (document.visibilityState !== 'visible' || kept.kind !== 'ready' || in_view.current.length === 0) return;
    const until = signal();
    const of = in_view.current.slice(0, heard_max).map((row) => row.key).join(',');
    void get(until, `/fleet/heard?of=${of}`, heard).then((answer) => {
      if (until.aborted || !answer.ok || kept.kind !== 'ready') return;
      const value = with_heard(kept.value, answer.value);
      if (value !== kept.value) change((before) => ({ ...before, value }) as Loaded<FleetState>);
    });
  };
  const ask_strips_later = (until: AbortSignal): void => {
    clearTimeout(later.current);
    later.current = setTimeout(() => ask_strips(until), incomplete_ms);
  };
  const want_strips = (rows: readonly FleetRow[]): void => {
    in_view.current = rows;
    if ((kept.kind === 'ready' || kept.kind === 'stale') && kept.value.shape.complete) ask_strips(signal());
  };

  useEffect(() => {
    void ask();
    const timer = setInterval(() => { if (document.visibilityState === 'visible') void ask(); }, anew_ms);
    const hearing = setInterval(ask_heard, heard_ms);
    return () => {
      clearInterval(timer);
      clearInterval(hearing);
      clearTimeout(later.current);
      asking_strips.current = false;
      leaving.current?.abort();
      leaving.current = null;
    };
  }, []);

  use_events((event) => {
    if (event.kind === 'fleet') {
      if (kept.kind !== 'ready' && kept.kind !== 'stale') return;
      const after = with_event(kept.value, event.data);
      if (after === null) void ask();
      else if (after !== kept.value) change((before) => ({ ...before, value: after }) as Loaded<FleetState>);
    }
    if (event.kind === 'hello' && (kept.kind === 'failed' || ((kept.kind === 'ready' || kept.kind === 'stale') && (kept.kind === 'stale' || event.data.revision !== kept.value.revision)))) void ask();
  });

  return { loaded, again: () => void ask(), want_strips };
}
