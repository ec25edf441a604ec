import { describe, expect, test } from 'vitest';
import { address_of, fleet_query, refill_query, route_of, station_query, warnings_query, type Route } from './route';

describe('route', () => {
  // A link that a colleague sends would open something else than what was seen.
  test('what is written into the address is read back', () => {
    const routes: Route[] = [
      { page: 'fleet', query: fleet_query },
      { page: 'fleet', query: { search: 'press & "roll" 12', site: 'northyard', condition: 'slow-to-pressure', show: 'act' } },
      { page: 'station', site: 'northyard', station: 'ps-01', query: station_query },
      { page: 'station', site: 'northyard', station: 'ps-01', query: { days: 90, turn: 88121 } },
      { page: 'note', site: 'a.b', station: 'c_d' },
      { page: 'warnings', query: { ...warnings_query, urgency: 'plan', which: 'all', key: 'northyard/ps-01/line-2/slow-to-pressure' } },
      { page: 'refill', query: { ...refill_query, days: 14, site: 'northyard' } },
      { page: 'trial', rest: '/northyard/ps-01?days=365' },
      { page: 'sign-in', to: '/station/northyard/ps-01?days=7' },
    ];
    for (const route of routes) expect(route_of(address_of(route))).toEqual(route);
  });

  // Rubbish in an address would otherwise reach the API or break the page.
  test('what is not known in an address is left out', () => {
    expect(route_of('/?show=everything&site=%2e%2e%2f&q=%E0%A4')).toEqual({ page: 'fleet', query: { ...fleet_query, search: '%E0%A4' } });
    expect(route_of('/station/northyard/ps-01?days=31&turn=9x')).toEqual({ page: 'station', site: 'northyard', station: 'ps-01', query: station_query });
    expect(route_of('/station/north yard/ps-01')).toMatchObject({ page: 'nowhere' });
    expect(route_of('/station/northyard')).toMatchObject({ page: 'nowhere' });
  });

  // A sign-in link could send people, signed in, to a foreign host.
  test('after sign-in one stays on this host', () => {
    for (const to of ['https://elsewhere.example/', '//elsewhere.example', '/\\elsewhere.example', 'javascript:1'])
      expect(route_of(`/sign-in?to=${encodeURIComponent(to)}`)).toEqual({ page: 'sign-in', to: '/' });
  });
});
