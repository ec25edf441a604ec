// A warning with its evidence, its causes, what to check, what to mind, its life; and what a person may do with it.
import './warning_card.css';
import { useState } from 'preact/hooks';
import type { ComponentChildren } from 'preact';
import { act_words, acts_of, done_words, evidence_words, found_words, is_open, life_words, remaining, shelf_choices } from '../model/warnings';
import { counted, date_words, duration_words, moment_words } from '../model/words';
import { send } from '../wire/http';
import { warning as decoder, type ActKind, type ActRequest, type Warning } from '../wire/types';
import { Marked } from './mark';
import { NameField, use_name } from './name';
import { local, may_respond, use_place } from './place';
import { WhoHears } from './who_hears';

interface Props {
  warning: Warning;
  now: number;
  /** Stands over what was found: the station, where it is not the page's. */
  heading?: ComponentChildren;
  changed: (warning: Warning) => void;
  /** Where the figures come from that the evidence names. */
  source?: ComponentChildren;
}

export function WarningCard({ warning, now, heading, changed, source }: Props) {
  const left = remaining(warning.forecast, now);
  const open = is_open(warning);
  return (
    <article class={`warning${open ? '' : ' over'}`} data-key={warning.key}>
      <header>
        {open ? <Marked kind={warning.urgency} /> : <Marked kind="well" word="Over" />}
        <h3>{heading}{found_words(warning)}</h3>
        <span class="soft">
          {open
            ? `since ${moment_words(warning.raised_ms, local)}, ${duration_words(now - warning.raised_ms)}`
            : `${moment_words(warning.raised_ms, local)} to ${moment_words(warning.cleared_ms ?? 0, local)}`}
          ; {life_words(warning, local)}
        </span>
      </header>
      {open && left !== null && (
        <p class="left">
          {left.words === 'now' ? <strong>The limit is met now</strong> : <>Limit expected in <strong>{left.words}</strong></>}
          {left.range !== '' && <> ({left.range}, in 8 of 10 cases)</>}
          {warning.forecast.limit_at_ms !== null && <span class="soft">: {date_words(warning.forecast.limit_at_ms, local)}</span>}
        </p>
      )}
      {warning.figure !== null && (
        <p>
          {evidence_words(warning)}
          {warning.figure.since_ms !== null && <>, since {moment_words(warning.figure.since_ms, local)}</>}
          {warning.figure.turns > 0 && <>; from {counted(warning.figure.turns, 'turn')}</>}. {source}
        </p>
      )}
      {open && warning.causes.length > 0 && <Causes warning={warning} />}
      {open && warning.evidence.length > 0 && (
        <p class="evidence">
          <span class="soft">What speaks for {warning.causes[0]?.words ?? 'it'}:</span>{' '}
          {warning.evidence.map((e) => e.text).join('; ')}.
        </p>
      )}
      {open && <p class="caution"><strong>Caution.</strong> {warning.caution.replace(/^Caution:\s*/, '').replace(/^./, (c) => c.toUpperCase())}</p>}
      <Acts warning={warning} now={now} changed={changed} />
      {warning.acts.length > 0 && <Story warning={warning} />}
      {open && <WhoHears warning={warning} now={now} />}
    </article>
  );
}

function Causes({ warning }: { warning: Warning }) {
  return (
    <ol class="causes">
      {warning.causes.filter((c, i) => i < 3 || c.weight >= 0.1).map((cause, i) => (
        <li key={cause.cause}>
          <span class="number">{Math.round(cause.weight * 100)} %</span>
          <span class="weight"><i style={{ width: `${cause.weight * 100}%` }} /></span>
          <span>
            <strong>{cause.words}</strong>
            {(i < 2) && <> <span class="check">First check: {cause.first_check}</span> {cause.bring !== '' && <span class="soft">Bring: {cause.bring}.</span>}</>}
          </span>
        </li>
      ))}
    </ol>
  );
}

function Story({ warning }: { warning: Warning }) {
  return (
    <details class="story">
      <summary>What became of it ({warning.acts.length})</summary>
      <ol>
        {warning.acts.map((act, i) => (
          <li key={i}>
            <span class="soft">{moment_words(act.at_ms, local)}</span> {done_words(act.act)}
            {act.until_ms !== null && <> until {moment_words(act.until_ms, local)}</>}
            {act.by !== '' && <> by {act.by}{act.via !== '' && act.via !== 'page' ? ` (${act.via})` : ''}</>}
            {act.note !== '' && <>: {act.note}</>}
          </li>
        ))}
      </ol>
    </details>
  );
}

function Acts({ warning, now, changed }: { warning: Warning; now: number; changed: Props['changed'] }) {
  const { session } = use_place();
  const [doing, set_doing] = useState<ActKind | null>(null);
  if (!may_respond(session)) return null;
  return (
    <div class="acts no-print">
      <div class="act-buttons">
        {acts_of(warning.life).map((act) => (
          <button key={act} aria-expanded={doing === act} onClick={() => set_doing(doing === act ? null : act)}>{act_words[act]}</button>
        ))}
      </div>
      {doing !== null && (
        <ActForm
          key={doing} act={doing} warning={warning} now={now}
          done={(next) => {
            set_doing(null);
            if (next !== null) changed(next);
          }}
        />
      )}
    </div>
  );
}

interface FormProps {
  act: ActKind;
  warning: Warning;
  now: number;
  done: (changed: Warning | null) => void;
}

function ActForm({ act, warning, now, done }: FormProps) {
  const { session } = use_place();
  const { name, set_name, asked, by } = use_name();
  const choices = shelf_choices(warning.urgency);
  const [days, set_days] = useState(choices[0]?.days ?? 1);
  const [note, set_note] = useState('');
  const [state, set_state] = useState<{ sending: boolean; refused: string }>({ sending: false, refused: '' });
  const submit = (event: SubmitEvent): void => {
    event.preventDefault();
    const body: ActRequest = { act, raised_ms: warning.raised_ms, ...by };
    if (note.trim() !== '') body.note = note.trim();
    if (act === 'shelve') body.until_ms = Math.round(now + days * 86_400_000);
    set_state({ sending: true, refused: '' });
    void send(new AbortController().signal, 'POST', `/warnings/${warning.key}/acts`, session?.token ?? null, body, decoder).then((answer) => {
      if (answer.ok) done(answer.value);
      else set_state({ sending: false, refused: answer.trouble.text });
    });
  };
  return (
    <form class="act-form" onSubmit={submit}>
      {act === 'shelve' && (
        <label class="field">
          For
          <select value={days} onChange={(e) => set_days(Number(e.currentTarget.value))}>
            {choices.map((c) => <option key={c.days} value={c.days}>{c.words}</option>)}
          </select>
        </label>
      )}
      <label class="field wide">
        {act === 'note' ? 'Note' : 'Note, if there is something to say'}
        <input value={note} maxLength={500} required={act === 'note'} onInput={(e) => set_note(e.currentTarget.value)} />
      </label>
      {asked && <NameField name={name} set_name={set_name} />}
      <button class="first" disabled={state.sending}>{state.sending ? 'Sending…' : act_words[act]}</button>
      <button type="button" onClick={() => done(null)}>Leave it</button>
      {state.refused !== '' && <p role="alert" class="refused">Not done: {state.refused}</p>}
    </form>
  );
}
