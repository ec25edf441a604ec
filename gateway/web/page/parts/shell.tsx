// What stands around every page: name, pages, how old the data are, who is signed in; and the word when the gateway is gone.
import './shell.css';
import { useEffect, useState } from 'preact/hooks';
import { fleet_query, refill_query, warnings_query, type Route } from '../model/route';
import { clock_words, duration_words } from '../model/words';
import { send } from '../wire/http';
import { Mark } from './mark';
import { gateway_now, Go, local, use_clock, use_place, type Line } from './place';

const pages: readonly { name: string; to: Route }[] = [
  { name: 'Fleet', to: { page: 'fleet', query: fleet_query } },
  { name: 'Warnings', to: { page: 'warnings', query: warnings_query } },
  { name: 'Refill round', to: { page: 'refill', query: refill_query } },
  { name: 'Trial bench', to: { page: 'trial', rest: '' } },
];

/** Judging that lies behind by more than this is told. */
const behind_ms = 60_000;

export function Shell({ children }: { children: preact.ComponentChildren }) {
  const { route, line } = use_place();
  return (
    <>
      <a class="skip" href="#content">To the content</a>
      <header class="masthead no-print">
        <Go to={{ page: 'fleet', query: fleet_query }} class="name" label="driftline: Fleet">
          <svg viewBox="0 0 30 16" aria-hidden="true" fill="none" stroke="currentColor">
            <path d="M1 12 C7 12 8 12 12 11 S21 6 28 1" stroke-width="2.2" stroke-linecap="round" />
            <path d="M1 15 H29" stroke-width="1.2" stroke-dasharray="3 2.5" />
          </svg>
          driftline
        </Go>
        {route.page !== 'sign-in' && (
          <nav aria-label="Pages">
            <ul>
              {pages.map(({ name, to }) => (
                <li key={name}>
                  <Go to={to} current={route.page === to.page}>{name}</Go>
                </li>
              ))}
            </ul>
          </nav>
        )}
        {route.page !== 'sign-in' && <Age line={line} />}
        <Who />
      </header>
      <Lost line={line} />
      <main id="content" tabIndex={-1}>{children}</main>
    </>
  );
}

function Age({ line }: { line: Line }) {
  const now = use_clock(1000);
  if (line.kind === 'connecting') return <span class="age">connecting…</span>;
  if (line.kind === 'gone')
    return (
      <span class="age">
        <Mark kind="silent" /> {line.as_of_ms === null ? 'no data' : `as of ${clock_words(line.as_of_ms, local)}`}
      </span>
    );
  const age = gateway_now(line, now) - line.as_of_ms;
  return (
    <span class="age" title="Up to when telemetry has been judged">
      as of {clock_words(line.as_of_ms, local)}, {duration_words(age)} ago
    </span>
  );
}

function lost_words(line: Line, now: number): string | null {
  if (line.kind === 'connecting') return null;
  if (line.kind === 'gone') {
    const what = line.as_of_ms === null ? 'Nothing is known yet.' : `What is shown is as of ${clock_words(line.as_of_ms, local)}.`;
    return `The gateway is not answering, for ${duration_words(now - line.since)}. ${what} It comes back by itself.`;
  }
  if (line.feed.broker !== 'connected') {
    const heard = line.feed.heard_ms === null ? 'since the start' : `since ${clock_words(line.feed.heard_ms, local)}`;
    return `The gateway is without its broker: nothing has been heard of any station ${heard}. It comes back by itself.`;
  }
  const age = gateway_now(line, now) - line.as_of_ms;
  if (age > behind_ms) return `Judging is ${duration_words(age)} behind: what is shown is as of ${clock_words(line.as_of_ms, local)}.`;
  return null;
}

function Lost({ line }: { line: Line }) {
  const now = use_clock(1000);
  const words = lost_words(line, now);
  const [said, set_said] = useState('');
  // Screen readers hear of the change, not of each second.
  const kind = words === null ? '' : line.kind === 'gone' ? 'The gateway is not answering.' : words.split(':')[0] ?? '';
  useEffect(() => set_said(kind), [kind]);
  return (
    <>
      <div class="unseen" role="status">{said}</div>
      {words !== null && (
        <aside class="lost" data-lost={line.kind} aria-label="How fresh this is">
          <p>
            <Mark kind="silent" />
            <span>{words}</span>
          </p>
        </aside>
      )}
    </>
  );
}

function Who() {
  const { session, set_session, go } = use_place();
  if (session === null || session.open) return null;
  if (!session.signed_in) return null;
  const leave = (): void => {
    void send(new AbortController().signal, 'DELETE', '/session', session.token, null, () => null).then(() => {
      set_session({ ...session, signed_in: false, user: null, role: null });
      go({ page: 'sign-in', to: '/' });
    });
  };
  return (
    <span class="who">
      {session.user}
      <button onClick={leave}>Sign out</button>
    </span>
  );
}

/** Greyed while the feed is lost, so that old figures do not pass for new ones. */
export function stale_class(line: Line): string {
  return line.kind === 'gone' || (line.kind === 'live' && line.feed.broker !== 'connected') ? 'stale' : '';
}
