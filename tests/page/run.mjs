// The page in a real browser over a real gateway.
//   node tests/page/run.mjs BUILD [--only WORDS] [--pictures]     BUILD: a build folder with driftline and fleet_history
// Pictures go to BUILD/page-pictures; with --pictures those of the README are written into gateway/web/page/pictures as well.
import { mkdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { launch } from './support/browser.mjs';
import { let_it_be_heard, plant } from './support/plant.mjs';
import { run } from './support/runner.mjs';

const words = process.argv.slice(2);
const build = resolve(words.find((w) => !w.startsWith('--')) ?? '.build/release');
const at = words.indexOf('--only');
const only = at < 0 ? undefined : words[at + 1];
if (at >= 0) words.splice(at, 2);

const pictures = join(build, 'page-pictures');
mkdirSync(pictures, { recursive: true });

// Two plants: one to read closely, and one as large as they come. Silent are those that the history says are.
const browser = await launch();
let small = null;
let large = null;
let failed = 1;
const silent = (fleet, i) => fleet.conditions[fleet.columns.condition[i] ?? -1] === 'station-silent';
try {
  [small, large] = await Promise.all([plant({ build, stations: 3 }), plant({ build, stations: 5000, days: 3 })]);
  await Promise.all([let_it_be_heard(small, silent), let_it_be_heard(large, silent)]);
  const given = { browser, small, large, build, pictures };
  for (const file of ['looks', 'fleet', 'station', 'acts', 'stale', 'sign_in']) (await import(`./${file}.mjs`)).tests(given);
  failed = await run(only);
} catch (why) {
  console.log(`FAILED  the plants\n${why.stack}\n0 passed, 1 failed`);
} finally {
  await browser.close();
  for (const made of [small, large]) if (made !== null) await made.end();
}
process.exit(failed === 0 ? 0 : 1);
