import { describe, expect, test } from 'vitest';
import { against_usual, counted, days_left_words, days_range_words, duration_words, figure, moment_words, plain, utc } from './words';

describe('words', () => {
  // A technician would read "0 days" as "too late" while there are hours left.
  test('little time is told in hours and tenths, much in whole days', () => {
    expect([0, 0.3, 1, 1.44, 2.96, 9.4, 14].map(days_left_words)).toEqual(['now', '7 h', '1 day', '1.4 days', '3 days', '9 days', '14 days']);
  });

  // An interval that lost an end would promise more than is known.
  test('an interval keeps both ends', () => {
    expect(days_range_words(0.2, 3.4)).toBe('hours to 3 days');
    expect(days_range_words(6.2, 12.1)).toBe('6 to 12 days');
    expect(days_range_words(0.1, 0.2)).toBe('hours');
  });

  // The age of data is how a stale page is told from a live one.
  test('ages are short and never negative', () => {
    expect([-5, 4000, 89_000, 91_000, 3 * 3_600_000, 3 * 86_400_000].map(duration_words)).toEqual(['0 s', '4 s', '89 s', '2 min', '3 h', '3 days']);
  });

  // An unknown figure that read as 0 would look like a line in good order.
  test('an unknown figure is a dash', () => {
    expect([null, 0.423, 8.26, 87.64, 212.4].map(figure)).toEqual(['–', '0.42', '8.26', '87.6', '212']);
    expect([null, 2.1, 20, 150.04].map(plain)).toEqual(['–', '2.1', '20', '150']);
  });

  // A shift downwards must not look like one upwards.
  test('the shift against the usual carries its sign', () => {
    expect([against_usual(98.8, 87.7), against_usual(80, 100)]).toEqual(['+13\u00a0%', '−20\u00a0%']);
  });

  // A wrong offset would send people to the machine an hour late.
  test('moments follow the reader’s clock', () => {
    const noon = Date.UTC(2026, 9, 14, 12, 5);
    expect(moment_words(noon, utc)).toBe('14 Oct 12:05');
    expect(moment_words(noon, () => 120)).toBe('14 Oct 14:05');
  });

  // "1 stations" makes a page look unattended.
  test('one is one', () => {
    expect([counted(1, 'station'), counted(5000, 'station')]).toEqual(['1 station', '5,000 stations']);
  });
});
