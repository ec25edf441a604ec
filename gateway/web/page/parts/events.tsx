// Passing the live feed's events to the page that is shown.
import { createContext } from 'preact';
import { useContext, useEffect, useRef } from 'preact/hooks';
import type { LiveEvent } from '../wire/live';

export type Subscribe = (told: (event: LiveEvent) => void) => () => void;
export const EventsContext = createContext<Subscribe>(() => () => undefined);

export function use_events(told: (event: LiveEvent) => void): void {
  const subscribe = useContext(EventsContext);
  const newest = useRef(told);
  newest.current = told;
  useEffect(() => subscribe((event) => newest.current(event)), [subscribe]);
}
