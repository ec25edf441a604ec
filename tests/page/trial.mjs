// The Trial bench over kept history: three simulated stations, one with a leak, judged once by the gateway's own plant.
import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { accessible, at, fits, themes, widths, window_of } from './support/browser.mjs';
import { plant } from './support/plant.mjs';
import { eventually, expect, same, test } from './support/runner.mjs';

function call(program, options) {
  const done = spawnSync(program, options);
  if (done.status !== 0) throw new Error(`${program} ${options.join(' ')}: ${done.stderr}`);
}

const patience_ms = 120_000;
let leak_at = '';  // the station with the leak

function fill({ build, folder, config, data }) {
  const recording = join(folder, 'kept.ndjson');
  call(join(build, 'driftline'), [
    'simulate', '--scene', 'healthy', '--stations', '3', '--days', '50', '--seed', '5', '--fault', '1:slow-leak@1:linear:28:18', '--out', recording,
  ]);
  call(join(build, 'tests/trial_history'), [recording, join(folder, 'kept.plant.json'), '1', join(data, 'history.db')]);
  const built = JSON.parse(readFileSync(join(folder, 'kept.plant.json'), 'utf8'));
  leak_at = `${built.stations[0].site}/${built.stations[0].station}`;
  built.stations = built.stations.map((s, i) => (i < 2 ? { ...s, kind: 'twin' } : s));
  mkdirSync(join(config, 'kinds'));
  writeFileSync(join(config, 'kinds/twin.json'), '{}\n');
  writeFileSync(join(config, 'plant.json'), `${JSON.stringify(built, null, 2)}\n`);
}

/** Gives the plant, so that whoever runs the tests ends it. */
export async function tests({ browser, build, pictures }) {
  const made = await plant({ build, fill });
  const { token } = await made.get('/session');
  const act = async (path, body) => {
    const answer = await fetch(`${made.url}/api/v1${path}`, {
      method: 'POST', headers: { 'content-type': 'application/json', 'x-driftline-token': token, origin: made.url }, body: JSON.stringify({ by: 'tester', ...body }),
    });
    if (!answer.ok) throw new Error(`${path}: ${await answer.text()}`);
    return answer.json();
  };

  const open = async (options, search = '') => {
    const w = await window_of(browser, made.url, options);
    w.page.setDefaultTimeout(patience_ms);  // a first question judges all that is kept of the station
    await w.page.goto(`${made.url}/trial/${leak_at}${search}`);
    await w.page.waitForSelector('.trial-past svg');
    await w.page.waitForSelector('.age:not(:has-text("connecting"))');
    return w;
  };

  test('trial: looks right with two candidates, several stations and a proposal in silence', async () => {
    const one = await act('/proposals', { for: leak_at, thresholds: { conditions: { 'slow-to-pressure': { smallest_shift_pct: 6 } } }, why: 'cries on frosty mornings' });
    await act(`/proposals/${one.name}/acts`, { act: 'silent', days: 7, why: 'before anybody is called' });
    const other = await act('/proposals', { for: 'kind twin', thresholds: { plan_days: 21 }, why: 'the crew comes every third week' });
    await act(`/proposals/${other.name}/acts`, { act: 'enforce', why: 'agreed with the crew' });
    const w = await open({}, '?with=all&shift=1.5&shift2=8');
    await w.page.getByRole('button', { name: 'Judge the 3 stations' }).click();
    await w.page.waitForSelector('.trial-several .total');
    for (const summary of ['What was done with thresholds', 'The figures']) await w.page.locator('summary', { hasText: summary }).click();
    for (const theme of themes)
      for (const width of widths) {
        await at(w.page, { width, theme });
        await fits(w.page);
        await w.page.screenshot({ path: join(pictures, `trial-bench-${width}-${theme}.png`), fullPage: true });
        if ((width === 360) === (theme === 'light') && width !== 1920) await accessible(w.page, `the bench at ${width} px, ${theme}`);
      }
    w.well();
    await w.close();
  });

  test('trial: a threshold that is moved is answered, kept in the address, and compared', async () => {
    const w = await open();
    const row = (name) => w.page.locator('.trial-sets').first().locator('tr', { has: w.page.locator('th', { hasText: name }) });
    await eventually('what is in force warned of the leak', async () => parseInt(await row('in force').locator('td').first().innerText(), 10) >= 1);
    const slider = w.page.getByRole('slider', { name: /Smallest shift/ }).first();
    await slider.focus();
    await w.page.keyboard.press('PageUp');
    await eventually('the address has it', async () => w.page.url().includes('shift='));
    await w.page.getByRole('button', { name: 'Compare with a second' }).click();
    await w.page.getByRole('slider', { name: /Smallest shift/ }).nth(1).fill('0');
    await w.page.waitForSelector('.trial-between');
    await w.page.waitForSelector('.trial-curve circle, .trial-curve p');
    const [address, told] = [w.page.url(), await row('second').innerText()];
    await w.page.goto(address);
    await w.page.waitForSelector('.trial-between');
    same(await row('second').innerText(), told, 'what a colleague sees who is sent the address');
    w.well();
    await w.close();
  });

  test('trial: stations of a kind and some picked by hand are judged when it is asked for', async () => {
    const w = await open({ width: 360 });
    await w.page.getByLabel('Judge also').selectOption('kind twin');
    await w.page.getByRole('button', { name: 'Judge the 2 stations' }).click();
    await w.page.waitForSelector('.trial-several .total');
    await w.page.getByLabel('Judge also').selectOption('by hand');
    await w.page.locator('.trial-picking input[type=checkbox]:not(:disabled)').last().check();
    await w.page.getByRole('button', { name: 'Judge the 2 stations' }).click();
    await eventually('all are judged', async () => (await w.page.locator('.trial-several tbody tr').count()) === 3);
    expect(w.page.url().includes('with='), 'the address holds what was picked');
    w.well();
    await w.close();
  });

  test('trial: what is judged in silence is told, and calls nobody', async () => {
    const one = await act('/proposals', { for: leak_at, thresholds: { conditions: { 'slow-vent': { watched: false } } }, why: 'to see' });
    await act(`/proposals/${one.name}/acts`, { act: 'silent', days: 7, why: 'before anybody is called' });
    const told = await eventually('it is judged', async () => (await made.get('/proposals')).proposals.find((p) => p.name === one.name)?.silence ?? false, 45_000);
    expect(told.words.startsWith('1 station, ') && told.words.includes(' gone'), told.words);
    const w = await open();
    await w.page.waitForSelector('.proposal .silence');
    w.well();
    await w.close();
  });

  test('trial: proposed, put in force and taken back with one click', async () => {
    const w = await open({}, '?shift=4');
    const before = readFileSync(join(made.folder, 'config/plant.json'), 'utf8');
    await w.page.locator('.trial-save').getByLabel('Why').fill('fewer calls at night');
    await w.page.getByRole('button', { name: 'Propose', exact: true }).click();
    const card = w.page.locator('.proposal', { hasText: 'fewer calls at night' });
    await card.getByLabel('Why').fill('agreed');
    await card.getByRole('button', { name: 'Put in force' }).click();
    await w.page.waitForSelector('.proposal .state.in-force');
    await eventually('it stands where a person would have written it', async () => readFileSync(join(made.folder, 'config/plant.json'), 'utf8').includes('"smallest_shift_pct": 4'));
    await eventually('the gateway has taken it', async () => (await made.get(`/stations/${leak_at}/thresholds`)).thresholds.some((t) => t.name.endsWith('slow-to-pressure/smallest_shift_pct') && t.value === 4));
    await w.page.locator('.proposal', { has: w.page.locator('.state.in-force') }).filter({ hasText: leak_at }).getByRole('button', { name: 'Take back' }).click();
    await eventually('it is taken back', async () => readFileSync(join(made.folder, 'config/plant.json'), 'utf8') === before);
    await w.page.locator('.trial-log summary').click();
    await w.page.waitForSelector('.trial-log td:has-text("taken back at the page")');
    w.well();
    await w.close();
  });
  return made;
}
