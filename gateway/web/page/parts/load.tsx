// Asking for something and keeping what is known of it.
import { useCallback, useEffect, useRef, useState } from 'preact/hooks';
import { arrived, failed, loading, type Loaded, type Trouble } from '../model/loaded';
import type { Decoder } from '../wire/decode';
import { get } from '../wire/http';
import { Mark } from './mark';
import { use_place } from './place';

interface Asked<T> {
  loaded: Loaded<T>;
  again: () => void;
  put: (value: T) => void;
}

/** Asks anew when the path changes (null: nothing is asked) and when `again` is called. What fails keeps what was there, as stale. */
export function use_loaded<T>(path: string | null, decoder: Decoder<T>): Asked<T> {
  const [held, set_held] = useState<{ path: string | null; loaded: Loaded<T> }>({ path, loaded: loading });
  const [round, set_round] = useState(0);
  const { go, route, session, set_session } = use_place();
  const signed_out = useRef<() => void>(() => undefined);
  signed_out.current = () => {
    if (session !== null) set_session({ ...session, signed_in: false, user: null, role: null });
    if (route.page !== 'sign-in') go({ page: 'sign-in', to: location.pathname + location.search }, 'replace');
  };
  useEffect(() => {
    if (path === null) return;
    const leaving = new AbortController();
    void get(leaving.signal, path, decoder).then((answer) => {
      if (leaving.signal.aborted) return;
      if (!answer.ok && answer.trouble.kind === 'sign-in') signed_out.current();
      set_held((before) => {
        const known = before.path === path ? before.loaded : loading;
        return { path, loaded: answer.ok ? arrived(answer.value, Date.now()) : failed(known, answer.trouble) };
      });
    });
    return () => leaving.abort();
  }, [path, decoder, round]);
  const again = useCallback(() => set_round((n) => n + 1), []);
  const put = useCallback((value: T) => set_held({ path, loaded: arrived(value, Date.now()) }), [path]);
  return { loaded: held.path === path ? held.loaded : loading, again, put };
}

export function TroubleNote({ trouble, again }: { trouble: Trouble; again?: () => void }) {
  return (
    <div class="trouble" role="alert">
      <Mark kind="silent" />
      <span>
        Not known: {trouble.text}.{' '}
        {again !== undefined && <button onClick={again}>Ask again</button>}
      </span>
    </div>
  );
}

export function Waiting({ what }: { what: string }) {
  return <p class="empty" aria-busy="true">Asking the gateway for {what}…</p>;
}
