// Which rows of a long list are drawn: those in view and some more, so that a fast scroll shows no holes.

export interface Slice {
  first: number;
  /** Behind the last. */
  end: number;
}

/** Rows come and go by so many: a scroll by one row draws nothing most times. */
const step = 4;

/** `list_top` is where the list begins below the upper edge of the view (negative once scrolled past), pixels. */
export function rows_in_view(list_top: number, view_height: number, row_height: number, rows: number, beyond: number): Slice {
  if (rows === 0 || row_height <= 0) return { first: 0, end: 0 };
  const first = step * Math.floor((Math.floor(-list_top / row_height) - beyond) / step);
  const end = step * Math.ceil((Math.ceil((view_height - list_top) / row_height) + beyond) / step);
  const clamp = (n: number): number => Math.min(rows, Math.max(0, n));
  return { first: clamp(first), end: clamp(end) };
}

/** Grown to whole blocks, so that what is fetched for it is fetched once. */
export function blocks_of(slice: Slice, block: number): readonly number[] {
  const found: number[] = [];
  for (let at = Math.floor(slice.first / block); at * block < slice.end; ++at) found.push(at);
  return found;
}

export function moved(focus: number, key: string, rows: number, page: number): number | null {
  const to = { ArrowDown: focus + 1, ArrowUp: focus - 1, PageDown: focus + page, PageUp: focus - page, Home: 0, End: rows - 1 }[key];
  return to === undefined || rows === 0 ? null : Math.min(rows - 1, Math.max(0, to));
}
