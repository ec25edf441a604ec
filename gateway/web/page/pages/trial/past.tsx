// The figure of each line over time, and under it a row for each set with the stretches in which it would have warned.
import { useRef } from 'preact/hooks';
import { knob_of } from '../../model/trial';
import { date_words, moment_words, plain } from '../../model/words';
import { local } from '../../parts/place';
import type { Trial } from '../../wire/trial';
import { set_words, use_width } from './shared';

const plot = 150;
const row = 26;
const foot = 26;

export function Past({ trial }: { trial: Trial }) {
  const frame = useRef<HTMLElement>(null);
  const width = use_width(frame, 900);
  const left = width < 560 ? 76 : 110;
  const from = Math.min(trial.until_ms - 1, ...trial.lines.map((l) => l.start_ms[0] ?? trial.until_ms));
  const x = (ms: number): number => left + ((width - left - 4) * (Math.max(ms, from) - from)) / (trial.until_ms - from);
  const rows_at = (plot + 8) * trial.lines.length;
  const height = rows_at + row * trial.sets.length + foot;
  return (
    <figure class="trial-past" ref={frame}>
      <svg width={width} height={height} role="img" aria-label={`${trial.figure} of each line, and when each set of thresholds would have warned; the table below counts them`}>
        {trial.lines.map((line, i) => <Line key={line.line} line={line} top={i * (plot + 8)} x={x} right={width} unit={knob_of(trial.condition).unit} />)}
        {trial.troubles.map((t, i) => (
          <g key={i} class="trouble-mark">
            <line x1={x(t.at_ms)} x2={x(t.at_ms)} y1="0" y2={height - foot} />
            <title>{`${t.kind}${t.line === null ? '' : `, line ${t.line}`}, ${date_words(t.at_ms, local)}${t.note === '' ? '' : `: ${t.note}`}`}</title>
          </g>
        ))}
        {trial.sets.map((s, i) => (
          <g key={s.name}>
            <text x="0" y={rows_at + row * i + 17}>{set_words(s)}</text>
            <line class="axis" x1={left} x2={width - 4} y1={rows_at + row * i + 13} y2={rows_at + row * i + 13} />
            {s.warnings.map((w, k) => (
              <rect key={k} class={`warned ${w.urgency}`} x={x(w.raised_ms)} y={rows_at + row * i + 5} height="16"
                width={Math.max(3, x(w.cleared_ms ?? trial.until_ms) - x(w.raised_ms))}>
                <title>{`${w.urgency}${w.line === null ? '' : `, line ${w.line}`}, from ${moment_words(w.raised_ms, local)}${w.lead_days === null ? '' : `, ${w.lead_days.toFixed(1)} days before trouble`}`}</title>
              </rect>
            ))}
          </g>
        ))}
        <text class="soft" x={left} y={height - 8}>{date_words(from, local)}</text>
        <text class="soft" x={width - 4} y={height - 8} text-anchor="end">{date_words(trial.until_ms, local)}</text>
      </svg>
      <figcaption class="soft">
        <span class="key value-key" aria-hidden="true" /> the figure, <span class="key usual-key" aria-hidden="true" /> what was usual at that temperature.
        Bars: a warning would have been open. Dashed upright lines: trouble that people noted, or that the station met.
      </figcaption>
    </figure>
  );
}

function Line({ line, top, x, right, unit }: { line: Trial['lines'][number]; top: number; x: (ms: number) => number; right: number; unit: string }) {
  const low = Math.min(...line.value, ...line.usual);
  const high = Math.max(...line.value, ...line.usual, low + 1e-6);
  const y = (v: number): number => top + 8 + (plot - 16) * (1 - (v - low) / (high - low));
  const path = (values: readonly number[]): string => values.map((v, k) => `${k === 0 ? 'M' : 'L'}${x(line.start_ms[k] ?? 0).toFixed(1)} ${y(v).toFixed(1)}`).join('');
  return (
    <g>
      <text x="0" y={top + plot / 2 + 4}>line {line.line}</text>
      <text class="soft" x="0" y={top + 16}>{plain(high)} {unit}</text>
      <text class="soft" x="0" y={top + plot - 6}>{plain(low)} {unit}</text>
      <line class="axis" x1={x(0)} x2={right - 4} y1={top + plot - 2} y2={top + plot - 2} />
      <path class="value" d={path(line.value)} />
      <path class="usual" d={path(line.usual)} />
    </g>
  );
}
