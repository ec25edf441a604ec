// The pictures of the README: Fleet and Station of a plant of 240 stations, the note from a telephone.
import { mkdirSync, statSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { launch, window_of } from './support/browser.mjs';
import { let_it_be_heard, plant } from './support/plant.mjs';
import { slow_leak } from './looks.mjs';

const build = resolve(process.argv[2] ?? '.build/release');
const folder = fileURLToPath(new URL('../../gateway/web/page/pictures/', import.meta.url));
mkdirSync(folder, { recursive: true });
const browser = await launch();
const made = await plant({ build, stations: 240 });
try {
  await let_it_be_heard(made, (fleet, i) => fleet.conditions[fleet.columns.condition[i] ?? -1] === 'station-silent');
  while (!(await made.get('/fleet?strips=0')).strip.complete) await new Promise((done) => setTimeout(done, 200));
  // The last minutes of a station, so that its page has something to draw: a turn of line 2, then one of line 1 in progress.
  const tell = await made.publisher();
  const begun = Date.now() + 15_000;
  const rise = (s) => 182 * Math.min(1, s < 20 ? s / 60 : s < 70 ? 0.33 + (s - 20) / 900 : 0.386 + (s - 70) / 45);
  const sample = (ms) => {
    const s = (ms - begun) / 1000;
    const second = s > -330 && s < -218;
    const first = s > -52;
    const vented = second ? 2 : 2 + 176 * Math.exp(-(s + 218) / 22);
    return {
      time: Math.round(ms), pump: first || second, line: first ? 1 : 2, temp_c: 11.2, level_pct: 53,
      pressure_bar: [first ? 2 + rise(s + 52) : 2.1, second ? 2 + rise(s + 330) * 0.98 : s <= -330 ? 2.2 : Math.max(2.2, vented)],
    };
  };
  const past = Array.from({ length: 550 }, (_, i) => sample(begun - 15_000 - (550 - i) * 1000));
  tell.publish(`grease/${slow_leak}/settings`, { cycle_s: 2880, pump_limit_s: 150, target_bar: 180, residual_bar: 20, lines: 2 });
  const take = async (name, address, waits, width, height, theme) => {
    const w = await window_of(browser, made.url, { width, theme });
    await w.page.setViewportSize({ width, height });
    await w.page.goto(made.url + address);
    await w.page.waitForSelector(waits);
    await w.page.waitForSelector('.age:has-text("as of")');
    let sending;
    if (name === 'station') {
      // The gateway keeps the pressure of stations that somebody watches: so it is sent once the page is open.
      await w.page.waitForTimeout(1500);
      for (let i = 0; i < past.length; i += 50) tell.publish(`grease/${slow_leak}/telemetry`, past.slice(i, i + 50));
      sending = setInterval(() => tell.publish(`grease/${slow_leak}/telemetry`, sample(Date.now())), 500);
      await w.page.waitForSelector('.live .uplot', { timeout: 15_000 });
    }
    await w.page.waitForTimeout(2500);
    const file = join(folder, `${name}.jpeg`);
    await w.page.screenshot({ path: file, type: 'jpeg', quality: 72 });
    console.log(`${file}: ${statSync(file).size} bytes`);
    clearInterval(sending);
    await w.close();
  };
  await take('fleet', '/', '.fleet-list .strip', 1280, 720, 'light');
  await take('station', `/station/${slow_leak}`, '.lines .uplot', 1280, 1180, 'light');
  await take('note', `/note/${slow_leak}`, '.note-form', 360, 740, 'dark');
  tell.end();
} finally {
  await browser.close();
  await made.end();
}
