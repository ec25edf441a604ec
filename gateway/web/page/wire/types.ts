// The HTTP API as this page uses it; gateway/web/openapi.json is the document. Types follow from the decoders.
import { type Decoded, figures, flag, list, maybe, number, numbers, one_of, optional, record, text } from './decode';

export const urgency = one_of(['notice', 'plan', 'act']);
export type Urgency = Decoded<typeof urgency>;

export const role = one_of(['viewer', 'responder', 'engineer']);
export const session = record({
  signed_in: flag,
  open: flag,
  user: maybe(text),
  role: maybe(role),
  token: maybe(text),
  now_ms: number,
  version: text,
});
export type Session = Decoded<typeof session>;

/** How fresh all of it is. `broker` away: nothing can be heard, whatever the rows say. */
export const feed = record({ broker: text, heard_ms: maybe(number), behind: number });
export type Feed = Decoded<typeof feed>;

export const state = one_of(['heard', 'silent', 'never-heard', 'out-of-service', 'not-judged']);
export type StationState = Decoded<typeof state>;

export const head = record({
  watched: number,
  silent: number,
  act: number,
  plan: number,
  notice: number,
  well: number,
  out_of_service: number,
  not_judged: number,
  unanswered: number,
  oldest_unanswered: maybe(record({ key: text, since_ms: number })),
});
export type Head = Decoded<typeof head>;

export const fleet_columns = record({
  site: numbers,
  station: list(text),
  lines: numbers,
  state: numbers,
  heard_s: figures,
  urgency: figures,
  condition: figures,
  line: figures,
  since_s: figures,
  life: figures,
  limit_days: figures,
  limit_days_earliest: figures,
  limit_days_latest: figures,
  cause: figures,
  open: numbers,
  unanswered: numbers,
  level_pct: figures,
  life_days: figures,
  life_days_low: figures,
  life_days_high: figures,
});
export type FleetColumns = Decoded<typeof fleet_columns>;

export const strip_shape = record({ from_ms: number, slot_s: number, slots: number, complete: flag });
export type StripShape = Decoded<typeof strip_shape>;
/** A line each: tenths of the usual deviation over (+) or under (-) the usual; 120: missed its target; null: no turn is known. */
export const strip = list(figures);
export type Strip = Decoded<typeof strip>;

export const fleet = record({
  now_ms: number,
  as_of_ms: number,
  revision: number,
  feed,
  head,
  sites: list(text),
  states: list(state),
  urgencies: list(urgency),
  conditions: list(text),
  condition_words: list(text),
  lives: list(text),
  causes: list(text),
  cause_words: list(text),
  columns: fleet_columns,
  strip: strip_shape,
  strips: list(strip),
});
export type Fleet = Decoded<typeof fleet>;

export const strips = record({ strip: strip_shape, stations: list(text), strips: list(maybe(strip)) });
export type Strips = Decoded<typeof strips>;
export const heard = record({ as_of_ms: number, stations: list(text), heard_ms: list(maybe(number)) });
export type Heard = Decoded<typeof heard>;

export const forecast = record({ limit_at_ms: maybe(number), limit_at_earliest_ms: maybe(number), limit_at_latest_ms: maybe(number) });
export type Forecast = Decoded<typeof forecast>;

export const weighted_cause = record({ cause: text, weight: number, words: text, first_check: text, bring: text });
export type WeightedCause = Decoded<typeof weighted_cause>;

export const figure_shift = record({
  figure: text,
  words: text,
  unit: text,
  value: number,
  usual: maybe(number),
  spread: maybe(number),
  limit: maybe(number),
  since_ms: maybe(number),
  turns: number,
});
export type FigureShift = Decoded<typeof figure_shift>;

export const evidence_item = record({ text, figure: text, value: maybe(number), usual: maybe(number), since_ms: maybe(number) });
export type EvidenceItem = Decoded<typeof evidence_item>;

export const act = record({ act: text, at_ms: number, by: text, via: text, note: text, life: text, until_ms: maybe(number) });
export type Act = Decoded<typeof act>;

export const life = one_of([
  'normal', 'unacknowledged', 'acknowledged', 'returned-unacknowledged', 'latched-unacknowledged', 'latched-acknowledged', 'shelved', 'suppressed',
  'out-of-service',
]);
export type Life = Decoded<typeof life>;

export const warning = record({
  key: text,
  site: text,
  station: text,
  line: maybe(number),
  condition: text,
  words: text,
  urgency,
  life,
  owner: maybe(text),
  shelved_until_ms: maybe(number),
  raised_ms: number,
  changed_ms: number,
  cleared_ms: maybe(number),
  subject: text,
  text,
  caution: text,
  causes: list(weighted_cause),
  evidence: list(evidence_item),
  forecast,
  figure: maybe(figure_shift),
  acts: list(act),
});
export type Warning = Decoded<typeof warning>;

export const warnings = record({ now_ms: number, as_of_ms: number, revision: number, warnings: list(warning), more: flag });
export type Warnings = Decoded<typeof warnings>;

export const who_hears = record({
  duty: flag,
  at_ms: number,
  local: text,
  urgency,
  why: list(text),
  held_until_ms: maybe(number),
  all_at_once: flag,
  after_min: number,
  people: list(record({ name: text, channels: list(text) })),
});
export type WhoHears = Decoded<typeof who_hears>;

export const channel = record({
  channel: text,
  due: number,
  oldest_due_ms: maybe(number),
  last_sent_ms: maybe(number),
  refused: number,
  unsure: number,
  answer: text,
});
export type Channel = Decoded<typeof channel>;

export const message = record({
  id: number,
  made_ms: number,
  due_ms: number,
  person: text,
  channel: text,
  kind: text,
  step: number,
  warning: maybe(text),
  urgency,
  state: text,
  tries: number,
  sent_ms: maybe(number),
  answer: text,
});
export type Message = Decoded<typeof message>;

export const heartbeat = record({ by: text, every_s: number, last_ms: maybe(number), problem: text });
export type Heartbeat = Decoded<typeof heartbeat>;
export const messages = record({ now_ms: number, duty: flag, channels: list(channel), heartbeat: maybe(heartbeat), messages: list(message) });
export type Messages = Decoded<typeof messages>;

export const settings = record({
  cycle_s: maybe(number),
  pump_limit_s: maybe(number),
  target_bar: maybe(number),
  residual_bar: maybe(number),
  lines: maybe(number),
});
export type Settings = Decoded<typeof settings>;

export const turn_in_progress = record({
  line: number,
  started_ms: number,
  elapsed_s: number,
  bar: maybe(number),
  target_bar: maybe(number),
  phase: one_of(['pumping', 'venting']),
  usual_s: maybe(number),
  remaining_s: maybe(number),
});
export type TurnInProgress = Decoded<typeof turn_in_progress>;

const usual = maybe(record({ expected: number, deviation: number }));
export type Usual = Decoded<typeof usual>;
export const outcome = one_of(['reached', 'not-reached', 'interrupted', 'unclear']);
export type Outcome = Decoded<typeof outcome>;

export const turn = record({
  id: number,
  line: number,
  pump_start_ms: number,
  pump_stop_ms: number,
  outcome,
  time_to_pressure_s: maybe(number),
  time_to_pressure_error_s: number,
  pump_run_s: maybe(number),
  peak_bar: maybe(number),
  residual_bar: maybe(number),
  vent_s: maybe(number),
  level_pct: maybe(number),
  temp_c: maybe(number),
  samples: number,
  largest_gap_s: maybe(number),
  vent_floor_bar: maybe(number),
  off_schedule: flag,
  clock_stepped: flag,
  late: flag,
  settings,
  usual: record({ time_to_pressure_s: usual, peak_bar: usual, residual_bar: usual, vent_s: usual }),
});
export type Turn = Decoded<typeof turn>;

export const curve = record({ id: number, pump_start_ms: number, temp_c: maybe(number), after_s: numbers, bar: numbers });
export type Curve = Decoded<typeof curve>;

export const turn_detail = record({
  turn,
  curve,
  shape: record({
    soft_start_s: maybe(number),
    plateau_start_s: maybe(number),
    plateau_s: maybe(number),
    plateau_bar: maybe(number),
    steep_bar_per_s: maybe(number),
    run_on_s: maybe(number),
  }),
  healthy: maybe(curve),
  healthy_why: text,
  previous_id: maybe(number),
  next_id: maybe(number),
});
export type TurnDetail = Decoded<typeof turn_detail>;

export const turn_columns = record({
  line: number,
  id: numbers,
  pump_start_ms: numbers,
  outcome: numbers,
  time_to_pressure_s: figures,
  peak_bar: figures,
  residual_bar: figures,
  vent_s: figures,
  usual_time_to_pressure_s: figures,
  deviation_time_to_pressure_s: figures,
  usual_peak_bar: figures,
  deviation_peak_bar: figures,
  usual_residual_bar: figures,
  deviation_residual_bar: figures,
  usual_vent_s: figures,
  deviation_vent_s: figures,
  temp_c: figures,
  level_pct: figures,
});
export type TurnColumns = Decoded<typeof turn_columns>;

export const turns = record({
  site: text,
  station: text,
  from_ms: number,
  to_ms: number,
  as_of_ms: number,
  outcomes: list(text),
  lines: list(turn_columns),
  thinned: flag,
  turns: number,
});
export type Turns = Decoded<typeof turns>;

export const reservoir_days = record({
  as_of_ms: number,
  date_ms: numbers,
  level_pct: figures,
  use_pct_per_day: figures,
  life_days: figures,
  life_days_low: figures,
  life_days_high: figures,
  readings: record({ at_ms: numbers, level_pct: numbers }),
  refills: list(record({ at_ms: number, from_pct: maybe(number), to_pct: maybe(number), noted: flag })),
  empty_at_ms: maybe(number),
  empty_at_earliest_ms: maybe(number),
  empty_at_latest_ms: maybe(number),
  low_pct: maybe(number),
  empty_pct: maybe(number),
  reservoir_kg: maybe(number),
  grease_density_kg_l: maybe(number),
});
export type ReservoirDays = Decoded<typeof reservoir_days>;

export const forecast_days = record({
  as_of_ms: number,
  series: list(
    record({
      line: maybe(number),
      condition: text,
      date_ms: numbers,
      limit_at_ms: figures,
      limit_at_earliest_ms: figures,
      limit_at_latest_ms: figures,
    }),
  ),
});
export type ForecastDays = Decoded<typeof forecast_days>;

export const line_now = record({
  line: number,
  last_turn: maybe(turn),
  turns_30_days: number,
  missed_target_30_days: number,
  design: maybe(record({ length_m: maybe(number), bore_mm: maybe(number), devices: maybe(number), charges_cm3: maybe(number) })),
});
export type LineNow = Decoded<typeof line_now>;

export const station = record({
  now_ms: number,
  as_of_ms: number,
  site: text,
  station: text,
  configured: flag,
  state,
  heard_ms: maybe(number),
  messages: number,
  samples: number,
  samples_behind: number,
  faults: number,
  lines: list(line_now),
  settings,
  design: record({
    displacement_cm3_min: maybe(number),
    reservoir_kg: maybe(number),
    grease_density_kg_l: maybe(number),
    low_pct: maybe(number),
    empty_pct: maybe(number),
  }),
  reservoir: maybe(
    record({
      date_ms: number,
      level_pct: maybe(number),
      use_pct_per_day: maybe(number),
      life_days: maybe(number),
      life_days_low: maybe(number),
      life_days_high: maybe(number),
    }),
  ),
  warnings: list(warning),
  in_progress: maybe(turn_in_progress),
});
export type Station = Decoded<typeof station>;

const threshold_value = (value: unknown): string =>
  value === null ? 'as is usual' : Array.isArray(value) ? (value.length === 0 ? 'none' : value.join('; ')) : String(value);
export const thresholds = record({ site: text, station: text, thresholds: list(record({ name: text, value: threshold_value, from: text })) });
export type Thresholds = Decoded<typeof thresholds>;

export const note = record({ at_ms: number, kind: text, line: maybe(number), note: text, by: text });
export type Note = Decoded<typeof note>;
export const notes = record({ notes: list(note) });
export type Notes = Decoded<typeof notes>;
export const accepted = record({ accepted_ms: number, by: text });
export type Accepted = Decoded<typeof accepted>;

export const refill_visit = record({
  site: text,
  station: text,
  level_pct: maybe(number),
  use_pct_per_day: maybe(number),
  life_days: maybe(number),
  life_days_low: maybe(number),
  life_days_high: maybe(number),
  visit_by_ms: maybe(number),
  kg: maybe(number),
  litres: maybe(number),
  urgency: maybe(urgency),
  why: text,
});
export type RefillVisit = Decoded<typeof refill_visit>;

export const refill_round = record({
  now_ms: number,
  as_of_ms: number,
  days: number,
  visits: list(refill_visit),
  kg: number,
  litres: number,
  unknown_amount: number,
  unknown_life: number,
});
export type RefillRound = Decoded<typeof refill_round>;

export const problem = record({
  title: optional(text, ''),
  status: optional(number, 0),
  detail: optional(text, ''),
  where: optional(text, ''),
  remedy: optional(text, ''),
});
export type Problem = Decoded<typeof problem>;

// The live feed.
export const live_hello = record({ now_ms: number, as_of_ms: number, feed, revision: number, resumed: flag });
export type LiveHello = Decoded<typeof live_hello>;
export const live_pulse = record({ now_ms: number, as_of_ms: number, feed });
export type LivePulse = Decoded<typeof live_pulse>;
export const live_fleet = record({
  revision: number,
  as_of_ms: number,
  head,
  sites: list(text),
  columns: fleet_columns,
  removed: optional(list(text), []),
  reload: optional(flag, false),
});
export type LiveFleet = Decoded<typeof live_fleet>;
export const live_pressure = record({
  station: text,
  at_ms: numbers,
  bar: list(figures),
  heard_ms: maybe(number),
  pump: maybe(flag),
  line: maybe(number),
  level_pct: maybe(number),
  temp_c: maybe(number),
});
export type LivePressure = Decoded<typeof live_pressure>;
export const live_turn = record({ station: text, turn: maybe(turn_in_progress) });
export const live_told = record({ station: text, turn });
export const live_warning = record({ key: text, change: text, urgency, subject: text, life: text, by: text, at_ms: number });
export const live_note = record({ station: text, note });
export type LiveWarning = Decoded<typeof live_warning>;
export type ActKind = 'acknowledge' | 'shelve' | 'unshelve' | 'reset' | 'take-out-of-service' | 'return-to-service' | 'note';
export interface ActRequest {
  act: ActKind;
  note?: string;
  until_ms?: number;
  raised_ms: number;
  by?: string;
}
export type NoteKind = 'refilled' | 'repaired' | 'purged' | 'settings-changed' | 'out-of-service' | 'back-in-service';
export interface NoteRequest {
  kind: NoteKind;
  line?: number;
  note?: string;
  time_ms?: number;
  by?: string;
}
