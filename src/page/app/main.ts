// The page: one design in three views that are kept in step with its text.
import type { About, Built, Checked, Design, Explained, Surveyed, Texted, WordsOf, Workings } from './answers';
import { pack, unpack } from './archive';
import { asking, type Aside, type Asker } from './ask';
import { byId, el, say, seen, unfold } from './dom';
import { draft, forget, keep, keepPhotos, photosOf, type Kept } from './draft';
import { Editor } from './editor';
import { Engine, Stale, Told } from './engine';
import { another, save } from './files';
import { gallery, onPhotos, photos, takePhotos } from './photos';
import { places, summary, verdict, works } from './verdict';

declare const EXAMPLES: { name: string; text: string }[];

/** Wait after a key before the text is judged, and the longest that steady typing puts it off. */
const PAUSE = 200, LONGEST = 1000;

const status = byId('status'), start = byId('start'), work = byId('work');
const views = { ask: byId('view-ask'), text: byId('view-text'), answer: byId('view-answer') };
const tabs = { ask: byId('tab-ask'), text: byId('tab-text'), answer: byId('tab-answer') };
type View = keyof typeof views;

let path = 'design.amp', crlf = false, unsavedSince: Date | null = null, opened = false;
let version = 0, timer = 0, firstWaiting = 0, shown: View = 'ask', rulesHash = '';
let checked: Checked | null = null, surveyed: Surveyed | null = null, built: Built | null = null;
const aside: Aside = { later: new Set(), network: new Set() };
/** When the first check was shown, and the time from the last change to each answer. */
const measured: { ready: number; first: number; toAnswer: number[] } = { ready: 0, first: 0, toAnswer: [] };
let changedAt = 0, fresh = false, firstPlace = 0;

const packed = byId('engine').textContent ?? '';
byId('engine').remove();
const engine = new Engine(packed, message => say(status, `The engine stopped and is started again: ${message}`));
const editor = new Editor(byId('editor'), changed);

const design = (): Design => ({ path, text: editor.text });

function wrongly(error: unknown): string {
  if (error instanceof Stale) return 'The text has changed meanwhile.';
  if (error instanceof Told) return error.wrong.problems.map(p => [p.message, ...p.help].join('; ')).join('\n');
  return error instanceof Error ? error.message : String(error);
}

/** What belongs to an older text is not to be read as if it were of this one. */
function busy(view: HTMLElement, is: boolean) {
  view.toggleAttribute('inert', is);
  view.setAttribute('aria-busy', String(is));
}

function changed() {
  if (!opened) return;
  version++;
  changedAt = performance.now();
  checked = null; surveyed = null; built = null;
  for (const view of [views.ask, views.answer, byId('works')]) busy(view, true);
  say(status, 'Checking…');
  unsavedSince ??= new Date();
  showSaved();
  clearTimeout(timer);
  firstWaiting ||= changedAt;
  const wait = Math.max(0, Math.min(PAUSE, firstWaiting + LONGEST - changedAt));
  timer = window.setTimeout(() => { firstWaiting = 0; keepDraft(); void judge(); }, wait);
}

async function judge() {
  const now = version, of = design();
  try {
    const answer = await engine.ask<Checked>({ ask: 'check', design: of }, 'judge');
    if (now !== version) return;
    checked = answer;
    const found = places(answer);
    editor.mark(found);
    // A long comment at the head would fill a small screen.
    if (fresh) firstPlace = found[0]?.from ?? Math.max(0, editor.text.search(/^\s*[^#\s]/m));
    fresh = false;
    say(status, summary(answer));
    say(byId('title'), answer.about.installation ?? path);
    document.title = seen(`${answer.about.installation ?? path} – Amperule`);
    measured.first ||= performance.now();
    if (changedAt) measured.toAnswer.push(performance.now() - changedAt);
    changedAt = 0;
    void learn(answer.file.ruleset?.hash ?? '', of);
    await fill();
  } catch (error) { stopped(error, now); }
}

function stopped(error: unknown, now: number) {
  if (error instanceof Stale || now !== version) return;
  say(status, error instanceof Told ? wrongly(error) : `The engine stopped at this text and is started again (${wrongly(error)}). Change the text to have it judged.`);
}

/** Fills the view that is shown with what is said of the text as it is now: no other costs anything. */
async function fill() {
  const now = version, of = design(), answer = checked;
  if (!answer) return;
  if (shown === 'ask' && !surveyed) {
    if (answer.about.sound) {
      const survey = await engine.ask<Surveyed>({ ask: 'survey', design: of }, 'judge');
      if (now !== version) return;
      surveyed = survey;
    } else byId('questions').replaceChildren(el('p', { class: 'lead' }, 'Mend the mistakes in the text first; questions rest on all of it.'));
    busy(views.ask, false);
    showQuestions();
  }
  if (shown === 'answer' && views.answer.getAttribute('aria-busy') === 'true') {
    byId('verdict').replaceChildren(...verdict(answer, answerer));
    busy(views.answer, false);
  }
  if (shown === 'answer' && !built) {
    const works_ = byId('works');
    busy(works_, true);
    if (answer.about.sound) {
      const told = await engine.ask<Built>({ ask: 'build', design: of }, 'judge');
      if (now !== version) return;
      built = told;
      works_.replaceChildren(...works(told, answerer));
    } else works_.replaceChildren(el('p', {}, 'Nothing is listed of a text with mistakes.'));
    busy(works_, false);
  }
}

/** Takes the words of another ruleset; they outlast the text that named it. */
async function learn(hash: string, of: Design) {
  if (!hash || hash === rulesHash) return;
  rulesHash = hash;
  try { editor.learn(await engine.ask<WordsOf>({ ask: 'words', design: of })); }
  catch { rulesHash = ''; }
}

/** Which question was answered last, counted on the page: the one that takes its place is next. */
let answered: number | null = null;

function showQuestions() {
  if (!surveyed) return;
  byId('questions').replaceChildren(...asking(surveyed, aside, asker, showQuestions));
  if (answered === null || shown !== 'ask') return;
  const all = byId('questions').querySelectorAll('.question');
  const next = all[Math.min(answered, all.length - 1)]?.querySelector<HTMLElement>('h5') ?? views.ask;
  answered = null;
  next.focus();
}

const explain = async (rule: string) => (await engine.ask<Explained>({ ask: 'explain', design: design(), rule })).text;

/** Takes the text that an answer makes, unless the text was changed meanwhile. */
async function write(request: Parameters<typeof engine.ask>[0]): Promise<string | null> {
  const now = version, view = views[shown];
  busy(view, true);
  try {
    const { text } = await engine.ask<Texted>(request);
    if (now !== version) return 'The text has changed meanwhile; look at the question again.';
    editor.set(text);
    if (now === version) { answered = null; busy(view, false); }
    return null;
  } catch (error) {
    answered = null;
    if (now === version) busy(view, false);
    return wrongly(error);
  }
}

const go = (from: number, to: number) => { firstPlace = 0; show('text'); editor.go(from, to); };
const asker: Asker = {
  answer: (question: string, answer: string) => {
    const at = document.activeElement?.closest('.question');
    answered = at ? [...byId('questions').querySelectorAll('.question')].indexOf(at) : null;
    return write({ ask: 'answer', design: design(), question, answer });
  },
  go, rule: explain,
};
const answerer = {
  go, rule: explain, line: (at: number) => editor.line(at), entry: (at: number) => editor.entry(at),
  read: (reading: number, answer: string) => write({ ask: 'read', design: design(), reading, answer }),
  working: async (subject: string, fact: string) => {
    const told = await engine.ask<Workings>({ ask: 'working', design: design(), subject, fact });
    return [...told.workings.map(w => w.text), told.after].join('\n');
  },
};

// --- views

/** On a wide screen the text stands beside the other two. */
const wide = matchMedia('(min-width: 80rem)');

function show(view: View) {
  shown = wide.matches && view === 'text' ? (shown === 'text' ? 'ask' : shown) : view;
  for (const name of Object.keys(views) as View[]) {
    tabs[name].setAttribute('aria-selected', String(name === shown));
    tabs[name].tabIndex = name === shown ? 0 : -1;
    views[name].hidden = name !== shown && !(wide.matches && name === 'text');
  }
  tabs.text.hidden = wide.matches;
  const now = version;
  void fill().catch((error: unknown) => stopped(error, now));
  if (views.text.hidden) return;
  editor.view.requestMeasure();
  if (firstPlace) requestAnimationFrame(() => { editor.show(firstPlace); firstPlace = 0; });
}
wide.addEventListener('change', () => { if (opened) show(shown); });
for (const name of Object.keys(tabs) as View[]) {
  tabs[name].addEventListener('click', () => { show(name); window.scrollTo(0, 0); });
  tabs[name].addEventListener('keydown', event => {
    const step = event.key === 'ArrowRight' ? 1 : event.key === 'ArrowLeft' ? -1 : 0;
    const all = (Object.keys(tabs) as View[]).filter(tab => !tabs[tab].hidden);
    const next = step ? all[(all.indexOf(name) + step + all.length) % all.length] : undefined;
    if (next) { show(next); tabs[next].focus(); }
  });
}

// --- files

function showSaved() {
  const time = unsavedSince?.toLocaleTimeString([], { hour: '2-digit', minute: '2-digit' });
  say(byId('saved'), (time ? `${path}, not saved since ${time}` : path) + (photosLost ? '; photos are not in the draft: this browser keeps none' : ''));
}

let photosLost = false;

function keepDraft() {
  if (!opened || !unsavedSince) return;
  keep(path, editor.text, photos());
  void keepPhotos(photos()).then(kept => { photosLost = !kept; showSaved(); });
}

onPhotos(() => { unsavedSince ??= new Date(); showSaved(); keepDraft(); });
byId('photos').append(gallery());

function open(name: string, text: string, unsaved: boolean, with_: Omit<Kept, 'id'>[] = []) {
  opened = false;
  fresh = true;
  clearTimeout(timer);
  crlf = text.includes('\r\n');
  path = /\.amp$/.test(name) ? name : `${name}.amp`;
  another();
  aside.later.clear(); aside.network.clear();
  editor.set(text);
  takePhotos(with_);
  opened = true;
  unsavedSince = null;
  start.hidden = true; work.hidden = false;
  changed();
  if (!unsaved) { unsavedSince = null; showSaved(); }
  show(shown);
  byId('title').focus();
}

async function saveFile() {
  const text = editor.text, with_ = [...photos()], written = crlf ? text.replaceAll('\n', '\r\n') : text;
  const went = with_.length ? save(path.replace(/\.amp$/, '.zip'), pack(path, written, with_)) : save(path, written);
  if (!await went) return;
  if (editor.text === text && String(photos().map(p => p.id)) === String(with_.map(p => p.id))) { unsavedSince = null; forget(); }
  showSaved();
}

function showStart(about: About) {
  const name = byId<HTMLInputElement>('name'), rules = byId<HTMLSelectElement>('rules'), jobs = byId('jobs');
  const begin = async (job: string | null) => {
    try {
      const title = name.value.trim() || 'New installation';
      const { text } = await engine.ask<Texted>({ ask: 'start', rules: rules.value, job, name: title });
      open(`${job ?? 'design'}.amp`, text, true);
    } catch (error) { say(status, wrongly(error)); }
  };
  const list = () => {
    const of = about.rulesets.find(r => r.id === rules.value);
    const jobButton = (job: string | null, text: string) => el('li', {}, el('button', { type: 'button', class: 'wide', onclick: () => void begin(job) }, el('strong', {}, job ?? 'Everything'), ` ${text}`));
    jobs.replaceChildren(...(of?.jobs ?? []).map(j => jobButton(j.name, j.about)), jobButton(null, 'A design that asks for all that the rules ask for.'));
  };
  rules.replaceChildren(...about.rulesets.map(r => el('option', { value: r.id }, r.title)));
  const most = about.rulesets.reduce((a, b) => (b.jobs.length > a.jobs.length ? b : a));
  rules.value = most.id;
  rules.addEventListener('change', list);
  list();
  byId('examples').replaceChildren(...EXAMPLES.map(e => el('li', {}, el('button', { type: 'button', onclick: () => open(e.name, e.text, false) }, e.name.replace(/\.amp$/, '')))));
  for (const where of document.querySelectorAll('.always')) where.textContent = about.caution;
  say(byId('version'), `Engine ${about.version}; ${about.rulesets.map(r => `${r.id} ${r.edition}`).join(', ')}`);
  showDraft();
  say(status, 'Ready.');
  measured.ready = performance.now();
}

function showDraft() {
  const held = draft(), box = byId('draft');
  box.hidden = !held;
  if (!held) return;
  const when = new Date(held.at).toLocaleString([], { dateStyle: 'medium', timeStyle: 'short' });
  box.replaceChildren(el('h2', {}, 'A draft is here'), el('p', {}, `${held.path}, of ${when}${held.photos.length ? `, with ${held.photos.length} photos` : ''}. On a page opened from a file, other local pages can read what this browser keeps.`),
    el('div', { class: 'taps' }, el('button', { type: 'button', onclick: async () => { open(held.path, held.text, true, await photosOf(held)); } }, 'Take it'),
      el('button', { type: 'button', onclick: () => { forget(); showDraft(); } }, 'Forget it')));
}

for (const id of ['open-start', 'open-work']) {
  const input = byId<HTMLInputElement>(id);
  input.addEventListener('change', async () => {
    const file = input.files?.[0];
    input.value = '';
    if (!file) return;
    try { const held = await unpack(file); open(held.name, held.text, false, held.photos); }
    catch (error) { say(status, wrongly(error)); }
  });
}
byId('save').addEventListener('click', () => void saveFile());
byId('print').addEventListener('click', async () => {
  // Paper holds the questions and the answer, whichever is shown, and all that is folded.
  const before = shown, now = version;
  try {
    for (const view of ['ask', 'answer'] as const) { shown = view; await fill(); }
  } catch (error) { stopped(error, now); }
  shown = before;
  unfold(byId('works'));
  if (now === version) window.print();
});
byId('new').addEventListener('click', () => { keepDraft(); opened = false; version++; start.hidden = false; work.hidden = true; showDraft(); say(status, 'Ready.'); });
byId('lay-out').addEventListener('click', async () => {
  try { const { text } = await engine.ask<Texted>({ ask: 'format', text: editor.text }); editor.set(text); }
  catch (error) { say(status, wrongly(error)); }
});
document.addEventListener('keydown', event => {
  if ((event.ctrlKey || event.metaKey) && event.key === 's' && opened) { event.preventDefault(); void saveFile(); }
});
addEventListener('pagehide', keepDraft);
document.addEventListener('visibilitychange', () => { if (document.visibilityState === 'hidden') keepDraft(); });
addEventListener('beforeunload', event => { if (opened && unsavedSince) { keepDraft(); event.preventDefault(); } });
const quiet = byId('quiet');
window.setInterval(() => { quiet.hidden = !(opened && changedAt && performance.now() - changedAt > 4000); }, 1000);
byId('stop').addEventListener('click', () => { engine.stop(); changedAt = 0; say(status, 'Stopped. Change the text to have it judged again.'); });

// At an address the page is kept on the device, where a browser can do that; a page from a file is there already.
if (document.querySelector('link[rel=manifest]') && navigator.serviceWorker) {
  navigator.serviceWorker.register('worker.js').then(() => navigator.serviceWorker.ready)
    .then(() => say(byId('kept'), 'The page is kept on this device and opens without a network.'), (error: unknown) => say(byId('kept'), `The page is not kept on this device: ${wrongly(error)}`));
}

engine.ask<About>({ ask: 'about' }).then(showStart, (error: unknown) => say(status, `The engine could not start: ${wrongly(error)}`));

// For measuring and for tests: what took how long, the last answer, the raw door.
Object.assign(window, { AMPERULE: { measured, engine, editor, answer: () => checked, version: () => version, settled: () => checked !== null && (shown === 'text' || views[shown].getAttribute('aria-busy') === 'false') } });
