// Every page at three widths, in both themes: nothing sticks out, nothing is wrong, axe finds nothing; a picture of each.
import { join } from 'node:path';
import { accessible, at, fits, themes, widths, window_of } from './support/browser.mjs';
import { test } from './support/runner.mjs';

export const slow_leak = 'northyard/ps-01';

async function newest_turn(made) {
  const turns = await made.get(`/stations/${slow_leak}/turns?points=50`);
  const line = turns.lines.find((l) => l.line === 2) ?? turns.lines[0];
  return line.id[line.id.length - 2];
}

export function tests({ browser, small, large, pictures }) {
  const pages = [
    ['fleet', small, '/', '.fleet-list .row a'],
    ['fleet-5000', large, '/', '.fleet-list .strip'],
    ['station', small, `/station/${slow_leak}`, '.reservoir .uplot'],
    ['turn', small, async () => `/station/${slow_leak}?days=7&turn=${await newest_turn(small)}`, '.turn-panel table'],
    ['warnings', small, `/warnings?which=all&key=${slow_leak}/line-2/slow-to-pressure`, '.warning-row'],
    ['refill', large, '/refill?days=14&site=quarry', '.site-round'],
    ['note', small, `/note/${slow_leak}`, '.note-form'],
    ['trial', small, '/trial', 'h1'],
    ['nowhere', small, '/no/such/page', '.empty'],
  ];
  for (const [name, made, address, waits] of pages) {
    test(`${name}: looks right at ${widths.join(', ')} px, light and dark`, async () => {
      const w = await window_of(browser, made.url);
      await w.page.goto(made.url + (typeof address === 'string' ? address : await address()));
      await w.page.waitForSelector(waits);
      await w.page.waitForSelector('.age:not(:has-text("connecting"))');
      for (const theme of themes)
        for (const width of widths) {
          await at(w.page, { width, theme });
          await fits(w.page);
          await w.page.screenshot({ path: join(pictures, `${name}-${width}-${theme}.png`), fullPage: name !== 'fleet-5000' && name !== 'refill' });
          // axe takes long; each theme and each layout is looked at once.
          if ((width === 360) === (theme === 'light') && width !== 1920) await accessible(w.page, `${name} at ${width} px, ${theme}`);
        }
      w.well();
      await w.close();
    });
  }
}
