// Trial bench: thresholds tried on a station's own history. Move one, and see which past turns would have warned and what it costs.
import './page.css';
import { useEffect, useMemo, useState } from 'preact/hooks';
import { value_of, type Trouble } from '../../model/loaded';
import { as_in_force, asked_of, priced, question_of, rest_of, type Group, type TrialAsked } from '../../model/trial';
import { TroubleNote, use_loaded, Waiting } from '../../parts/load';
import { use_place } from '../../parts/place';
import { send } from '../../wire/http';
import { proposals as proposals_decoder, trial as trial_decoder, type Trial } from '../../wire/trial';
import { fleet as fleet_decoder } from '../../wire/types';
import { Curve } from './curve';
import { Knobs } from './knobs';
import { Past } from './past';
import { ProposalList, Save } from './proposals';
import { Sets } from './sets';
import { Several } from './several';

/** So long a slider must rest before it is asked for. */
const rest_ms = 80;

export function TrialPage({ rest }: { rest: string }) {
  const { go } = use_place();
  const [asked, set_asked] = useState<TrialAsked>(() => asked_of(rest));
  const move = (next: TrialAsked): void => {
    set_asked(next);
    go({ page: 'trial', rest: rest_of(next) }, 'replace');
  };
  const proposals = use_loaded('/proposals', proposals_decoder);
  const { again } = proposals;
  useEffect(() => {
    addEventListener('driftline-proposals', again);
    return () => removeEventListener('driftline-proposals', again);
  }, [again]);
  const groups = value_of(proposals.loaded)?.groups ?? [];
  const fleet = value_of(use_loaded('/fleet', fleet_decoder).loaded);
  const names = useMemo(() => (fleet === null ? [] : fleet.columns.station.map((s, i) => `${fleet.sites[fleet.columns.site[i] ?? 0] ?? ''}/${s}`)), [fleet]);
  return (
    <div class="trial">
      <h1>Trial bench</h1>
      <Pick asked={asked} move={move} names={names} />
      {asked.station === ''
        ? <p class="empty">Pick a station: its kept history is judged again with other thresholds, and nothing is changed.</p>
        : <Bench asked={asked} move={move} groups={groups} names={names} />}
      <ProposalList loaded={proposals.loaded} again={again} />
    </div>
  );
}

interface Moved { asked: TrialAsked; move: (next: TrialAsked) => void }

function Pick({ asked, move, names }: Moved & { names: readonly string[] }) {
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

function Bench({ asked, move, groups, names }: Moved & { groups: readonly Group[]; names: readonly string[] }) {
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
          <Several asked={asked} move={move} groups={groups} names={names} />
          <Save asked={asked} groups={groups} />
        </>
      )}
    </>
  );
}
