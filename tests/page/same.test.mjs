// The page says what the program says: `check --format json` of every example and test design.
// @ts-check
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';
import { after, test } from 'node:test';
import { browser, opened, root, sizes } from './browser.mjs';

after(() => browser.close());

const program = process.env.AMPERULE ?? path.join(root, 'target', 'debug', 'amperule');
const files = ['examples', 'tests/designs'].flatMap(folder => fs.readdirSync(path.join(root, folder)).filter(n => n.endsWith('.amp')).map(n => `${folder}/${n}`));

test('the page answers as the program does', async () => {
  assert.ok(files.length > 15, 'there are designs to compare');
  const { page, done } = await opened({ size: sizes.desk });
  for (const name of files) {
    let told = '';
    try { told = execFileSync(program, ['check', '--format', 'json', name], { cwd: root, encoding: 'utf8', maxBuffer: 1 << 26, stdio: ['ignore', 'pipe', 'ignore'] }); }
    catch (error) {
      // A design with breaches ends with another code.
      told = String(/** @type {any} */ (error).stdout);
    }
    const expected = JSON.parse(told).files[0];
    const text = fs.readFileSync(path.join(root, name), 'utf8');
    const answer = await page.evaluate(([path, text]) => (/** @type {any} */ (window)).AMPERULE.engine.ask({ ask: 'check', design: { path, text } }), [name, text]);
    // The page adds places in its own count to those in bytes.
    const plain = JSON.parse(JSON.stringify(answer.file), (key, value) => ((key === 'from' || key === 'to') && typeof value === 'number' ? undefined : value));
    assert.deepEqual(plain, expected, name);
    for (const f of [...answer.file.findings, ...answer.file.problems]) {
      for (const l of f.labels) {
        if (l.file !== name) continue;
        assert.equal(text.slice(l.from, l.to), Buffer.from(text).subarray(l.start, l.end).toString('utf8'), `${name}: a place in the text`);
      }
    }
  }
  await done();
});

test('patches, which need texts that the page has not, are refused in words', async () => {
  const { page, done } = await opened({ size: sizes.desk });
  const text = fs.readFileSync(path.join(root, 'examples/larch-bank.amp'), 'utf8').replace(/rules: gb/, 'rules: gb + our-firm');
  const answer = await page.evaluate(text => (/** @type {any} */ (window)).AMPERULE.engine.ask({ ask: 'check', design: { path: 'a.amp', text } }), text);
  const codes = answer.file.problems.map((/** @type {{ code: string }} */ p) => p.code);
  assert.deepEqual(codes, ['no-text-of-ruleset', 'unknown-ruleset']);
  await done();
});
