// Fleet with thousands of stations: what it costs, that it can be walked, searched, sent to a colleague.
import { window_of } from './support/browser.mjs';
import { eventually, expect, same, test } from './support/runner.mjs';

const first_view_bytes_max = 150_000;

export function tests({ browser, small, large }) {
  test('fleet: the first view of 5,000 stations is small and takes one request for the list', async () => {
    const w = await window_of(browser, large.url);
    const cdp = await w.context.newCDPSession(w.page);
    await cdp.send('Network.enable');
    let bytes = 0;
    cdp.on('Network.loadingFinished', (e) => (bytes += e.encodedDataLength));
    await w.page.goto(large.url);
    await w.page.waitForSelector('.fleet-list .strip-line');
    const lists = w.asked.filter((u) => u.includes('/api/v1/fleet')).length;
    same(lists, 1, 'requests for the list before the first paint');
    await w.page.waitForTimeout(500);
    expect(bytes > 10_000 && bytes <= first_view_bytes_max, `the first view took ${bytes} bytes`);
    console.log(`        first view: ${bytes} bytes`);
    w.well();
    await w.close();
  });

  test('fleet: few rows are in the document, and the last station can be reached', async () => {
    const w = await window_of(browser, large.url);
    await w.page.goto(large.url);
    await w.page.waitForSelector('.fleet-list .row a');
    const rows = () => w.page.locator('.rows > .row').count();
    expect((await rows()) < 80, `${await rows()} rows are drawn`);
    same(await w.page.locator('.fleet-list').getAttribute('aria-rowcount'), '5001', 'rows that are told to screen readers');
    await w.page.evaluate(() => window.scrollTo(0, document.body.scrollHeight));
    await w.page.waitForSelector('[data-row="4999"] a');
    await w.page.waitForSelector('[data-row="4999"] .strip-line');
    expect((await rows()) < 80, `${await rows()} rows are drawn at the end`);
    w.well();
    await w.close();
  });

  test('fleet: rows stand below each other however the window changes', async () => {
    const w = await window_of(browser, large.url, { width: 1024 });
    await w.page.goto(large.url);
    await w.page.waitForSelector('.fleet-list .row a');
    for (const width of [360, 1920, 700, 800]) {
      await w.page.setViewportSize({ width, height: 780 });
      await eventually(`at ${width} px no row lies over another`, () => w.page.evaluate(() => {
        const rows = [...document.querySelectorAll('.rows > .row')].map((r) => r.getBoundingClientRect()).sort((a, b) => a.top - b.top);
        return rows.length > 5 && rows.slice(1).every((r, i) => Math.abs(r.top - rows[i].bottom) < 1);
      }), 3_000);
    }
    await w.close();
  });

  test('fleet: worst first, and every station in one count of the line at the top', async () => {
    const w = await window_of(browser, large.url);
    await w.page.goto(large.url);
    await w.page.waitForSelector('.fleet-list .row a');
    const first = await w.page.locator('[data-row="0"] .c-mark').innerText();
    same(first.trim(), 'Act', 'urgency of the first row');
    const counts = (await w.page.locator('.fleet-counts strong').allInnerTexts()).map((t) => Number(t.replace(/\D/g, '')));
    same(counts.slice(1).reduce((a, b) => a + b, 0), counts[0], 'the counts add up to what is watched');
    await w.close();
  });

  test('fleet: search and filters stand in the address, and the address shows the same to a colleague', async () => {
    const w = await window_of(browser, large.url);
    await w.page.goto(large.url);
    await w.page.waitForSelector('.fleet-list .row a');
    await w.page.keyboard.press('/');
    await w.page.keyboard.type('pressure not reached');
    await w.page.selectOption('select >> nth=0', { index: 2 });
    await eventually('the list is narrowed', async () => Number((await w.page.locator('.fleet-found').innerText()).replace(/\D/g, '')) < 200);
    const address = w.page.url();
    expect(/q=pressure/.test(address) && /site=/.test(address), `the address says ${address}`);
    const keys = await w.page.locator('.c-station').allInnerTexts();
    const other = await window_of(browser, large.url);
    await other.page.goto(address);
    await other.page.waitForSelector('.fleet-list .row a');
    same(await other.page.locator('.c-station').allInnerTexts(), keys, 'what the colleague sees');
    await other.page.fill('input[type=search]', 'zzz');
    await other.page.waitForSelector('.empty');
    await w.close();
    await other.close();
  });

  test('fleet: by keyboard alone from the address bar to a station and back to the same row', async () => {
    const w = await window_of(browser, large.url);
    await w.page.goto(large.url);
    await w.page.waitForSelector('.fleet-list .row a');
    await w.page.keyboard.press('Tab');
    same(await w.page.evaluate(() => document.activeElement?.textContent), 'To the content', 'the first stop');
    const in_list = () => w.page.evaluate(() => document.activeElement?.closest('[data-row]')?.getAttribute('data-row') ?? null);
    for (let i = 0; i < 40 && (await in_list()) === null; ++i) await w.page.keyboard.press('Tab');
    same(await in_list(), '0', 'the list is one stop, at its first row');
    for (let i = 0; i < 45; ++i) await w.page.keyboard.press('ArrowDown');
    await eventually('the focus is on row 45', async () => (await in_list()) === '45');
    await w.page.keyboard.press('PageDown');
    await eventually('a page further', async () => Number(await in_list()) > 52);
    const visible = await w.page.evaluate(() => {
      const r = document.activeElement.closest('[data-row]').getBoundingClientRect();
      return r.top >= 0 && r.bottom <= innerHeight;
    });
    expect(visible, 'the focused row is out of view');
    await w.page.keyboard.press('Tab');
    same(await in_list(), null, 'the next stop lies behind the list');
    await w.page.keyboard.press('Shift+Tab');
    const scrolled = await w.page.evaluate(() => scrollY);
    expect(scrolled > 500, `scrolled by ${scrolled}`);
    await w.page.keyboard.press('Enter');
    await w.page.waitForSelector('.station-heading');
    same(await w.page.evaluate(() => scrollY), 0, 'a new page begins at its top');
    await w.page.goBack();
    await w.page.waitForSelector('.fleet-list .row a');
    await eventually('back at the same place', async () => Math.abs((await w.page.evaluate(() => scrollY)) - scrolled) < 2);
    w.well();
    await w.close();
  });

  test('fleet: what is silent never looks well', async () => {
    const w = await window_of(browser, small.url);
    await w.page.goto(`${small.url}/?show=silent`);
    await w.page.waitForSelector('.fleet-list .row a');
    const rows = await w.page.locator('.rows > .row').count();
    expect(rows >= 1, 'the silent station is not shown');
    same(await w.page.locator('.rows .mark-silent').count(), rows, 'each has the shape for silence');
    same(await w.page.locator('.rows .mark-well').count(), 0, 'none has the shape of a station in order');
    same(await w.page.locator('.rows .c-mark').first().innerText(), 'Silent', 'and the word');
    await w.close();
  });

  test('fleet: what is heard each second is not shown as heard a minute ago', async () => {
    const w = await window_of(browser, small.url);
    await w.page.goto(small.url);
    await w.page.waitForSelector('.fleet-list .row a');
    const tell = await small.publisher();
    const timer = setInterval(() => tell.publish('grease/northyard/ps-01/telemetry', { time: Date.now(), pump: false, pressure_bar: [2.1, 2.2] }), 1000);
    try {
      const heard = w.page.locator('.row', { hasText: 'ps-01' }).locator('.c-heard');
      await eventually('heard within seconds', async () => /^[0-9] s ago$/.test((await heard.innerText()).trim()), 15_000);
      await w.page.waitForTimeout(12_000);
      expect(/^1?[0-9] s ago$/.test((await heard.innerText()).trim()), `12 s later it says ${await heard.innerText()}`);
    } finally {
      clearInterval(timer);
      tell.end();
    }
    w.well();
    await w.close();
  });

  test('fleet: without a wish for less motion there may be some, with it there is none', async () => {
    const w = await window_of(browser, small.url, { motion: 'reduce' });
    await w.page.goto(small.url);
    await w.page.waitForSelector('.fleet-list .row a');
    const moving = await w.page.evaluate(() => [...document.querySelectorAll('*')].filter((e) => {
      const s = getComputedStyle(e);
      return s.animationName !== 'none' || s.transitionDuration.split(',').some((d) => parseFloat(d) > 0);
    }).length);
    same(moving, 0, 'elements that move');
    await w.close();
  });

  test('fleet: tabs with the same feed share one stream', async () => {
    const viewers = async () => (await small.get('/gateway')).viewers;
    await eventually('nobody looks', async () => (await viewers()) === 0);
    const w = await window_of(browser, small.url);
    await w.page.goto(small.url);
    const second = await w.context.newPage();
    await second.goto(small.url);
    for (const page of [w.page, second]) await page.waitForSelector('.age:has-text("as of")', { timeout: 15_000 });
    same(await viewers(), 1, 'streams for two tabs');
    await w.page.close();
    await second.waitForTimeout(5_500);
    same(await second.locator('.lost').count(), 0, 'the tab that is left reads on');
    same(await viewers(), 1, 'streams for the tab that is left');
    await w.close();
  });
}
