// Days of lead against false warnings a year, over a range of the smallest shift: what it buys, and what it costs.
import { useRef } from 'preact/hooks';
import { price_words } from '../../model/trial';
import { plain } from '../../model/words';
import type { Trial, TrialCurve } from '../../wire/trial';
import { set_words, use_width } from './shared';

const left = 56;
const height = 250;
const foot = 46;

export function Curve({ trial }: { trial: Trial }) {
  const { curve } = trial;
  if (curve === null || curve.steps.length < 2) return null;
  const costs = curve.steps.map((s) => s.false_a_year);
  const flat = Math.log(Math.max(...costs, 0.001) / Math.max(Math.min(...costs), 0.001)) < 0.01;
  return (
    <figure class="trial-curve">
      <figcaption>What it costs, and what it buys</figcaption>
      {flat
        ? <p class="soft">On this station's noise every one of these thresholds costs the same: {price_words(costs[0] ?? 0)}. The one with most lead is free.</p>
        : <Drawn trial={trial} curve={curve} />}
      <details>
        <summary>The figures</summary>
        <div class="wide" role="region" aria-label="price of each threshold" tabIndex={0}>
          <table class="trial-sets">
            <thead><tr><th>Smallest shift</th><th>False warnings</th><th>Lead, days</th><th>9 of 10 over</th></tr></thead>
            <tbody>
              {curve.steps.map((s, i) => (
                <tr key={s.value}>
                  <th scope="row">{s.value} %{i === curve.knee ? ' (knee)' : ''}</th>
                  <td>{price_words(s.false_a_year)}</td><td>{s.lead_days.toFixed(1)}</td><td>{s.lead_days_low.toFixed(1)}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      </details>
    </figure>
  );
}

function Drawn({ trial, curve }: { trial: Trial; curve: TrialCurve }) {
  const frame = useRef<HTMLDivElement>(null);
  const width = Math.min(use_width(frame, 640), 760);
  const cost = (c: number): number => Math.log(Math.max(c, 0.001));
  const sets = trial.sets.flatMap((s) => (s.price === null ? [] : [{ set: s, price: s.price }]));
  const costs = [...curve.steps.map((s) => cost(s.false_a_year)), ...sets.map((s) => cost(s.price.false_a_year))];
  const leads = [...curve.steps.map((s) => s.lead_days), ...sets.map((s) => s.price.lead_days)];
  const [low, high] = [Math.min(...costs), Math.max(...costs) + 1e-9];
  const [least, most] = [Math.min(...leads), Math.max(...leads) + 1e-9];
  const x = (c: number): number => left + 14 + ((width - left - 70) * (cost(c) - low)) / (high - low);
  const y = (d: number): number => height - foot - 26 - ((height - foot - 60) * (d - least)) / (most - least);
  const steps = [...curve.steps].sort((a, b) => a.false_a_year - b.false_a_year);
  const ends = [0, curve.steps.length - 1];
  return (
    <div ref={frame}>
      <svg width={width} height={height} role="img" aria-label="days of lead against false warnings a year; the table below has the figures">
        <path class="axis" d={`M${left} 10V${height - foot}H${width - 6}`} />
        <polyline points={steps.map((s) => `${x(s.false_a_year).toFixed(1)},${y(s.lead_days).toFixed(1)}`).join(' ')} />
        {curve.steps.map((s, i) => (
          <g key={s.value} class={i === curve.knee ? 'knee' : ''}>
            <circle cx={x(s.false_a_year)} cy={y(s.lead_days)} r={i === curve.knee ? 7 : 4} />
            {(i === curve.knee || ends.includes(i)) && (
              <text x={x(s.false_a_year) + 9} y={y(s.lead_days) - 8}>{s.value} %{i === curve.knee ? ', knee' : ''}</text>
            )}
          </g>
        ))}
        {sets.map((s, i) => (
          <g key={s.set.name} class={`here set-${i}`}>
            <rect x={x(s.price.false_a_year) - 7} y={y(s.price.lead_days) - 7} width="14" height="14" />
            <text x={x(s.price.false_a_year)} y={y(s.price.lead_days) + 20 + 13 * i} text-anchor={i === 0 ? 'start' : 'middle'}>{set_words(s.set)}</text>
          </g>
        ))}
        <text class="soft" x={left - 6} y={y(most) + 4} text-anchor="end">{plain(most)} d</text>
        <text class="soft" x={left - 6} y={y(least) + 4} text-anchor="end">{plain(least)} d</text>
        <text class="soft" x={left} y={height - foot + 16}>{price_words(Math.exp(low))}</text>
        <text class="soft" x={width - 6} y={height - foot + 16} text-anchor="end">{price_words(Math.exp(high))}</text>
        <text class="soft" x={(left + width) / 2} y={height - 8} text-anchor="middle">false warnings, this condition →  lead ↑</text>
      </svg>
    </div>
  );
}
