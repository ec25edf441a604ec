// Station: all that is known of one station, and what each figure was made from.
import './page.css';
import { useMemo, useRef, useState } from 'preact/hooks';
import { no_pressure, with_pressure, type PressureWindow } from '../../model/live_pressure';
import { value_of } from '../../model/loaded';
import { fleet_query, station_days, type Route, type StationQuery } from '../../model/route';
import { counted, duration_words, plain, moment_words } from '../../model/words';
import { is_open } from '../../model/warnings';
import { use_events } from '../../parts/events';
import { TroubleNote, use_loaded, Waiting } from '../../parts/load';
import { mark_of, Marked } from '../../parts/mark';
import { gateway_now, Go, local, may_respond, use_clock, use_place } from '../../parts/place';
import { stale_class } from '../../parts/shell';
import { WarningCard } from '../../parts/warning_card';
import { address } from '../../wire/http';
import { notes as notes_decoder, reservoir_days, station as decoder, thresholds as thresholds_decoder, turns as turns_decoder, type Station, type Warning } from '../../wire/types';
import { Lines } from './lines';
import { Live } from './live';
import { Reservoir } from './reservoir';
import { TurnPanel } from './turn_panel';

interface Props {
  site: string;
  station: string;
  query: StationQuery;
}

const day_ms = 86_400_000;

export function StationPage({ site, station, query }: Props) {
  const place = `${site}/${station}`;
  const { loaded, again } = use_loaded(`/stations/${place}`, decoder);
  const { line } = use_place();
  const known = value_of(loaded);
  const [heard_ms, set_heard_ms] = useState<number | null>(null);
  // Held here and not where it is drawn: the last minutes come before the station does.
  const pressure = useRef<PressureWindow>(no_pressure);
  use_events((event) => {
    if (event.kind === 'pressure' && event.data.station === place) {
      pressure.current = with_pressure(pressure.current, event.data);
      if (event.data.heard_ms !== null) set_heard_ms(event.data.heard_ms);
    }
    // `hello` too: what happened between the answer and the feed's beginning has been told by neither.
    const anew = event.kind === 'hello' || event.kind === 'told' || (event.kind === 'warning' && event.data.key.startsWith(`${place}/`));
    if (anew) again();
  });
  return (
    <div class={`station ${stale_class(line)}`}>
      {loaded.kind === 'failed' && (
        <>
          <h1>{station}</h1>
          {loaded.trouble.kind === 'not-found'
            ? <p class="empty">No station {place} is known: it stands in no configuration and has never been heard. <Go to={{ page: 'fleet', query: fleet_query }}>All stations</Go></p>
            : <TroubleNote trouble={loaded.trouble} again={again} />}
        </>
      )}
      {loaded.kind === 'loading' && <><h1>{station}</h1><Waiting what="the station" /></>}
      {known !== null && <Known station={known} heard_ms={later_of(known.heard_ms, heard_ms)} pressure={pressure} query={query} again={again} />}
    </div>
  );
}

function later_of(a: number | null, b: number | null): number | null {
  return a === null ? b : b === null ? a : Math.max(a, b);
}

interface KnownProps {
  station: Station;
  heard_ms: number | null;
  pressure: { readonly current: PressureWindow };
  query: StationQuery;
  again: () => void;
}

function Known({ station, heard_ms, pressure, query, again }: KnownProps) {
  const { line, go } = use_place();
  const now = gateway_now(line, use_clock(15_000));
  const place = `${station.site}/${station.station}`;
  const route = (change: Partial<StationQuery>): Route => ({ page: 'station', site: station.site, station: station.station, query: { ...query, ...change } });
  const turn_route = (id: number | null): Route => route({ turn: id });
  // The window of the charts stands still while it is read; it moves on with the next range or visit.
  const window = useMemo(() => ({ from: station.now_ms - query.days * day_ms, to: station.now_ms }), [place, query.days]);
  return (
    <>
      <Heading station={station} heard_ms={heard_ms} />
      <div class="station-top">
        <Warnings station={station} now={now} changed={again} days_route={route({ days: 30 })} turn_route={turn_route} />
        <Live station={station} place={place} pressure={pressure} />
      </div>
      {query.turn !== null && <TurnPanel site={station.site} station={station.station} id={query.turn} turn_route={turn_route} />}
      <div class="days-choice no-print">
        <h2>Lines</h2>
        <div role="group" aria-label="Days shown">
          {station_days.map((days) => (
            <Go key={days} to={route({ days })} current={query.days === days}>{days} days</Go>
          ))}
        </div>
        <a href={address(`/stations/${place}/turns?format=csv&from_ms=${window.from}`)} download>CSV</a>
        <a href={address(`/stations/${place}/chart.svg?from_ms=${window.from}`)}>SVG for a report</a>
      </div>
      <LinesLoaded station={station} query={query} from_ms={window.from} now={now} turn_route={turn_route} pick={(id) => go(turn_route(id), query.turn === null ? 'new' : 'replace')} />
      <div class="station-bottom">
        <ReservoirLoaded station={station} from_ms={window.from} now={window.to} />
        <Notes station={station} />
      </div>
      <Telemetry station={station} />
    </>
  );
}

function Heading({ station, heard_ms }: { station: Station; heard_ms: number | null }) {
  const { session, line } = use_place();
  const now = gateway_now(line, use_clock(1000));
  const worst = station.warnings.find(is_open)?.urgency ?? null;
  const s = station.settings;
  const set = [
    s.cycle_s === null ? '' : `cycle ${Math.round(s.cycle_s / 60)} min`,
    s.target_bar === null ? '' : `target ${plain(s.target_bar)} bar`,
    s.pump_limit_s === null ? '' : `pump limit ${plain(s.pump_limit_s)} s`,
    s.residual_bar === null ? '' : `residual limit ${plain(s.residual_bar)} bar`,
  ].filter((w) => w !== '');
  const kind = mark_of(station.state, worst);
  return (
    <header class="station-heading">
      <h1>
        {station.station}
        <span class="soft">, <Go to={{ page: 'fleet', query: { ...fleet_query, site: station.site } }}>{station.site}</Go></span>
      </h1>
      <Marked kind={kind} word={state_words(station)} />
      <span class={kind === 'silent' ? 'urgency-silent' : 'soft'}>{heard_ms === null ? 'never heard' : `heard ${duration_words(now - heard_ms)} ago`}</span>
      <span class="soft">{set.length === 0 ? 'its settings are not known' : set.join(', ')}</span>
      {may_respond(session) && (
        <Go to={{ page: 'note', site: station.site, station: station.station }} class="button no-print">Add a note</Go>
      )}
    </header>
  );
}

function state_words(station: Station): string {
  switch (station.state) {
    case 'silent': return 'Silent';
    case 'never-heard': return 'Never heard';
    case 'out-of-service': return 'Out of service';
    case 'not-judged': return 'Set aside after an internal error: not judged';
    case 'heard': {
      const open = station.warnings.filter(is_open).length;
      return open === 0 ? 'In order' : counted(open, 'warning');
    }
  }
}

interface WarningsProps {
  station: Station;
  now: number;
  changed: () => void;
  days_route: Route;
  turn_route: (id: number) => Route;
}

function Warnings({ station, now, changed, days_route, turn_route }: WarningsProps) {
  const open = station.warnings.filter(is_open);
  const over = station.warnings.filter((w) => !is_open(w));
  return (
    <section class="station-warnings" aria-label="Warnings">
      <h2>Warnings</h2>
      {open.length === 0 && (
        <p class="soft">{station.state === 'heard' ? 'None is open.' : 'None is open, but the station is not being judged: nothing is known of it now.'}</p>
      )}
      {open.map((w) => (
        <WarningCard key={w.key + String(w.raised_ms)} warning={w} now={now} changed={changed} source={<Source warning={w} station={station} days_route={days_route} turn_route={turn_route} />} />
      ))}
      {over.length > 0 && (
        <details>
          <summary>{counted(over.length, 'warning')} of the last 30 days that {over.length === 1 ? 'has' : 'have'} ended</summary>
          {over.map((w) => <WarningCard key={w.key + String(w.raised_ms)} warning={w} now={now} changed={changed} />)}
        </details>
      )}
    </section>
  );
}

/** Where the figures of a warning come from. */
function Source({ warning, station, days_route, turn_route }: { warning: Warning; station: Station; days_route: Route; turn_route: (id: number) => Route }) {
  if (warning.line === null) return warning.condition === 'reservoir-low' || warning.condition === 'short-reservoir-life' || warning.condition === 'grease-use-shift' ? <a href="#reservoir">The reservoir</a> : null;
  const newest = station.lines.find((l) => l.line === warning.line)?.last_turn ?? null;
  return (
    <>
      {newest !== null && <><Go to={turn_route(newest.id)}>The newest turn</Go>, </>}
      <Go to={days_route}>{newest === null ? 'All turns' : 'all turns'}</Go>
    </>
  );
}

interface LinesProps {
  station: Station;
  query: StationQuery;
  from_ms: number;
  now: number;
  turn_route: (id: number | null) => Route;
  pick: (id: number) => void;
}

function LinesLoaded({ station, query, from_ms, turn_route, pick }: LinesProps) {
  const { loaded, again } = use_loaded(`/stations/${station.site}/${station.station}/turns?from_ms=${from_ms}&points=500`, turns_decoder);
  use_events((event) => {
    if (event.kind === 'told') again();
  });
  const turns = value_of(loaded);
  if (loaded.kind === 'failed') return <TroubleNote trouble={loaded.trouble} again={again} />;
  if (turns === null) return <Waiting what="the turns" />;
  if (turns.turns === 0) return <p class="empty">No turn is known in these {query.days} days.</p>;
  return (
    <>
      <Lines station={station} turns={turns} now_ms={Math.max(turns.to_ms, turns.as_of_ms)} days={query.days} turn={query.turn} turn_route={turn_route} pick={pick} />
      <p class="soft key-line">
        Grey band: where 997 of 1000 turns in good order lie at that temperature. Diamond: outside of it. Triangle: target not reached. Cross: interrupted
        or unclear. A gap in the line: no turn is known. {turns.thinned ? `Of ${counted(turns.turns, 'turn')} the first, lowest, highest and last of each stretch are drawn. ` : ''}
        Click a point, or press Enter on it, for its turn.
      </p>
    </>
  );
}

function ReservoirLoaded({ station, from_ms, now }: { station: Station; from_ms: number; now: number }) {
  const { loaded, again } = use_loaded(`/stations/${station.site}/${station.station}/reservoir?from_ms=${from_ms}`, reservoir_days);
  const days = value_of(loaded);
  if (loaded.kind === 'failed') return <TroubleNote trouble={loaded.trouble} again={again} />;
  if (days === null) return <Waiting what="the reservoir" />;
  return <Reservoir station={station} days={days} now_ms={now} from_ms={from_ms} />;
}

function Notes({ station }: { station: Station }) {
  const { loaded, again } = use_loaded(`/stations/${station.site}/${station.station}/notes`, notes_decoder);
  use_events((event) => {
    if (event.kind === 'note' || event.kind === 'hello') again();
  });
  const found = value_of(loaded)?.notes;
  return (
    <section class="notes" aria-label="Notes">
      <h2>What people noted</h2>
      {loaded.kind === 'failed' && <TroubleNote trouble={loaded.trouble} again={again} />}
      {found !== undefined && found.length === 0 && <p class="soft">Nothing yet.</p>}
      {found !== undefined && (
        <ul class="plain">
          {found.slice(0, 20).map((n) => (
            <li key={`${n.at_ms}${n.kind}`}>
              <span class="soft">{moment_words(n.at_ms, local)}</span> <strong>{n.kind}</strong>{n.line === null ? '' : `, line ${n.line}`}
              {n.note !== '' && <>: {n.note}</>} {n.by !== '' && <span class="soft">({n.by})</span>}
            </li>
          ))}
        </ul>
      )}
    </section>
  );
}

function Telemetry({ station }: { station: Station }) {
  const [open, set_open] = useState(false);
  return (
    <section class="telemetry" aria-label="Telemetry and thresholds">
      <p class="soft">
        {counted(station.messages, 'message')} and {counted(station.samples, 'sample')} taken, {counted(station.samples_behind, 'sample')} too late for anything,{' '}
        {counted(station.faults, 'fault')}. {station.configured ? '' : 'No file of the configuration names this station: it is watched with what its controller announces.'}
      </p>
      <details onToggle={(e) => set_open(e.currentTarget.open)}>
        <summary>Thresholds in force, and where each comes from</summary>
        {open && <Thresholds station={station} />}
      </details>
    </section>
  );
}

function Thresholds({ station }: { station: Station }) {
  const { loaded, again } = use_loaded(`/stations/${station.site}/${station.station}/thresholds`, thresholds_decoder);
  const found = value_of(loaded);
  if (loaded.kind === 'failed') return <TroubleNote trouble={loaded.trouble} again={again} />;
  if (found === null) return <Waiting what="the thresholds" />;
  return (
    <table class="thresholds">
      <thead><tr><th scope="col">Threshold</th><th scope="col">Value</th><th scope="col">From</th></tr></thead>
      <tbody>
        {found.thresholds.map((t) => <tr key={t.name}><th scope="row">{t.name}</th><td>{t.value}</td><td class="soft">{t.from}</td></tr>)}
      </tbody>
    </table>
  );
}

