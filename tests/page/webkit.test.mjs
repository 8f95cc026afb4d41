// The main way through the page in WebKitGTK, from its file: the engine of Safari's family. Its driver
// speaks WebDriver over HTTP; where there is no display, Xvfb is one.
// @ts-check
import { spawn } from 'node:child_process';
import fs from 'node:fs';
import http from 'node:http';
import os from 'node:os';
import path from 'node:path';
import { test } from 'node:test';
import { freePort, mainWay } from './driven.mjs';

const webkit = process.env.WEBKIT_DRIVER ?? '', mini = process.env.MINI_BROWSER ?? '';

/** The port of a proxy that answers nothing. */
const NOWHERE = '127.0.0.1:9';

/** A WebKitGTK whose downloads go into a folder. @param {string} home */
async function started(home) {
  const port = await freePort();
  for (const folder of ['downloads', 'run', '.config']) fs.mkdirSync(path.join(home, folder), { mode: 0o700 });
  fs.writeFileSync(path.join(home, '.config', 'user-dirs.dirs'), 'XDG_DOWNLOAD_DIR="$HOME/downloads"\n');
  /** @type {import('node:child_process').ChildProcess[]} */
  const programs = [];
  let display = process.env.DISPLAY ?? '';
  if (!display) {
    const screen = spawn('Xvfb', ['-displayfd', '3', '-screen', '0', '1280x900x24', '-nolisten', 'tcp'], { stdio: ['ignore', 'ignore', 'ignore', 'pipe'] });
    programs.push(screen);
    display = await new Promise((done, failed) => {
      screen.on('error', failed).on('exit', code => failed(new Error(`Xvfb ended with ${code}`)));
      /** @type {import('node:stream').Readable} */ (screen.stdio[3]).once('data', told => done(`:${String(told).trim()}`));
    });
  }
  let said = '';
  const driver_ = spawn(webkit, [`--port=${port}`, '--host=127.0.0.1'], {
    stdio: ['ignore', 'pipe', 'pipe'],
    env: {
      ...process.env, HOME: home, XDG_CONFIG_HOME: path.join(home, '.config'), XDG_RUNTIME_DIR: path.join(home, 'run'), DISPLAY: display, GDK_BACKEND: 'x11', NO_AT_BRIDGE: '1', GIO_USE_VFS: 'local', GSETTINGS_BACKEND: 'memory',
      // Software draws, as on a machine without a graphics card; and no user may be root inside its sandbox.
      LIBGL_ALWAYS_SOFTWARE: '1', WEBKIT_DISABLE_COMPOSITING_MODE: '1', ...(process.getuid?.() === 0 ? { WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS: '1' } : {}),
    },
  });
  programs.push(driver_);
  for (const from of [driver_.stdout, driver_.stderr]) from.on('data', more => { said += more; });
  // Made without an agent: a connection that is kept alive would outlive the test.
  /** @type {(method: string, at: string, given?: object) => Promise<any>} */
  const call = (method, at, given) => new Promise((done, failed) => {
    const request = http.request({ host: '127.0.0.1', port, path: at, method, agent: false, headers: { 'content-type': 'application/json' } }, answer => {
      let text = '';
      answer.on('data', more => { text += more; }).on('end', () => {
        try {
          const { value } = JSON.parse(text);
          if (value?.error) failed(new Error(`${value.error}: ${value.message}`));
          else done(value);
        } catch (error) { failed(error); }
      });
    }).on('error', failed);
    request.end(given ? JSON.stringify(given) : '');
  });
  const end = async () => { for (const program of programs.reverse()) { program.kill(); await new Promise(done => setTimeout(done, 300)); } };
  try {
    for (let tries = 0; ; tries++) {
      try { await call('GET', '/status'); break; }
      catch (error) { if (tries > 100) throw error; await new Promise(done => setTimeout(done, 100)); }
    }
    const session = await call('POST', '/session', { capabilities: { alwaysMatch: {
      proxy: { proxyType: 'manual', httpProxy: NOWHERE, sslProxy: NOWHERE },
      'webkitgtk:browserOptions': { binary: mini, args: ['--automation'] },
    } } });
    const at = `/session/${session.sessionId}`;
    await call('POST', `${at}/window/rect`, { width: 500, height: 900 });
    /** @type {import('./driven.mjs').Driver} */
    const driver = {
      downloads: path.join(home, 'downloads'),
      go: url => call('POST', `${at}/url`, { url }),
      run: (script, args) => call('POST', `${at}/execute/sync`, { script, args }),
      find: async value => /** @type {string} */ (Object.values(await call('POST', `${at}/element`, { using: 'css selector', value }))[0]),
      click: id => call('POST', `${at}/element/${id}/click`, {}),
      type: (id, text) => call('POST', `${at}/element/${id}/value`, { text }),
      shot: async to => fs.writeFileSync(to, Buffer.from(await call('GET', `${at}/screenshot`), 'base64')),
      // The driver silences its browser's console.
      told: () => [],
    };
    return { driver, end: async () => { await call('DELETE', at).catch(() => {}); await end(); } };
  } catch (error) { await end(); throw new Error(`${error}\n${said}`); }
}

test('the main way in WebKitGTK: a house by taps, as the program judges it, saved with a photo', { skip: webkit && mini ? false : 'there is no WebKitGTK with its driver', timeout: 300_000 }, async () => {
  const home = fs.mkdtempSync(path.join(os.tmpdir(), 'page-'));
  const { driver, end } = await started(home);
  try { await mainWay('webkit', driver); }
  finally {
    await end();
    await new Promise(done => setTimeout(done, 500));
    fs.rmSync(home, { recursive: true, force: true, maxRetries: 5 });
  }
});
