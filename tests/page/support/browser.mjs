// Debian's chromium through playwright-core; packages come from the page's own lock file.
import { createRequire } from 'node:module';
import { readFileSync } from 'node:fs';
import { expect } from './runner.mjs';

const require = createRequire(new URL('../../../gateway/web/page/package.json', import.meta.url));
const { chromium } = require('playwright-core');
const axe = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');

export const widths = [360, 1024, 1920];
export const themes = ['light', 'dark'];

export function launch() {
  return chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox', '--disable-gpu', '--font-render-hinting=none'] });
}

/** A window that remembers what went wrong in it: errors, and requests to elsewhere. */
export async function window_of(browser, url, { width = 1024, theme = 'light', motion = 'reduce', name = 'tester' } = {}) {
  const context = await browser.newContext({ viewport: { width, height: width < 500 ? 780 : 900 }, colorScheme: theme, reducedMotion: motion, timezoneId: 'UTC' });
  // Who acts, as a person would have typed it once.
  if (name !== '') await context.addInitScript((n) => localStorage.setItem('driftline-name', n), name);
  const page = await context.newPage();
  const wrong = [];
  const asked = [];
  page.on('pageerror', (e) => wrong.push(String(e)));
  page.on('console', (m) => {
    if (m.type() === 'error' && !/Failed to load resource|ERR_/.test(m.text())) wrong.push(m.text());
  });
  page.on('request', (r) => {
    asked.push(r.url());
    if (!r.url().startsWith(url)) wrong.push(`asked elsewhere: ${r.url()}`);
  });
  return { context, page, wrong, asked, close: () => context.close(), well: () => expect(wrong.length === 0, wrong.join('\n')) };
}

export async function at(page, { width, theme }) {
  await page.setViewportSize({ width, height: width < 500 ? 780 : 900 });
  await page.emulateMedia({ colorScheme: theme });
  await page.waitForTimeout(120);
}

/** Nothing is wider than the window: on a telephone the page would slide sideways. */
export async function fits(page) {
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  expect(wide <= 0, `the page is ${wide} px wider than the window`);
}

/** What axe finds against WCAG 2.2 A and AA. */
export async function accessible(page, what) {
  const found = await page.evaluate(
    `(() => { ${'if (window.axe === undefined) {'} ${axe} ${'}'} return window.axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'], resultTypes: ['violations'] }); })()`,
  );
  const said = found.violations.map((v) => `${v.id}: ${v.help}; ${v.nodes.slice(0, 3).map((n) => `${n.target.join(' ')} (${n.any[0]?.message ?? n.none[0]?.message ?? ''})`).join('; ')}`);
  expect(said.length === 0, `${what}: ${said.join('\n')}`);
}
