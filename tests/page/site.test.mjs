// The page at an address: it is kept on the device, and goes on when the network is gone.
// @ts-check
import assert from 'node:assert/strict';
import fs from 'node:fs';
import http from 'node:http';
import path from 'node:path';
import { after, test } from 'node:test';
import { browser, file, open, opened, ready, root, settled } from './browser.mjs';

const folder = path.join(path.dirname(file), 'site');
const types = { '.html': 'text/html', '.js': 'text/javascript', '.svg': 'image/svg+xml', '.png': 'image/png', '.webmanifest': 'application/manifest+json' };
/** @type {string[]} */
const served = [];
/** A later build, of which only what keeps it differs. */
let version = '';
const server = http.createServer((asked, answer) => {
  const name = asked.url === '/' ? 'index.html' : (asked.url ?? '').slice(1), held = path.join(folder, name);
  served.push(name);
  if (!fs.existsSync(held)) { answer.writeHead(404).end(); return; }
  const bytes = name === 'worker.js' ? fs.readFileSync(held, 'utf8').replace(/[0-9a-f]{16}/, own => version || own) : fs.readFileSync(held);
  answer.writeHead(200, { 'content-type': types[/** @type {keyof typeof types} */ (path.extname(name))] ?? '', 'cache-control': 'no-cache' }).end(bytes);
});
await new Promise(done => server.listen(0, '127.0.0.1', () => done(null)));
const port = (/** @type {import('node:net').AddressInfo} */ (server.address())).port, address = `http://127.0.0.1:${port}/`;
after(async () => { server.close(); await browser.close(); });

test('the page from an address is kept, and opens and works without a network', async () => {
  const { page, context, done } = await opened({ address });
  await page.waitForFunction(() => /kept on this device/.test(document.querySelector('#kept')?.textContent ?? ''));
  assert.deepEqual([...new Set(served)].sort().filter(name => !/^(index\.html|worker\.js|manifest\.webmanifest|icon\.(svg|png))$/.test(name)), []);
  const kept = () => page.evaluate(() => caches.keys());
  assert.equal((await kept()).length, 1);

  // A newer build is fetched beside the one in use, and takes its place when the page has been closed.
  version = '0123456789abcdef';
  await page.reload();
  await page.waitForFunction(async () => (await caches.keys()).length === 2);
  const other = await context.newPage();
  await page.close();
  await other.goto(address);
  await other.close();
  const next = await context.newPage();
  await next.goto('about:blank');
  await next.waitForTimeout(500);

  // Gone for good: nobody answers any more.
  const before = served.length;
  server.closeAllConnections();
  await new Promise(done => server.close(() => done(null)));
  await context.setOffline(true);
  await next.goto(address);
  await ready(next);
  await next.reload();
  await ready(next);
  await open(next, 'larch.amp', fs.readFileSync(path.join(root, 'examples', 'larch-bank.amp')));
  assert.match(await settled(next) ?? '', /^0 breaches/);
  assert.equal(served.length, before);
  await done();
});

test('the page at an address may load its own manifest, icon and keeper, and differs in nothing else', () => {
  const from = fs.readFileSync(file, 'utf8'), at = fs.readFileSync(path.join(folder, 'index.html'), 'utf8');
  const own = at.replace(/ 'self'/g, '').replace(' manifest-src;', '').replace(/<link rel="manifest".*\n/, '');
  assert.equal(own, from);
  const manifest = JSON.parse(fs.readFileSync(path.join(folder, 'manifest.webmanifest'), 'utf8'));
  for (const { src } of manifest.icons) assert.ok(fs.statSync(path.join(folder, src)).size > 0, src);
});
