// Station: every number leads to what it was made from; live pressure; notes.
import { window_of } from './support/browser.mjs';
import { eventually, expect, same, test } from './support/runner.mjs';
import { slow_leak } from './looks.mjs';

export function tests({ browser, small }) {
  const open = async (query = '') => {
    const w = await window_of(browser, small.url, { width: 1400 });
    await w.page.goto(`${small.url}/station/${slow_leak}${query}`);
    await w.page.waitForSelector('.lines .uplot');
    return w;
  };

  test('station: a click on a point opens its turn, with row and curve over a healthy one', async () => {
    const w = await open();
    const over = w.page.locator('section.line').nth(1).locator('.u-over').first();
    const box = await over.boundingBox();
    await w.page.mouse.move(box.x + box.width * 0.2, box.y + box.height / 2);
    await w.page.mouse.click(box.x + box.width * 0.2, box.y + box.height / 2);
    await w.page.waitForSelector('.turn-panel table');
    const id = Number(new URL(w.page.url()).searchParams.get('turn'));
    const detail = await small.get(`/stations/${slow_leak}/turns/${id}`);
    const said = await w.page.locator('.turn-row').innerText();
    expect(said.includes(`${Number(detail.turn.time_to_pressure_s.toFixed(1))} s`) || said.includes(`${Math.round(detail.turn.time_to_pressure_s)} s`), `the row says ${said}`);
    expect((await w.page.locator('.turn-panel h2').innerText()).includes(`line ${detail.turn.line}`), 'the turn is of another line');
    w.well();
    await w.close();
  });

  test('station: by keyboard alone over a chart to a turn, and on to the one before', async () => {
    const w = await open();
    const chart = w.page.locator('section.line .plot[tabindex]').first();
    await chart.focus();
    await w.page.keyboard.press('End');
    await eventually('the read-out speaks', async () => /\d+ s, usual/.test(await w.page.locator('section.line output').first().textContent()));
    const last = await w.page.locator('section.line output').first().textContent();
    await w.page.keyboard.press('ArrowLeft');
    await eventually('the read-out moves', async () => (await w.page.locator('section.line output').first().textContent()) !== last);
    await w.page.keyboard.press('Enter');
    await w.page.waitForSelector('.turn-panel table');
    const id = () => new URL(w.page.url()).searchParams.get('turn');
    const opened = id();
    await w.page.locator('.turn-header a', { hasText: 'one before' }).focus();
    await w.page.keyboard.press('Enter');
    await eventually('another turn', () => id() !== opened);
    await w.page.locator('.turn-header a', { hasText: 'close' }).press('Enter');
    await eventually('closed', async () => (await w.page.locator('.turn-panel').count()) === 0);
    w.well();
    await w.close();
  });

  test('station: the table beside a chart holds the figures that it draws', async () => {
    const w = await open();
    await w.page.locator('.turn-table summary').first().click();
    const turns = await small.get(`/stations/${slow_leak}/turns?points=500`);
    const line = turns.lines[0];
    const newest = line.time_to_pressure_s[line.time_to_pressure_s.length - 1];
    const row = await w.page.locator('.turn-table tbody tr').first().locator('td').first().innerText();
    expect(Math.abs(Number(row) - newest) < 0.06, `the table says ${row}, the API ${newest}`);
    await w.close();
  });

  test('station: pressure is drawn as it comes, and the turn in progress is told', async () => {
    const w = await open();
    await w.page.waitForSelector('.age:has-text("as of")');
    const tell = await small.publisher();
    const started = Date.now();
    const timer = setInterval(() => {
      const s = (Date.now() - started) / 1000;
      tell.publish(`grease/${slow_leak}/telemetry`, { time: Date.now(), pump: s > 1, line: 1, pressure_bar: [s > 1 ? 4 + 6 * (s - 1) : 2, 2.2], temp_c: 11, level_pct: 60 });
    }, 200);
    try {
      await w.page.waitForSelector('.live .uplot', { timeout: 12_000 });
      await eventually('the turn is told', async () => /Line 1 is pumping: .* bar/.test(await w.page.locator('.turn-now').innerText()), 15_000);
      // Who opens the station now sees what came before, and the turn in progress at once.
      const late = await open();
      await late.page.waitForSelector('.live .uplot', { timeout: 8_000 });
      await eventually('the turn is told', async () => Number(/(\d+) s so far/.exec(await late.page.locator('.turn-now').innerText())?.[1] ?? 0) >= Math.floor((Date.now() - started) / 1000) - 4);
      same(await late.page.locator('.station-heading').innerText().then((t) => /heard \d s ago/.test(t)), true, 'it was heard seconds ago');
      await late.close();
      // A second tab of the same window shares the feed, and what it has told.
      const tab = await w.context.newPage();
      await tab.goto(`${small.url}/station/${slow_leak}`);
      await tab.waitForSelector('.live .uplot', { timeout: 8_000 });
      await eventually('the turn is told to the second tab', async () => Number(/(\d+) s so far/.exec(await tab.locator('.turn-now').innerText())?.[1] ?? 0) >= 3);
      await tab.close();
    } finally {
      clearInterval(timer);
      tell.end();
    }
    w.well();
    await w.close();
  });

  test('station: CSV and SVG links give what they say', async () => {
    const w = await open();
    for (const [words, type] of [['CSV', 'text/csv'], ['SVG for a report', 'image/svg+xml']]) {
      const href = await w.page.locator('.days-choice a', { hasText: words }).getAttribute('href');
      const answer = await fetch(small.url + href);
      expect(answer.ok && answer.headers.get('content-type').startsWith(type), `${words}: ${answer.status} ${answer.headers.get('content-type')}`);
    }
    await w.close();
  });

  test('station: one that is not known is said to be unknown', async () => {
    const w = await window_of(browser, small.url);
    await w.page.goto(`${small.url}/station/northyard/ps-none`);
    await w.page.waitForSelector('.empty:has-text("No station northyard/ps-none is known")');
    w.well();
    await w.close();
  });
}
