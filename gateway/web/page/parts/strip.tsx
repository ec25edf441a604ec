// Thirty days of a line's time to pressure over its baseline band.
import './strip.css';
import { useMemo } from 'preact/hooks';
import { band, draw_strip, strip_words } from '../model/strip';
import type { StripShape } from '../wire/types';

export function StripView({ line, days, shape }: { line: number; days: readonly (number | null)[]; shape: StripShape }) {
  const made = useMemo(() => draw_strip(days), [days]);
  const width = days.length;
  const x = (day: number): string => `${((day / width) * 100).toFixed(2)}%`;
  return (
    <span class="strip" role="img" aria-label={strip_words(line, days, shape)}>
      <svg viewBox={`0 0 ${width} 100`} preserveAspectRatio="none" aria-hidden="true">
        <rect class="strip-band" x="0" y={band.top} width={width} height={band.bottom - band.top} />
        {made.unknown.map(({ from, to }) => (
          <g key={from}>
            <rect class="strip-unknown" x={from} y="0" width={to - from} height="100" />
            <line class="strip-unknown-line" x1={from} x2={to} y1="50" y2="50" />
          </g>
        ))}
        <path class="strip-line" d={made.path} />
      </svg>
      <svg aria-hidden="true">
        {made.off.map((o) => (
          <circle key={o.x} class="strip-off" cx={x(o.x)} cy={`${o.y}%`} r="2.1" />
        ))}
        {made.missed.map((day) => (
          <svg key={day} x={x(day)} y="0" overflow="visible">
            <path class="strip-missed" d="M0 0 L4 7 H-4 Z" />
          </svg>
        ))}
      </svg>
    </span>
  );
}
