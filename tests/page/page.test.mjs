// What people do with the page: from an empty page to a design, files, drafts, names with markup.
// @ts-check
import assert from 'node:assert/strict';
import fs from 'node:fs';
import path from 'node:path';
import { after, test } from 'node:test';
import zlib from 'node:zlib';
import { VISIT } from './driven.mjs';
import { axe, browser, file, open, opened, ready, require, root, settled, sizes } from './browser.mjs';

/** @type {typeof import('fflate')} */
const { strFromU8, unzipSync, zipSync } = require('fflate');

after(() => browser.close());

/** @param {string} name */
const example = name => fs.readFileSync(path.join(root, 'examples', `${name}.amp`), 'utf8');
/** @param {import('playwright-core').Page} page */
const text = page => page.evaluate(() => /** @type {string} */ ((/** @type {any} */ (window)).AMPERULE.editor.text));
/** @param {import('playwright-core').Page} page @param {string} of @param {string} asked */
const question = (page, of, asked) => page.locator(`ol[aria-label="${of}"] > .question[data-asked="${asked}"]`).first();

/** @param {import('playwright-core').Page} page @param {string} job */
async function begin(page, job) {
  await page.click(`#jobs button:has(strong:text-is("${job}"))`);
  await page.waitForSelector('#work:not([hidden])');
  return settled(page);
}

/** Taps a usual answer. @param {import('playwright-core').Page} page @param {string} of @param {string} asked @param {string} answer */
async function tap(page, of, asked, answer) {
  await question(page, of, asked).locator('.taps:not(.quiet) button', { hasText: answer }).first().tap();
  await settled(page);
}

/** Writes an answer into its field. @param {import('playwright-core').Page} page @param {string} of @param {string} asked @param {string} answer */
async function type(page, of, asked, answer) {
  const box = question(page, of, asked);
  await box.locator('input:not([type=file])').fill(answer);
  await box.locator('button[type=submit]').tap();
  await settled(page);
}

test('the page is small enough to be sent', () => {
  const sent = zlib.gzipSync(fs.readFileSync(file), { level: 9 }).length;
  assert.ok(sent < 2_000_000, `${sent} bytes with gzip`);
});

test('from an empty page to a sound house by taps', async () => {
  const { page, done } = await opened();
  await page.fill('#name', 'Fern Cottage');
  assert.match(await begin(page, 'house') ?? '', /^0 breaches, 0 cautions, \d+ undecided/);
  assert.equal(await page.textContent('#title'), 'Fern Cottage');
  for (const [how, of, asked, answer] of VISIT) {
    // What is settled by another answer is not asked any more.
    if (await question(page, of, asked).count() > 0) await (how === 'tap' ? tap : type)(page, of, asked, answer);
    const faults = (await page.locator('.fault').allTextContents()).join('');
    assert.equal(faults, '', `${answer} for ${asked} of ${of}`);
  }
  const written = await text(page);
  for (const line of ['earthing: TN-C-S', 'service-fuse: fuse BS-88-3 80 A', 'Ze: 0.28 ohm (measured)', 'looped: no (by-enquiry)', 'length: 14 m', 'cut-out-rating: 100 A']) {
    assert.ok(written.includes(line), `${line} in\n${written}`);
  }
  assert.match(await page.textContent('#status') ?? '', /^0 breaches/);
  assert.equal(await page.locator('.question h5 .mark').count(), 0, 'nothing is open that a requirement waits for');
  await page.tap('#tab-answer');
  assert.match(await page.textContent('#verdict') ?? '', /No requirement that is judged here is broken or open/);
  await done();
});

test('the same by text, with completion, findings under the words and mending', async () => {
  const { page, done } = await opened({ size: sizes.desk });
  await begin(page, 'house');
  await page.click('#tab-text');
  await page.evaluate(was => { const e = (/** @type {any} */ (window)).AMPERULE.editor; e.set(was); }, example('larch-bank'));
  assert.match(await settled(page) ?? '', /^0 breaches/);
  // A cable that is too thin, written by hand.
  const now = await text(page), at = now.indexOf('mm² 22 m');
  assert.ok(at > 0, now);
  const size = now.lastIndexOf(' ', at - 2) + 1;
  await page.evaluate(([from, to]) => (/** @type {any} */ (window)).AMPERULE.editor.go(from, to), [size, at - 1]);
  await page.keyboard.type('1');
  await page.waitForFunction(() => /[1-9]\d* breach/.test(document.querySelector('#status')?.textContent ?? ''));
  assert.ok(await page.locator('.cm-lintRange-error').count() > 0, 'a finding is marked in the text');
  await page.click('#tab-answer');
  assert.ok(await page.locator('#verdict .mark.stop').count() > 0);
  await page.locator('#verdict .place').first().click();
  assert.equal(await page.getAttribute('#tab-text', 'aria-selected'), 'true');
  // Words that fit are offered where they fit.
  await page.evaluate(() => { const e = (/** @type {any} */ (window)).AMPERULE.editor, i = e.text.search(/^supply /m); const to = e.text.indexOf('{', i) + 1; e.go(to, to); });
  await page.keyboard.press('Enter');
  await page.keyboard.type('earthi');
  await page.waitForSelector('.cm-tooltip-autocomplete');
  assert.match(await page.textContent('.cm-tooltip-autocomplete') ?? '', /earthing/);
  // Undone, all is as it was.
  await page.keyboard.press('Escape');
  await page.evaluate(was => (/** @type {any} */ (window)).AMPERULE.editor.set(was), example('larch-bank'));
  assert.match(await settled(page) ?? '', /^0 breaches/);
  await done();
});

test('an answer that is none is refused and changes nothing', async () => {
  const { page, done } = await opened();
  await begin(page, 'house');
  const before = await text(page);
  await type(page, 'supply', 'cut-out-rating', '100 metres');
  assert.notEqual(await question(page, 'supply', 'cut-out-rating').locator('.fault').first().textContent(), '');
  assert.equal(await text(page), before);
  await done();
});

test('questions can be set aside and taken up again', async () => {
  const { page, done } = await opened();
  await begin(page, 'house');
  await question(page, 'supply', 'earthing').locator('button:text-is("To ask the network operator")').tap();
  const aside = page.locator('section:has(h3:text("to ask the network operator"))').last();
  assert.match(await aside.textContent() ?? '', /earthing/);
  await aside.locator('button:text-is("Ask again")').first().tap();
  assert.equal(await page.locator('h3:text("Set aside")').count(), 0);
  await done();
});

test('a figure opens to its working, a finding to its rule, and readings are judged as typed', async () => {
  const { page, done } = await opened();
  await open(page, 'quarry.amp', example('quarry-cottage-faults'));
  await page.tap('#tab-answer');
  await page.locator('#verdict summary', { hasText: 'Rule ' }).first().tap();
  await page.waitForFunction(() => (document.querySelector('#verdict details[open] pre')?.textContent ?? '').length > 40);
  await page.locator('.figures summary', { hasText: 'Zs of ev' }).first().tap();
  await page.waitForFunction(() => /Zs/.test(document.querySelector('.figures details[open] pre')?.textContent ?? ''));
  assert.match(await page.textContent('.figures') ?? '', /cpc-min of ev: too little is known/);
  assert.match(await page.textContent('#works') ?? '', /To buy/);
  await open(page, 'larch.amp', example('larch-bank'));
  const form = page.locator('.reading', { has: page.locator('label:text("R1R2")') }).first();
  await form.locator('input:not([type=file])').fill('0.15');
  await form.locator('button[type=submit]').tap();
  await page.waitForFunction(() => (/** @type {any} */ (window)).AMPERULE.editor.text.includes('R1R2: 0.15 ohm'));
  await settled(page);
  await page.waitForFunction(() => document.querySelector('.judged') !== null);
  assert.match(await page.textContent('.judged') ?? '', /read 0\.15 ohm/);
  const slow = page.locator('.reading', { has: page.locator('label:text("trip-time")') }).first();
  await slow.locator('input:not([type=file])').fill('900');
  await slow.locator('button[type=submit]').tap();
  await page.waitForSelector('.judged .mark.stop');
  assert.match(await page.textContent('.reading:has(.judged .mark.stop)') ?? '', /trip-time[\s\S]*broken 900 ms/);
  assert.match(await page.locator('ul[aria-label^="What the readings"]').textContent() ?? '', /900 ms/);
  await done();
});

test('a saved file opens again as it was, with its line ends', async () => {
  const { page, done } = await opened({ size: sizes.desk });
  const crlf = example('larch-bank').replaceAll('\n', '\r\n');
  await open(page, 'larch.amp', crlf);
  const [name, held] = await saved(page), back = Buffer.from(held).toString();
  assert.equal(name, 'larch.amp');
  assert.equal(back, crlf);
  assert.match(await open(page, 'again.amp', back) ?? '', /^0 breaches/);
  await done();
});

test('a draft outlives the page, is offered with its date, and can be forgotten', async () => {
  const { page, done } = await opened();
  await page.fill('#name', 'Drafty House');
  await begin(page, 'house');
  await tap(page, 'supply', 'earthing', 'TN-S');
  await page.reload();
  await ready(page);
  assert.equal(await page.isVisible('#work'), false, 'a draft is never taken by itself');
  assert.match(await page.textContent('#draft') ?? '', /house\.amp, of .*\d/);
  await page.tap('#draft button:text-is("Take it")');
  await settled(page);
  assert.match(await text(page), /"Drafty House"[\s\S]*earthing: TN-S/);
  await page.tap('#new');
  await page.tap('#draft button:text-is("Forget it")');
  assert.equal(await page.isVisible('#draft'), false);
  assert.equal(await page.evaluate(() => localStorage.length), 0);
  await done();
});

/** A picture as a camera makes one. @param {import('playwright-core').Page} page @param {number} width @param {number} height */
async function picture(page, width, height) {
  const url = await page.evaluate(([width, height]) => {
    const canvas = Object.assign(document.createElement('canvas'), { width, height }), on = canvas.getContext('2d');
    if (on) { on.fillStyle = '#a33'; on.fillRect(0, 0, width, height); on.fillStyle = '#eee'; on.fillRect(width / 4, height / 4, width / 2, height / 2); }
    return canvas.toDataURL('image/png');
  }, [width, height]);
  return { name: 'IMG_0001.png', mimeType: 'image/png', buffer: Buffer.from(url.split(',')[1] ?? '', 'base64') };
}

/** Width and height that a JPEG states. @param {Uint8Array} jpeg */
function measures(jpeg) {
  for (let at = 2; at < jpeg.length;) {
    const mark = jpeg[at + 1] ?? 0, word = (/** @type {number} */ i) => ((jpeg[at + i] ?? 0) << 8) + (jpeg[at + i + 1] ?? 0);
    if (mark >= 0xc0 && mark <= 0xc2) return [word(7), word(5)];
    at += 2 + word(2);
  }
  return [];
}

/** Saves, and gives the file's name and content. @param {import('playwright-core').Page} page @returns {Promise<[string, Uint8Array]>} */
async function saved(page) {
  const [download] = await Promise.all([page.waitForEvent('download'), page.click('#save')]);
  return [download.suggestedFilename(), fs.readFileSync(await download.path() ?? '')];
}

test('photos of answers and readings stay in the file and in the draft, and can be removed', async () => {
  const { page, done } = await opened();
  await open(page, 'larch.amp', example('larch-bank'));
  const before = await text(page);
  await page.tap('#tab-answer');
  const reading = page.locator('.reading', { has: page.locator('label:text("R1R2")') }).first();
  await reading.locator('input[type=file]:not([capture])').setInputFiles([await picture(page, 3000, 2000), await picture(page, 300, 400)]);
  await page.waitForFunction(() => document.querySelectorAll('#works figure').length === 2);
  await page.tap('#tab-ask');
  await page.locator('#photos input[type=file]:not([capture])').setInputFiles(await picture(page, 800, 800));
  await page.waitForFunction(() => document.querySelectorAll('#photos figure').length === 3);
  assert.match(await page.textContent('#saved') ?? '', /not saved since/);
  // Pictures are read when they come into sight.
  for (const image of await page.locator('#photos img').all()) await image.scrollIntoViewIfNeeded();
  await page.waitForFunction(() => [...document.querySelectorAll('#photos img')].every(i => (/** @type {HTMLImageElement} */ (i)).naturalWidth > 0));
  // What is no picture is refused, and told.
  await page.locator('#photos input[type=file]:not([capture])').setInputFiles({ name: 'notes.txt', mimeType: 'text/plain', buffer: Buffer.from('no picture') });
  await page.waitForFunction(() => /notes\.txt/.test(document.querySelector('#photos .fault')?.textContent ?? ''));

  await page.reload();
  await ready(page);
  assert.match(await page.textContent('#draft') ?? '', /larch\.amp, of .*, with 3 photos/);
  await page.tap('#draft button:text-is("Take it")');
  await settled(page);
  assert.equal(await page.locator('#photos figure').count(), 3);

  const [name, archive] = await saved(page);
  assert.equal(name, 'larch.zip');
  const files = unzipSync(archive);
  const of = await page.locator('#photos figcaption').first().textContent();
  assert.match(of ?? '', /^R1R2 of ev/);
  assert.deepEqual(Object.keys(files).sort(), ['larch.amp', `photos/${of} 1.jpg`, `photos/${of} 2.jpg`, 'photos/the installation 1.jpg']);
  assert.equal(strFromU8(files['larch.amp'] ?? new Uint8Array()), before);
  assert.deepEqual(measures(files[`photos/${of} 1.jpg`] ?? new Uint8Array()), [1600, 1067]);
  assert.deepEqual(measures(files[`photos/${of} 2.jpg`] ?? new Uint8Array()), [300, 400]);
  assert.equal(await page.textContent('#saved'), 'larch.amp');

  // Packed anew by something else, in a folder: the same again.
  const again = zipSync(Object.fromEntries(Object.entries(files).map(([name, bytes]) => [`job/${name}`, bytes])), { level: 6 });
  assert.match(await open(page, 'again.zip', again) ?? '', /^0 breaches/);
  assert.equal(await text(page), before);
  assert.deepEqual(await page.locator('#photos figcaption').allTextContents(), [of, of, 'the installation']);

  while (await page.locator('#photos .remove').count() > 0) await page.locator('#photos .remove').first().tap();
  const [plain, kept] = await saved(page);
  assert.deepEqual([plain, Buffer.from(kept).toString()], ['larch.amp', before]);
  await page.tap('#new');
  assert.equal(await page.isVisible('#draft'), false, 'what is saved needs no draft');
  await page.waitForFunction(async () => {
    const asked = indexedDB.open('amperule');
    await new Promise(done => { asked.onsuccess = done; });
    const count = asked.result.transaction('photos').objectStore('photos').count();
    await new Promise(done => { count.onsuccess = done; });
    asked.result.close();
    return count.result === 0;
  });
  await done();
});

test('an archive that is none of ours is refused in words, and nothing of a photo runs', async () => {
  const { page, done } = await opened();
  const design = Buffer.from(example('larch-bank'));
  const refused = async (/** @type {Uint8Array} */ archive, /** @type {RegExp} */ told) => {
    await page.evaluate(() => { const at = document.querySelector('#status'); if (at) at.textContent = ''; });
    await page.setInputFiles('#open-start', { name: 'some.zip', mimeType: 'application/zip', buffer: Buffer.from(archive) });
    await page.waitForFunction(() => document.querySelector('#status')?.textContent !== '');
    assert.match(await page.textContent('#status') ?? '', told);
    assert.equal(await page.isVisible('#work'), false);
  };
  await refused(zipSync({ 'notes.txt': design }), /some\.zip holds no design/);
  await refused(zipSync({ 'a.amp': design, 'b.amp': design }), /holds 2 designs/);
  await refused(zipSync({ 'a.amp': design }).subarray(0, 300), /cannot be unpacked/);
  await refused(zipSync({ 'a.amp': new Uint8Array(5e6) }), /more, or larger files.*a\.amp/);
  const evil = Buffer.from('<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"><script>alert(2)</script></svg>');
  await open(page, 'evil.zip', zipSync({ 'a.amp': design, 'photos/<b>bold%00 1.jpg': evil }));
  assert.equal(await page.locator('#photos figcaption').textContent(), '<b>bold[U+0000]');
  assert.equal(await page.evaluate(() => (/** @type {HTMLImageElement} */ (document.querySelector('#photos img'))).naturalWidth), 0);
  await done();
});

test('markup in names is text and nothing else', async () => {
  const { page, done } = await opened();
  const evil = '<img src=x onerror=alert(1)></script><script>alert(2)</script><b>';
  const made = example('quarry-cottage-faults')
    .replace(/installation "[^"]*"/, `installation "${evil}"`)
    .replace(/^(charge-point \w+)/m, `$1 "${evil}"`)
    .replace(/^(board \w+)/m, `$1 "${evil}"`);
  assert.ok(made.split(evil).length > 3, 'three names are replaced');
  await open(page, `${evil.replaceAll('/', '')}.amp`, made);
  for (const tab of ['#tab-ask', '#tab-text', '#tab-answer']) await page.tap(tab);
  assert.equal(await page.textContent('#title'), evil);
  assert.equal(await page.locator('main img:not(.cm-widgetBuffer), main b, main script').count(), 0);
  await page.evaluate(text => (/** @type {any} */ (window)).AMPERULE.editor.set(text), `installation "\u202Eevil" { rules: gb }\n<script>alert(3)</script> ${evil} {\n`);
  await settled(page);
  assert.equal(await page.locator('main img:not(.cm-widgetBuffer), main b, main script').count(), 0);
  await page.evaluate(() => (/** @type {any} */ (window)).AMPERULE.editor.set('installation "a\u202Eb" { rules: gb }\n'));
  await settled(page);
  assert.equal(await page.textContent('#title'), 'a[U+202E]b');
  await done();
});

test('only the newest text is judged, a stopped engine goes on, and what is stale is not shown', async () => {
  const { page, done } = await opened();
  await open(page, 'quarry.amp', example('quarry-cottage'));
  const last = await page.evaluate(async () => {
    const a = (/** @type {any} */ (window)).AMPERULE, text = a.editor.text;
    const before = a.engine.times.filter((/** @type {any} */ t) => t.ask === 'check').length;
    for (let i = 0; i < 20; i++) { a.editor.set(text + '#'.repeat(i + 1)); await new Promise(done => setTimeout(done, 20)); }
    const stale = a.answer();
    a.engine.stop();
    return { stale, before };
  });
  assert.equal(last.stale, null);
  await page.waitForFunction(() => (/** @type {any} */ (window)).AMPERULE.answer() !== null);
  assert.match(await settled(page) ?? '', /^0 breaches/);
  const checks = await page.evaluate(() => (/** @type {any} */ (window)).AMPERULE.engine.times.filter((/** @type {any} */ t) => t.ask === 'check').length);
  assert.ok(checks - last.before <= 4, `${checks - last.before} checks for 20 keys`);
  // A thread that dies is started anew.
  await page.evaluate(() => (/** @type {any} */ (window)).AMPERULE.engine.failed('on purpose'));
  await page.evaluate(() => { const e = (/** @type {any} */ (window)).AMPERULE.editor; e.set(e.text + '\n'); });
  assert.match(await settled(page) ?? '', /^0 breaches/);
  await done();
});

test('everything can be done by keys alone', async () => {
  const { page, done } = await opened({ size: sizes.desk });
  await page.focus('#jobs button:has(strong:text-is("house"))');
  await page.keyboard.press('Enter');
  await page.waitForSelector('#work:not([hidden])');
  await settled(page);
  assert.equal(await page.evaluate(() => document.activeElement?.id), 'title');
  await page.focus('#tab-ask');
  await page.keyboard.press('ArrowRight');
  assert.equal(await page.getAttribute('#tab-text', 'aria-selected'), 'true');
  await page.keyboard.press('Tab');
  assert.ok(await page.evaluate(() => document.activeElement?.classList.contains('cm-content')), 'the tab key enters the text');
  await page.keyboard.press('Tab');
  assert.equal(await page.evaluate(() => document.activeElement?.id), 'lay-out', 'and leaves it');
  await page.focus('#tab-text');
  await page.keyboard.press('ArrowLeft');
  const first = page.locator('.question').first();
  await first.locator('.taps:not(.quiet) button').first().focus();
  const asked = await first.locator('h5').textContent();
  await page.keyboard.press('Enter');
  await page.waitForFunction(was => document.querySelector('.question h5')?.textContent !== was, asked);
  await settled(page);
  assert.ok(await page.evaluate(() => document.activeElement?.matches('.question h5')), 'focus goes to the next question');
  // Backwards, too, nothing is reached that the tabs hide.
  await page.locator('.question').last().locator('button').last().focus();
  for (let i = 0; i < 40; i++) {
    await page.keyboard.press('Shift+Tab');
    const over = await page.evaluate(() => {
      const at = document.activeElement, box = at?.getBoundingClientRect();
      const top = box && document.elementFromPoint(box.x + box.width / 2, Math.max(box.y, 0) + Math.min(box.height, 40) / 2);
      return !at || at.contains(top ?? null) || !top?.closest('.tabs') ? '' : at.outerHTML.slice(0, 80);
    });
    assert.equal(over, '', 'what has the focus is not behind the tabs');
  }
  await done();
});

for (const [name, size] of Object.entries(sizes)) {
  // Light and dark differ in their colours alone: a phone and a desk have all that is coloured.
  for (const scheme of /** @type {const} */ (['light', 'dark'])) {
    if (scheme === 'dark' && name !== 'phone' && name !== 'desk') continue;
    test(`nothing is cut off or out of reach: ${name}, ${scheme}`, async () => {
      const { page, done } = await opened({ size, scheme, bypass: true });
      await page.evaluate(axe);
      const look = async (/** @type {string} */ where) => {
        const found = await page.evaluate(dark => (/** @type {any} */ (window)).axe.run(document, dark ? { runOnly: { type: 'rule', values: ['color-contrast'] } } : { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }), scheme === 'dark');
        const told = found.violations.map((/** @type {any} */ v) => `${v.id}: ${v.nodes.slice(0, 3).map((/** @type {any} */ n) => n.html).join(' ')}`);
        assert.deepEqual(told, [], where);
        const wide = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
        assert.ok(wide <= 0, `${where} is ${wide} px too wide`);
        const small = await page.$$eval('button, summary, select, label.button, main input:not([type=file])', all => all
          .filter(e => e.getClientRects().length > 0 && e.getBoundingClientRect().height < 43.5 && !e.closest('.cm-editor'))
          .map(e => e.outerHTML.slice(0, 80)));
        assert.deepEqual(small, [], `${where}: what is touched is at least 44 px high`);
      };
      await look('start');
      await begin(page, 'house');
      await question(page, 'supply', 'earthing').locator('input[type=file]:not([capture])').setInputFiles(await picture(page, 400, 300));
      await page.waitForSelector('.question figure');
      await look('ask');
      await open(page, 'faults.amp', example('quarry-cottage-faults'));
      if (name === 'wide') assert.ok(await page.isVisible('#view-text') && await page.isVisible('#view-ask') && await page.isHidden('#tab-text'), 'the text stands beside the questions');
      else {
        await page.click('#tab-text');
        await page.waitForTimeout(100);
        await look('text');
      }
      await page.click('#tab-answer');
      await page.locator('.figures summary').first().click();
      await page.waitForTimeout(200);
      await look('answer');
      await page.emulateMedia({ media: 'print' });
      assert.equal(await page.evaluate(() => getComputedStyle(document.documentElement).getPropertyValue('--ink').trim()), '#000', 'paper is light');
      assert.ok(await page.isVisible('#view-ask') && await page.isVisible('#verdict') && !(await page.isVisible('.tabs')), 'paper shows questions and answers');
      await done();
    });
  }
}
