// A list of thousands: only the rows in view are drawn, the window scrolls, and the focus moves by keys from row to row.
import { Component } from 'preact';
import { useEffect, useLayoutEffect, useRef, useState } from 'preact/hooks';
import { moved, rows_in_view, type Slice } from '../model/rows_in_view';

interface Props<Row> {
  rows: readonly Row[];
  key_of: (row: Row) => string;
  /** Height of a row, as a CSS length in rem, by the width of the window: the sheet's breakpoints say the same. */
  row_rem: (window_width: number) => number;
  class: string;
  label: string;
  columns: number;
  header: preact.ComponentChildren;
  draw: (row: Row, focused: boolean) => preact.ComponentChildren;
  /** A row is drawn anew when it, its focus or one of these has changed. */
  stamps: (row: Row) => readonly unknown[];
  seen: (slice: Slice) => void;
}

const rows_beyond = 8;

interface DrawnProps<Row> {
  row: Row;
  focused: boolean;
  stamps: readonly unknown[];
  draw: Props<Row>['draw'];
}

class Drawn<Row> extends Component<DrawnProps<Row>> {
  override shouldComponentUpdate(next: DrawnProps<Row>): boolean {
    const now = this.props;
    return next.row !== now.row || next.focused !== now.focused || next.stamps.some((stamp, i) => stamp !== now.stamps[i]);
  }

  override render({ row, focused, draw }: DrawnProps<Row>) {
    return <>{draw(row, focused)}</>;
  }
}

export function LongList<Row>(props: Props<Row>) {
  const { rows, key_of, row_rem, draw, seen } = props;
  const list = useRef<HTMLDivElement>(null);
  const [slice, set_slice] = useState<Slice>({ first: 0, end: Math.min(rows.length, 40) });
  const [rem, set_rem] = useState(() => row_rem(window.innerWidth));
  const [focus_key, set_focus_key] = useState<string | null>(null);
  const wants_focus = useRef(false);

  const row_px = (): number => row_rem(window.innerWidth) * parseFloat(getComputedStyle(document.documentElement).fontSize);

  useLayoutEffect(() => {
    let waiting = 0;
    let height = row_px();
    const look = (): void => {
      waiting = 0;
      if (list.current === null) return;
      const top = list.current.getBoundingClientRect().top;
      const now = rows_in_view(top, window.innerHeight, height, rows.length, rows_beyond);
      set_slice((before) => (before.first === now.first && before.end === now.end ? before : now));
    };
    const soon = (): void => {
      if (waiting === 0) waiting = requestAnimationFrame(look);
    };
    look();
    window.addEventListener('scroll', soon, { passive: true });
    const resized = (): void => {
      height = row_px();
      set_rem(row_rem(window.innerWidth));
      soon();
    };
    window.addEventListener('resize', resized);
    return () => {
      cancelAnimationFrame(waiting);
      window.removeEventListener('scroll', soon);
      window.removeEventListener('resize', resized);
    };
  }, [rows.length]);

  useEffect(() => seen(slice), [slice, rows]);

  const found = focus_key === null ? -1 : rows.findIndex((row) => key_of(row) === focus_key);
  const focus = Math.max(0, found);

  useLayoutEffect(() => {
    if (!wants_focus.current || list.current === null) return;
    const link = list.current.querySelector<HTMLElement>(`[data-row="${focus}"] a`);
    if (link === null) return;
    wants_focus.current = false;
    link.focus({ preventScroll: true });
  });

  const on_key = (event: KeyboardEvent): void => {
    if (!(event.target instanceof HTMLAnchorElement) || event.ctrlKey || event.metaKey || event.altKey) return;
    const page = Math.max(1, Math.floor(window.innerHeight / row_px()) - 3);
    const to = moved(focus, event.key, rows.length, page);
    const row = to === null ? undefined : rows[to];
    if (to === null || row === undefined || list.current === null) return;
    event.preventDefault();
    wants_focus.current = true;
    set_focus_key(key_of(row));
    const top = list.current.getBoundingClientRect().top + to * row_px();
    const head = 4 * row_px();
    if (top < head) window.scrollBy(0, top - head);
    else if (top + row_px() > window.innerHeight) window.scrollBy(0, top + 2 * row_px() - window.innerHeight);
  };

  const drawn: number[] = [];
  for (let i = slice.first; i < Math.min(slice.end, rows.length); ++i) drawn.push(i);
  // The focused row stays in the document, or the focus would be lost to the page's top while scrolling.
  if (found >= 0 && (found < slice.first || found >= slice.end)) drawn.push(found);
  return (
    <div class={props.class} role="table" aria-label={props.label} aria-rowcount={rows.length + 1} aria-colcount={props.columns}>
      {props.header}
      <div ref={list} role="rowgroup" class="rows" style={{ height: `${rows.length * rem}rem` }} onKeyDown={on_key}>
        {drawn.map((i) => {
          const row = rows[i];
          if (row === undefined) return null;
          return (
            <div
              key={key_of(row)} role="row" class="row" aria-rowindex={i + 2} data-row={i}
              style={{ transform: `translateY(${i * rem}rem)` }}
              onFocusIn={() => set_focus_key(key_of(row))}
            >
              <Drawn row={row} focused={i === focus} stamps={props.stamps(row)} draw={draw} />
            </div>
          );
        })}
      </div>
    </div>
  );
}
