// The page in a real browser over a real gateway.
//   node tests/page/run.mjs BUILD [--only WORDS]     BUILD: a build folder with driftline and fleet_history
// Pictures go to BUILD/page-pictures; those of the README are made by tests/page/pictures.
import { mkdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { launch } from './support/browser.mjs';
import { let_it_be_heard, plant } from './support/plant.mjs';
import { eventually, lane, run } from './support/runner.mjs';

const words = process.argv.slice(2);
const at = words.indexOf('--only');
const only = at < 0 ? undefined : words.splice(at, 2)[1];
const build = resolve(words[0] ?? '.build/release');

const pictures = join(build, 'page-pictures');
mkdirSync(pictures, { recursive: true });

// One plant to be looked at, one for what changes and stops it, and one as large as they come. Silent are those that the history says are.
const browser = await launch();
let plants = [];
let failed = 1;
const silent = (fleet, i) => fleet.conditions[fleet.columns.condition[i] ?? -1] === 'station-silent';
try {
  const sizes = [{ stations: 3 }, { stations: 3 }, { stations: 5000, days: 3 }];
  const started = await Promise.allSettled(sizes.map((size) => plant({ build, ...size })));
  plants = started.flatMap((one) => (one.status === 'fulfilled' ? [one.value] : []));
  for (const one of started) if (one.status === 'rejected') throw one.reason;
  await Promise.all(plants.map((one) => let_it_be_heard(one, silent)));
  for (const one of plants) await eventually('all strips are read', async () => (await one.get('/fleet?strips=0')).strip.complete, 60_000);
  const [seen, changed, large] = plants;
  lane('looks');
  (await import('./looks.mjs')).tests({ browser, small: seen, large, pictures });
  lane('does');
  for (const file of ['fleet', 'station', 'acts', 'confirm', 'stale', 'sign_in'])
    (await import(`./${file}.mjs`)).tests({ browser, small: changed, large, build, pictures });
  // Its plant is judged first, and each question judges again: it wants an optimised build, and is run by its name.
  if (only?.includes('trial:')) plants.push(await (await import('./trial.mjs')).tests({ browser, build, pictures }));
  failed = await run(only);
} catch (why) {
  console.log(`FAILED  the plants\n${why.stack}\n0 passed, 1 failed`);
} finally {
  await browser.close();
  await Promise.all(plants.map((one) => one.end()));
}
process.exit(failed === 0 ? 0 : 1);
