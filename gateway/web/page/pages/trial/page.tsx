// Trial bench: thresholds tried on a station's own history. Move one, and see which past turns would have warned and what it costs.
import './page.css';
import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import { value_of, type Trouble } from '../../model/loaded';
import {
  as_in_force, asked_of, difference_words, knob_of, off_slider, on_slider, patch_of, price_words, priced, question_of, rest_of,
  type TrialAsked, type TrialSettings,
} from '../../model/trial';
import { date_words, moment_words, plain } from '../../model/words';
import { TroubleNote, use_loaded, Waiting } from '../../parts/load';
import { NameField, use_name } from '../../parts/name';
import { local, use_place } from '../../parts/place';
import { send } from '../../wire/http';
import { proposal as proposal_decoder, proposals as proposals_decoder, trial as trial_decoder, type Proposal, type Trial, type TrialSet } from '../../wire/trial';
import { fleet as fleet_decoder } from '../../wire/types';

/** So long a slider must rest before it is asked for. */
const rest_ms = 80;

export function TrialPage({ rest }: { rest: string }) {
  const { go } = use_place();
  const [asked, set_asked] = useState<TrialAsked>(() => asked_of(rest));
  const move = (next: TrialAsked): void => {
    set_asked(next);
    go({ page: 'trial', rest: rest_of(next) }, 'replace');
  };
  return (
    <div class="trial">
      <h1>Trial bench</h1>
      <Pick asked={asked} move={move} />
      {asked.station === '' ? <p class="empty">Pick a station: its kept history is judged again with other thresholds, and nothing is changed.</p> : <Bench asked={asked} move={move} />}
      <Proposals />
    </div>
  );
}

interface Moved { asked: TrialAsked; move: (next: TrialAsked) => void }

function Pick({ asked, move }: Moved) {
  const { loaded } = use_loaded('/fleet', fleet_decoder);
  const known = value_of(loaded);
  const names = useMemo(() => (known === null ? [] : known.columns.station.map((s, i) => `${known.sites[known.columns.site[i] ?? 0] ?? ''}/${s}`)), [known]);
  return (
    <p class="trial-pick">
      <label>
        Station
        <select value={asked.station} onChange={(e) => move({ ...asked, station: e.currentTarget.value })}>
          <option value="">…</option>
          {asked.station !== '' && !names.includes(asked.station) && <option value={asked.station}>{asked.station}</option>}
          {names.map((n) => <option key={n} value={n}>{n}</option>)}
        </select>
      </label>
      <label>
        Condition
        <select value={asked.condition} onChange={(e) => move({ ...asked, condition: e.currentTarget.value, first: as_in_force, second: null })}>
          {priced.map((k) => <option key={k.name} value={k.name}>{k.words}</option>)}
        </select>
      </label>
    </p>
  );
}

function Bench({ asked, move }: Moved) {
  const { session } = use_place();
  const [told, set_told] = useState<{ trial: Trial | null; trouble: Trouble | null; took_ms: number }>({ trial: null, trouble: null, took_ms: 0 });
  const question = JSON.stringify(question_of(asked));
  const token = session?.token ?? null;
  useEffect(() => {
    const leaving = new AbortController();
    const timer = setTimeout(() => {
      const began = performance.now();
      void send(leaving.signal, 'POST', `/stations/${asked.station}/trial`, token, JSON.parse(question), trial_decoder).then((answer) => {
        if (leaving.signal.aborted) return;
        const took_ms = performance.now() - began;
        set_told((before) => (answer.ok ? { trial: answer.value, trouble: null, took_ms } : { ...before, trouble: answer.trouble }));
      });
    }, rest_ms);
    return () => {
      clearTimeout(timer);
      leaving.abort();
    };
  }, [asked.station, question, token]);
  const { trial } = told;
  return (
    <>
      <div class="trial-knobs">
        <Knobs title="Candidate" condition={asked.condition} of={asked.first} set={(first) => move({ ...asked, first })} />
        {asked.second === null
          ? <p><button onClick={() => move({ ...asked, second: asked.first })}>Compare with a second</button></p>
          : <Knobs title="Second candidate" condition={asked.condition} of={asked.second} set={(second) => move({ ...asked, second })} leave={() => move({ ...asked, second: null })} />}
      </div>
      {told.trouble !== null && <TroubleNote trouble={told.trouble} />}
      {trial === null && told.trouble === null && <Waiting what="the station's history" />}
      {trial !== null && trial.condition === asked.condition && (
        <>
          <Past trial={trial} />
          <Sets trial={trial} />
          <Curve trial={trial} />
          <p class="soft">
            Judged again: {trial.turns} turns, noise of {Math.round(trial.noise_days)} days, in {Math.round(told.took_ms)} ms. Lead is for a fault that grows evenly to its
            limit within 30 days.
          </p>
          <Save asked={asked} />
        </>
      )}
    </>
  );
}

function Knobs({ title, condition, of, set, leave }: { title: string; condition: string; of: TrialSettings; set: (s: TrialSettings) => void; leave?: () => void }) {
  const knob = knob_of(condition);
  return (
    <fieldset class="knobs">
      <legend>{title}</legend>
      <Slider words="Smallest shift that matters, per cent" value={of.shift} usual={knob.usual} from={knob.from} to={knob.to} set={(shift) => set({ ...of, shift })} />
      <Slider words="False warnings a year allowed" value={of.budget} usual={0.04} from={0.001} to={10} set={(budget) => set({ ...of, budget })} />
      {leave !== undefined && <button onClick={leave}>Leave it</button>}
    </fieldset>
  );
}

function Slider(p: { words: string; value: number | null; usual: number; from: number; to: number; set: (value: number | null) => void }) {
  return (
    <label class="slider">
      <span>{p.words}: <strong>{p.value ?? 'as in force'}</strong></span>
      <input type="range" min="0" max="100" step="1" value={Math.round(on_slider(p.value ?? p.usual, p.from, p.to))}
        onInput={(e) => p.set(off_slider(Number(e.currentTarget.value), p.from, p.to))} />
      <button disabled={p.value === null} onClick={() => p.set(null)}>as in force</button>
    </label>
  );
}

const width = 1000;
const plot = 170;
const row = 22;
const left = 110;

/** The figure of each line over time, and under it a row for each set with the stretches in which it would have warned. */
function Past({ trial }: { trial: Trial }) {
  const starts = trial.lines.map((l) => l.start_ms[0] ?? trial.until_ms);
  const from = Math.min(trial.until_ms - 1, ...starts);
  const x = (ms: number): number => left + ((width - left) * (ms - from)) / (trial.until_ms - from);
  const height = (plot + 6) * trial.lines.length + row * trial.sets.length + 24;
  const unit = knob_of(trial.condition).unit;
  const rows_at = (plot + 6) * trial.lines.length;
  return (
    <figure class="trial-past">
      <svg viewBox={`0 0 ${width} ${height}`} role="img" aria-label={`${trial.figure} of each line, and when each set of thresholds would have warned`}>
        {trial.lines.map((line, i) => {
          const all = [...line.value, ...line.usual];
          const low = Math.min(...all);
          const high = Math.max(...all, low + 1e-6);
          const y = (v: number): number => i * (plot + 6) + 8 + (plot - 16) * (1 - (v - low) / (high - low));
          const path = (values: readonly number[]): string => values.map((v, k) => `${k === 0 ? 'M' : 'L'}${x(line.start_ms[k] ?? from).toFixed(1)} ${y(v).toFixed(1)}`).join('');
          return (
            <g key={line.line}>
              <text x="0" y={i * (plot + 6) + 18}>line {line.line}</text>
              <text class="soft" x="0" y={i * (plot + 6) + 34}>{plain(high)} {unit}</text>
              <text class="soft" x="0" y={i * (plot + 6) + plot - 6}>{plain(low)} {unit}</text>
              <path class="value" d={path(line.value)} />
              <path class="usual" d={path(line.usual)} />
            </g>
          );
        })}
        {trial.troubles.map((t, i) => (
          <g key={i} class="trouble-mark">
            <line x1={x(t.at_ms)} x2={x(t.at_ms)} y1="0" y2={height - 24} />
            <title>{`${t.kind}${t.line === null ? '' : `, line ${t.line}`}, ${date_words(t.at_ms, local)}${t.note === '' ? '' : `: ${t.note}`}`}</title>
          </g>
        ))}
        {trial.sets.map((s, i) => (
          <g key={s.name}>
            <text x="0" y={rows_at + row * i + 16}>{set_words(s)}</text>
            <line class="axis" x1={left} x2={width} y1={rows_at + row * i + 12} y2={rows_at + row * i + 12} />
            {s.warnings.map((w, k) => (
              <rect key={k} class={`warned ${w.urgency}`} x={x(w.raised_ms)} y={rows_at + row * i + 4} height="16"
                width={Math.max(3, x(w.cleared_ms ?? trial.until_ms) - x(w.raised_ms))}>
                <title>{`${w.urgency}${w.line === null ? '' : `, line ${w.line}`}, from ${moment_words(w.raised_ms, local)}${w.lead_days === null ? '' : `, ${w.lead_days.toFixed(1)} days before trouble`}`}</title>
              </rect>
            ))}
          </g>
        ))}
        <text class="soft" x={left} y={height - 6}>{date_words(from, local)}</text>
        <text class="soft" x={width} y={height - 6} text-anchor="end">{date_words(trial.until_ms, local)}</text>
      </svg>
      <figcaption class="soft">Upright lines: trouble that people noted, or that the station met.</figcaption>
    </figure>
  );
}

function set_words(s: TrialSet): string {
  return s.name === 'in force' ? 'in force' : s.name === 'first' ? 'candidate' : 'second';
}

function Sets({ trial }: { trial: Trial }) {
  return (
    <div class="wide">
      <table class="trial-sets">
        <thead><tr><th>Thresholds</th><th>Warnings</th><th>Against today</th><th>Before trouble</th><th>False warnings, this condition</th><th>All conditions</th><th>Lead, days</th></tr></thead>
        <tbody>
          {trial.sets.map((s) => (
            <tr key={s.name}>
              <th scope="row">{set_words(s)}</th>
              <td>{s.warnings.length}</td>
              <td>{s.name === 'in force' ? '' : difference_words(s.warnings, s.gone.length)}</td>
              <td>{s.warnings.filter((w) => w.lead_days !== null).length}</td>
              <td>{s.price === null ? 'not enough history' : price_words(s.price.false_a_year)}</td>
              <td>{price_words(s.false_a_year)}</td>
              <td>{s.price === null ? '–' : `${s.price.lead_days.toFixed(1)} (9 of 10 over ${s.price.lead_days_low.toFixed(1)})`}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

/** Days of lead against false warnings a year. */
function Curve({ trial }: { trial: Trial }) {
  const { curve } = trial;
  if (curve === null || curve.steps.length < 2) return null;
  const cost = (c: number): number => Math.log(Math.max(c, 0.001));
  const sets = trial.sets.filter((s) => s.price !== null);
  const costs = [...curve.steps.map((s) => cost(s.false_a_year)), ...sets.map((s) => cost(s.price?.false_a_year ?? 0))];
  const leads = [...curve.steps.map((s) => s.lead_days), ...sets.map((s) => s.price?.lead_days ?? 0)];
  const [low, high] = [Math.min(...costs), Math.max(...costs) + 1e-9];
  const [least, most] = [Math.min(...leads) * 0.95, Math.max(...leads) * 1.02 + 1e-9];
  const x = (c: number): number => 60 + (500 * (cost(c) - low)) / (high - low);
  const y = (d: number): number => 210 - (190 * (d - least)) / (most - least);
  const steps = [...curve.steps].sort((a, b) => a.false_a_year - b.false_a_year);
  const flat = high - low < 0.01;
  return (
    <figure class="trial-curve">
      <figcaption>What it costs, and what it buys</figcaption>
      {flat && <p class="soft">On this station's noise these thresholds cost next to nothing: {price_words(Math.exp(high))} throughout.</p>}
      <svg viewBox="0 0 600 250" role="img" aria-label="days of lead against false warnings a year, over the smallest shift that matters">
        <path class="axis" d="M60 10V210H570" />
        <polyline points={steps.map((s) => `${x(s.false_a_year).toFixed(1)},${y(s.lead_days).toFixed(1)}`).join(' ')} />
        {curve.steps.map((s, i) => (
          <g key={s.value} class={i === curve.knee ? 'knee' : ''}>
            <circle cx={x(s.false_a_year)} cy={y(s.lead_days)} r={i === curve.knee ? 7 : 4} />
            <text x={x(s.false_a_year)} y={y(s.lead_days) - 10} text-anchor="middle">{s.value} %{i === curve.knee ? ' (knee)' : ''}</text>
          </g>
        ))}
        {sets.map((s) => (
          <g key={s.name} class="here">
            <rect x={x(s.price?.false_a_year ?? 0) - 6} y={y(s.price?.lead_days ?? 0) - 6} width="12" height="12" />
            <text x={x(s.price?.false_a_year ?? 0)} y={y(s.price?.lead_days ?? 0) + 20} text-anchor="middle">{set_words(s)}</text>
          </g>
        ))}
        <text class="soft" x="52" y={y(most / 1.02)} text-anchor="end">{plain(most / 1.02)} d</text>
        <text class="soft" x="52" y="210" text-anchor="end">{plain(least)} d</text>
        <text class="soft" x="60" y="232">{price_words(Math.exp(low))}</text>
        <text class="soft" x="570" y="232" text-anchor="end">{price_words(Math.exp(high))}</text>
      </svg>
    </figure>
  );
}

function Save({ asked }: { asked: TrialAsked }) {
  const { session } = use_place();
  const { name, set_name, asked: ask_name, by } = use_name();
  const [reach, set_reach] = useState('station');
  const [why, set_why] = useState('');
  const [words, set_words_] = useState('');
  const thresholds = patch_of(asked.condition, asked.first);
  if (session !== null && !session.open && session.role !== 'engineer') return <p class="soft">To propose thresholds needs the role engineer.</p>;
  const site = asked.station.slice(0, asked.station.indexOf('/'));
  const submit = (event: SubmitEvent): void => {
    event.preventDefault();
    const body = { for: reach === 'station' ? asked.station : reach === 'site' ? `site ${site}` : 'all', thresholds, why: why.trim(), ...by };
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
          <option value="station">{asked.station}</option>
          <option value="site">the site {site}</option>
          <option value="all">all stations</option>
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

const acts: Record<Proposal['state'], readonly { act: string; words: string }[]> = {
  proposed: [{ act: 'enforce', words: 'Put in force' }, { act: 'silent', words: 'Judge in silence first' }, { act: 'withdraw', words: 'Withdraw' }],
  silent: [{ act: 'enforce', words: 'Put in force' }, { act: 'withdraw', words: 'Withdraw' }],
  'in-force': [{ act: 'take-back', words: 'Take back' }],
  'taken-back': [{ act: 'enforce', words: 'Put in force again' }, { act: 'withdraw', words: 'Withdraw' }],
  withdrawn: [],
};

function Proposals() {
  const { session } = use_place();
  const { loaded, again } = use_loaded('/proposals', proposals_decoder);
  useEffect(() => {
    addEventListener('driftline-proposals', again);
    return () => removeEventListener('driftline-proposals', again);
  }, [again]);
  const known = value_of(loaded);
  const may = session !== null && (session.open || session.role === 'engineer');
  return (
    <section class="trial-proposals">
      <h2>Proposals</h2>
      {loaded.kind === 'failed' && <TroubleNote trouble={loaded.trouble} again={again} />}
      {known !== null && known.proposals.length === 0 && <p class="empty">None yet.</p>}
      {known?.proposals.map((p) => <One key={p.name} proposal={p} may={may} again={again} />)}
    </section>
  );
}

function One({ proposal, may, again }: { proposal: Proposal; may: boolean; again: () => void }) {
  const { session } = use_place();
  const { name, set_name, asked, by } = use_name();
  const [why, set_why] = useState('');
  const [words, set_words_] = useState('');
  const form = useRef<HTMLFormElement>(null);
  const act = (what: string): void => {
    if (form.current?.reportValidity() === false) return;
    void send(new AbortController().signal, 'POST', `/proposals/${proposal.name}/acts`, session?.token ?? null, { act: what, why: why.trim(), ...by }, proposal_decoder).then((answer) => {
      set_words_(answer.ok ? [`${answer.value.state}.`, ...answer.value.files.map((f) => `Written: ${f}.`), ...answer.value.notes].join(' ') : `Not done: ${answer.trouble.text}`);
      if (answer.ok) again();
    });
  };
  return (
    <article class="proposal">
      <h3>{proposal.name} <span class={`state ${proposal.state}`}>{proposal.state}</span></h3>
      <p>For {proposal.for}: <code>{JSON.stringify(proposal.thresholds)}</code></p>
      <ol>
        {proposal.done.map((d, i) => (
          <li key={i}>{moment_words(d.at_ms, local)}: {d.act} by {d.by}{d.days > 0 ? ` for ${d.days} days` : ''}{d.why === '' ? '' : `, “${d.why}”`}</li>
        ))}
      </ol>
      {may && acts[proposal.state].length > 0 && (
        <form ref={form} onSubmit={(e) => e.preventDefault()}>
          <label class="field">
            Why
            <input value={why} required maxLength={500} onInput={(e) => set_why(e.currentTarget.value)} />
          </label>
          {asked && <NameField name={name} set_name={set_name} />}
          <p class="acts">{acts[proposal.state].map((a) => <button key={a.act} type="button" onClick={() => act(a.act)}>{a.words}</button>)}</p>
        </form>
      )}
      {words !== '' && <p role="status">{words}</p>}
    </article>
  );
}
