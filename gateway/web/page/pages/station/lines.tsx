// The lines side by side: each figure over its band, with the forecast, the temperature below, and the turns as a table.
import { useMemo, useState } from 'preact/hooks';
import { Chart, type Trace } from '../../draw/chart';
import type { Shape } from '../../draw/shapes';
import { figure_units, figure_words, figures, range_of, series_of, series_words, with_gaps, type Figure, type FigureSeries } from '../../model/turns';
import { value_of } from '../../model/loaded';
import { date_words, figure as figure_text, moment_words, plain } from '../../model/words';
import { TroubleNote, use_loaded, Waiting } from '../../parts/load';
import { Go, local } from '../../parts/place';
import { address } from '../../wire/http';
import { forecast_days, type Station, type TurnColumns, type Turns, type Warning } from '../../wire/types';
import type { Route } from '../../model/route';

interface Props {
  station: Station;
  turns: Turns;
  now_ms: number;
  days: number;
  turn: number | null;
  turn_route: (id: number) => Route;
  pick: (id: number) => void;
}

const heights: Record<Figure, number> = { time_to_pressure_s: 200, peak_bar: 110, residual_bar: 110, vent_s: 120 };
const day_s = 86_400;

/** The condition whose forecast is about a figure's limit. */
const looks_ahead: Partial<Record<Figure, string>> = { time_to_pressure_s: 'slow-to-pressure', residual_bar: 'residual-pressure' };

function forecast_of(station: Station, line: number, figure: Figure): Warning | null {
  const condition = looks_ahead[figure];
  return station.warnings.find((w) => w.cleared_ms === null && w.line === line && w.condition === condition && w.forecast.limit_at_ms !== null) ?? null;
}

export function Lines(props: Props) {
  const { station, turns, days, now_ms } = props;
  const ahead = useMemo(() => {
    const latest = station.warnings.map((w) => (Object.values(looks_ahead).includes(w.condition) && w.cleared_ms === null ? w.forecast.limit_at_latest_ms ?? w.forecast.limit_at_ms ?? 0 : 0));
    const wanted = (Math.max(0, ...latest) - now_ms) / 1000;
    return wanted <= 0 ? 0 : Math.min(wanted * 1.08, days * day_s * 0.6);
  }, [station.warnings, now_ms, days]);
  const x_range = useMemo(() => [turns.from_ms / 1000, now_ms / 1000 + Math.max(ahead, days * day_s * 0.01)] as const, [turns.from_ms, now_ms, ahead, days]);
  const all = useMemo(
    () => Object.fromEntries(figures.map((f) => [f, turns.lines.map((l) => series_of(l, turns.outcomes, f, turns.thinned))])) as Record<Figure, FigureSeries[]>,
    [turns],
  );
  const limits: Record<Figure, number | null> = {
    time_to_pressure_s: station.settings.pump_limit_s,
    peak_bar: null,
    residual_bar: station.settings.residual_bar,
    vent_s: null,
  };
  // Limits far away would flatten the figures to a line: they are drawn where a warning is about them or they are near.
  const y_ranges = useMemo(
    () => Object.fromEntries(figures.map((f) => {
      const without = range_of(all[f], []);
      const limit = limits[f];
      const near = limit !== null && without !== null && (limit < without[1] * 2.2 || ahead > 0);
      return [f, (near ? range_of(all[f], [limit]) : without) ?? [0, 1]];
    })) as unknown as Record<Figure, readonly [number, number]>,
    [all, limits.time_to_pressure_s, limits.residual_bar, ahead],
  );
  const temps = turns.lines.flatMap((l) => l.temp_c.filter((t): t is number => t !== null));
  const temp_range = temps.length === 0 ? ([0, 20] as const) : ([Math.min(...temps) - 2, Math.max(...temps) + 2] as const);
  return (
    <div class="lines">
      {turns.lines.map((columns, i) => (
        <section class="line" key={columns.line} aria-label={`Line ${columns.line}`}>
          <h3 class="line-name">Line {columns.line}</h3>
          <LineFacts station={station} line={columns.line} />
          {figures.map((f) => (
            <FigureChart
              key={f} {...props} figure={f} series={all[f][i] ?? series_of(columns, turns.outcomes, f, turns.thinned)} x_range={x_range} y_range={y_ranges[f]}
              limit={limits[f]} forecast={forecast_of(station, columns.line, f)} line={columns.line}
            />
          ))}
          <Forecasts station={station} line={columns.line} />
          <TemperatureChart columns={columns} thinned={turns.thinned} x_range={x_range} y_range={temp_range} line={columns.line} />
          <Table columns={columns} turns={turns} turn_route={props.turn_route} />
        </section>
      ))}
    </div>
  );
}

function LineFacts({ station, line }: { station: Station; line: number }) {
  const now = station.lines.find((l) => l.line === line);
  if (now === undefined) return null;
  const design = now.design;
  const parts = [`${now.turns_30_days} turns in 30 days`, `${now.missed_target_30_days} missed the target`];
  if (design?.length_m != null) parts.push(`${plain(design.length_m)} m`);
  if (design?.devices != null) parts.push(`${design.devices} devices`);
  return <p class="soft">{parts.join(', ')}</p>;
}

interface FigureProps extends Props {
  figure: Figure;
  series: FigureSeries;
  x_range: readonly [number, number];
  y_range: readonly [number, number];
  limit: number | null;
  forecast: Warning | null;
  line: number;
}

function FigureChart({ figure, series, x_range, y_range, limit, forecast, line, turn, turns, pick, now_ms }: FigureProps) {
  const traces = useMemo<readonly Trace[]>(() => [
    { values: series.high, tone: 'band', width: 0 },
    { values: series.low, tone: 'band', width: 0 },
    { values: series.value, tone: 'trace', width: 0.6 },
  ], [series]);
  const shapes = useMemo(
    () => shapes_of(series, turn, limit, y_range, forecast, now_ms / 1000),
    [series, turn, limit, y_range, forecast, now_ms],
  );
  const unit = figure_units[figure];
  const read = (i: number): string => {
    const id = series.id[i];
    if (id === null || id === undefined) return '';
    const [v, low, high] = [series.value[i] ?? null, series.low[i] ?? null, series.high[i] ?? null];
    const usual = low === null || high === null ? 'usual not learnt yet' : `usual ${figure_text(low)} to ${figure_text(high)}`;
    const said = series.kind[i] === 'missed' && figure === 'time_to_pressure_s' ? 'target not reached' : v === null ? 'not known' : `${figure_text(v)} ${unit}`;
    return `${moment_words((series.at_s[i] ?? 0) * 1000, local)}: ${said}, ${usual}`;
  };
  return (
    <Chart
      title={figure_words[figure]} unit={unit} words={series_words(series, figure, turns.thinned)} height={heights[figure]} across="moments" x={series.at_s}
      traces={traces} band={[0, 1]} x_range={x_range} y_range={y_range} shapes={shapes} group={`station-${line}`} read={read}
      stops={series.id.map((id) => id !== null)}
      pick={(i) => {
        const id = series.id[i];
        if (id !== null && id !== undefined) pick(id);
      }}
    />
  );
}

function shapes_of(
  series: FigureSeries, turn: number | null, limit: number | null, y: readonly [number, number], forecast: Warning | null, now_s: number,
): readonly Shape[] {
  const shapes: Shape[] = [];
  series.kind.forEach((kind, i) => {
    const x = series.at_s[i] ?? 0;
    const v = series.value[i] ?? null;
    if (series.id[i] === null) return;
    if (kind === 'missed') shapes.push({ kind: 'triangle', x, y: v ?? y[1] - (y[1] - y[0]) * 0.05, tone: 'act', size: 4.5 });
    else if (kind === 'unfinished') shapes.push({ kind: 'cross', x, y: v ?? y[0] + (y[1] - y[0]) * 0.05, tone: 'soft', size: 2.5 });
    else if (v === null) return;
    else if (kind === 'high' || kind === 'low') shapes.push({ kind: 'diamond', x, y: v, tone: 'plan', size: 3.2 });
    else shapes.push({ kind: 'dot', x, y: v, tone: kind === 'usual' ? 'trace' : 'second', size: 1.3 });
  });
  if (limit !== null && limit <= y[1]) shapes.push({ kind: 'level', y: limit, tone: 'soft', word: 'limit' });
  const f = forecast?.forecast;
  if (forecast !== null && f !== undefined && f.limit_at_ms !== null && limit !== null) {
    const from = forecast.figure?.value ?? null;
    const at = f.limit_at_ms / 1000;
    shapes.push({ kind: 'moment', x: now_s, tone: 'edge', word: 'now' });
    if (from !== null) shapes.push({ kind: 'dashes', from: [now_s, from], to: [at, limit], tone: 'plan' });
    if (f.limit_at_earliest_ms !== null && f.limit_at_latest_ms !== null)
      shapes.push({ kind: 'interval', from: f.limit_at_earliest_ms / 1000, at, to: f.limit_at_latest_ms / 1000, y: limit, tone: 'plan' });
  }
  const open = turn === null ? -1 : series.id.indexOf(turn);
  if (open >= 0) shapes.push({ kind: 'ring', x: series.at_s[open] ?? 0, y: series.value[open] ?? y[1] - (y[1] - y[0]) * 0.05, tone: 'ink', size: 6 });
  return shapes;
}

interface TemperatureProps {
  columns: TurnColumns;
  thinned: boolean;
  x_range: readonly [number, number];
  y_range: readonly [number, number];
  line: number;
}

const no_shapes: readonly Shape[] = [];

function TemperatureChart({ columns, thinned, x_range, y_range, line }: TemperatureProps) {
  const along = useMemo(() => with_gaps(columns, columns.temp_c, thinned), [columns, thinned]);
  const traces = useMemo<readonly Trace[]>(() => [{ values: along.value, tone: 'second', width: 1.1 }], [along]);
  const known = columns.temp_c.filter((t): t is number => t !== null);
  const words = known.length === 0 ? 'No temperature is known.' : `${Math.min(...known).toFixed(0)} to ${Math.max(...known).toFixed(0)} °C.`;
  return (
    <Chart
      title="Temperature" unit="°C" words={words} height={84} across="moments" x={along.at_s} traces={traces} x_range={x_range} y_range={y_range} shapes={no_shapes}
      group={`station-${line}`}
    />
  );
}

/** How a forecast came to be what it is: what each day said. */
function Forecasts({ station, line }: { station: Station; line: number }) {
  const [open, set_open] = useState(false);
  const shown = figures.map((f) => forecast_of(station, line, f)).find((w) => w !== null) ?? null;
  if (shown === null) return null;
  return (
    <details onToggle={(e) => set_open(e.currentTarget.open)}>
      <summary>What each day foretold of line {line}</summary>
      {open && <ForecastTable station={station} line={line} />}
    </details>
  );
}

function ForecastTable({ station, line }: { station: Station; line: number }) {
  const place = `${station.site}/${station.station}`;
  const { loaded, again } = use_loaded(`/stations/${place}/forecasts`, forecast_days);
  const found = value_of(loaded);
  if (loaded.kind === 'failed') return <TroubleNote trouble={loaded.trouble} again={again} />;
  if (found === null) return <Waiting what="the forecasts" />;
  const series = found.series.filter((s) => s.line === line);
  const day = (ms: number | null | undefined): string => (ms == null ? 'none in sight' : date_words(ms, local));
  if (series.length === 0) return <p class="soft">The first day of it is not over yet.</p>;
  return (
    <div class="wide-table" tabIndex={0} role="region" aria-label={`Forecasts of line ${line}`}>
      <table>
        <thead><tr><th scope="col">Day</th><th scope="col">Of</th><th scope="col">Limit expected</th><th scope="col">In 8 of 10 cases between</th></tr></thead>
        <tbody>
          {series.flatMap((s) => s.date_ms.map((ms, i) => ({ ms, i, s }))).sort((a, b) => b.ms - a.ms).map(({ ms, i, s }) => (
            <tr key={`${ms}${s.condition}`}>
              <th scope="row">{date_words(ms, local)}</th>
              <td>{s.condition}</td>
              <td>{day(s.limit_at_ms[i])}</td>
              <td>{s.limit_at_earliest_ms[i] == null ? '' : `${day(s.limit_at_earliest_ms[i])} and ${day(s.limit_at_latest_ms[i])}`}</td>
            </tr>
          ))}
        </tbody>
      </table>
      <a href={address(`/stations/${place}/forecasts?format=csv`)} download>CSV</a>
    </div>
  );
}

const rows_max = 60;

function Table({ columns, turns, turn_route }: { columns: TurnColumns; turns: Turns; turn_route: (id: number) => Route }) {
  const newest = columns.id.map((_, i) => i).slice(-rows_max).reverse();
  return (
    <details class="turn-table">
      <summary>The newest {newest.length} turns as a table</summary>
      <div class="wide-table" tabIndex={0} role="region" aria-label={`Turns of line ${columns.line}`}>
        <table class="figures">
          <thead>
            <tr>
              <th scope="col">Pump start</th>
              <th scope="col">Outcome</th>
              <th scope="col" class="number">Time, s</th>
              <th scope="col" class="number">Usual, s</th>
              <th scope="col" class="number">Peak, bar</th>
              <th scope="col" class="number">Residual, bar</th>
              <th scope="col" class="number">Vent, s</th>
              <th scope="col" class="number">°C</th>
            </tr>
          </thead>
          <tbody>
            {newest.map((i) => (
              <tr key={columns.id[i]}>
                <th scope="row"><Go to={turn_route(columns.id[i] ?? 0)}>{moment_words(columns.pump_start_ms[i] ?? 0, local)}</Go></th>
                <th scope="row">{turns.outcomes[columns.outcome[i] ?? -1] ?? '?'}</th>
                <td>{figure_text(columns.time_to_pressure_s[i] ?? null)}</td>
                <td>{figure_text(columns.usual_time_to_pressure_s[i] ?? null)}</td>
                <td>{figure_text(columns.peak_bar[i] ?? null)}</td>
                <td>{figure_text(columns.residual_bar[i] ?? null)}</td>
                <td>{figure_text(columns.vent_s[i] ?? null)}</td>
                <td>{figure_text(columns.temp_c[i] ?? null)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </details>
  );
}
