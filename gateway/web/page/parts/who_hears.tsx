// Who hears of a warning at a time, and why; what has been sent about it.
import './who_hears.css';
import { useState } from 'preact/hooks';
import { message_words, state_words, when_words } from '../model/duty';
import { value_of } from '../model/loaded';
import { moment_words } from '../model/words';
import { messages as messages_decoder, who_hears as decoder, type Warning } from '../wire/types';
import { TroubleNote, use_loaded, Waiting } from './load';
import { local } from './place';

export function WhoHears({ warning, now }: { warning: Warning; now: number }) {
  const [open, set_open] = useState(false);
  return (
    <details class="story" onToggle={(e) => set_open(e.currentTarget.open)}>
      <summary>Who hears of it</summary>
      {open && <Hears warning={warning} />}
      {open && <Sent warning={warning} now={now} />}
    </details>
  );
}

function Hears({ warning }: { warning: Warning }) {
  const [at_ms, set_at_ms] = useState<number | null>(null);
  const { loaded, again } = use_loaded(`/warnings/${warning.key}/who${at_ms === null ? '' : `?at_ms=${at_ms}`}`, decoder);
  const who = value_of(loaded);
  if (loaded.kind === 'failed') return <TroubleNote trouble={loaded.trouble} again={again} />;
  if (who === null) return <Waiting what="the duty list" />;
  if (!who.duty) return <p class="soft">No duty list is set up (duty.json): nobody is sent a message. Whoever looks at this page sees the warning.</p>;
  return (
    <div class="who-hears">
      <label class="field">
        If it were raised, with this urgency, at
        <input
          type="datetime-local" value={at_ms === null ? '' : field_of(at_ms)}
          onChange={(e) => set_at_ms(e.currentTarget.value === '' ? null : new Date(e.currentTarget.value).getTime())}
        />
      </label>
      <p>{at_ms === null ? 'Now: ' : ''}{who.local}.{who.held_until_ms !== null && <> Quiet hours hold it back until {moment_words(who.held_until_ms, local)}.</>}</p>
      {who.people.length === 0 ? <p class="soft">Nobody is told.</p> : (
        <ol class="who-people">
          {who.people.map((p, i) => (
            <li key={`${p.name}${i}`}><strong>{p.name}</strong> by {p.channels.join(', ') || 'no channel'}, <span class="soft">{when_words(who, i)}</span></li>
          ))}
        </ol>
      )}
      <ul class="plain soft">{who.why.map((why, i) => <li key={i}>{why}</li>)}</ul>
    </div>
  );
}

function Sent({ warning, now }: { warning: Warning; now: number }) {
  const { loaded } = use_loaded(`/messages?warning=${warning.key}`, messages_decoder);
  const found = value_of(loaded);
  if (found === null || found.messages.length === 0) return null;
  return (
    <>
      <p class="soft">What went out about it:</p>
      <ul class="plain">
        {found.messages.map((m) => (
          <li key={m.id}><span class="soft">{moment_words(m.made_ms, local)}</span> {message_words(m)}: {state_words(m, now)}</li>
        ))}
      </ul>
    </>
  );
}

function field_of(ms: number): string {
  return new Date(ms - new Date(ms).getTimezoneOffset() * 60_000).toISOString().slice(0, 16);
}
