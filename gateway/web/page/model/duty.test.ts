import { describe, expect, test } from 'vitest';
import type { Channel, WhoHears } from '../wire/types';
import { channel_state, heartbeat_state, when_words } from './duty';

const now = 1_772_517_600_000;
const channel: Channel = { channel: 'mail', due: 0, oldest_due_ms: null, last_sent_ms: now - 60_000, refused: 0, unsure: 0, answer: '' };
const who: WhoHears = { duty: true, at_ms: now, local: 'Tuesday, 06:00 in UTC', urgency: 'act', why: [], held_until_ms: null, all_at_once: false, after_min: 15, people: [] };

describe('duty', () => {
  // A channel that is dead would look as if there were nothing to say.
  test('what is due and does not get out is trouble, what is just on its way is not', () => {
    expect(channel_state(channel, now)).toEqual({ well: true, words: 'last sent 60 s ago' });
    expect(channel_state({ ...channel, due: 2, oldest_due_ms: now - 20_000 }, now).well).toBe(true);
    const dead = channel_state({ ...channel, due: 2, oldest_due_ms: now - 3_600_000, answer: 'connection refused' }, now);
    expect(dead.well).toBe(false);
    expect(dead.words).toContain('2 messages cannot get out, the oldest for 60 min: connection refused');
    expect(channel_state({ ...channel, refused: 1 }, now).well).toBe(false);
  });

  // The one who would call when all is dead is dead himself, and nobody knows.
  test('an outside watcher that does not answer is trouble', () => {
    const beat = { by: 'webhook', every_s: 300, last_ms: now - 120_000, problem: '' };
    expect(heartbeat_state(beat, now)).toEqual({ well: true, words: 'the outside watcher answered 2 min ago, called each 5 min' });
    expect(heartbeat_state({ ...beat, last_ms: now - 1_200_000, problem: 'refused' }, now).well).toBe(false);
    expect(heartbeat_state({ ...beat, last_ms: null, problem: 'refused' }, now).well).toBe(false);
    expect(heartbeat_state({ by: 'mqtt', every_s: 30, last_ms: null, problem: 'the broker is away' }, now)).toEqual({ well: false, words: 'not given: the broker is away' });
  });

  test('the order of telling is said in minutes', () => {
    expect([0, 1, 2].map((i) => when_words(who, i))).toEqual(['at once', 'after 15 min without an answer', 'after 30 min without an answer']);
    expect(when_words({ ...who, all_at_once: true }, 2)).toBe('at once');
    expect(when_words({ ...who, held_until_ms: now + 1 }, 0)).toBe('when quiet hours are over');
  });
});
