// Shapes drawn by hand over a chart, in its own coordinates.
import type { Tone } from './tones';

export type Shape =
  | { kind: 'dot' | 'ring' | 'diamond' | 'triangle' | 'cross'; x: number; y: number; tone: Tone; size: number }
  /** A line from side to side, with a word at its right end. */
  | { kind: 'level'; y: number; tone: Tone; word: string }
  /** A line from top to bottom, with a word at its top. */
  | { kind: 'moment'; x: number; tone: Tone; word: string }
  /** From earliest to latest at a height, the expected marked. */
  | { kind: 'interval'; from: number; at: number; to: number; y: number; tone: Tone }
  | { kind: 'dashes'; from: readonly [number, number]; to: readonly [number, number]; tone: Tone };

interface Frame {
  x: (value: number) => number;
  y: (value: number) => number;
  left: number;
  top: number;
  width: number;
  height: number;
  ratio: number;
}

export function draw_shape(to: CanvasRenderingContext2D, frame: Frame, shape: Shape, colour: (tone: Tone) => string): void {
  const r = frame.ratio;
  to.save();
  to.beginPath();
  to.rect(frame.left - 4 * r, frame.top - 6 * r, frame.width + 8 * r, frame.height + 12 * r);
  to.clip();
  to.strokeStyle = to.fillStyle = colour(shape.tone);
  to.lineWidth = 1.3 * r;
  switch (shape.kind) {
    case 'level': {
      const y = frame.y(shape.y);
      to.setLineDash([5 * r, 3 * r]);
      line(to, frame.left, y, frame.left + frame.width, y);
      write(to, shape.word, frame.left + frame.width - 3 * r, y + 12 * r, r, 'right', colour('paper'));
      break;
    }
    case 'moment': {
      const x = frame.x(shape.x);
      to.setLineDash([2 * r, 2 * r]);
      line(to, x, frame.top, x, frame.top + frame.height);
      write(to, shape.word, x + 4 * r, frame.top + frame.height - 4 * r, r, 'left', colour('paper'));
      break;
    }
    case 'interval': {
      const y = frame.y(shape.y);
      const [from, end] = [frame.x(shape.from), frame.x(shape.to)];
      to.lineWidth = 3 * r;
      line(to, from, y, end, y);
      to.lineWidth = 1.5 * r;
      line(to, from, y - 5 * r, from, y + 5 * r);
      line(to, end, y - 5 * r, end, y + 5 * r);
      point(to, 'diamond', frame.x(shape.at), y, 5 * r);
      break;
    }
    case 'dashes':
      to.setLineDash([3 * r, 3 * r]);
      line(to, frame.x(shape.from[0]), frame.y(shape.from[1]), frame.x(shape.to[0]), frame.y(shape.to[1]));
      break;
    default:
      point(to, shape.kind, frame.x(shape.x), frame.y(shape.y), shape.size * r);
  }
  to.restore();
}

function line(to: CanvasRenderingContext2D, x1: number, y1: number, x2: number, y2: number): void {
  to.beginPath();
  to.moveTo(x1, y1);
  to.lineTo(x2, y2);
  to.stroke();
}

function write(to: CanvasRenderingContext2D, words: string, x: number, y: number, ratio: number, align: CanvasTextAlign, halo: string): void {
  to.font = `${11.5 * ratio}px ${getComputedStyle(document.body).fontFamily}`;
  to.textAlign = align;
  to.setLineDash([]);
  to.lineWidth = 3 * ratio;
  to.strokeStyle = halo;
  to.strokeText(words, x, y);
  to.fillText(words, x, y);
}

function point(to: CanvasRenderingContext2D, kind: 'dot' | 'ring' | 'diamond' | 'triangle' | 'cross', x: number, y: number, size: number): void {
  to.beginPath();
  switch (kind) {
    case 'dot':
    case 'ring': to.arc(x, y, size, 0, 2 * Math.PI); break;
    case 'diamond': path(to, [[x, y - size], [x + size, y], [x, y + size], [x - size, y]]); break;
    case 'triangle': path(to, [[x, y - size], [x + size, y + size * 0.8], [x - size, y + size * 0.8]]); break;
    case 'cross':
      to.moveTo(x - size, y - size);
      to.lineTo(x + size, y + size);
      to.moveTo(x - size, y + size);
      to.lineTo(x + size, y - size);
  }
  if (kind === 'ring' || kind === 'cross') to.stroke();
  else to.fill();
}

function path(to: CanvasRenderingContext2D, points: readonly (readonly [number, number])[]): void {
  points.forEach(([x, y], i) => (i === 0 ? to.moveTo(x, y) : to.lineTo(x, y)));
  to.closePath();
}
