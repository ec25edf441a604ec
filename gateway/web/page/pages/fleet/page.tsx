// Fleet: every station, worst first.
import './page.css';
import { useEffect, useMemo, useRef } from 'preact/hooks';
import { head_parts, heard_words, is_silent, oldest_words, shown, time_left, what_words, type FleetRow } from '../../model/fleet';
import type { FleetState } from '../../model/fleet_state';
import { value_of } from '../../model/loaded';
import { fleet_query, fleet_shows, station_query, warnings_query, type FleetQuery } from '../../model/route';
import { counted, days_left_words, days_range_words } from '../../model/words';
import { TroubleNote, Waiting } from '../../parts/load';
import { LongList } from '../../parts/long_list';
import { Mark, mark_of, Marked } from '../../parts/mark';
import { gateway_now, Go, use_clock, use_place } from '../../parts/place';
import { stale_class } from '../../parts/shell';
import { StripView } from '../../parts/strip';
import { address } from '../../wire/http';
import { use_fleet } from './held';

export function FleetPage({ query }: { query: FleetQuery }) {
  const { loaded, again, want_strips } = use_fleet();
  const { line } = use_place();
  const state = value_of(loaded);
  return (
    <div class={stale_class(line)}>
      <h1 class="unseen">Fleet</h1>
      {loaded.kind === 'failed' && <TroubleNote trouble={loaded.trouble} again={again} />}
      {loaded.kind === 'stale' && line.kind === 'live' && <TroubleNote trouble={loaded.trouble} again={again} />}
      {loaded.kind === 'loading' && <Waiting what="the stations" />}
      {state !== null && <Fleet state={state} query={query} want_strips={want_strips} />}
    </div>
  );
}

interface FleetProps {
  state: FleetState;
  query: FleetQuery;
  want_strips: (rows: readonly FleetRow[]) => void;
}

function Fleet({ state, query, want_strips }: FleetProps) {
  const rows = useMemo(() => shown(state.rows, query), [state.rows, query]);
  return (
    <>
      <Head state={state} query={query} />
      <Filters state={state} query={query} found={rows.length} />
      {rows.length === 0 ? <Nothing state={state} /> : <List rows={rows} state={state} want_strips={want_strips} />}
    </>
  );
}

function Head({ state, query }: { state: FleetState; query: FleetQuery }) {
  const { line } = use_place();
  const now = gateway_now(line, use_clock(10_000));
  const parts = head_parts(state.head);
  return (
    <section class="fleet-head" aria-label="The plant in a line">
      <p class="fleet-counts">
        {parts.map((part, i) => (
          <span key={part.words} class={part.show === 'act' && state.head.act > 0 ? 'count-act' : undefined}>
            <Go to={{ page: 'fleet', query: { ...fleet_query, show: part.show } }} current={query.show === part.show}>
              <span class="count">
                {part.mark !== null && <Mark kind={part.mark} />}
                <strong>{part.count}</strong>
              </span>{' '}
              {part.words}
            </Go>
            {i + 1 < parts.length ? ', ' : '.'}
          </span>
        ))}
      </p>
      <p class="fleet-oldest">
        <Go to={{ page: 'warnings', query: { ...warnings_query, which: 'unanswered' } }}>{oldest_words(state.head, now)}</Go>
      </p>
    </section>
  );
}

const show_words: Record<FleetQuery['show'], string> = {
  all: 'all stations',
  trouble: 'whatever is not in order',
  act: 'to act on',
  plan: 'to plan',
  notice: 'to know of',
  silent: 'silent',
  'in-order': 'in order',
};

function Filters({ state, query, found }: { state: FleetState; query: FleetQuery; found: number }) {
  const { go } = use_place();
  const search = useRef<HTMLInputElement>(null);
  const set = (change: Partial<FleetQuery>): void => go({ page: 'fleet', query: { ...query, ...change } }, 'replace');
  useEffect(() => {
    const on_key = (event: KeyboardEvent): void => {
      if (event.key !== '/' || event.target instanceof HTMLInputElement || event.target instanceof HTMLTextAreaElement) return;
      event.preventDefault();
      search.current?.focus();
    };
    window.addEventListener('keydown', on_key);
    return () => window.removeEventListener('keydown', on_key);
  }, []);
  const filtered = query !== fleet_query && (query.search !== '' || query.site !== null || query.condition !== null || query.show !== 'all');
  return (
    <form class="fleet-filters" role="search" onSubmit={(e) => e.preventDefault()}>
      <label>
        <span class="unseen">Search station, site or what is wrong (key: /)</span>
        <input
          ref={search} type="search" placeholder="Search station or trouble" value={query.search} maxLength={100}
          onInput={(e) => set({ search: e.currentTarget.value })}
        />
      </label>
      <Choice label="Site" value={query.site} all="all sites" options={[...state.names.sites].sort()} words={(s) => s} set={(site) => set({ site })} />
      <Choice
        label="Condition" value={query.condition} all="any condition" options={state.names.conditions}
        words={(c) => state.names.condition_words[state.names.conditions.indexOf(c)] ?? c} set={(condition) => set({ condition })}
      />
      <label>
        <span class="unseen">Show</span>
        <select value={query.show} onChange={(e) => set({ show: fleet_shows.find((s) => s === e.currentTarget.value) ?? 'all' })}>
          {fleet_shows.map((s) => <option key={s} value={s}>{show_words[s]}</option>)}
        </select>
      </label>
      <span class="fleet-found" role="status">{counted(found, 'station')}</span>
      {filtered && <Go to={{ page: 'fleet', query: fleet_query }}>show all</Go>}
      <a class="fleet-csv" href={address('/fleet?format=csv')} download>CSV</a>
    </form>
  );
}

interface ChoiceProps {
  label: string;
  value: string | null;
  all: string;
  options: readonly string[];
  words: (option: string) => string;
  set: (value: string | null) => void;
}

function Choice({ label, value, all, options, words, set }: ChoiceProps) {
  return (
    <label>
      <span class="unseen">{label}</span>
      <select value={value ?? ''} onChange={(e) => set(e.currentTarget.value === '' ? null : e.currentTarget.value)}>
        <option value="">{all}</option>
        {options.map((option) => <option key={option} value={option}>{words(option)}</option>)}
      </select>
    </label>
  );
}

function Nothing({ state }: { state: FleetState }) {
  if (state.rows.length > 0) return <p class="empty">No station fits. <Go to={{ page: 'fleet', query: fleet_query }}>Show all {counted(state.rows.length, 'station')}</Go>.</p>;
  return (
    <p class="empty">
      No station is known yet: none stands in the configuration, and none has been heard. Stations appear here with their first message.
    </p>
  );
}

/** As in page.css. */
const row_rem = (width: number): number => (width < 760 ? 7.25 : 2.875);

function List({ rows, state, want_strips }: { rows: readonly FleetRow[]; state: FleetState; want_strips: FleetProps['want_strips'] }) {
  const { line } = use_place();
  // In steps: each new age draws every row anew.
  const now = Math.ceil(gateway_now(line, use_clock(5_000)) / 5_000) * 5_000;
  return (
    <LongList
      rows={rows} key_of={(row) => row.key} row_rem={row_rem} class="fleet-list" label="Stations, worst first" columns={7}
      stamps={(row) => [state.shape, state.strips.get(row.key), now]}
      seen={({ first, end }) => want_strips(rows.slice(first, end))}
      header={
        <div role="rowgroup" class="header-group">
          <div role="row" class="row header" aria-rowindex={1}>
            {['Urgency', 'Station', 'What is wrong', 'How long there is', 'Time to pressure, 30 days', 'Reservoir life', 'Heard'].map((name) => (
              <span role="columnheader" key={name}>{name}</span>
            ))}
          </div>
        </div>
      }
      draw={(row, focused) => <Row row={row} state={state} now={now} focused={focused} />}
    />
  );
}

function Row({ row, state, now, focused }: { row: FleetRow; state: FleetState; now: number; focused: boolean }) {
  const left = time_left(row);
  const kind = mark_of(row.state, row.urgency);
  return (
    <>
      <span role="cell" class="c-mark"><Marked kind={kind} /></span>
      <span role="cell" class="c-station">
        <Go to={{ page: 'station', site: row.site, station: row.station, query: station_query }} tabIndex={focused ? 0 : -1}>{row.station}</Go>
        <span class="soft c-site">{row.site}</span>
      </span>
      <span role="cell" class={`c-what${kind === 'well' ? ' soft' : ''}`}>
        <span class="c-words">
          {row.line !== null && <b>Line {row.line}: </b>}
          {what_words(row)}
        </span>{' '}
        {row.cause !== null && <span class="soft c-cause">likely {row.cause}{row.open > 1 ? `; ${row.open - 1} more` : ''}</span>}
      </span>
      <span role="cell" class="c-left">
        {left !== null && <span>{left.words}</span>}
        {left !== null && left.range !== '' && <span class="soft c-range">{left.range}</span>}
      </span>
      <span role="cell" class="c-strips"><RowStrips row={row} state={state} /></span>
      <span role="cell" class="c-life"><ReservoirLife row={row} /></span>
      <span role="cell" class={`c-heard ${is_silent(row) ? 'urgency-silent' : 'soft'}`}>{heard_words(row, now)}</span>
    </>
  );
}

function RowStrips({ row, state }: { row: FleetRow; state: FleetState }) {
  const strip = state.strips.get(row.key);
  if (strip === undefined) return <span class="strip-waiting" aria-label="being asked for" role="img" />;
  if (strip === null || strip.length === 0) return <span class="no-turns urgency-silent">no turn is known</span>;
  return (
    <>
      {strip.map((days, i) => (
        <span class="one-line" key={i}>
          <span class="soft n" aria-hidden="true">{i + 1}</span>
          <StripView line={i + 1} days={days} shape={state.shape} />
        </span>
      ))}
    </>
  );
}

function ReservoirLife({ row }: { row: FleetRow }) {
  if (row.life_days === null) return <span class="urgency-silent">unknown</span>;
  const range = row.life_days_low === null || row.life_days_high === null ? '' : days_range_words(row.life_days_low, row.life_days_high).replace(' days', '');
  return (
    <>
      <span class={is_silent(row) ? 'soft' : undefined}>{is_silent(row) ? 'was ' : ''}{days_left_words(row.life_days)}</span>
      {row.level_pct !== null && <span class="level" aria-hidden="true"><i style={{ width: `${Math.max(0, Math.min(100, row.level_pct))}%` }} /></span>}
      <span class="soft c-range">{range}{row.level_pct !== null ? `${range === '' ? '' : ', '}${Math.round(row.level_pct)} %` : ''}</span>
    </>
  );
}
