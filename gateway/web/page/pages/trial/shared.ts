import type { RefObject } from 'preact';
import { useLayoutEffect, useState } from 'preact/hooks';
import type { TrialSet } from '../../wire/trial';

export function set_words(s: TrialSet): string {
  return s.name === 'in force' ? 'in force' : s.name === 'first' ? 'candidate' : 'second';
}

/** Of an element, so that what is drawn in it keeps its type size; `before` it is known. */
export function use_width(of: RefObject<HTMLElement>, before: number): number {
  const [width, set_width] = useState(before);
  useLayoutEffect(() => {
    const element = of.current;
    if (element === null) return;
    const measure = (): void => set_width(Math.max(280, Math.floor(element.clientWidth)));
    measure();
    const watch = new ResizeObserver(measure);
    watch.observe(element);
    return () => watch.disconnect();
  }, []);
  return width;
}
