// The page behind the link of a message: on a telephone, without a session, without a script. Its token is made here with node's own crypto.
import { createHmac } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { accessible, fits, themes, window_of } from './support/browser.mjs';
import { expect, same, test } from './support/runner.mjs';

/** As gateway/messages/confirm.h says (RFC 2104, RFC 4648 section 5). */
export function token_of(folder, { key, raised_ms, person, expires_ms = Date.now() + 3_600_000 }) {
  const claim = Buffer.from(['1', 'acknowledge', key, raised_ms, expires_ms, person].join('\n')).toString('base64url');
  return `${claim}.${createHmac('sha256', readFileSync(join(folder, 'data', 'link-key'))).update(claim).digest('base64url')}`;
}

export function tests({ browser, small, pictures }) {
  test('link of a message: one press at 360 px takes the warning, the second person is told who has it', async () => {
    const { key, raised_ms } = (await small.get('/warnings?state=unanswered')).warnings[0];
    const link = (person) => `${small.url}/confirm/${token_of(small.folder, { key, raised_ms, person })}`;
    for (const theme of themes) {
      const w = await window_of(browser, small.url, { width: 360, theme, name: '' });
      await w.page.goto(link('anna'));
      await fits(w.page);
      await accessible(w.page, `the page of a link, ${theme}`);
      await w.page.screenshot({ path: join(pictures, `confirm-360-${theme}.png`) });
      w.well();
      await w.close();
    }
    const context = await browser.newContext({ viewport: { width: 360, height: 780 }, javaScriptEnabled: false });
    const page = await context.newPage();
    await page.goto(link('anna'));
    const button = page.getByRole('button', { name: 'I take it' });
    expect((await button.boundingBox()).height >= 44, 'the button is too small for a thumb');
    same((await small.get(`/warnings/${key}`)).owner ?? '', '', 'opened alone it has an owner');
    await button.click();
    await page.waitForSelector('h1:has-text("You have it")');
    await page.screenshot({ path: join(pictures, 'confirm-taken-360.png') });
    same((await small.get(`/warnings/${key}`)).owner, 'anna', 'who has it');
    await page.goto(link('ben'));
    await page.waitForSelector('h1:has-text("anna has it")');
    same(await page.locator('button').count(), 0, 'buttons for who comes second');
    await page.goto(`${small.url}/confirm/${token_of(small.folder, { key, raised_ms, person: 'anna', expires_ms: Date.now() - 1000 })}`);
    await page.waitForSelector('h1:has-text("has expired")');
    await page.screenshot({ path: join(pictures, 'confirm-expired-360.png') });
    await context.close();
  });
}
