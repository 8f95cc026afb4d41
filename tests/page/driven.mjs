// The main way through the page, for browsers that are driven by WebDriver's commands: from an empty page to
// a sound house by taps, the same answer as the program's, a photo, a saved file opened again.
// @ts-check
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import fs from 'node:fs';
import net from 'node:net';
import path from 'node:path';
import { pathToFileURL } from 'node:url';

export const root = path.join(import.meta.dirname, '..', '..');
const file = process.env.AMPERULE_PAGE ?? path.join(root, 'target', 'page', 'amperule.html');
const program = process.env.AMPERULE ?? path.join(root, 'target', 'debug', 'amperule');

/** What a visit to the house of the typical jobs finds out: how it is answered, of what, what is asked, the answer. */
export const VISIT = /** @type {['tap' | 'type', string, string, string][]} */ ([
  ['tap', 'supply', 'earthing', 'TN-C-S'], ['tap', 'main', 'main-switch', 'switch 100 A 2-pole'], ['type', 'supply', 'cut-out-rating', '100'],
  ['tap', 'supply', 'all-listed: bond', 'yes'], ['tap', 'supply', 'earth-seen', 'cut-out-terminal'], ['tap', 'supply', 'metered', 'yes'],
  ['tap', 'supply', 'service-state', 'sound'], ['tap', 'supply', 'earthing-conductor', 'singles 16 mm² 1 m'], ['tap', 'supply', 'tails', 'singles 25 mm² 1.5 m'],
  ['tap', 'main', 'surge-protection', 'type-2'], ['tap', 'main', 'condition', 'sound'], ['tap', 'main', 'neutral-joined-to-earth', 'no'],
  ['tap', 'water', 'entry', 'metal'], ['tap', 'water', 'size', '10 mm²'], ['tap', 'main', 'Icc-behind', 'none'],
  ['tap', 'supply', 'service-fuse', 'fuse BS-88-3 80 A'], ['tap', 'supply', 'In of its service-fuse', 'fuse BS-88-3 80 A'], ['tap', 'supply', 'Ipf', '0.9 kA'], ['tap', 'supply', 'looped', 'no'], ['type', 'supply', 'Xe', '0.01'],
  ['tap', 'supply', 'logged-demand', '24 A'], ['tap', 'supply', 'Ze', '0.28 ohm'], ['type', 'cables 1 of ev', 'length', '14'], ['tap', 'main', 'devices-verified', 'yes'],
]);

/** A port that is free. @returns {Promise<number>} */
export const freePort = () => new Promise(done => { const s = net.createServer().listen(0, '127.0.0.1', () => { const at = (/** @type {net.AddressInfo} */ (s.address())).port; s.close(() => done(at)); }); });

const pause = (/** @type {number} */ ms) => new Promise(done => setTimeout(done, ms));

/**
 * What a browser does for the tests.
 * @typedef {object} Driver
 * @property {(url: string) => Promise<unknown>} go
 * @property {(script: string, args: unknown[]) => Promise<any>} run a function's body and its arguments
 * @property {(css: string) => Promise<string>} find
 * @property {(element: string) => Promise<unknown>} click
 * @property {(element: string, text: string) => Promise<unknown>} type
 * @property {(to: string) => Promise<unknown>} shot
 * @property {() => string[]} told what it says itself of faults on the page
 * @property {string} downloads the folder where it puts what is saved
 */

/** Keeps what the page throws, warns of or is refused by its policy, from here on. */
const LISTEN = `window.TOLD = [];
  addEventListener('error', e => TOLD.push('error: ' + e.message));
  addEventListener('unhandledrejection', e => TOLD.push('rejected: ' + e.reason));
  document.addEventListener('securitypolicyviolation', e => TOLD.push('policy: ' + e.violatedDirective + ' ' + e.blockedURI));
  for (const name of ['error', 'warn']) { const was = console[name]; console[name] = (...all) => { TOLD.push(name + ': ' + all.join(' ')); was.apply(console, all); }; }`;
const SETTLED = 'window.AMPERULE.settled()';
/** The question `asked` of `of`. */
const QUESTION = `[...document.querySelectorAll('ol[aria-label=' + JSON.stringify(arguments[0]) + '] > .question')].find(q => q.dataset.asked === arguments[1])`;

/** The main way. @param {string} name of the browser @param {Driver} driver */
export async function mainWay(name, driver) {
  const run = (/** @type {string} */ script, /** @type {unknown[]} */ ...args) => driver.run(script, args);
  const until = async (/** @type {string} */ condition, /** @type {unknown[]} */ ...args) => {
    for (const end = Date.now() + 60_000; !await run(`return ${condition}`, ...args);) {
      if (Date.now() > end) throw new Error(`still not: ${condition}; ${await run("return document.querySelector('#status')?.textContent")}`);
      await pause(50);
    }
  };
  const click = async (/** @type {string} */ css) => {
    // As a person does who taps: WebKitGTK's driver scrolls no further than to the edge, behind the tabs.
    await run("document.querySelector(arguments[0]).scrollIntoView({ block: 'center' })", css);
    await driver.click(await driver.find(css));
  };
  const type = async (/** @type {string} */ css, /** @type {string} */ text) => driver.type(await driver.find(css), text);
  const shot = async (/** @type {string} */ view) => { if (process.env.SHOTS) await driver.shot(path.join(process.env.SHOTS, `${name}-${view}.png`)); };
  const status = () => run("return document.querySelector('#status').textContent");
  /** Marks what is asked, so that the driver finds it. @type {(of: string, asked: string) => Promise<boolean>} */
  const meet = (of, asked) => run(`document.querySelector('#met')?.removeAttribute('id'); const q = ${QUESTION}; if (q) q.id = 'met'; return !!q`, of, asked);

  const told = async () => [...await run('return window.TOLD'), ...driver.told()];

  await driver.go(pathToFileURL(file).href);
  await run(LISTEN);
  await until('window.AMPERULE?.measured.ready > 0');
  await type('#name', 'Fern Cottage');
  await run("[...document.querySelectorAll('#jobs button')].find(b => b.querySelector('strong').textContent === 'house').id = 'the-house'");
  await click('#the-house');
  await until(`!document.querySelector('#work').hidden && ${SETTLED}`);
  assert.match(await status(), /^0 breaches, 0 cautions, \d+ undecided/);
  for (const [how, of, asked, answer] of VISIT) {
    // What is settled by another answer is not asked any more.
    if (!await meet(of, asked)) continue;
    const before = await run('return window.AMPERULE.editor.text');
    if (how === 'tap') {
      await run("[...document.querySelectorAll('#met .taps:not(.quiet) button')].find(b => b.textContent.includes(arguments[0])).id = 'the-tap'", answer);
      await click('#the-tap');
    } else {
      await type('#met input:not([type=file])', answer);
      await click('#met button[type=submit]');
    }
    await until(`window.AMPERULE.editor.text !== arguments[0] && ${SETTLED}`, before);
    assert.equal(await run("return [...document.querySelectorAll('.fault')].map(f => f.textContent).join('')"), '', `${answer} for ${asked} of ${of}`);
  }
  assert.match(await status(), /^0 breaches/);
  assert.equal(await run("return document.querySelectorAll('.question h5 .mark').length"), 0, 'nothing is open that a requirement waits for');
  await shot('ask');

  await click('#tab-answer');
  await until(`${SETTLED} && document.querySelector('#works').getAttribute('aria-busy') === 'false'`);
  assert.match(await run("return document.querySelector('#verdict').textContent"), /No requirement that is judged here is broken or open/);
  await shot('answer');
  await click('#tab-text');
  const text = await run('return window.AMPERULE.editor.text');
  assert.ok(await run("return document.querySelectorAll('.cm-line').length > 5 && getComputedStyle(document.querySelector('.cm-gutters')).display === 'flex'"), 'the editor has its layout');
  await shot('text');

  // The program says the same of what was tapped together.
  const design = path.join(driver.downloads, 'tapped.amp');
  fs.writeFileSync(design, text);
  const expected = JSON.parse(execFileSync(program, ['check', '--format', 'json', design], { encoding: 'utf8', maxBuffer: 1 << 26 })).files[0];
  const answer = JSON.parse(await run('return JSON.stringify(window.AMPERULE.answer().file)'));
  const said = (/** @type {any} */ f) => ({ findings: f.findings.map((/** @type {any} */ x) => [x.rule, x.outcome, x.message]), figures: f.figures });
  assert.deepEqual(said(answer), said(expected));
  assert.ok(expected.figures.length > 5, 'there are figures to compare');

  await click('#tab-ask');
  await until(SETTLED);
  await type('#photos input[type=file]:not([capture])', path.join(root, 'src', 'page', 'site', 'icon.png'));
  await until("document.querySelectorAll('#photos figure').length === 1");
  // A photo that is not seen yet is not read.
  await run("document.querySelector('#photos').scrollIntoView()");
  await until("document.querySelector('#photos img').naturalWidth === 512");
  await click('#save');
  const archive = path.join(driver.downloads, 'house.zip');
  for (let i = 0; i < 100 && !(fs.existsSync(archive) && fs.statSync(archive).size > 0); i++) await pause(100);
  // Stored, not compressed: the text stands in the archive as it is.
  assert.ok(fs.readFileSync(archive).includes(Buffer.from(text)));
  const was = await run('return window.AMPERULE.version()');
  await type('#open-work', archive);
  await until(`window.AMPERULE.version() > arguments[0] && ${SETTLED} && document.querySelectorAll('#photos figure').length === 1`, was);
  assert.equal(await run('return window.AMPERULE.editor.text'), text);
  assert.match(await status(), /^0 breaches/);
  assert.deepEqual(await told(), []);
  // What is thrown would have been told.
  await run("setTimeout(() => { throw new Error('on purpose'); })");
  for (const end = Date.now() + 10_000; (await told()).length === 0 && Date.now() < end;) await pause(100);
  assert.match((await told()).join('\n'), /on purpose|Script error/);
}
