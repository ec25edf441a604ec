// Where the reader is, who is signed in, and how fresh all of it is: what every page may ask for.
import { createContext } from 'preact';
import { useContext, useEffect, useState } from 'preact/hooks';
import type { Route } from '../model/route';
import { address_of } from '../model/route';
import type { Offset } from '../model/words';
import type { Feed, Session } from '../wire/types';

/** What the live feed has said last. */
export type Line =
  | { kind: 'connecting' }
  | { kind: 'live'; at: number; now_ms: number; as_of_ms: number; feed: Feed }
  | { kind: 'gone'; since: number; as_of_ms: number | null };

export interface Place {
  route: Route;
  go: (to: Route, how?: 'new' | 'replace') => void;
  session: Session | null;
  set_session: (session: Session | null) => void;
  line: Line;
  set_line: (next: (before: Line) => Line) => void;
}

const nowhere: Place = {
  route: { page: 'nowhere', path: '' },
  go: () => undefined,
  session: null,
  set_session: () => undefined,
  line: { kind: 'connecting' },
  set_line: () => undefined,
};

export const PlaceContext = createContext<Place>(nowhere);
export const use_place = (): Place => useContext(PlaceContext);

/** The page's clock, anew each `every_ms`: only what shows an age asks for it. */
export function use_clock(every_ms: number): number {
  const [now, set_now] = useState(Date.now());
  useEffect(() => {
    const timer = setInterval(() => set_now(Date.now()), every_ms);
    return () => clearInterval(timer);
  }, [every_ms]);
  return now;
}

/** The gateway's clock as far as it is known, else the page's. */
export function gateway_now(line: Line, page_now: number): number {
  return line.kind === 'live' ? line.now_ms + (page_now - line.at) : page_now;
}

export const local: Offset = (ms) => -new Date(ms).getTimezoneOffset();

export function may_respond(session: Session | null): boolean {
  return session !== null && session.signed_in && (session.role === 'responder' || session.role === 'engineer');
}

interface GoProps {
  to: Route;
  class?: string;
  current?: boolean;
  label?: string;
  tabIndex?: number;
  children: preact.ComponentChildren;
}

/** A link within the page: an ordinary one to the browser, so that it opens in a new tab and can be copied. */
export function Go({ to, current, label, children, ...rest }: GoProps) {
  const { go } = use_place();
  const follow = (event: MouseEvent): void => {
    if (event.button !== 0 || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
    event.preventDefault();
    go(to);
  };
  return (
    <a href={address_of(to)} onClick={follow} aria-current={current === true ? 'page' : undefined} aria-label={label} {...rest}>
      {children}
    </a>
  );
}
