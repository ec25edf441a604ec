// Who hears of a warning, and how the messages go out: in words.
import type { Channel, Heartbeat, Message, WhoHears } from '../wire/types';
import { counted, duration_words } from './words';

/** When the person is told, after the warning was raised at the time that was asked for. */
export function when_words(who: WhoHears, place: number): string {
  const first = place === 0 || who.all_at_once;
  if (first) return who.held_until_ms === null ? 'at once' : 'when quiet hours are over';
  return `after ${place * who.after_min} min without an answer`;
}

const kinds: Record<string, string> = {
  news: 'told', reminder: 'reminded', taken: 'told who took it', over: 'told that it is over', digest: 'daily digest', gateway: 'told of the gateway itself',
};
export function message_words(message: Message): string {
  const kind = kinds[message.kind] ?? message.kind;
  return `${message.person} ${kind} by ${message.channel}`;
}

export function state_words(message: Message, now_ms: number): string {
  switch (message.state) {
    case 'sent': return message.sent_ms === null ? 'sent' : `sent ${duration_words(now_ms - message.sent_ms)} ago`;
    case 'waiting': return message.due_ms > now_ms ? `due in ${duration_words(message.due_ms - now_ms)}` : `waiting for ${duration_words(now_ms - message.due_ms)}${message.tries > 0 ? `, tried ${counted(message.tries, 'time')}` : ''}`;
    case 'refused': return `refused: ${message.answer}`;
    case 'dropped': return 'not needed any more';
    case 'unsure': return 'handed over, without an answer';
    default: return message.state;
  }
}

/** A channel that has something due for longer than this is in trouble. */
const late_ms = 5 * 60_000;

export interface ChannelState {
  well: boolean;
  words: string;
}

export function channel_state(channel: Channel, now_ms: number): ChannelState {
  const late = channel.oldest_due_ms === null ? 0 : now_ms - channel.oldest_due_ms;
  const last = channel.last_sent_ms === null ? 'nothing sent in the last 7 days' : `last sent ${duration_words(now_ms - channel.last_sent_ms)} ago`;
  if (channel.due > 0 && late > late_ms)
    return { well: false, words: `${counted(channel.due, 'message')} cannot get out, the oldest for ${duration_words(late)}${channel.answer === '' ? '' : `: ${channel.answer}`}; ${last}` };
  if (channel.refused > 0) return { well: false, words: `${counted(channel.refused, 'message')} refused in the last 7 days${channel.answer === '' ? '' : `: ${channel.answer}`}; ${last}` };
  return { well: true, words: channel.due > 0 ? `${counted(channel.due, 'message')} on the way; ${last}` : last };
}

export function heartbeat_state(heartbeat: Heartbeat, now_ms: number): ChannelState {
  const each = `each ${duration_words(heartbeat.every_s * 1000)}`;
  const problem = heartbeat.problem === '' ? '' : `: ${heartbeat.problem}`;
  if (heartbeat.by === 'mqtt') return heartbeat.last_ms === null ? { well: false, words: `not given${problem}` } : { well: true, words: `on MQTT ${each}` };
  if (heartbeat.last_ms === null) return { well: heartbeat.problem === '', words: heartbeat.problem === '' ? `the outside watcher is called ${each}, not yet` : `the outside watcher has not answered${problem}` };
  const age = now_ms - heartbeat.last_ms;
  return { well: age < 3 * heartbeat.every_s * 1000, words: `the outside watcher answered ${duration_words(age)} ago, called ${each}${problem}` };
}
