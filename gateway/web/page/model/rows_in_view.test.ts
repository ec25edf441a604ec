import { describe, expect, test } from 'vitest';
import { blocks_of, moved, rows_in_view } from './rows_in_view';

describe('rows in view', () => {
  // Rows that are in view and not drawn are a station nobody sees.
  test('covers the view wherever it stands', () => {
    for (let scroll = 0; scroll < 5000 * 44; scroll += 997) {
      const slice = rows_in_view(200 - scroll, 800, 44, 5000, 5);
      const first_seen = Math.max(0, Math.floor((scroll - 200) / 44));
      const last_seen = Math.min(4999, Math.floor((scroll - 200 + 799) / 44));
      expect(slice.first).toBeLessThanOrEqual(first_seen);
      expect(slice.end).toBeGreaterThan(last_seen);
      expect(slice.end - slice.first).toBeLessThanOrEqual(40);
    }
  });

  // An empty or tiny list must not ask for rows that are not there.
  test('stays within the list', () => {
    expect(rows_in_view(0, 800, 44, 0, 5)).toEqual({ first: 0, end: 0 });
    expect(rows_in_view(0, 800, 44, 3, 5)).toEqual({ first: 0, end: 3 });
    expect(rows_in_view(-99999, 800, 44, 3, 5)).toEqual({ first: 3, end: 3 });
  });

  // A block asked for twice costs twice, one not asked for stays blank.
  test('blocks cover the slice once', () => {
    expect(blocks_of({ first: 95, end: 205 }, 100)).toEqual([0, 1, 2]);
    expect(blocks_of({ first: 100, end: 200 }, 100)).toEqual([1]);
    expect(blocks_of({ first: 0, end: 0 }, 100)).toEqual([]);
  });

  // Without it the list could not be walked by keyboard.
  test('keys move the focus and stay in the list', () => {
    expect(['ArrowDown', 'ArrowUp', 'PageDown', 'Home', 'End', 'a'].map((k) => moved(1, k, 10, 20))).toEqual([2, 0, 9, 0, 9, null]);
  });
});
