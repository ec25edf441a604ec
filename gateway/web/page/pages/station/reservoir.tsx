// The reservoir: level, refills, and the day it runs out.
import { useMemo } from 'preact/hooks';
import { Chart, type Trace } from '../../draw/chart';
import type { Shape } from '../../draw/shapes';
import { counted, date_words, days_left_words, days_range_words, plain, moment_words } from '../../model/words';
import { local } from '../../parts/place';
import { address } from '../../wire/http';
import type { ReservoirDays, Station } from '../../wire/types';

const day_s = 86_400;

export function Reservoir({ station, days, now_ms, from_ms }: { station: Station; days: ReservoirDays; now_ms: number; from_ms: number }) {
  const now = station.reservoir;
  return (
    <section class="reservoir" id="reservoir" aria-label="Reservoir">
      <h2>Reservoir</h2>
      <dl class="facts">
        <div><dt>Level</dt><dd>{now?.level_pct == null ? 'unknown' : `${plain(now.level_pct)} %`}</dd></div>
        <div><dt>Use</dt><dd>{now?.use_pct_per_day == null ? 'unknown' : `${plain(now.use_pct_per_day)} % a day`}</dd></div>
        <div>
          <dt>Life</dt>
          <dd>
            {now?.life_days == null ? 'unknown' : days_left_words(now.life_days)}
            {now?.life_days_low != null && now.life_days_high != null && <span class="soft"> ({days_range_words(now.life_days_low, now.life_days_high)})</span>}
          </dd>
        </div>
        <div>
          <dt>Runs out</dt>
          <dd>
            {days.empty_at_ms === null ? 'unknown' : date_words(days.empty_at_ms, local)}
            {days.empty_at_earliest_ms !== null && days.empty_at_latest_ms !== null && (
              <span class="soft"> ({date_words(days.empty_at_earliest_ms, local)} to {date_words(days.empty_at_latest_ms, local)})</span>
            )}
          </dd>
        </div>
        {days.reservoir_kg !== null && <div><dt>Holds</dt><dd>{plain(days.reservoir_kg)} kg</dd></div>}
      </dl>
      <LevelChart days={days} now_ms={now_ms} from_ms={from_ms} />
      {days.refills.length > 0 && (
        <details>
          <summary>{counted(days.refills.length, 'refill')}</summary>
          <ul class="plain">
            {[...days.refills].reverse().map((r) => (
              <li key={r.at_ms}>
                {moment_words(r.at_ms, local)}: {r.from_pct === null || r.to_pct === null ? 'levels unknown' : `${plain(r.from_pct)} to ${plain(r.to_pct)} %`}
                <span class="soft">, {r.noted ? 'noted by a person' : 'seen from the level'}</span>
              </li>
            ))}
          </ul>
        </details>
      )}
      <Days station={station} days={days} />
    </section>
  );
}

/** What the figures above were made from, day by day. */
function Days({ station, days }: { station: Station; days: ReservoirDays }) {
  if (days.date_ms.length === 0) return null;
  const newest = days.date_ms.map((_, i) => i).reverse();
  const text = (value: number | null | undefined): string => (value == null ? 'unknown' : plain(value));
  return (
    <details>
      <summary>Day by day</summary>
      <div class="wide-table" tabIndex={0} role="region" aria-label="Reservoir, day by day">
        <table class="figures">
          <thead>
            <tr>
              <th scope="col">Day</th>
              <th scope="col" class="number">Level, %</th>
              <th scope="col" class="number">Use, % a day</th>
              <th scope="col" class="number">Life, days</th>
              <th scope="col" class="number">In 8 of 10 cases</th>
            </tr>
          </thead>
          <tbody>
            {newest.map((i) => (
              <tr key={days.date_ms[i]}>
                <th scope="row">{date_words(days.date_ms[i] ?? 0, local)}</th>
                <td>{text(days.level_pct[i])}</td>
                <td>{text(days.use_pct_per_day[i])}</td>
                <td>{text(days.life_days[i])}</td>
                <td>{days.life_days_low[i] == null || days.life_days_high[i] == null ? '' : `${text(days.life_days_low[i])} to ${text(days.life_days_high[i])}`}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <a href={address(`/stations/${station.site}/${station.station}/reservoir?format=csv&from_ms=${days.date_ms[0] ?? 0}`)} download>CSV</a>
    </details>
  );
}

function LevelChart({ days, now_ms, from_ms }: { days: ReservoirDays; now_ms: number; from_ms: number }) {
  const made = useMemo(() => {
    const x = days.readings.at_ms.map((ms) => ms / 1000);
    const traces: Trace[] = [{ values: days.readings.level_pct, tone: 'trace', width: 1.2 }];
    const shapes: Shape[] = [];
    const span = (now_ms - from_ms) / 1000;
    let end = now_ms / 1000 + span * 0.01;
    const empty = days.empty_pct ?? 0;
    if (days.low_pct !== null) shapes.push({ kind: 'level', y: days.low_pct, tone: 'soft', word: 'low mark' });
    const last = days.readings.level_pct[days.readings.level_pct.length - 1];
    if (days.empty_at_ms !== null && last !== undefined) {
      const at = days.empty_at_ms / 1000;
      const latest = (days.empty_at_latest_ms ?? days.empty_at_ms) / 1000;
      const within = now_ms / 1000 + Math.max(span * 0.8, 10 * day_s);
      end = Math.max(end, Math.min(latest + day_s, within));
      shapes.push({ kind: 'dashes', from: [now_ms / 1000, last], to: [at, empty], tone: 'plan' }, { kind: 'moment', x: now_ms / 1000, tone: 'edge', word: 'now' });
      if (days.empty_at_earliest_ms !== null) shapes.push({ kind: 'interval', from: days.empty_at_earliest_ms / 1000, at, to: latest, y: Math.max(empty, 2), tone: 'plan' });
    }
    for (const r of days.refills) shapes.push({ kind: 'moment', x: r.at_ms / 1000, tone: 'second', word: r.noted ? 'refilled' : 'refill seen' });
    return { x, traces, shapes, x_range: [from_ms / 1000, end] as const, y_range: [0, 105] as const };
  }, [days, now_ms, from_ms]);
  const known = days.readings.level_pct.length;
  const words = known === 0 ? 'No level is known in these days.' : `${counted(days.refills.length, 'refill')}; last level ${plain(days.readings.level_pct[known - 1] ?? null)} %.`;
  const read = (i: number): string => `${moment_words(days.readings.at_ms[i] ?? 0, local)}: ${plain(days.readings.level_pct[i] ?? null)} %`;
  return <Chart title="Level" unit="%" words={words} height={180} across="moments" read={read} {...made} />;
}
