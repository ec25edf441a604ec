// What people do: notes at the machine, answers to warnings, a round on paper.
import { window_of } from './support/browser.mjs';
import { eventually, expect, same, Skipped, test } from './support/runner.mjs';
import { slow_leak } from './looks.mjs';

const key = `${slow_leak}/line-2/slow-to-pressure`;

/** Acts are kept by the life of warnings; a gateway without it says so. */
async function takes_acts(made) {
  const { token } = await made.get('/session');
  const answer = await fetch(`${made.url}/api/v1/warnings/${key}/acts`, {
    method: 'POST', headers: { 'content-type': 'application/json', 'x-driftline-token': token, origin: made.url }, body: JSON.stringify({ act: 'note', note: 'asked', by: 'tester' }),
  });
  if (answer.status === 503 && (await answer.text()).includes('not taken yet')) throw new Skipped('this gateway takes no acts yet');
}

export function tests({ browser, small, large }) {
  test('note: from a telephone in a few touches, and it stands at the station with the name', async () => {
    const w = await window_of(browser, small.url, { width: 360, name: '' });
    await w.page.goto(`${small.url}/note/${slow_leak}`);
    await w.page.locator('label', { hasText: 'Purged' }).click();
    await w.page.locator('label', { hasText: 'line 2' }).click();
    await w.page.locator('textarea').fill('bled at the far end');
    await w.page.getByLabel('Your name').fill('hand on duty');
    await w.page.getByRole('button', { name: 'Note it' }).click();
    await w.page.waitForSelector('.taken');
    await eventually('the note is told', async () => (await small.get(`/stations/${slow_leak}/notes`)).notes.some((n) => n.kind === 'purged' && n.line === 2 && n.note === 'bled at the far end' && n.by === 'hand on duty'));
    await w.page.getByRole('link', { name: 'To the station' }).click();
    await w.page.waitForSelector('.notes li:has-text("bled at the far end")');
    const small_targets = await w.page.evaluate(() => [...document.querySelectorAll('button, .choice')].filter((e) => e.getBoundingClientRect().height > 0 && e.getBoundingClientRect().height < 24).length);
    same(small_targets, 0, 'targets under 24 px');
    w.well();
    await w.close();
  });

  test('warnings: acknowledged by keyboard, and another window sees it without asking', async () => {
    await takes_acts(small);
    const [w, other] = [await window_of(browser, small.url), await window_of(browser, small.url)];
    for (const one of [w, other]) {
      await one.page.goto(`${small.url}/warnings?key=${key}`);
      await one.page.waitForSelector('.age:has-text("as of")');
    }
    const button = w.page.getByRole('button', { name: 'Acknowledge' });
    await button.focus();
    await w.page.keyboard.press('Enter');
    await w.page.getByLabel(/Note, if/).focus();
    await w.page.keyboard.type('hose ordered');
    await w.page.keyboard.press('Enter');
    for (const one of [w, other])
      await eventually('acknowledged is shown', async () => (await one.page.locator('.opened .w-life').innerText()).includes('acknowledged by tester'));
    const told = await small.get(`/warnings/${key}`);
    same([told.life, told.owner], ['acknowledged', 'tester'], 'what the gateway says');
    expect(told.acts.some((a) => a.note === 'hose ordered'), 'the note is lost');
    w.well();
    other.well();
    await w.close();
    await other.close();
  });

  test('warnings: shelved with an end, and taken off again', async () => {
    await takes_acts(small);
    const w = await window_of(browser, small.url);
    await w.page.goto(`${small.url}/warnings?key=${key}`);
    await w.page.getByRole('button', { name: 'Shelve' }).click();
    await w.page.getByLabel('For').selectOption({ index: 1 });
    await w.page.locator('.act-form button.first').click();
    await eventually('shelved until', async () => /shelved until/.test(await w.page.locator('.opened .w-life').innerText()));
    await w.page.getByRole('button', { name: 'Take off the shelf' }).click();
    await w.page.locator('.act-form button.first').click();
    await eventually('off the shelf', async () => !/shelved/.test(await w.page.locator('.opened .w-life').innerText()));
    w.well();
    await w.close();
  });

  test('warnings: an act that comes too late is refused in words', async () => {
    const w = await window_of(browser, small.url);
    await w.page.route('**/acts', (route) => route.fulfill({
      status: 409, contentType: 'application/problem+json', body: JSON.stringify({ title: 'otherwise by now', status: 409, detail: 'it has ended at 06:12' }),
    }));
    await w.page.goto(`${small.url}/warnings?key=${key}`);
    await w.page.getByRole('button', { name: 'Note' }).click();
    await w.page.getByLabel('Note').last().fill('too late');
    await w.page.locator('.act-form button.first').click();
    await w.page.waitForSelector('.refused:has-text("it has ended at 06:12")');
    await w.close();
  });

  test('warnings: who hears of one is told, and that nobody does where there is no duty list', async () => {
    const w = await window_of(browser, small.url);
    await w.page.goto(`${small.url}/warnings?key=${key}`);
    await w.page.locator('.opened summary', { hasText: 'Who hears of it' }).press('Enter');
    await w.page.waitForSelector('.opened .story:has-text("No duty list is set up")');
    await w.page.waitForSelector('.channels:has-text("nobody is sent one")');
    w.well();
    await w.close();
  });

  test('refill round: of one site it prints on one sheet, with a box for each visit', async () => {
    const w = await window_of(browser, large.url);
    const round = await large.get('/refill-round?days=7');
    const site = round.visits[0].site;
    await w.page.goto(`${large.url}/refill?site=${site}`);
    await w.page.waitForSelector('.site-round');
    const visits = round.visits.filter((v) => v.site === site).length;
    same(await w.page.locator('.site-round tbody tr').count(), visits, 'visits of the site');
    await w.page.emulateMedia({ media: 'print' });
    same(await w.page.locator('.masthead').isVisible(), false, 'the masthead on paper');
    same(await w.page.locator('.box >> visible=true').count(), visits, 'boxes');
    await w.page.evaluate(() => document.querySelectorAll('.site-round tbody tr').forEach((row, i) => i >= 30 && row.remove()));
    const sheet = (await w.page.pdf({ format: 'A4' })).toString('latin1');
    same((sheet.match(/\/Type\s*\/Page\b(?!s)/g) ?? []).length, 1, 'sheets for thirty visits');
    w.well();
    await w.close();
  });
}
