// Proposals: saved, looked at, judged in silence, put in force, taken back; and the log of it all.
import { useEffect, useRef, useState } from 'preact/hooks';
import { value_of, type Loaded } from '../../model/loaded';
import { log_of, patch_of, type Group, type TrialAsked } from '../../model/trial';
import { moment_words } from '../../model/words';
import { TroubleNote } from '../../parts/load';
import { NameField, use_name } from '../../parts/name';
import { local, use_place } from '../../parts/place';
import { send } from '../../wire/http';
import { proposal as proposal_decoder, type Proposal, type Proposals } from '../../wire/trial';

export function Save({ asked, groups }: { asked: TrialAsked; groups: readonly Group[] }) {
  const { session } = use_place();
  const { name, set_name, asked: ask_name, by } = use_name();
  const [reach, set_reach] = useState('');
  const [why, set_why] = useState('');
  const [words, set_words_] = useState('');
  const thresholds = patch_of(asked.condition, asked.first);
  if (session !== null && !session.open && session.role !== 'engineer') return <p class="soft">To propose thresholds needs the role engineer.</p>;
  const picked = asked.along !== '' && !groups.some((g) => g.for === asked.along) && asked.along !== asked.station ? [{ for: asked.along, stations: asked.along.split(',') }] : [];
  const fit = [...picked, ...groups.filter((g) => g.stations.includes(asked.station))];
  const submit = (event: SubmitEvent): void => {
    event.preventDefault();
    const body = { for: reach === '' || !fit.some((g) => g.for === reach) ? asked.station : reach, thresholds, why: why.trim(), ...by };
    void send(new AbortController().signal, 'POST', '/proposals', session?.token ?? null, body, proposal_decoder).then((answer) => {
      set_words_(answer.ok ? `Proposed as ${answer.value.name}.` : `Not taken: ${answer.trouble.text}`);
      if (answer.ok) dispatchEvent(new Event('driftline-proposals'));
    });
  };
  return (
    <form class="trial-save" onSubmit={submit}>
      <h2>Propose the candidate</h2>
      <label class="field">
        For
        <select value={reach} onChange={(e) => set_reach(e.currentTarget.value)}>
          <option value="">{asked.station}</option>
          {fit.map((g) => <option key={g.for} value={g.for}>{g.for === 'all' ? 'all stations' : g.stations.length > 1 && g.for.includes(',') ? 'those picked by hand' : g.for} ({g.stations.length})</option>)}
        </select>
      </label>
      <label class="field">
        Why
        <input value={why} required maxLength={500} onInput={(e) => set_why(e.currentTarget.value)} />
      </label>
      {ask_name && <NameField name={name} set_name={set_name} />}
      <button disabled={Object.keys(thresholds).length === 0}>Propose</button>
      {words !== '' && <p role="status">{words}</p>}
    </form>
  );
}

/** What is judged in silence goes on by the minute. */
const silence_every_ms = 30_000;

const acts: Record<Proposal['state'], readonly { act: string; words: string }[]> = {
  proposed: [{ act: 'enforce', words: 'Put in force' }, { act: 'silent', words: 'Judge in silence first' }, { act: 'withdraw', words: 'Withdraw' }],
  silent: [{ act: 'enforce', words: 'Put in force' }, { act: 'withdraw', words: 'Withdraw' }],
  'in-force': [{ act: 'take-back', words: 'Take back' }],
  'taken-back': [{ act: 'enforce', words: 'Put in force again' }, { act: 'withdraw', words: 'Withdraw' }],
  withdrawn: [],
};

export function ProposalList({ loaded, again }: { loaded: Loaded<Proposals>; again: () => void }) {
  const { session } = use_place();
  const known = value_of(loaded);
  const silent = known?.proposals.some((p) => p.state === 'silent') === true;
  useEffect(() => {
    if (!silent) return undefined;
    const timer = setInterval(again, silence_every_ms);
    return () => clearInterval(timer);
  }, [silent, again]);
  const may = session !== null && (session.open || session.role === 'engineer');
  return (
    <section class="trial-proposals">
      <h2>Proposals</h2>
      {loaded.kind === 'failed' && <TroubleNote trouble={loaded.trouble} again={again} />}
      {known !== null && known.proposals.length === 0 && <p class="empty">None yet.</p>}
      {known?.proposals.map((p) => <One key={p.name} proposal={p} may={may} again={again} />)}
      {known !== null && known.proposals.length > 0 && <Log known={known} />}
    </section>
  );
}

function One({ proposal, may, again }: { proposal: Proposal; may: boolean; again: () => void }) {
  const { session } = use_place();
  const { name, set_name, asked, by } = use_name();
  const [why, set_why] = useState('');
  const [words, set_words_] = useState('');
  const [days, set_days] = useState(14);
  const form = useRef<HTMLFormElement>(null);
  const last = proposal.done[proposal.done.length - 1];
  const act = (what: string): void => {
    // Taking back is one action: the reason may be left out.
    const reason = why.trim() !== '' || what !== 'take-back' ? why.trim() : 'taken back at the page';
    if (what !== 'take-back' && form.current?.reportValidity() === false) return;
    void send(new AbortController().signal, 'POST', `/proposals/${proposal.name}/acts`, session?.token ?? null, { act: what, why: reason, ...(what === 'silent' ? { days } : {}), ...by }, proposal_decoder).then((answer) => {
      set_words_(answer.ok ? [`${answer.value.state}.`, ...answer.value.files.map((f) => `Written: ${f}.`), ...answer.value.notes].join(' ') : `Not done: ${answer.trouble.text}`);
      if (answer.ok) again();
    });
  };
  return (
    <article class="proposal">
      <h3>{proposal.name} <span class={`state ${proposal.state}`}>{proposal.state}</span></h3>
      <p>For {proposal.for}: <code>{JSON.stringify(proposal.thresholds)}</code></p>
      {last !== undefined && <p class="soft">{moment_words(last.at_ms, local)}: {last.act} by {last.by}{last.why === '' ? '' : `, “${last.why}”`}</p>}
      {proposal.silence !== null && proposal.state === 'silent' && <Silence silence={proposal.silence} />}
      {may && acts[proposal.state].length > 0 && (
        <form ref={form} onSubmit={(e) => e.preventDefault()}>
          <label class="field">
            Why
            <input value={why} required={proposal.state !== 'in-force'} maxLength={500} onInput={(e) => set_why(e.currentTarget.value)} />
          </label>
          {asked && <NameField name={name} set_name={set_name} />}
          {proposal.state === 'proposed' && (
            <label class="field days">
              Days in silence
              <input type="number" min="1" max="366" value={days} onInput={(e) => set_days(Number(e.currentTarget.value))} />
            </label>
          )}
          <p class="acts">{acts[proposal.state].map((a) => <button key={a.act} type="button" onClick={() => act(a.act)}>{a.words}</button>)}</p>
        </form>
      )}
      {words !== '' && <p role="status">{words}</p>}
    </article>
  );
}

/** What was judged beside what is in force, while nobody was called. */
function Silence({ silence }: { silence: NonNullable<Proposal['silence']> }) {
  return (
    <div class="silence">
      <p>In silence up to {moment_words(silence.until_ms, local)}: {silence.words}.</p>
      {silence.differences.length > 0 && (
        <details>
          <summary>What differs ({silence.differences.length})</summary>
          <ul>{silence.differences.map((d) => <li key={d}>{d}</li>)}</ul>
        </details>
      )}
    </div>
  );
}

function Log({ known }: { known: Proposals }) {
  return (
    <details class="trial-log">
      <summary>What was done with thresholds</summary>
      <div class="wide" role="region" aria-label="what was done with thresholds" tabIndex={0}>
        <table class="trial-sets">
          <thead><tr><th>When</th><th>What</th><th>Proposal</th><th>For</th><th>By</th><th>Why</th></tr></thead>
          <tbody>
            {log_of(known.proposals).map((e) => (
              <tr key={`${e.proposal} ${e.at_ms} ${e.act}`}>
                <td>{moment_words(e.at_ms, local)}</td><td>{e.act}{e.days > 0 ? `, ${e.days} days` : ''}</td><td>{e.proposal}</td><td>{e.for}</td><td>{e.by}</td><td>{e.why}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </details>
  );
}
