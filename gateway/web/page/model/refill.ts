// The refill round: visits by site and day, with what to bring.
import type { RefillRound, RefillVisit } from '../wire/types';
import { date_words, plain, utc, type Offset } from './words';

export interface SiteRound {
  site: string;
  visits: readonly RefillVisit[];
  kg: number;
  litres: number;
  unknown_amount: number;
}

/** By site in the gateway's order; within it, what has no day goes first, then by day. */
export function rounds_of(visits: readonly RefillVisit[], site: string | null): readonly SiteRound[] {
  const by_site = new Map<string, RefillVisit[]>();
  for (const visit of visits) {
    if (site !== null && visit.site !== site) continue;
    const there = by_site.get(visit.site);
    if (there === undefined) by_site.set(visit.site, [visit]);
    else there.push(visit);
  }
  return [...by_site].map(([name, list]) => ({
    site: name,
    visits: [...list].sort((a, b) => (a.visit_by_ms ?? 0) - (b.visit_by_ms ?? 0)),
    kg: sum(list.map((v) => v.kg)),
    litres: sum(list.map((v) => v.litres)),
    unknown_amount: list.filter((v) => v.kg === null).length,
  }));
}

function sum(list: readonly (number | null)[]): number {
  return list.reduce<number>((a, b) => a + (b ?? 0), 0);
}

/** Amounts are rounded up to a tenth: a little over is brought back, a little under is a second way. */
export function amount_words(visit: { kg: number | null; litres: number | null }): string {
  const up = (v: number): string => plain(Math.ceil(v * 10 - 1e-9) / 10);
  if (visit.kg === null && visit.litres === null) return 'unknown: bring a drum';
  if (visit.litres === null) return `${up(visit.kg ?? 0)} kg`;
  if (visit.kg === null) return `${up(visit.litres)} l`;
  return `${up(visit.kg)} kg, ${up(visit.litres)} l`;
}

/** Days are the gateway's, midnight UTC: the date is told as it is, not moved by the reader's clock. */
export function by_words(visit: RefillVisit, now_ms: number, offset: Offset = utc): string {
  if (visit.visit_by_ms === null) return 'first of all';
  if (visit.visit_by_ms <= now_ms) return 'today';
  return date_words(visit.visit_by_ms, offset);
}

export function total_words(round: RefillRound | SiteRound): string {
  const amount = round.kg > 0 ? amount_words({ kg: round.kg, litres: round.litres > 0 ? round.litres : null }) : 'amount unknown';
  return round.unknown_amount > 0 && round.kg > 0 ? `${amount}, and ${round.unknown_amount} of unknown amount` : amount;
}
