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
  await let_it_be_heard(made, (fleet, i) => fleet.conditions[fleet.columns.condition[i] ?? -1] === 'station-silent' || fleet.columns.station[i] === 'ps-01');
  const take = async (name, address, waits, width, height, theme) => {
    const w = await window_of(browser, made.url, { width, theme });
    await w.page.setViewportSize({ width, height });
    await w.page.goto(made.url + address);
    await w.page.waitForSelector(waits);
    await w.page.waitForSelector('.age:has-text("as of")');
    await w.page.waitForTimeout(1500);
    const file = join(folder, `${name}.jpeg`);
    await w.page.screenshot({ path: file, type: 'jpeg', quality: 72 });
    console.log(`${file}: ${statSync(file).size} bytes`);
    await w.close();
  };
  // Eight minutes of rest, and line 1 pumping for a minute: a rise, the plateau of the metering devices.
  const a_turn_in_progress = async () => {
    const tell = await made.publisher();
    const now = Date.now();
    const shape = (s) => 4 + 52 * (1 - Math.exp(-s / 9)) + 0.22 * s + 0.5 * Math.sin(s * 1.7);
    const say = (ago, pump, bar) => tell.publish(`grease/${slow_leak}/telemetry`, { time: now - ago * 1000, pump, line: 1, pressure_bar: [bar, 2.2], temp_c: 4.1, level_pct: 53 });
    for (let ago = 540; ago > 62; ago -= 20) say(ago, false, 2.1);
    for (let ago = 60; ago >= 0; --ago) say(ago, true, shape(60 - ago));
    await tell.taken();
    tell.end();
  };
  await a_turn_in_progress();
  await take('fleet', '/', '.fleet-list .strip', 1280, 720, 'light');
  await take('station', `/station/${slow_leak}`, '.lines .uplot', 1280, 1180, 'light');
  await take('note', `/note/${slow_leak}`, '.note-form', 360, 740, 'dark');
} finally {
  await browser.close();
  await made.end();
}
