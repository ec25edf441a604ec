// What is known of something that was asked for. "No data" and "all well" are different shapes, so that no page can confuse them.

/** `left`: nobody waits for the answer any more. */
export interface Trouble {
  kind: 'left' | 'gone' | 'refused' | 'unreadable' | 'not-found' | 'sign-in';
  /** One clause, as shown. */
  text: string;
}

export type Loaded<T> =
  | { kind: 'loading' }
  | { kind: 'failed'; trouble: Trouble }
  /** Was true once; `at` is when it came (the page's clock). */
  | { kind: 'stale'; value: T; at: number; trouble: Trouble }
  | { kind: 'ready'; value: T; at: number };

export const loading = { kind: 'loading' } as const;

export function arrived<T>(value: T, at: number): Loaded<T> {
  return { kind: 'ready', value, at };
}

/** What fails keeps what was there, as stale. */
export function failed<T>(before: Loaded<T>, trouble: Trouble): Loaded<T> {
  if (before.kind === 'ready' || before.kind === 'stale') return { kind: 'stale', value: before.value, at: before.at, trouble };
  return { kind: 'failed', trouble };
}

export function value_of<T>(loaded: Loaded<T>): T | null {
  return loaded.kind === 'ready' || loaded.kind === 'stale' ? loaded.value : null;
}
