// The samples are held against the API's document and the gateway's answers by the C++ tests; here the page reads the same files.
import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import type { Decoder } from './decode';
import * as types from './types';

const samples = new URL('../../../../tests/page/samples/', import.meta.url);
const sample = (name: string): unknown => JSON.parse(readFileSync(new URL(name, samples), 'utf8')) as unknown;

const files: readonly (readonly [string, Decoder<unknown>])[] = [
  ['session.json', types.session],
  ['fleet.json', types.fleet],
  ['strips.json', types.strips],
  ['station.json', types.station],
  ['turns.json', types.turns],
  ['turn.json', types.turn_detail],
  ['reservoir.json', types.reservoir_days],
  ['forecasts.json', types.forecast_days],
  ['notes.json', types.notes],
  ['who.json', types.who_hears],
  ['messages.json', types.messages],
  ['warning.json', types.warning],
  ['warnings.json', types.warnings],
  ['refill-round.json', types.refill_round],
  ['thresholds.json', types.thresholds],
  ['problem.json', types.problem],
];

describe('answers', () => {
  // The page would show an error in place of the plant.
  test.each(files)('%s is read', (name, decoder) => {
    expect(decoder(sample(name), '')).toBeTruthy();
  });

  // A member that is missing or of another kind would come up somewhere in the page as undefined.
  test.each(files.filter(([name]) => name !== 'problem.json'))('%s without any one of its members is refused, and where is said', (name, decoder) => {
    const whole = sample(name) as Record<string, unknown>;
    for (const member of Object.keys(whole)) {
      const less = { ...whole, [member]: { of: 'another kind' } };
      expect(() => decoder(less, ''), member).toThrow(`/${member}`);
    }
  });

  // A number that is none would be drawn as a point at zero.
  test('a column with a text in it is refused at its place', () => {
    const fleet = sample('fleet.json') as { columns: Record<string, unknown[]> };
    const heard = [...(fleet.columns['heard_s'] ?? [])];
    heard[1] = '18000';
    expect(() => types.fleet({ ...fleet, columns: { ...fleet.columns, heard_s: heard } }, '')).toThrow('/columns/heard_s/1');
  });

  // The live feed would fall silent without a word.
  test('every event of the live feed is read', () => {
    const text = readFileSync(new URL('live.txt', samples), 'utf8');
    const decoders: Record<string, Decoder<unknown>> = {
      hello: types.live_hello, pulse: types.live_pulse, fleet: types.live_fleet, warning: types.live_warning, pressure: types.live_pressure,
      turn: types.live_turn, told: types.live_told, note: types.live_note,
    };
    let read = 0;
    for (const event of text.split('\n\n')) {
      const kind = /^event: (.*)$/m.exec(event)?.[1];
      const data = /^data: (.*)$/m.exec(event)?.[1];
      if (kind === undefined || data === undefined) continue;
      expect(decoders[kind]?.(JSON.parse(data), '')).toBeTruthy();
      ++read;
    }
    expect(read).toBeGreaterThanOrEqual(6);
  });
});
