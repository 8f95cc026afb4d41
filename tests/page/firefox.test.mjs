// The main way through the page in Firefox, from its file and without a network: open, answer, check, save. Firefox is
// spoken to by its own protocol over a socket: lines of a length, a colon and JSON.
// @ts-check
import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import fs from 'node:fs';
import net from 'node:net';
import os from 'node:os';
import path from 'node:path';
import { test } from 'node:test';
import { pathToFileURL } from 'node:url';

const root = path.join(import.meta.dirname, '..', '..');
const file = process.env.AMPERULE_PAGE ?? path.join(root, 'target', 'page', 'amperule.html');
const firefox = process.env.FIREFOX ?? '';

/** A Firefox without a network, whose downloads go into a folder. @param {string} home */
async function started(home) {
  const port = await new Promise(done => { const s = net.createServer().listen(0, '127.0.0.1', () => { const at = (/** @type {net.AddressInfo} */ (s.address())).port; s.close(() => done(at)); }); });
  const settings = {
    'marionette.port': port, 'remote.prefs.recommended': false, 'security.fileuri.strict_origin_policy': true, 'app.update.enabled': false,
    'datareporting.policy.dataSubmissionEnabled': false, 'browser.shell.checkDefaultBrowser': false, 'browser.aboutwelcome.enabled': false,
    'network.proxy.type': 1, 'network.proxy.http': '127.0.0.1', 'network.proxy.http_port': 9, 'network.proxy.ssl': '127.0.0.1', 'network.proxy.ssl_port': 9,
    'browser.download.folderList': 2, 'browser.download.dir': home, 'browser.download.useDownloadDir': true, 'browser.download.always_ask_before_handling_new_types': false,
    'dom.disable_beforeunload': true,
  };
  fs.writeFileSync(path.join(home, 'user.js'), Object.entries(settings).map(([name, value]) => `user_pref(${JSON.stringify(name)}, ${JSON.stringify(value)});\n`).join(''));
  const program = spawn(firefox, ['--headless', '--no-remote', '--marionette', '--profile', home, 'about:blank'], { env: { ...process.env, HOME: home }, stdio: 'ignore' });
  /** @type {net.Socket} */
  let socket;
  for (let tries = 0; ; tries++) {
    try { socket = await new Promise((done, failed) => { const s = net.connect(port, '127.0.0.1', () => done(s)).on('error', failed); }); break; }
    catch (error) { if (tries > 300) throw error; await new Promise(done => setTimeout(done, 100)); }
  }
  let last = 0, held = Buffer.alloc(0);
  /** @type {Map<number, { done: (value: any) => void, failed: (error: Error) => void }>} */
  const waiting = new Map();
  socket.on('data', more => {
    held = Buffer.concat([held, more]);
    for (;;) {
      const colon = held.indexOf(':'), bytes = Number(held.subarray(0, Math.max(colon, 0)).toString());
      if (colon < 0 || held.length < colon + 1 + bytes) return;
      const message = JSON.parse(held.subarray(colon + 1, colon + 1 + bytes).toString());
      held = held.subarray(colon + 1 + bytes);
      if (!Array.isArray(message)) continue;
      const [, id, error, value] = message, asked = waiting.get(id);
      if (error) asked?.failed(new Error(`${error.error}: ${error.message}`));
      else asked?.done(value);
    }
  });
  /** @param {string} name @param {object} [given] @returns {Promise<any>} */
  const call = (name, given = {}) => new Promise((done, failed) => {
    waiting.set(++last, { done, failed });
    const text = JSON.stringify([0, last, name, given]);
    socket.write(`${Buffer.byteLength(text)}:${text}`);
  });
  await call('WebDriver:NewSession', { pageLoadStrategy: 'normal' });
  const run = async (/** @type {string} */ script, /** @type {unknown[]} */ ...args) => (await call('WebDriver:ExecuteScript', { script, args, sandbox: null })).value;
  const until = async (/** @type {string} */ condition) => {
    for (const end = Date.now() + 60_000; !await run(`return ${condition}`);) {
      if (Date.now() > end) throw new Error(`still not: ${condition}`);
      await new Promise(done => setTimeout(done, 50));
    }
  };
  const find = async (/** @type {string} */ value) => Object.values((await call('WebDriver:FindElement', { using: 'css selector', value })).value)[0];
  return {
    call, run, until,
    click: async (/** @type {string} */ css) => call('WebDriver:ElementClick', { id: await find(css) }),
    type: async (/** @type {string} */ css, /** @type {string} */ text) => call('WebDriver:ElementSendKeys', { id: await find(css), text }),
    shot: async (/** @type {string} */ to) => fs.writeFileSync(to, Buffer.from((await call('WebDriver:TakeScreenshot', { full: false })).value, 'base64')),
    end: async () => { await call('Marionette:Quit', { flags: ['eForceQuit'] }).catch(() => {}); socket.destroy(); program.kill(); },
  };
}

const SETTLED = 'window.AMPERULE.settled()';

test('the main way in Firefox: open, answer, check, save with a photo', { skip: firefox ? false : 'there is no Firefox', timeout: 240_000 }, async () => {
  const home = fs.mkdtempSync(path.join(os.tmpdir(), 'page-'));
  const { call, run, until, click, type, shot, end } = await started(home);
  try {
    await call('WebDriver:SetWindowRect', { width: 500, height: 900 });
    await call('WebDriver:Navigate', { url: pathToFileURL(file).href });
    await until('window.AMPERULE?.measured.ready > 0');
    await type('#open-start', path.join(root, 'examples', 'half-filled-survey.amp'));
    await until(`!document.querySelector('#work').hidden && ${SETTLED}`);
    const asked = await run("return document.querySelectorAll('.question').length");
    assert.ok(asked > 3, `${asked} questions`);
    const before = await run("return document.querySelector('#status').textContent");
    assert.match(before, /undecided/);
    for (let i = 0; i < 2; i++) {
      await click('.question .taps:not(.quiet) button');
      await until(SETTLED);
    }
    const fewer = await run("return document.querySelectorAll('.question').length");
    assert.ok(fewer < asked || await run("return document.querySelector('#status').textContent") !== before, 'answers are taken');
    await type('#photos input[type=file]:not([capture])', path.join(root, 'src', 'page', 'site', 'icon.png'));
    await until("document.querySelectorAll('#photos figure').length === 1");
    // A photo that is not seen yet is not read.
    await run("document.querySelector('#photos').scrollIntoView()");
    await until("document.querySelector('#photos img').naturalWidth === 512");
    if (process.env.SHOTS) await shot(path.join(process.env.SHOTS, 'firefox-ask.png'));
    await click('#tab-answer');
    await until(SETTLED);
    await until("document.querySelector('#works').getAttribute('aria-busy') === 'false'");
    assert.match(await run("return document.querySelector('#verdict').textContent"), /Figures|Open|Broken/);
    if (process.env.SHOTS) await shot(path.join(process.env.SHOTS, 'firefox-answer.png'));
    await click('#tab-text');
    const text = await run('return window.AMPERULE.editor.text');
    assert.ok(text.length > 200 && await run("return document.querySelectorAll('.cm-line').length > 5 && getComputedStyle(document.querySelector('.cm-gutters')).display === 'flex'"), 'the editor has its layout');
    if (process.env.SHOTS) await shot(path.join(process.env.SHOTS, 'firefox-text.png'));
    await click('#save');
    const archive = path.join(home, 'half-filled-survey.zip');
    for (let i = 0; i < 100 && !(fs.existsSync(archive) && fs.statSync(archive).size > 0); i++) await new Promise(done => setTimeout(done, 100));
    // Stored, not compressed: the text stands in the archive as it is.
    assert.ok(fs.readFileSync(archive).includes(Buffer.from(text)));
    await type('#open-work', archive);
    await until(`${SETTLED} && document.querySelectorAll('#photos figure').length === 1`);
    assert.equal(await run('return window.AMPERULE.editor.text'), text);
  } finally {
    await end();
    await new Promise(done => setTimeout(done, 500));
    fs.rmSync(home, { recursive: true, force: true, maxRetries: 5 });
  }
});
