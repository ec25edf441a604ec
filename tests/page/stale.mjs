// When nothing can be known, it is said, and what is old looks old; when it is back, it is shown without being asked.
import { accessible, at, window_of } from './support/browser.mjs';
import { eventually, expect, same, test } from './support/runner.mjs';
import { join } from 'node:path';
import { slow_leak } from './looks.mjs';

export function tests({ browser, small, pictures }) {
  test('stale: the broker away is told on every page, and back again', async () => {
    const w = await window_of(browser, small.url);
    await w.page.goto(small.url);
    await w.page.waitForSelector('.fleet-list .row a');
    await small.stop_broker();
    try {
      await w.page.waitForSelector('.lost:has-text("without its broker")', { timeout: 15_000 });
      same(await w.page.locator('.stale').count(), 1, 'what is shown is greyed');
      await at(w.page, { width: 1024, theme: 'light' });
      await w.page.screenshot({ path: join(pictures, 'fleet-broker-away-1024-light.png') });
      await accessible(w.page, 'with the broker away');
    } finally {
      small.start_broker();
    }
    await eventually('the word is gone', async () => (await w.page.locator('.lost').count()) === 0, 30_000);
    same(await w.page.locator('.stale').count(), 0, 'nothing is greyed');
    w.well();
    await w.close();
  });

  test('stale: the gateway gone is said at once, what was shown stays and looks old, and it comes back by itself', async () => {
    const [fleet, station] = [await window_of(browser, small.url), await window_of(browser, small.url, { width: 360 })];
    await fleet.page.goto(small.url);
    await station.page.goto(`${small.url}/station/${slow_leak}`);
    for (const w of [fleet, station]) await w.page.waitForSelector('.age:has-text("as of")');
    await station.page.waitForSelector('.lines .uplot');
    await small.stop_gateway();
    for (const w of [fleet, station]) {
      await w.page.waitForSelector('.lost[data-lost="gone"]', { timeout: 4_000 });
      same(await w.page.locator('.stale').count(), 1, 'what is shown is greyed');
    }
    expect((await fleet.page.locator('.rows > .row').count()) >= 3, 'the rows are gone');
    await fleet.page.screenshot({ path: join(pictures, 'fleet-gateway-gone-1024-light.png') });
    await station.page.screenshot({ path: join(pictures, 'station-gateway-gone-360-light.png') });
    // A page opened meanwhile within the frame says that it knows nothing.
    await fleet.page.getByRole('link', { name: 'Warnings' }).first().click();
    await fleet.page.waitForSelector('.trouble:has-text("does not answer")');
    await small.start_gateway();
    for (const w of [fleet, station]) await eventually('the word is gone', async () => (await w.page.locator('.lost').count()) === 0, 20_000);
    await eventually('the warnings come without being asked for', async () => (await fleet.page.locator('.warning-row').count()) > 0, 15_000);
    // The gateway that came back is another one: what a person does now must not be refused for an old token.
    await fleet.page.locator('.w-open').first().click();
    await fleet.page.getByRole('button', { name: 'Note' }).click();
    await fleet.page.getByLabel('Note').last().fill('after the restart');
    await fleet.page.locator('.act-form button.first').click();
    await eventually('the note is taken', async () => (await fleet.page.locator('.act-form').count()) === 0);
    for (const w of [fleet, station]) {
      w.well();
      await w.close();
    }
  });

  test('stale: an answer that cannot be read is said, and not taken for an empty plant', async () => {
    const w = await window_of(browser, small.url);
    await w.page.route('**/api/v1/fleet?*', (route) => route.fulfill({ status: 200, contentType: 'application/json', body: '{"columns":{}}' }));
    await w.page.goto(small.url);
    await w.page.waitForSelector('.trouble:has-text("cannot be read")');
    same(await w.page.locator('.fleet-counts').count(), 0, 'no count is shown');
    await w.close();
  });
}
