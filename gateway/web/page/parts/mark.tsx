// A shape for each thing that must not be told by colour alone. The word stands beside it.
import type { StationState, Urgency } from '../wire/types';

export type MarkKind = Urgency | 'silent' | 'off' | 'well';

const shapes: Record<MarkKind, string> = {
  act: 'M8 1 L15.5 14.5 H0.5 Z',
  plan: 'M8 0.5 L15.5 8 L8 15.5 L0.5 8 Z',
  notice: 'M8 2 A6 6 0 1 1 7.99 2 Z',
  silent: 'M2 2 H14 V14 H2 Z',
  off: 'M2 2 H14 V14 H2 Z M2 14 L14 2',
  well: 'M8 5.5 A2.5 2.5 0 1 1 7.99 5.5 Z',
};

export function Mark({ kind }: { kind: MarkKind }) {
  return (
    <svg class="mark" viewBox="0 0 16 16" aria-hidden="true">
      <path class={`mark-${kind}`} d={shapes[kind]} />
    </svg>
  );
}

const words: Record<MarkKind, string> = { act: 'Act', plan: 'Plan', notice: 'Note', silent: 'Silent', off: 'Off', well: 'Well' };

/** Shape, colour and word. */
export function Marked({ kind, word }: { kind: MarkKind; word?: string }) {
  return (
    <span class={`urgency urgency-${kind}`}>
      <Mark kind={kind} />
      <span>{word ?? words[kind]}</span>
    </span>
  );
}

export function mark_of(state: StationState, urgency: Urgency | null): MarkKind {
  if (state === 'silent' || state === 'never-heard') return 'silent';
  if (urgency !== null) return urgency;
  return state === 'heard' ? 'well' : 'off';
}
