// What the engine answers: what is broken, open and sound, figures, what to buy, build and read.
import type { Built, Checked, Figure, Finding, Problem, Reading } from './answers';
import { opening } from './ask';
import { el, folded, mark, say } from './dom';
import type { Place } from './editor';
import { strip } from './photos';

export interface Answerer {
  go(from: number, to: number): void;
  line(at: number): number;
  /** The entry that a place belongs to, from its key on. */
  entry(at: number): string;
  rule(id: string): Promise<string>;
  working(subject: string, fact: string): Promise<string>;
  read(reading: number, text: string): Promise<string | null>;
}

type Weight = 'stop' | 'warn' | 'note' | 'good' | 'open';

function weigh(f: Finding): [string, Weight] {
  if (f.outcome === 'failed') return f.severity === 'breach' ? ['breach', 'stop'] : f.severity === 'caution' ? ['caution', 'warn'] : ['advice', 'note'];
  return [f.outcome, 'open'];
}

/** What a check comes to, in one line. */
export function summary(checked: Checked): string {
  const { problems, counts } = checked.file;
  const mistakes = problems.filter(p => p.weight === 'error').length;
  const n = (outcome: string, severity: string) => counts[outcome]?.[severity] ?? 0;
  const all = (outcome: string) => Object.values(counts[outcome] ?? {}).reduce((a, b) => a + b, 0);
  const many = (count: number, one: string, more: string) => `${count} ${count === 1 ? one : more}`;
  const told = [many(n('failed', 'breach'), 'breach', 'breaches'), many(n('failed', 'caution'), 'caution', 'cautions'), `${all('undecided')} undecided`, `${all('met')} met`];
  if (mistakes) told.unshift(`${many(mistakes, 'mistake', 'mistakes')} in the text`);
  return told.join(', ');
}

/** The places of a check's findings in the text. */
export function places(checked: Checked): Place[] {
  const out: Place[] = [];
  const help = (h: string[]) => (h[0] ? `\n${h[0]}` : '');
  for (const p of checked.file.problems) {
    const l = p.labels[0];
    if (l?.from !== undefined) out.push({ from: l.from, to: l.to ?? l.from, weight: p.weight === 'error' ? 'error' : 'warning', message: p.message + help(p.help) });
  }
  for (const f of checked.file.findings) {
    const l = f.labels[0];
    if (l?.from === undefined || f.outcome !== 'failed') continue;
    const weight = f.severity === 'breach' ? 'error' : f.severity === 'caution' ? 'warning' : 'info';
    out.push({ from: l.from, to: l.to ?? l.from, weight, message: `${f.severity}: ${f.message}${help(f.help)}` });
  }
  return out;
}

function place(labels: { from?: number; to?: number }[], to: Answerer): HTMLElement | null {
  const at = labels[0];
  if (at?.from === undefined) return null;
  const from = at.from;
  return el('button', { type: 'button', class: 'place', onclick: () => to.go(from, at.to ?? from) }, `Line ${to.line(from)}`);
}

function problem(p: Problem, to: Answerer): HTMLElement {
  return el('li', { class: 'finding' }, p.weight === 'error' ? mark('mistake', 'stop') : mark('caution', 'warn'),
    el('p', { class: 'what' }, p.message), ...p.help.map(h => el('p', { class: 'help' }, h)), place(p.labels, to));
}

/** Where a rule is from and how sure that is, once where both are the same. */
function sourced(f: Finding): string {
  const from = f.clause || f.source, sure = f.confidence.replaceAll('-', ' ');
  return from === sure ? from : `${from} (${sure})`;
}

function finding(f: Finding, to: Answerer): HTMLElement {
  const [word, weight] = weigh(f);
  return el('li', { class: 'finding' }, mark(word, weight), el('span', { class: 'of' }, f.subject),
    el('p', { class: 'what' }, f.message), ...f.help.map(h => el('p', { class: 'help' }, h)),
    f.outcome === 'undecided' && f.missing.length > 0 && el('p', { class: 'help' }, `Missing: ${f.missing.map(m => `${m.fact} of ${m.of}`).join(', ')}`),
    el('p', { class: 'source' }, sourced(f)), place(f.labels, to), opening(`Rule ${f.rule}`, () => to.rule(f.rule)));
}

/** The rules and what they came to. */
export function verdict(checked: Checked, to: Answerer): HTMLElement[] {
  const { file, about } = checked, out: HTMLElement[] = [];
  const group = <T>(title: string, all: T[], one: (item: T, to: Answerer) => HTMLElement, open = true) => {
    if (all.length === 0) return;
    const list = () => el('ul', { class: 'findings' }, ...all.map(item => one(item, to)));
    const named = `${title} (${all.length})`;
    out.push(open ? el('section', {}, el('h3', {}, named), list()) : folded(named, () => [list()]));
  };
  const failed = (severity: string) => file.findings.filter(f => f.outcome === 'failed' && f.severity === severity);
  const breaches = failed('breach'), undecided = file.findings.filter(f => f.outcome === 'undecided');
  const open = undecided.filter(f => f.severity === 'breach');
  if (about.sound && breaches.length === 0 && open.length === 0 && file.ruleset) {
    out.push(el('p', { class: 'lead' }, mark('no breach', 'good'), ' No requirement that is judged here is broken or open.'));
  }
  group('Mistakes in the text', file.problems, problem);
  group('Broken', breaches, finding);
  group('Cautions', failed('caution'), finding);
  group('Open requirements', open, finding, breaches.length === 0 && open.length < 12);
  group('Advice', failed('advice'), finding, false);
  group('Other open rules', undecided.filter(f => f.severity !== 'breach'), finding, false);
  const rest = file.findings.filter(f => f.outcome !== 'failed' && f.outcome !== 'undecided');
  group('Departed from, judged elsewhere or not judged', rest, finding, false);
  if (file.figures.length) out.push(el('section', {}, el('h3', {}, 'Figures'), figures(file.figures, to)));
  if (file.assumed.length) out.push(el('details', { class: 'group' }, el('summary', {}, `Assumed (${file.assumed.length})`), el('ul', {}, ...file.assumed.map(a => el('li', {}, a)))));
  if (file.ruleset) {
    out.push(el('p', { class: 'source' }, `${about.rules ?? ''} [${file.ruleset.id} ${file.ruleset.edition}, ${file.ruleset.hash}], stage ${file.stage}`), ...file.ruleset.notes.map(n => el('p', { class: 'source' }, n)));
  }
  return out;
}

const number = (x: number | null) => (x === null ? '∞' : String(Number(x.toPrecision(4))));
function ranged(f: Figure): string {
  if (f.high === null) return f.low ? `at least ${number(f.low)} ${f.unit}` : 'too little is known';
  return `${f.low === f.high ? number(f.high) : `${number(f.low)} to ${number(f.high)}`} ${f.unit}`;
}

function figures(all: Figure[], to: Answerer): HTMLElement {
  return el('ul', { class: 'figures' }, ...all.map(f => {
    const title = `${f.fact} of ${f.subject}: ${ranged(f)}`;
    const limit = f.limit === null ? '' : `limit ${number(f.limit)} ${f.unit}`;
    const margin = f.margin === null ? '' : `, margin ${Math.round(f.margin * 100)} %`;
    return el('li', {}, opening(title, () => to.working(f.subject, f.fact), limit + margin));
  }));
}

/** What is to be bought, built and read. */
export function works(built: Built, to: Answerer): HTMLElement[] {
  const { sheet } = built, out: HTMLElement[] = [];
  if (built.warning) out.push(el('p', { class: 'caution' }, mark('not yet', 'stop'), ` ${built.warning}`));
  const [columns, rows] = [built.columns, built.rows];
  out.push(el('section', {}, el('h3', {}, 'To buy'), rows.length === 0 ? el('p', {}, 'Nothing new.') : el('ul', { class: 'articles' }, ...rows.map(row => el('li', {},
    el('dl', {}, ...row.flatMap((cell, i) => (cell ? [el('dt', {}, columns[i] ?? ''), el('dd', {}, cell)] : []))))))), el('p', { class: 'source' }, built.after));
  const build = el('section', {}, el('h3', {}, 'To build and test'), ...sheet.before.map(b => el('p', { class: 'caution' }, b)));
  for (const t of sheet.things) {
    const title = `${t.kind} ${t.name}${t.label ? ` “${t.label}”` : ''}${t.changed ? ', changed' : ''}`;
    build.append(folded(title, () => [el('dl', {}, ...t.facts.flatMap(f => [el('dt', {}, f.fact), el('dd', {}, f.value)]))]));
  }
  if (sheet.terminals.length) {
    const told = sheet.terminals.map(t => `${t.at}, ${t.what}: ${t.torque ?? 'as its maker says'}${t.done ? `; done ${t.done}` : ''}`);
    build.append(folded(`Terminals (${told.length})`, () => [el('ul', {}, ...told.map(t => el('li', {}, t)))]));
  }
  out.push(build);
  if (sheet.readings.length) {
    const read = el('section', {}, el('h3', {}, 'Readings'));
    const few = sheet.readings.length <= FEW;
    for (const of of new Set(sheet.readings.map(r => r.of))) {
      const mine = sheet.readings.map((r, i) => ({ r, i })).filter(({ r }) => r.of === of);
      const taken = mine.filter(({ r }) => r.read).length;
      const broken = taken ? built.verified.findings.filter(f => f.subject === of || f.subject.endsWith(` of ${of}`)) : [];
      read.append(folded(`${of}: ${taken} of ${mine.length} read`, () => [
        broken.length > 0 && el('ul', { class: 'findings', 'aria-label': `What the readings of ${of} break` }, ...broken.map(f => finding(f, to))),
        ...mine.map(({ r, i }) => reading(r, i, broken, to)),
      ], few || taken > 0));
    }
    out.push(read);
  }
  out.push(el('p', { class: 'source' }, sheet.after));
  return out;
}

/** Readings that are shown without being unfolded. */
const FEW = 30;
let count = 0;

/** A reading to take; `broken` is what the readings of its thing break together. */
function reading(r: Reading, index: number, broken: Finding[], to: Answerer): HTMLElement {
  const id = `r${++count}`, fault = el('p', { class: 'fault', role: 'alert' });
  const give = async (text: string) => { say(fault, (await to.read(index, text)) ?? ''); };
  const field = el('input', { id, name: id, autocomplete: 'off', autocapitalize: 'off', spellcheck: 'false', value: r.read ?? '', inputmode: r.words.length ? 'text' : 'decimal', enterkeyhint: 'done' });
  const mine = broken.some(f => f.labels.some(l => l.from !== undefined && to.entry(l.from).startsWith(`${r.reading}:`)));
  return el('form', { class: 'reading', onsubmit: event => { event.preventDefault(); void give(field.value); } },
    el('label', { for: id }, r.reading, r.needed ? mark('required', 'open') : null), el('p', { class: 'how' }, r.means),
    r.told.required && el('p', { class: 'how' }, `Must be: ${r.told.required}`),
    r.told.expected && el('p', { class: 'how' }, `Expected: ${r.told.expected}`),
    r.told.usual && el('p', { class: 'how' }, `Look again unless: ${r.told.usual}`),
    r.words.length > 0 && el('div', { class: 'taps', role: 'group', 'aria-label': `${r.reading} of ${r.of}` }, ...r.words.map(w => el('button', { type: 'button', onclick: () => void give(w) }, w))),
    el('span', { class: 'row' }, field, r.unit && el('span', { class: 'unit' }, r.unit), el('button', { type: 'submit' }, 'Write')),
    r.read && el('p', { class: 'judged' }, mine ? mark('broken', 'stop') : broken.length ? mark('see above', 'open') : mark('read', 'good'), ` ${r.read}`), fault, strip(`${r.reading} of ${r.of}`));
}
