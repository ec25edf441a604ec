// A note at the machine, from a telephone: what was done, in two touches. The rules use it.
import './page.css';
import { useState } from 'preact/hooks';
import { value_of } from '../../model/loaded';
import { station_query, type Route } from '../../model/route';
import { clock_words } from '../../model/words';
import { use_loaded } from '../../parts/load';
import { NameField, use_name } from '../../parts/name';
import { Go, local, may_respond, use_place } from '../../parts/place';
import { send } from '../../wire/http';
import { accepted, station as station_decoder, type NoteKind, type NoteRequest } from '../../wire/types';

const kinds: readonly { kind: NoteKind; words: string; what: string; of_a_line: boolean }[] = [
  { kind: 'refilled', words: 'Refilled', what: 'grease was put into the reservoir', of_a_line: false },
  { kind: 'repaired', words: 'Repaired', what: 'something on it was mended; its next 6 turns are watched', of_a_line: true },
  { kind: 'purged', words: 'Purged', what: 'air was let out of a line', of_a_line: true },
  { kind: 'settings-changed', words: 'Settings changed', what: 'on purpose, at the controller', of_a_line: false },
  { kind: 'out-of-service', words: 'Out of service', what: 'turns and silence are not judged until it is back', of_a_line: false },
  { kind: 'back-in-service', words: 'Back in service', what: 'judge it again', of_a_line: false },
];

const ago = [
  { minutes: 0, words: 'just now' },
  { minutes: 30, words: 'half an hour ago' },
  { minutes: 60, words: 'an hour ago' },
  { minutes: 180, words: '3 hours ago' },
  { minutes: 480, words: '8 hours ago' },
  { minutes: 1440, words: 'a day ago' },
] as const;

type State = { kind: 'writing'; refused: string } | { kind: 'sending' } | { kind: 'taken'; at: number; words: string };

export function NotePage({ site, station }: { site: string; station: string }) {
  const { session } = use_place();
  const back: Route = { page: 'station', site, station, query: station_query };
  return (
    <div class="note-page">
      <h1>{station}<span class="soft">, {site}</span></h1>
      {session !== null && !may_respond(session)
        ? <p class="empty">Your role reads only: notes need the role responder. <Go to={back}>To the station</Go></p>
        : <Form site={site} station={station} back={back} />}
    </div>
  );
}

function Form({ site, station, back }: { site: string; station: string; back: Route }) {
  const { session } = use_place();
  const { loaded } = use_loaded(`/stations/${site}/${station}`, station_decoder);
  const lines = value_of(loaded)?.lines.length ?? 2;
  const { name, set_name, asked, by } = use_name();
  const [kind, set_kind] = useState<NoteKind | null>(null);
  const [line, set_line] = useState<number | null>(null);
  const [minutes, set_minutes] = useState(0);
  const [note, set_note] = useState('');
  const [state, set_state] = useState<State>({ kind: 'writing', refused: '' });
  const of_a_line = kinds.find((k) => k.kind === kind)?.of_a_line === true;

  if (state.kind === 'taken')
    return (
      <div class="taken" role="status">
        <p><strong>Taken</strong> at {clock_words(state.at, local)}: {state.words}. The rules use it from now on.</p>
        <p><Go to={back}>To the station</Go></p>
        <button onClick={() => { set_kind(null); set_note(''); set_state({ kind: 'writing', refused: '' }); }}>Another note</button>
      </div>
    );
  const submit = (event: SubmitEvent): void => {
    event.preventDefault();
    if (kind === null) return;
    const body: NoteRequest = { kind, ...by };
    if (of_a_line && line !== null) body.line = line;
    if (note.trim() !== '') body.note = note.trim();
    if (minutes > 0) body.time_ms = Date.now() - minutes * 60_000;
    set_state({ kind: 'sending' });
    const words = `${kinds.find((k) => k.kind === kind)?.words ?? kind}${of_a_line && line !== null ? `, line ${line}` : ''}`;
    void send(new AbortController().signal, 'POST', `/stations/${site}/${station}/notes`, session?.token ?? null, body, accepted).then((answer) => {
      if (answer.ok) set_state({ kind: 'taken', at: answer.value.accepted_ms, words });
      else set_state({ kind: 'writing', refused: answer.trouble.text });
    });
  };
  return (
    <form class="note-form" onSubmit={submit}>
      {loaded.kind === 'failed' && loaded.trouble.kind === 'not-found' && <p class="soft">No station of this name has been heard yet.</p>}
      <fieldset>
        <legend>What was done</legend>
        {kinds.map((k) => (
          <label key={k.kind} class="choice">
            <input type="radio" name="kind" value={k.kind} required checked={kind === k.kind} onChange={() => set_kind(k.kind)} />
            <span><strong>{k.words}</strong> <span class="soft">{k.what}</span></span>
          </label>
        ))}
      </fieldset>
      {of_a_line && (
        <fieldset>
          <legend>On which line</legend>
          <div class="line-choices">
            {[null, ...Array.from({ length: lines }, (_, i) => i + 1)].map((n) => (
              <label key={n ?? 0} class="choice">
                <input type="radio" name="line" checked={line === n} onChange={() => set_line(n)} />
                <span>{n === null ? 'the whole station' : `line ${n}`}</span>
              </label>
            ))}
          </div>
        </fieldset>
      )}
      <label class="field">
        When
        <select value={minutes} onChange={(e) => set_minutes(Number(e.currentTarget.value))}>
          {ago.map((a) => <option key={a.minutes} value={a.minutes}>{a.words}</option>)}
        </select>
      </label>
      <label class="field">
        In your words (not needed)
        <textarea rows={3} maxLength={500} value={note} onInput={(e) => set_note(e.currentTarget.value)} />
      </label>
      {asked && <NameField name={name} set_name={set_name} />}
      {state.kind === 'writing' && state.refused !== '' && <p role="alert" class="refused">Not taken: {state.refused}</p>}
      <div class="note-ends">
        <button class="first" disabled={state.kind === 'sending'}>{state.kind === 'sending' ? 'Sending…' : 'Note it'}</button>
        <Go to={back}>Leave it</Go>
      </div>
    </form>
  );
}
