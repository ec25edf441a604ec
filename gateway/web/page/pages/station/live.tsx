// The pressure as it comes, and the turn in progress.
import { useEffect, useMemo, useState } from 'preact/hooks';
import { Chart, type Trace } from '../../draw/chart';
import type { Shape } from '../../draw/shapes';
import { turn_words, window_s, type PressureWindow } from '../../model/live_pressure';
import { plain } from '../../model/words';
import { use_events } from '../../parts/events';
import type { Station, TurnInProgress } from '../../wire/types';

/** The chart is drawn anew at most this often. */
const redraw_ms = 500;
const tones = ['ink', 'second', 'notice', 'silent', 'trace', 'plan', 'soft', 'act'] as const;

interface Props {
  station: Station;
  place: string;
  pressure: { readonly current: PressureWindow };
}

export function Live({ station, place, pressure }: Props) {
  const [shown, set_shown] = useState<PressureWindow>(pressure.current);
  const [turn, set_turn] = useState<TurnInProgress | null>(station.in_progress);
  useEffect(() => set_turn(station.in_progress), [station.in_progress]);
  useEffect(() => {
    const timer = setInterval(() => set_shown(pressure.current), redraw_ms);
    return () => clearInterval(timer);
  }, []);
  use_events((event) => {
    if (event.kind === 'turn' && event.data.station === place) set_turn(event.data.turn);
  });
  const share = turn === null || turn.usual_s === null || turn.phase === 'venting' ? null : Math.min(1, turn.elapsed_s / turn.usual_s);
  return (
    <section class="live" aria-label="Now">
      <h2>Now</h2>
      <p class="turn-now">{turn_words(turn)}</p>
      {share !== null && <div class="progress" aria-hidden="true"><i style={{ width: `${share * 100}%` }} /></div>}
      <PressureChart window={shown} target={station.settings.target_bar} />
      <p class="soft">
        {shown.at_s.length === 0 ? '' : `${shown.level_pct === null ? 'level unknown' : `level ${plain(shown.level_pct)} %`}, ${shown.temp_c === null ? 'temperature unknown' : `${plain(shown.temp_c)} °C`}`}
      </p>
    </section>
  );
}

function PressureChart({ window, target }: { window: PressureWindow; target: number | null }) {
  const made = useMemo(() => {
    const end = window.at_s[window.at_s.length - 1] ?? 0;
    const traces: Trace[] = window.bar.map((values, i) => ({ values, tone: tones[i % tones.length] ?? 'ink', width: i === 0 ? 1.6 : 1.4, ...(i === 0 ? {} : { dash: [6, 3] }) }));
    const top = Math.max(target ?? 0, 10, ...window.bar.flatMap((line) => line.filter((v): v is number => v !== null)));
    const shapes: Shape[] = target === null ? [] : [{ kind: 'level', y: target, tone: 'soft', word: 'target' }];
    return { x: window.at_s, traces, shapes, x_range: [end - window_s, end] as const, y_range: [0, top * 1.1] as const };
  }, [window, target]);
  if (window.at_s.length === 0) return <p class="empty">No pressure has come in the last ten minutes. It is drawn here as soon as the station sends.</p>;
  const lines = window.bar.map((line, i) => `line ${i + 1}${i === 0 ? ' (whole line)' : ' (dashed)'} ${plain([...line].reverse().find((v) => v !== null) ?? null)} bar`);
  return <Chart title="Pressure, last 10 minutes" unit="bar" words={`${lines.join(', ')}.`} height={190} across="moments" {...made} />;
}
