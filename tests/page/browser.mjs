// The page in Debian's Chromium, from its file, without a network. What it says on its console, asks
// of a network or throws is a fault of the test that let it run.
// @ts-check
import assert from 'node:assert/strict';
import fs from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';

const here = path.dirname(fileURLToPath(import.meta.url));
export const root = path.join(here, '..', '..');
export const require = createRequire(path.join(root, 'src', 'page', 'package.json'));
/** @type {typeof import('playwright-core')} */
const { chromium } = require('playwright-core');
export const axe = fs.readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
export const file = process.env.AMPERULE_PAGE ?? path.join(root, 'target', 'page', 'amperule.html');
export const sizes = { phone: { width: 390, height: 844 }, narrow: { width: 320, height: 640 }, desk: { width: 1200, height: 800 }, wide: { width: 1500, height: 900 } };

export const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', args: ['--no-sandbox', '--disable-gpu'] });

/**
 * A fresh page, ready.
 * @param {{ size?: { width: number, height: number }, scheme?: 'light' | 'dark', bypass?: boolean, address?: string }} [how] `address`: where the page is, if not in its file
 */
export async function opened(how = {}) {
  const size = how.size ?? sizes.phone, small = size.width < 600, address = how.address ?? pathToFileURL(file).href;
  const context = await browser.newContext({
    viewport: size, hasTouch: small, isMobile: small, offline: !how.address, colorScheme: how.scheme ?? 'light', acceptDownloads: true,
    // axe is put into the page by the test, which the page's policy does not let anyone do.
    bypassCSP: how.bypass ?? false,
  });
  const page = await context.newPage();
  /** @type {string[]} */
  const faults = [];
  page.on('console', message => faults.push(`console ${message.type()}: ${message.text()}`));
  page.on('pageerror', error => faults.push(`error: ${error.message}`));
  page.on('request', request => {
    const url = request.url();
    if (!url.startsWith('blob:') && !url.startsWith('data:') && url !== pathToFileURL(file).href && !(how.address && url.startsWith(how.address))) faults.push(`request: ${url}`);
  });
  page.on('dialog', dialog => void dialog.accept());
  // The browser's own dialogue cannot be used without a person.
  await page.addInitScript(() => { delete (/** @type {any} */ (window)).showSaveFilePicker; });
  await page.goto(address);
  await ready(page);
  return { page, context, faults, done: async () => { await context.close(); assert.deepEqual(faults, []); } };
}

/** Waits until the page is ready for a design. @param {import('playwright-core').Page} page */
export const ready = page => page.waitForFunction(() => (/** @type {any} */ (window)).AMPERULE?.measured.ready > 0, null, { timeout: 60_000 });

/** Waits until what is shown is of the text as it is. @param {import('playwright-core').Page} page */
export async function settled(page) {
  await page.waitForFunction(() => (/** @type {any} */ (window)).AMPERULE.settled(), null, { timeout: 60_000 });
  return page.textContent('#status');
}

/** Opens a file of the user. @param {import('playwright-core').Page} page @param {string} name @param {string | Uint8Array} held */
export async function open(page, name, held) {
  const at = await page.isVisible('#start') ? '#open-start' : '#open-work';
  const before = await page.evaluate(() => (/** @type {any} */ (window)).AMPERULE.version());
  await page.setInputFiles(at, { name, mimeType: 'text/plain', buffer: Buffer.from(held) });
  await page.waitForFunction(before => (/** @type {any} */ (window)).AMPERULE.version() > before, before);
  return settled(page);
}
