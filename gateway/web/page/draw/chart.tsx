// The one file that knows the chart library.
//
// It rebuilds all paths at each update, forgets the zoom when data come, and draws times in its own words: so data are set without
// scales, scales are always ours, and axes are written by model/words. Each chart has a name, a sentence, a cursor for the keyboard,
// and a read-out in words.
import 'uplot/dist/uPlot.min.css';
import './chart.css';
import uPlot from 'uplot';
import { useEffect, useLayoutEffect, useRef, useState } from 'preact/hooks';
import { clock_words, day_words } from '../model/words';
import { local } from '../parts/place';
import { draw_shape, type Shape } from './shapes';
import { on_theme, tone, type Tone } from './tones';

export interface Trace {
  values: readonly (number | null | undefined)[];
  tone: Tone;
  width: number;
  dash?: readonly number[];
}

interface Props {
  title: string;
  /** What the chart says, in a sentence. */
  words: string;
  height: number;
  /** What x counts: moments, or seconds of a turn. */
  across: 'moments' | 'seconds';
  unit: string;
  x: readonly number[];
  traces: readonly Trace[];
  /** The traces between which the band lies, by their place: high, low. */
  band?: readonly [number, number];
  x_range: readonly [number, number];
  y_range: readonly [number, number];
  shapes: readonly Shape[];
  /** Charts of one group show their cursors together. */
  group?: string;
  read?: (index: number) => string;
  pick?: (index: number) => void;
  /** Which x may be stopped at by the arrow keys. */
  stops?: readonly boolean[];
}

const font = "12px 'Source Sans 3', Seravek, Lato, 'Segoe UI', 'Helvetica Neue', 'Liberation Sans', Arial, sans-serif";
const day_s = 86_400;

export function Chart(props: Props) {
  const box = useRef<HTMLDivElement>(null);
  const made = useRef<uPlot | null>(null);
  const now = useRef(props);
  now.current = props;
  const [read, set_read] = useState('');

  useLayoutEffect(() => {
    if (box.current === null) return;
    const plot = new uPlot(options(now, box.current.clientWidth, set_read), data(now.current), box.current);
    made.current = plot;
    if (now.current.pick !== undefined) plot.over.classList.add('picks');
    const watch = new ResizeObserver(() => {
      if (box.current !== null && box.current.clientWidth > 0) plot.setSize({ width: box.current.clientWidth, height: now.current.height });
    });
    watch.observe(box.current);
    const unwatch = on_theme(() => plot.redraw(false, true));
    return () => {
      unwatch();
      watch.disconnect();
      plot.destroy();
      made.current = null;
    };
  }, [props.traces.length, props.group, props.across]);

  const first = useRef(true);
  useEffect(() => {
    if (first.current) {
      first.current = false;
      return;
    }
    const plot = made.current;
    if (plot === null) return;
    plot.batch(() => {
      plot.setData(data(props), false);
      plot.setScale('x', { min: props.x_range[0], max: props.x_range[1] });
      plot.setScale('y', { min: props.y_range[0], max: props.y_range[1] });
      plot.redraw(true, true);
    });
  }, [props.x, props.traces, props.x_range, props.y_range, props.shapes]);

  const key = (event: KeyboardEvent): void => {
    const plot = made.current;
    if (plot === null || props.read === undefined) return;
    const at = plot.cursor.idx ?? null;
    if ((event.key === 'Enter' || event.key === ' ') && at !== null && props.pick !== undefined) {
      event.preventDefault();
      props.pick(at);
      return;
    }
    const step = { ArrowLeft: -1, ArrowRight: 1, Home: -Infinity, End: Infinity }[event.key];
    if (step === undefined) return;
    event.preventDefault();
    const to = next_stop(props, at, step);
    const x = to === null ? undefined : props.x[to];
    if (x !== undefined) plot.setCursor({ left: plot.valToPos(x, 'x'), top: plot.over.clientHeight / 2 });
  };

  const reads = props.read !== undefined;
  return (
    <figure class="chart">
      <h3>{props.title} <span class="soft">{props.unit}</span></h3>
      <div
        ref={box} class="plot" tabIndex={reads ? 0 : undefined} role={reads ? 'application' : 'img'} aria-roledescription={reads ? 'chart' : undefined}
        aria-label={`${props.title}. ${props.words}${reads ? ' Arrow keys move over it.' : ''}`} onKeyDown={key}
      />
      {reads && <output class="unseen" aria-live="polite">{read}</output>}
      <figcaption>{read === '' ? props.words : read}</figcaption>
    </figure>
  );
}

function data(props: Props): uPlot.AlignedData {
  return [props.x as number[], ...props.traces.map((t) => t.values as (number | null | undefined)[])];
}

function next_stop(props: Props, at: number | null, step: number): number | null {
  const may = (i: number): boolean => props.stops?.[i] ?? true;
  const forward = step > 0;
  let i = at === null || Math.abs(step) === Infinity ? (forward === (Math.abs(step) === Infinity) ? props.x.length - 1 : 0) : at + step;
  if (at === null && Math.abs(step) !== Infinity) i = props.x.length - 1;
  const direction = Math.abs(step) === Infinity ? -Math.sign(step) : Math.sign(step);
  while (i >= 0 && i < props.x.length && !may(i)) i += direction;
  return i >= 0 && i < props.x.length ? i : at;
}

function options(now: { current: Props }, width: number, set_read: (words: string) => void): uPlot.Options {
  const p = now.current;
  const axis: Partial<uPlot.Axis> = {
    stroke: () => tone('soft'),
    font,
    ticks: { show: false },
    grid: { stroke: () => tone('rule'), width: 1 },
  };
  const made: uPlot.Options = {
    width: Math.max(120, width),
    height: p.height,
    padding: [8, 8, 0, 0],
    legend: { show: false },
    cursor: {
      show: p.read !== undefined,
      y: false,
      drag: { x: false, y: false, setScale: false },
      points: { show: false },
      ...(p.group === undefined ? {} : { sync: { key: p.group, scales: ['x', null] } }),
    },
    scales: {
      x: { time: p.across === 'moments', range: () => [now.current.x_range[0], now.current.x_range[1]] },
      y: { range: () => [now.current.y_range[0], now.current.y_range[1]] },
    },
    axes: [
      { ...axis, space: 64, size: 24, gap: 3, values: (_, splits, __, ___, step) => splits.map((s) => x_word(s, step, now.current.across)) },
      { ...axis, space: 28, size: 44, gap: 4, values: (_, splits) => splits.map(y_word) },
    ],
    series: [{}, ...p.traces.map((t, i): uPlot.Series => ({
      stroke: () => tone(now.current.traces[i]?.tone ?? t.tone),
      width: t.width,
      points: { show: false },
      ...(t.dash === undefined ? {} : { dash: [...t.dash] }),
    }))],
    ...(p.band === undefined ? {} : { bands: [{ series: [p.band[0] + 1, p.band[1] + 1], fill: () => tone('band') }] }),
    hooks: {
      draw: [(plot) => draw_over(plot, now.current.shapes)],
      setCursor: [(plot) => {
        const at = plot.cursor.idx ?? null;
        const known = at !== null && (plot.cursor.left ?? -1) >= 0 && (now.current.stops?.[at] ?? true);
        set_read(known ? now.current.read?.(at) ?? '' : '');
      }],
      ready: [(plot) => plot.over.addEventListener('click', () => {
        const at = plot.cursor.idx ?? null;
        if (at !== null) now.current.pick?.(at);
      })],
    },
  };
  return made;
}

function draw_over(plot: uPlot, shapes: readonly Shape[]): void {
  const frame = {
    x: (v: number) => plot.valToPos(v, 'x', true),
    y: (v: number) => plot.valToPos(v, 'y', true),
    left: plot.bbox.left,
    top: plot.bbox.top,
    width: plot.bbox.width,
    height: plot.bbox.height,
    ratio: devicePixelRatio,
  };
  for (const shape of shapes) draw_shape(plot.ctx, frame, shape, tone);
}

function x_word(at: number, step: number, across: Props['across']): string {
  if (across === 'seconds') return `${at} s`;
  return step >= day_s ? day_words(at * 1000, local) : clock_words(at * 1000, local);
}

function y_word(value: number | null): string {
  return value === null ? '' : Number(value.toPrecision(6)).toString();
}
