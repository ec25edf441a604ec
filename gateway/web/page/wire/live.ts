// The live feed: server-sent events. A browser opens six connections to a host at most, so tabs that want the same feed share one:
// who holds the lock reads it and passes events on.
import { type Decoder, Misread } from './decode';
import { live_fleet, live_hello, live_note, live_pressure, live_pulse, live_told, live_turn, live_warning } from './types';
import type { Decoded } from './decode';

const decoders = {
  hello: live_hello,
  pulse: live_pulse,
  fleet: live_fleet,
  warning: live_warning,
  pressure: live_pressure,
  turn: live_turn,
  told: live_told,
  note: live_note,
};
type Kind = keyof typeof decoders;
export type LiveEvent =
  | { [K in Kind]: { kind: K; data: Decoded<(typeof decoders)[K]> } }[Kind]
  /** Nothing comes: the connection broke, or nothing was heard for too long. */
  | { kind: 'gone' };

/** Who comes later to a feed that another tab reads asks for what was said already. */
const asks = '?';
/** Of a station's pressure: the last minutes. */
const kept_max = 600;

/** A pulse comes each 5 s; two and a half without one is silence. */
const silence_ms = 12_500;
const retry_ms = 1_500;

export interface Feed {
  /** site/station, watched more closely. */
  station: string | null;
  fleet: boolean;
}

/** Calls `told` until the signal ends. */
export function listen(signal: AbortSignal, feed: Feed, told: (event: LiveEvent) => void): void {
  const ask = [feed.fleet ? 'fleet=1' : 'fleet=0', ...(feed.station === null ? [] : [`station=${encodeURIComponent(feed.station)}`])].join('&');
  const address = `/api/v1/live?${ask}`;
  let quiet: ReturnType<typeof setTimeout> | undefined;
  const heard = (event: LiveEvent): void => {
    clearTimeout(quiet);
    if (signal.aborted) return;
    quiet = setTimeout(() => told({ kind: 'gone' }), silence_ms);
    told(event);
  };
  quiet = setTimeout(() => told({ kind: 'gone' }), silence_ms);
  signal.addEventListener('abort', () => clearTimeout(quiet));
  if (!('locks' in navigator)) {
    read(signal, address, (kind, data) => heard(event_of(kind, data)));
    return;
  }
  const channel = new BroadcastChannel(address);
  channel.onmessage = (message: MessageEvent<unknown>) => {
    const [kind, data] = Array.isArray(message.data) ? (message.data as unknown[]) : [];
    if (kind === asks) for (const said of [...latest.values(), ...pressure]) channel.postMessage(said);
    else if (typeof kind === 'string' && typeof data === 'string') heard(event_of(kind, data));
  };
  // Empty in a tab that does not read.
  const latest = new Map<string, [string, string]>();
  const pressure: [string, string][] = [];
  channel.postMessage([asks, '']);
  signal.addEventListener('abort', () => channel.close());
  void navigator.locks
    .request(address, { signal }, () => new Promise<void>((done) => {
      signal.addEventListener('abort', () => done());
      read(signal, address, (kind, data) => {
        if (signal.aborted) return;
        if (kind === 'pressure') {
          pressure.push([kind, data]);
          if (pressure.length > kept_max) pressure.shift();
        } else if (kind === 'hello' || kind === 'pulse' || kind === 'turn') latest.set(kind, [kind, data]);
        channel.postMessage([kind, data]);
        heard(event_of(kind, data));
      });
    }))
    .catch(() => undefined);
}

function event_of(kind: string, data: string): LiveEvent {
  if (!(kind in decoders)) return { kind: 'gone' };
  try {
    const decoder = decoders[kind as Kind] as Decoder<never>;
    return { kind: kind as Kind, data: decoder(JSON.parse(data) as unknown, '') } as LiveEvent;
  } catch (why) {
    if (why instanceof Misread || why instanceof SyntaxError) return { kind: 'gone' };
    throw why;
  }
}

function read(signal: AbortSignal, address: string, passed: (kind: string, data: string) => void): void {
  if (signal.aborted) return;
  const source = new EventSource(address);
  let retry: ReturnType<typeof setTimeout> | undefined;
  for (const kind of Object.keys(decoders)) source.addEventListener(kind, (e) => passed(kind, (e as MessageEvent<string>).data));
  source.onerror = () => {
    passed('gone', '');
    source.close();
    retry = setTimeout(() => read(signal, address, passed), retry_ms);
  };
  signal.addEventListener('abort', () => {
    clearTimeout(retry);
    source.close();
  });
}
