// The page's frame: the address, the session, the live feed. Pages know each other only by their routes.
import './main.css';
import { render } from 'preact';
import { useEffect, useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import { address_of, fleet_query, route_of, type Route } from './model/route';
import { EventsContext, type Subscribe } from './parts/events';
import { Go, PlaceContext, type Line, type Place } from './parts/place';
import { Shell } from './parts/shell';
import { FleetPage } from './pages/fleet/page';
import { NotePage } from './pages/note/page';
import { RefillPage } from './pages/refill/page';
import { SignInPage } from './pages/sign_in/page';
import { StationPage } from './pages/station/page';
import { TrialPage } from './pages/trial/page';
import { WarningsPage } from './pages/warnings/page';
import { get } from './wire/http';
import { listen, type LiveEvent } from './wire/live';
import { session as session_decoder, type Session } from './wire/types';

const here = (): Route => route_of(location.pathname + location.search);

function Shown({ route }: { route: Route }) {
  switch (route.page) {
    case 'fleet': return <FleetPage query={route.query} />;
    case 'station': return <StationPage key={`${route.site}/${route.station}`} site={route.site} station={route.station} query={route.query} />;
    case 'note': return <NotePage key={`${route.site}/${route.station}`} site={route.site} station={route.station} />;
    case 'warnings': return <WarningsPage query={route.query} />;
    case 'refill': return <RefillPage query={route.query} />;
    case 'trial': return <TrialPage rest={route.rest} />;
    case 'sign-in': return <SignInPage to={route.to} />;
    case 'nowhere':
      return (
        <>
          <h1 class="unseen">Nothing here</h1>
          <p class="empty">There is nothing at this address. <Go to={{ page: 'fleet', query: fleet_query }}>All stations</Go></p>
        </>
      );
  }
}

function title_of(route: Route): string {
  switch (route.page) {
    case 'fleet': return 'Fleet';
    case 'station': return `${route.station}, ${route.site}`;
    case 'note': return `Note at ${route.station}`;
    case 'warnings': return 'Warnings';
    case 'refill': return 'Refill round';
    case 'trial': return 'Trial bench';
    case 'sign-in': return 'Sign in';
    case 'nowhere': return 'Nothing here';
  }
}

/** What the line at the top knows after an event. */
function after(line: Line, event: LiveEvent): Line {
  if (event.kind === 'gone') {
    if (line.kind === 'gone') return line;
    return { kind: 'gone', since: Date.now(), as_of_ms: line.kind === 'live' ? line.as_of_ms : null };
  }
  if (event.kind === 'hello' || event.kind === 'pulse') {
    const { now_ms, as_of_ms, feed } = event.data;
    return { kind: 'live', at: Date.now(), now_ms, as_of_ms, feed };
  }
  if (event.kind === 'fleet' && line.kind === 'live') return { ...line, as_of_ms: Math.max(line.as_of_ms, event.data.as_of_ms) };
  return line;
}

function use_route(): [Route, Place['go']] {
  const [route, set_route] = useState(here);
  const depth = useRef<'new' | 'kept'>('kept');
  useEffect(() => {
    history.scrollRestoration = 'manual';
    const on_pop = (): void => {
      depth.current = 'kept';
      set_route(here());
    };
    window.addEventListener('popstate', on_pop);
    return () => window.removeEventListener('popstate', on_pop);
  }, []);
  const go = (to: Route, how: 'new' | 'replace' = 'new'): void => {
    const address = address_of(to);
    if (how === 'new' && address !== location.pathname + location.search) {
      history.replaceState({ scroll: window.scrollY }, '');
      history.pushState(null, '', address);
      depth.current = 'new';
    } else {
      history.replaceState(history.state, '', address);
      depth.current = 'kept';
    }
    set_route(route_of(address));
  };
  const page = route.page;
  const place = page === 'station' || page === 'note' ? `${route.site}/${route.station}` : '';
  useLayoutEffect(() => {
    document.title = `${title_of(route)} · driftline`;
    const held = (history.state as { scroll?: number } | null)?.scroll;
    if (depth.current === 'new') window.scrollTo(0, 0);
    else if (held !== undefined) requestAnimationFrame(() => window.scrollTo(0, held));
  }, [page, place]);
  return [route, go];
}

function App() {
  const [route, go] = use_route();
  const [session, set_session] = useState<Session | null>(null);
  const [line, set_line] = useState<Line>({ kind: 'connecting' });
  const listeners = useRef(new Set<(event: LiveEvent) => void>());
  const subscribe = useMemo<Subscribe>(
    () => (told) => {
      listeners.current.add(told);
      return () => listeners.current.delete(told);
    },
    [],
  );

  const ask_session = (signal: AbortSignal): void => {
    void get(signal, '/session', session_decoder).then((answer) => {
      if (!answer.ok) return;
      set_session(answer.value);
      if (!answer.value.signed_in && here().page !== 'sign-in') go({ page: 'sign-in', to: location.pathname + location.search }, 'replace');
    });
  };
  useEffect(() => {
    const leaving = new AbortController();
    ask_session(leaving.signal);
    return () => leaving.abort();
  }, []);

  const station = route.page === 'station' || route.page === 'note' ? `${route.site}/${route.station}` : null;
  const fleet = route.page === 'fleet';
  const off = route.page === 'sign-in' || (session !== null && !session.signed_in);
  useEffect(() => {
    if (off) return;
    const leaving = new AbortController();
    let lost = false;
    listen(leaving.signal, { station, fleet }, (event) => {
      set_line((before) => after(before, event));
      // A gateway that was started anew has another token, and perhaps other users.
      if (event.kind === 'hello' && lost) ask_session(leaving.signal);
      lost = event.kind === 'gone' || (lost && event.kind !== 'hello');
      for (const told of listeners.current) told(event);
    });
    return () => leaving.abort();
  }, [station, fleet, off]);

  const place: Place = { route, go, session, set_session, line, set_line };
  return (
    <PlaceContext.Provider value={place}>
      <EventsContext.Provider value={subscribe}>
        <Shell>
          <Shown route={route} />
        </Shell>
      </EventsContext.Provider>
    </PlaceContext.Provider>
  );
}

const frame = document.getElementById('page');
if (frame !== null) render(<App />, frame);
