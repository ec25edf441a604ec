// One turn: its row, and its curve over a healthy one.
import { useEffect, useMemo, useRef } from 'preact/hooks';
import { Chart, type Trace } from '../../draw/chart';
import type { Shape } from '../../draw/shapes';
import { value_of } from '../../model/loaded';
import type { Route } from '../../model/route';
import { figure_units, figure_words, figures } from '../../model/turns';
import { date_words, figure, moment_words, plain, with_unit } from '../../model/words';
import { TroubleNote, use_loaded, Waiting } from '../../parts/load';
import { Go, local } from '../../parts/place';
import { address } from '../../wire/http';
import { turn_detail, type TurnDetail } from '../../wire/types';

interface Props {
  site: string;
  station: string;
  id: number;
  turn_route: (id: number | null) => Route;
}

export function TurnPanel({ site, station, id, turn_route }: Props) {
  const { loaded, again } = use_loaded(`/stations/${site}/${station}/turns/${id}`, turn_detail);
  const panel = useRef<HTMLElement>(null);
  const detail = value_of(loaded);
  useEffect(() => {
    panel.current?.scrollIntoView({ block: 'nearest' });
    panel.current?.focus({ preventScroll: true });
  }, [id, detail !== null]);
  return (
    <section class="turn-panel" ref={panel} tabIndex={-1} aria-label="One turn">
      {loaded.kind === 'loading' && <Waiting what="the turn" />}
      {loaded.kind === 'failed' && <TroubleNote trouble={loaded.trouble} again={again} />}
      {detail !== null && <Detail detail={detail} place={`${site}/${station}`} turn_route={turn_route} />}
    </section>
  );
}

function Detail({ detail, place, turn_route }: { detail: TurnDetail; place: string; turn_route: Props['turn_route'] }) {
  const { turn, curve, healthy } = detail;
  return (
    <>
      <header class="turn-header">
        <h2>Turn of line {turn.line}, {date_words(turn.pump_start_ms, local)} {moment_words(turn.pump_start_ms, local).slice(-5)}</h2>
        <span>{turn.outcome}</span>
        <nav aria-label="Turns of this line">
          {detail.previous_id !== null && <Go to={turn_route(detail.previous_id)}>one before</Go>}
          {detail.next_id !== null && <Go to={turn_route(detail.next_id)}>one after</Go>}
          <a href={address(`/stations/${place}/turns/${turn.id}/curve.svg`)}>SVG</a>
          <Go to={turn_route(null)}>close</Go>
        </nav>
      </header>
      <div class="turn-parts">
        {curve.after_s.length === 0 ? <p class="empty">No curve of this turn was kept.</p> : <CurveChart detail={detail} />}
        <Row detail={detail} />
      </div>
      <p class="soft">
        {healthy === null ? `No healthy turn to lay it over: ${detail.healthy_why}` : `Grey: the turn of ${date_words(healthy.pump_start_ms, local)}: ${detail.healthy_why}`}
      </p>
    </>
  );
}

function CurveChart({ detail }: { detail: TurnDetail }) {
  const { curve, healthy, turn } = detail;
  const made = useMemo(() => {
    const x = [...new Set([...curve.after_s, ...(healthy?.after_s ?? [])])].sort((a, b) => a - b);
    const along = (after: readonly number[], bar: readonly number[]): (number | undefined)[] => {
      const at = new Map(after.map((s, i) => [s, bar[i]]));
      return x.map((s) => at.get(s));
    };
    const traces: Trace[] = [
      { values: healthy === null ? x.map(() => undefined) : along(healthy.after_s, healthy.bar), tone: 'edge', width: 3 },
      { values: along(curve.after_s, curve.bar), tone: 'ink', width: 1.6 },
    ];
    const target = turn.settings.target_bar;
    const top = Math.max(target ?? 0, ...curve.bar, ...(healthy?.bar ?? [])) * 1.08;
    const shapes: Shape[] = target === null ? [] : [{ kind: 'level', y: target, tone: 'soft', word: 'target' }];
    return { x, traces, shapes, x_range: [0, Math.max(1, x[x.length - 1] ?? 1) * 1.02] as const, y_range: [0, Math.max(1, top)] as const };
  }, [detail]);
  const words = `Pressure from pump start to pump stop, up to ${figure(Math.max(...curve.bar))} bar${healthy === null ? '' : ', over a healthy turn in grey'}.`;
  return <Chart title="Pressure curve" unit="bar" words={words} height={240} across="seconds" {...made} />;
}

function Row({ detail }: { detail: TurnDetail }) {
  const { turn, shape } = detail;
  return (
    <table class="figures turn-row">
      <thead>
        <tr><th scope="col">Figure</th><th scope="col" class="number">This turn</th><th scope="col" class="number">Usual</th></tr>
      </thead>
      <tbody>
        {figures.map((f) => {
          const usual = turn.usual[f];
          return (
            <tr key={f}>
              <th scope="row">{figure_words[f]}</th>
              <td>{with_unit(turn[f], figure_units[f])}</td>
              <td>{usual === null ? 'not learnt' : `${plain(usual.expected)} ± ${plain(usual.deviation)}`}</td>
            </tr>
          );
        })}
        <tr><th scope="row">Pump run time</th><td>{with_unit(turn.pump_run_s, 's')}</td><td /></tr>
        <tr><th scope="row">Metering plateau</th><td>{shape.plateau_s === null ? 'none seen' : `${plain(shape.plateau_s)} s at ${plain(shape.plateau_bar)} bar`}</td><td /></tr>
        <tr><th scope="row">Temperature</th><td>{with_unit(turn.temp_c, '°C')}</td><td /></tr>
        <tr><th scope="row">Level</th><td>{with_unit(turn.level_pct, '%')}</td><td /></tr>
        <tr>
          <th scope="row">Samples</th>
          <td>{turn.samples}, largest gap {with_unit(turn.largest_gap_s, 's')}</td>
          <td>{[turn.late ? 'came late' : '', turn.off_schedule ? 'off schedule' : '', turn.clock_stepped ? 'clock was set' : ''].filter((w) => w !== '').join(', ')}</td>
        </tr>
      </tbody>
    </table>
  );
}
