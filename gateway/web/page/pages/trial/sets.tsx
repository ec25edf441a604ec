// What each set of thresholds comes to on the station that is shown.
import { between, difference_words, price_words } from '../../model/trial';
import type { Trial, TrialSet } from '../../wire/trial';
import { set_words } from './shared';

export function Sets({ trial }: { trial: Trial }) {
  const first = trial.sets.find((s) => s.name === 'first');
  const second = trial.sets.find((s) => s.name === 'second');
  const told = first === undefined || second === undefined ? null : between(first.warnings, second.warnings);
  return (
    <>
      <div class="wide" role="region" aria-label="sets of thresholds" tabIndex={0}>
        <table class="trial-sets">
          <thead><tr><th>Thresholds</th><th>Warnings</th><th>Against today</th><th>Before trouble</th><th>False warnings, this condition</th><th>All conditions</th><th>Lead, days</th></tr></thead>
          <tbody>{trial.sets.map((s) => <Row key={s.name} set={s} />)}</tbody>
        </table>
      </div>
      {told !== null && <p class="trial-between">The second against the candidate: {difference_words(told.differences, told.gone)}.</p>}
    </>
  );
}

/** "3, 1 of them act" */
function counted(set: TrialSet): string {
  const act = set.warnings.filter((w) => w.urgency === 'act').length;
  return act === 0 ? `${set.warnings.length}` : `${set.warnings.length}, ${act === set.warnings.length ? 'act' : `${act} of them act`}`;
}

function Row({ set }: { set: TrialSet }) {
  return (
    <tr>
      <th scope="row">{set_words(set)}</th>
      <td>{counted(set)}</td>
      <td>{set.name === 'in force' ? '' : difference_words(set.warnings, set.gone.length)}</td>
      <td>{set.warnings.filter((w) => w.lead_days !== null).length}</td>
      <td>{set.price === null ? 'not enough history' : price_words(set.price.false_a_year)}</td>
      <td>{price_words(set.false_a_year)}</td>
      <td>{set.price === null ? '–' : `${set.price.lead_days.toFixed(1)} (9 of 10 over ${set.price.lead_days_low.toFixed(1)})`}</td>
    </tr>
  );
}
