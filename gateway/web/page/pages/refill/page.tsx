// Refill round: whom to visit, by when, with how much; on one sheet.
import './page.css';
import { useMemo } from 'preact/hooks';
import { value_of } from '../../model/loaded';
import { amount_words, by_words, rounds_of, total_words } from '../../model/refill';
import { refill_days, station_query, type RefillQuery } from '../../model/route';
import { counted, date_words, days_left_words, days_range_words, moment_words, plain } from '../../model/words';
import { TroubleNote, use_loaded, Waiting } from '../../parts/load';
import { Marked } from '../../parts/mark';
import { Go, local, may_respond, use_place } from '../../parts/place';
import { stale_class } from '../../parts/shell';
import { address } from '../../wire/http';
import { refill_round, type RefillRound, type RefillVisit } from '../../wire/types';

export function RefillPage({ query }: { query: RefillQuery }) {
  const { loaded, again } = use_loaded(`/refill-round?days=${query.days}`, refill_round);
  const { line } = use_place();
  const known = value_of(loaded);
  return (
    <div class={`refill ${stale_class(line)}`}>
      <h1>Refill round</h1>
      <p class="days-line no-print">
        <span>Within</span>
        {refill_days.map((days) => (
          <Go key={days} to={{ page: 'refill', query: { ...query, days } }} current={query.days === days}>{days} days</Go>
        ))}
      </p>
      {loaded.kind === 'failed' && <TroubleNote trouble={loaded.trouble} again={again} />}
      {loaded.kind === 'loading' && <Waiting what="the round" />}
      {known !== null && <Round round={known} query={query} />}
    </div>
  );
}

function Round({ round, query }: { round: RefillRound; query: RefillQuery }) {
  const { go } = use_place();
  const sites = useMemo(() => [...new Set(round.visits.map((v) => v.site))], [round]);
  const rounds = useMemo(() => rounds_of(round.visits, query.site), [round, query.site]);
  const visits = rounds.reduce((n, r) => n + r.visits.length, 0);
  return (
    <>
      <p class="refill-sum">
        <strong>{counted(visits, 'visit')}</strong> in the next {round.days} days
        {query.site === null ? `: ${visits === 0 ? 'nothing to refill' : total_words(round)}` : ` at ${query.site}`}.
        <span class="soft"> As of {date_words(round.as_of_ms, local)} {moment_words(round.as_of_ms, local).slice(-5)}.</span>
      </p>
      {round.unknown_life > 0 && (
        <p class="unknown-life">
          <Marked kind="silent" word={counted(round.unknown_life, 'station')} /> of which reservoir life is not known: not in this list. Look at them yourself.
        </p>
      )}
      <p class="refill-tools no-print">
        <label>
          <span class="unseen">Site</span>
          <select value={query.site ?? ''} onChange={(e) => go({ page: 'refill', query: { ...query, site: e.currentTarget.value || null } }, 'replace')}>
            <option value="">all sites</option>
            {sites.map((s) => <option key={s} value={s}>{s}</option>)}
          </select>
        </label>
        <button onClick={() => print()}>Print</button>
        <a href={address(`/refill-round?days=${query.days}&format=csv`)} download>CSV</a>
      </p>
      {rounds.map((site) => (
        <section key={site.site} class="site-round" aria-label={site.site}>
          <h2>{site.site} <span class="soft">{counted(site.visits.length, 'visit')}, {total_words(site)}</span></h2>
          <table>
            <thead>
              <tr>
                <th scope="col">Station</th>
                <th scope="col">Be there by</th>
                <th scope="col" class="number">Level</th>
                <th scope="col">Life</th>
                <th scope="col">Bring</th>
                <th scope="col" class="why">Why</th>
                <th scope="col" class="done">Done</th>
              </tr>
            </thead>
            <tbody>{site.visits.map((v) => <Visit key={v.station} visit={v} now={round.now_ms} />)}</tbody>
          </table>
        </section>
      ))}
      <p class="refill-caution">
        <strong>Caution.</strong> A reservoir’s cover or follower can be under spring load: open it only as its maker’s instructions say. Isolate and lock out pump and
        machine first. Local rules come before this list.
      </p>
    </>
  );
}

function Visit({ visit, now }: { visit: RefillVisit; now: number }) {
  const { session } = use_place();
  const range = visit.life_days_low === null || visit.life_days_high === null ? '' : ` (${days_range_words(visit.life_days_low, visit.life_days_high).replace(' days', '')})`;
  return (
    <tr>
      <th scope="row">
        <Go to={{ page: 'station', site: visit.site, station: visit.station, query: station_query }}>{visit.station}</Go>
      </th>
      <td>{by_words(visit, now)}</td>
      <td class="number">{visit.level_pct === null ? <span class="soft">unknown</span> : `${plain(visit.level_pct)} %`}</td>
      <td>{visit.life_days === null ? 'unknown' : days_left_words(visit.life_days)}<span class="soft">{range}</span></td>
      <td>{amount_words(visit)}</td>
      <td class="why">{visit.urgency !== null && <><Marked kind={visit.urgency} />: </>}<span class={visit.urgency === null ? 'soft' : undefined}>{visit.why}</span></td>
      <td class="done">
        {may_respond(session) && <Go to={{ page: 'note', site: visit.site, station: visit.station }} class="no-print" label={`note it: refill of ${visit.station}`}>note it</Go>}
        <span class="box" aria-hidden="true" />
      </td>
    </tr>
  );
}
