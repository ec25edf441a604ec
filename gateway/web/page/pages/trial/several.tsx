// The candidates on several stations: a site, a kind, all, or some that were picked. They are judged when they are asked for, one
// after the other; each takes a moment.
import { useEffect, useRef, useState } from 'preact/hooks';
import type { Trouble } from '../../model/loaded';
import { brief_question_of, difference_words, price_words, stations_along, sum_of, type Group, type TrialAsked } from '../../model/trial';
import { use_place } from '../../parts/place';
import { send } from '../../wire/http';
import { trial as trial_decoder, type Trial, type TrialSet } from '../../wire/trial';

interface Moved { asked: TrialAsked; move: (next: TrialAsked) => void; groups: readonly Group[]; names: readonly string[] }

export function Several({ asked, move, groups, names }: Moved) {
  const picked = asked.along !== '' && !groups.some((g) => g.for === asked.along);
  const [by_hand, set_by_hand] = useState(picked);
  const stations = stations_along(asked, groups);
  const pick = (value: string): void => {
    set_by_hand(value === 'by hand');
    move({ ...asked, along: value === 'by hand' ? asked.station : value });
  };
  return (
    <section class="trial-several" aria-label="Several stations">
      <p class="trial-pick">
        <label>
          Judge also
          <select value={by_hand ? 'by hand' : asked.along} onChange={(e) => pick(e.currentTarget.value)}>
            <option value="">no other station</option>
            {groups.map((g) => <option key={g.for} value={g.for}>{g.for === 'all' ? 'all stations' : g.for} ({g.stations.length})</option>)}
            <option value="by hand">some, picked by hand</option>
          </select>
        </label>
      </p>
      {by_hand && <Picking asked={asked} move={move} names={names} stations={stations} />}
      {stations.length > 1 && <Judged asked={asked} move={move} stations={stations} />}
    </section>
  );
}

const shown_most = 60;

function Picking({ asked, move, names, stations }: { asked: TrialAsked; move: (next: TrialAsked) => void; names: readonly string[]; stations: readonly string[] }) {
  const [words, set_words] = useState('');
  const fit = names.filter((n) => n.includes(words));
  const turn = (one: string): void => {
    const next = stations.includes(one) ? stations.filter((s) => s !== one) : [...stations, one];
    move({ ...asked, along: next.sort().join(',') });
  };
  return (
    <fieldset class="trial-picking">
      <legend>Stations ({stations.length} picked)</legend>
      <label class="field">Name contains<input value={words} onInput={(e) => set_words(e.currentTarget.value)} /></label>
      <div class="choices">
        {fit.slice(0, shown_most).map((n) => (
          <label key={n} class="choice-line"><input type="checkbox" checked={stations.includes(n)} disabled={n === asked.station} onChange={() => turn(n)} /> {n}</label>
        ))}
      </div>
      {fit.length > shown_most && <p class="soft">{fit.length - shown_most} more: say more of the name.</p>}
    </fieldset>
  );
}

type Answers = ReadonlyMap<string, Trial | Trouble>;
const none: Answers = new Map();
const is_trial = (answer: Trial | Trouble | undefined): answer is Trial => answer !== undefined && 'sets' in answer;

function Judged({ asked, move, stations }: { asked: TrialAsked; move: (next: TrialAsked) => void; stations: readonly string[] }) {
  const { session } = use_place();
  const question = JSON.stringify(brief_question_of(asked));
  const [state, set_state] = useState<{ answers: Answers; question: string; running: boolean }>({ answers: none, question: '', running: false });
  const leaving = useRef<AbortController | null>(null);
  useEffect(() => () => leaving.current?.abort(), []);
  const run = async (): Promise<void> => {
    leaving.current?.abort();
    const here = new AbortController();
    leaving.current = here;
    const answers = new Map<string, Trial | Trouble>();
    set_state({ answers: new Map(), question, running: true });
    for (const station of stations) {
      const answer = await send(here.signal, 'POST', `/stations/${station}/trial`, session?.token ?? null, JSON.parse(question), trial_decoder);
      if (here.signal.aborted) return;
      answers.set(station, answer.ok ? answer.value : answer.trouble);
      set_state({ answers: new Map(answers), question, running: answers.size < stations.length });
    }
  };
  const { answers } = state;
  const old = answers.size > 0 && state.question !== question;
  return (
    <>
      <p class="acts">
        <button disabled={state.running && !old} onClick={() => void run()}>Judge the {stations.length} stations</button>
        <span role="status">
          {state.running && !old ? `${answers.size} of ${stations.length} judged` : ''}
          {old ? ' The table is of thresholds before the last move: judge again.' : ''}
        </span>
      </p>
      {answers.size > 0 && <Table asked={asked} move={move} stations={stations} answers={answers} old={old} />}
    </>
  );
}

function Table({ asked, move, stations, answers, old }: { asked: TrialAsked; move: (next: TrialAsked) => void; stations: readonly string[]; answers: Answers; old: boolean }) {
  const trials = stations.flatMap((s) => {
    const answer = answers.get(s);
    return is_trial(answer) ? [answer] : [];
  });
  const second = trials.some((t) => t.sets.length > 2);
  return (
    <div class={old ? 'wide old' : 'wide'} role="region" aria-label="the stations" tabIndex={0}>
      <table class="trial-sets">
        <thead>
          <tr>
            <th>Station</th><th>In force</th><th>Candidate</th><th>Against today</th>
            {second && <><th>Second</th><th>Against today</th></>}
            <th>False warnings, in force → candidate{second ? ' → second' : ''}</th><th>Lead, days</th>
          </tr>
        </thead>
        <tbody>
          {stations.filter((s) => answers.has(s)).map((s) => {
            const answer = answers.get(s);
            if (!is_trial(answer)) return <tr key={s}><th scope="row">{s}</th><td colSpan={second ? 7 : 5}>{answer?.text ?? ''}</td></tr>;
            return (
              <tr key={s}>
                <th scope="row">{s === asked.station ? s : <button class="as-link" onClick={() => move({ ...asked, station: s })}>{s}</button>}</th>
                <Cells sets={answer.sets} second={second} />
              </tr>
            );
          })}
          {trials.length > 1 && <Total trials={trials} second={second} />}
        </tbody>
      </table>
    </div>
  );
}

function Cells({ sets, second }: { sets: readonly TrialSet[]; second: boolean }) {
  const others = sets.slice(1, second ? 3 : 2);
  return (
    <>
      <td>{sets[0]?.warnings.length}</td>
      {others.map((s) => <><td key={`${s.name}-n`}>{s.warnings.length}</td><td key={`${s.name}-d`}>{difference_words(s.warnings, s.gone.length)}</td></>)}
      <td>{sets.map((s) => (s.price === null ? 'not enough history' : price_words(s.price.false_a_year))).join(' → ')}</td>
      <td>{sets.map((s) => (s.price === null ? '–' : s.price.lead_days.toFixed(1))).join(' → ')}</td>
    </>
  );
}

function Total({ trials, second }: { trials: readonly Trial[]; second: boolean }) {
  const sums = [0, 1, 2].slice(0, second ? 3 : 2).map((i) => sum_of(trials.flatMap((t) => t.sets[i] ?? [])));
  return (
    <tr class="total">
      <th scope="row">{trials.length} stations</th>
      <td>{sums[0]?.warnings}</td>
      {sums.slice(1).map((s, i) => <><td key={`n${i}`}>{s.warnings}</td><td key={`d${i}`}>{s.added} added, {s.gone} gone</td></>)}
      <td>{sums.map((s) => (s.false_a_year === null ? '–' : price_words(s.false_a_year))).join(' → ')}, on average</td>
      <td>{sums.map((s) => (s.lead_days === null ? '–' : s.lead_days.toFixed(1))).join(' → ')}</td>
    </tr>
  );
}
