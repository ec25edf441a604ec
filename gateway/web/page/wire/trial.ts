// What the Trial bench is told; gateway/app/trial/bench.h and desk.h are its documents.
import { type Decoded, list, maybe, number, numbers, one_of, optional, record, text } from './decode';
import { urgency } from './types';

const price = record({ false_a_year: number, by_run_length: number, lead_days: number, lead_days_low: number });

const warning = record({
  line: maybe(number),
  urgency,
  raised_ms: number,
  cleared_ms: maybe(number),
  lead_days: maybe(number),
  difference: optional(text, 'same'),
});
export type TrialWarning = Decoded<typeof warning>;

const set = record({ name: text, warnings: list(warning), gone: list(warning), all_warnings: number, price: maybe(price), false_a_year: number });
export type TrialSet = Decoded<typeof set>;

const step = record({ value: number, false_a_year: number, by_run_length: number, lead_days: number, lead_days_low: number });
const curve = record({ threshold: text, steps: list(step), knee: maybe(number) });
export type TrialCurve = Decoded<typeof curve>;

export const trial = record({
  condition: text,
  figure: text,
  until_ms: number,
  turns: number,
  noise_days: number,
  lines: list(record({ line: number, start_ms: numbers, value: numbers, usual: numbers })),
  troubles: list(record({ at_ms: number, line: maybe(number), kind: text, note: text })),
  sets: list(set),
  curve: maybe(curve),
});
export type Trial = Decoded<typeof trial>;

const done = record({ act: text, at_ms: number, by: text, why: text, days: number });
export const proposal_state = one_of(['proposed', 'silent', 'in-force', 'taken-back', 'withdrawn']);
export const proposal = record({
  name: text,
  for: text,
  thresholds: (value: unknown): unknown => value,
  state: proposal_state,
  done: list(done),
  files: optional(list(text), []),
  notes: optional(list(text), []),
  silence: optional(maybe(record({ words: text, differences: list(text), until_ms: number })), null),
});
export type Proposal = Decoded<typeof proposal>;
export const proposals = record({ proposals: list(proposal), groups: list(record({ for: text, stations: list(text) })) });
export type Proposals = Decoded<typeof proposals>;
