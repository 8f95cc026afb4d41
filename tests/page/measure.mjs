// Size, first answer, and the time from a key to its answer: `node tests/page/measure.mjs`.
// @ts-check
import { execFileSync } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import zlib from 'node:zlib';
import { browser, file, open, opened, root, settled } from './browser.mjs';

const bytes = fs.readFileSync(file);
const mb = (/** @type {number} */ n) => `${(n / 1e6).toFixed(2)} MB`;
console.log(`size: ${mb(bytes.length)}; with gzip ${mb(zlib.gzipSync(bytes, { level: 9 }).length)}`);

const site = path.join(fs.mkdtempSync(path.join(os.tmpdir(), 'page-')), 'site.amp');
execFileSync('python3', [path.join(root, 'tests/benches/car_park.py'), site, '60', '4']);
const designs = { house: fs.readFileSync(path.join(root, 'examples/larch-bank.amp'), 'utf8'), 'sixty points': fs.readFileSync(site, 'utf8') };
fs.rmSync(path.dirname(site), { recursive: true });

/** @param {number[]} all */
const middle = all => Math.round(all.sort((a, b) => a - b)[all.length >> 1] ?? NaN);

const started = [], first = [];
for (let i = 0; i < 5; i++) {
  const { page, done } = await opened();
  await open(page, 'house.amp', designs.house);
  const times = await page.evaluate(() => { const m = (/** @type {any} */ (window)).AMPERULE.measured; return { ready: m.ready, answer: m.toAnswer[0] }; });
  started.push(times.ready);
  first.push(times.ready + times.answer);
  await done();
}
console.log(`ready after ${middle(started)} ms, first answer ${middle(first)} ms from an empty browser (5 times, middle)`);

const { page, done } = await opened();
for (const [name, text] of Object.entries(designs)) {
  await open(page, 'design.amp', text);
  await page.tap('#tab-text');
  await page.evaluate(() => { const a = (/** @type {any} */ (window)).AMPERULE; a.measured.toAnswer.length = 0; a.engine.times.length = 0; });
  for (let i = 0; i < 8; i++) {
    await page.evaluate(() => { const e = (/** @type {any} */ (window)).AMPERULE.editor; e.set(e.text.endsWith('#\n') ? e.text.slice(0, -2) : `${e.text}#\n`); });
    await settled(page);
  }
  const keys = middle(await page.evaluate(() => (/** @type {any} */ (window)).AMPERULE.measured.toAnswer));
  for (const tab of ['#tab-ask', '#tab-answer']) {
    await page.tap(tab);
    await settled(page);
  }
  await page.waitForFunction(() => document.querySelector('#works')?.getAttribute('aria-busy') === 'false');
  const times = await page.evaluate(() => { const a = (/** @type {any} */ (window)).AMPERULE; return { engine: a.engine.times }; });
  const of = (/** @type {string} */ ask) => middle(times.engine.filter((/** @type {any} */ t) => t.ask === ask).map((/** @type {any} */ t) => t.ms));
  const memory = Math.max(...times.engine.map((/** @type {any} */ t) => t.memory));
  console.log(`${name} (${Math.round(text.length / 1024)} KB): key to answer ${keys} ms; in the engine check ${of('check')}, survey ${of('survey')}, build ${of('build')} ms; engine memory ${mb(memory)}`);
}
await done();
await browser.close();
