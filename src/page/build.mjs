// node build.mjs ENGINE.wasm OUT.html: one self-contained page, and beside it `site/`, the same for an https address
// with what a browser needs to keep it on the device.
// @ts-check
import { gzipAsync } from '@gfx/zopfli';
import { build } from 'esbuild';
import crypto from 'node:crypto';
import fs from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import zlib from 'node:zlib';

const here = path.dirname(fileURLToPath(import.meta.url));
const [wasm, out] = process.argv.slice(2);
if (!wasm || !out) {
  console.error('usage: node build.mjs ENGINE.wasm OUT.html');
  process.exit(2);
}

/** One script of all that an entry needs. @param {string} entry @param {Record<string, string>} define */
async function bundle(entry, define) {
  const bundled = await build({
    entryPoints: [path.join(here, 'app', entry)], bundle: true, minify: true, format: 'iife', target: 'es2022', charset: 'utf8',
    write: false, define, legalComments: 'none',
  });
  return bundled.outputFiles[0]?.text ?? '';
}

/** A script's text that cannot end the element it stands in. @param {string} text */
const inside = text => text.replace(/<\/script/gi, '<\\/script').replace(/<!--/g, '<\\!--');
/** @param {string} text */
const hash = text => `'sha256-${crypto.createHash('sha256').update(text).digest('base64')}'`;

const raw = fs.readFileSync(wasm);
// Some seconds of search for 4 % less than the usual packer makes; it is unpacked alike.
const engine = Buffer.from(await gzipAsync(raw, { numiterations: 5 })).toString('base64');
const folder = path.join(here, '..', '..', 'examples');
const texts = fs.readdirSync(folder).filter(name => name.endsWith('.amp')).sort()
  .map(name => ({ name, text: fs.readFileSync(path.join(folder, name), 'utf8') }))
  // The page holds one file.
  .filter(example => !/^use /m.test(example.text));
// The editor puts its styles into the page itself: a policy lets it by a nonce, made of the content so that a build can be repeated.
const nonce = crypto.createHash('sha256').update(raw).digest('base64').slice(0, 22);
const worker = await bundle('worker.ts', {});
const script = inside(await bundle('main.ts', {
  WORKER_SOURCE: JSON.stringify(worker), STYLE_NONCE: JSON.stringify(nonce), EXAMPLES: JSON.stringify(texts),
}));
const styled = await build({ entryPoints: [path.join(here, 'app', 'page.css')], minify: true, write: false });
const style = styled.outputFiles[0]?.text ?? '';
const frame = fs.readFileSync(path.join(here, 'app', 'page.html'), 'utf8');

/** The page: from a file it may load nothing; at an address its manifest, its icon and what keeps it on the device. @param {boolean} site */
function page(site) {
  const own = site ? " 'self'" : '', links = '<link rel="manifest" href="manifest.webmanifest"><link rel="icon" href="icon.svg"><link rel="apple-touch-icon" href="icon.png">\n';
  const policy = `default-src 'none'; script-src ${hash(script)} 'wasm-unsafe-eval'; worker-src blob:${own}; style-src ${hash(style)} 'nonce-${nonce}'; img-src data: blob:${own}; ${site ? "manifest-src 'self'; " : ''}base-uri 'none'; form-action 'none'`;
  /** @type {Record<string, string>} */
  const put = { POLICY: policy, SITE: site ? links : '', STYLE: style, ENGINE: engine, SCRIPT: script };
  return frame.replace(/%([A-Z]+)%/g, (_, name) => put[name] ?? '');
}

const made = page(false), kept = page(true), site = path.join(path.dirname(out), 'site');
fs.mkdirSync(site, { recursive: true });
fs.writeFileSync(out, made);
fs.writeFileSync(path.join(site, 'index.html'), kept);
for (const name of ['manifest.webmanifest', 'icon.svg', 'icon.png']) fs.copyFileSync(path.join(here, 'site', name), path.join(site, name));
const version = crypto.createHash('sha256').update(kept).digest('hex').slice(0, 16);
fs.writeFileSync(path.join(site, 'worker.js'), fs.readFileSync(path.join(here, 'site', 'worker.js'), 'utf8').replace('%VERSION%', version));
const kb = (/** @type {number} */ bytes) => `${Math.round(bytes / 1024)} KB`;
console.log(`${out}: ${kb(Buffer.byteLength(made))} (gzip ${kb(zlib.gzipSync(made, { level: 9 }).length)}); engine ${kb(raw.length)}, packed ${kb(engine.length * 3 / 4)}; script ${kb(script.length)}`);
