// How fast the page is with 5,000 stations: prints, asserts nothing.
//   node tests/bench/page_speed.mjs [BUILD] [--stations N]
// First view: bytes over the wire, and milliseconds from navigation until the first row can be used, with an empty cache.
// Scrolling: frames that the compositor drew, from a trace of four seconds by the wheel.
import { resolve } from 'node:path';
import { launch, window_of } from '../page/support/browser.mjs';
import { let_it_be_heard, plant } from '../page/support/plant.mjs';

const words = process.argv.slice(2);
const at = words.indexOf('--stations');
const stations = at < 0 ? 5000 : Number(words.splice(at, 2)[1]);
const build = resolve(words[0] ?? '.build/release');
const quantile = (list, q) => [...list].sort((a, b) => a - b)[Math.min(list.length - 1, Math.floor(q * list.length))];

const browser = await launch();
const made = await plant({ build, stations, days: 3 });
try {
  await let_it_be_heard(made, () => false);
  while (!(await made.get('/fleet?strips=0')).strip.complete) await new Promise((done) => setTimeout(done, 200));
  const usable = [];
  let bytes = 0;
  for (let round = 0; round < 7; ++round) {
    const w = await window_of(browser, made.url, { width: 1400 });
    const cdp = await w.context.newCDPSession(w.page);
    await cdp.send('Network.enable');
    bytes = 0;
    cdp.on('Network.loadingFinished', (e) => (bytes += e.encodedDataLength));
    // Marked by the page's own clock, so that the test's polling is not in the figure.
    await w.page.addInitScript(() => {
      new MutationObserver((_, watch) => {
        if (document.querySelector('.fleet-list .strip-line') === null) return;
        watch.disconnect();
        requestAnimationFrame(() => setTimeout(() => (window.usable_ms = performance.now()), 0));
      }).observe(document, { childList: true, subtree: true });
    });
    await w.page.goto(made.url);
    await w.page.waitForFunction(() => window.usable_ms !== undefined);
    usable.push(await w.page.evaluate(() => window.usable_ms));
    await w.close();
  }
  console.log(`first view of ${stations} stations: ${bytes} bytes; usable after ${Math.round(quantile(usable, 0.5))} ms (median of 7), ${Math.round(Math.max(...usable))} ms (worst)`);

  const w = await window_of(browser, made.url, { width: 1400 });
  await w.page.goto(made.url);
  await w.page.waitForSelector('.fleet-list .strip-line');
  await w.page.waitForTimeout(1500);
  await w.page.mouse.move(700, 600);
  await browser.startTracing(w.page, { categories: ['disabled-by-default-devtools.timeline.frame', 'devtools.timeline.frame'] });
  const end = Date.now() + 4000;
  while (Date.now() < end) await w.page.mouse.wheel(0, 120);
  const trace = JSON.parse((await browser.stopTracing()).toString());
  const drawn = trace.traceEvents.filter((e) => e.name === 'DrawFrame').map((e) => e.ts / 1000).sort((a, b) => a - b);
  const gaps = drawn.slice(1).map((t, i) => t - drawn[i]);
  const seconds = (drawn[drawn.length - 1] - drawn[0]) / 1000;
  console.log(`scrolling: ${(drawn.length / seconds).toFixed(1)} frames/s over ${seconds.toFixed(1)} s; between frames ${quantile(gaps, 0.5).toFixed(1)} ms median, ${quantile(gaps, 0.95).toFixed(1)} ms p95, ${Math.max(...gaps).toFixed(0)} ms worst`);
  console.log(`scrolled over ${await w.page.evaluate(() => Math.round(scrollY / 46))} rows`);
  await w.close();
} finally {
  await browser.close();
  await made.end();
}
