// Where users are set up, nothing is seen before the sign-in; roles see what they may do.
import { accessible, fits, window_of } from './support/browser.mjs';
import { plant } from './support/plant.mjs';
import { eventually, expect, same, test } from './support/runner.mjs';
import { join } from 'node:path';
import { slow_leak } from './looks.mjs';

const users = [
  { name: 'reader', role: 'viewer', password: 'only looks at it' },
  { name: 'hand', role: 'responder', password: 'goes there and mends' },
];

export function tests({ browser, build, pictures }) {
  test('sign-in: asked for first, refused in words, leads to where one wanted to go, and ends', async () => {
    const made = await plant({ build, stations: 3, users, days: 2 });
    try {
      const w = await window_of(browser, made.url, { width: 360, name: '' });
      await w.page.goto(`${made.url}/station/${slow_leak}?days=7`);
      await w.page.waitForSelector('.sign-in');
      await fits(w.page);
      await accessible(w.page, 'sign-in');
      await w.page.screenshot({ path: join(pictures, 'sign-in-360-light.png') });
      const enter = async (name, password) => {
        await w.page.getByLabel('Name').fill(name);
        await w.page.getByLabel('Password').fill(password);
        await w.page.keyboard.press('Enter');
      };
      await enter('reader', 'guessed wrong');
      await w.page.waitForSelector('.refused');
      same(await w.page.getByLabel('Password').inputValue(), '', 'the wrong password is not kept');
      await enter('reader', users[0].password);
      await w.page.waitForSelector('.station-heading');
      expect(w.page.url().endsWith(`/station/${slow_leak}?days=7`), `it led to ${w.page.url()}`);
      same(await w.page.getByRole('link', { name: 'Add a note' }).count(), 0, 'who only reads is offered no note');
      await w.page.getByRole('button', { name: 'Sign out' }).click();
      await w.page.waitForSelector('.sign-in');
      await enter('hand', users[1].password);
      await w.page.waitForSelector('.fleet-list .row a');
      await w.page.goto(`${made.url}/note/${slow_leak}`);
      await w.page.locator('label', { hasText: 'Refilled' }).click();
      same(await w.page.getByLabel('Your name').count(), 0, 'who is signed in is not asked for a name');
      await w.page.getByRole('button', { name: 'Note it' }).click();
      await w.page.waitForSelector('.taken');
      await w.page.goto(`${made.url}/station/${slow_leak}`);
      await eventually('the note has the name of who signed in', async () => (await w.page.locator('.notes').innerText()).includes('hand'));
      w.well();
      await w.close();
    } finally {
      await made.end();
    }
  });
}
