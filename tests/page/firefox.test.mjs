// The main way through the page in Firefox, from its file and without a network. Firefox is spoken to
// by its own protocol over a socket: lines of a length, a colon and JSON.
// @ts-check
import { spawn } from 'node:child_process';
import fs from 'node:fs';
import net from 'node:net';
import os from 'node:os';
import path from 'node:path';
import { test } from 'node:test';
import { freePort, mainWay } from './driven.mjs';

const firefox = process.env.FIREFOX ?? '';

/** A Firefox without a network, whose downloads go into a folder. @param {string} home */
async function started(home) {
  const port = await freePort();
  const settings = {
    'marionette.port': port, 'remote.prefs.recommended': false, 'security.fileuri.strict_origin_policy': true, 'app.update.enabled': false,
    'datareporting.policy.dataSubmissionEnabled': false, 'browser.shell.checkDefaultBrowser': false, 'browser.aboutwelcome.enabled': false,
    'network.proxy.type': 1, 'network.proxy.http': '127.0.0.1', 'network.proxy.http_port': 9, 'network.proxy.ssl': '127.0.0.1', 'network.proxy.ssl_port': 9,
    'browser.download.folderList': 2, 'browser.download.dir': home, 'browser.download.useDownloadDir': true, 'browser.download.always_ask_before_handling_new_types': false,
    'dom.disable_beforeunload': true, 'browser.dom.window.dump.enabled': true, 'devtools.console.stdout.content': true,
  };
  fs.writeFileSync(path.join(home, 'user.js'), Object.entries(settings).map(([name, value]) => `user_pref(${JSON.stringify(name)}, ${JSON.stringify(value)});\n`).join(''));
  const program = spawn(firefox, ['--headless', '--no-remote', '--marionette', '--profile', home, 'about:blank'], { env: { ...process.env, HOME: home }, stdio: ['ignore', 'pipe', 'pipe'] });
  let said = '';
  for (const from of [program.stdout, program.stderr]) from.on('data', more => { said += more; });
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
  await call('WebDriver:SetWindowRect', { width: 500, height: 900 });
  /** @type {import('./driven.mjs').Driver} */
  const driver = {
    downloads: home,
    go: url => call('WebDriver:Navigate', { url }),
    run: async (script, args) => (await call('WebDriver:ExecuteScript', { script, args, sandbox: null })).value,
    find: async value => /** @type {string} */ (Object.values((await call('WebDriver:FindElement', { using: 'css selector', value })).value)[0]),
    click: id => call('WebDriver:ElementClick', { id }),
    type: (id, text) => call('WebDriver:ElementSendKeys', { id, text }),
    shot: async to => fs.writeFileSync(to, Buffer.from((await call('WebDriver:TakeScreenshot', { full: false })).value, 'base64')),
    // Its own parts speak there, too, and miss the network.
    told: () => said.split('\n').filter(l => /(file|blob):/.test(l)),
  };
  return { driver, end: async () => { await call('Marionette:Quit', { flags: ['eForceQuit'] }).catch(() => {}); socket.destroy(); program.kill(); } };
}

test('the main way in Firefox: a house by taps, as the program judges it, saved with a photo', { skip: firefox ? false : 'there is no Firefox', timeout: 240_000 }, async () => {
  const home = fs.mkdtempSync(path.join(os.tmpdir(), 'page-'));
  const { driver, end } = await started(home);
  try { await mainWay('firefox', driver); }
  finally {
    await end();
    await new Promise(done => setTimeout(done, 500));
    fs.rmSync(home, { recursive: true, force: true, maxRetries: 5 });
  }
});
