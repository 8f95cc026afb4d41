// The questions of a visit, one after the other; an answer goes into the text.
import type { Question, Surveyed } from './answers';
import { el, mark, say, seen } from './dom';
import { strip } from './photos';

export interface Asker {
  /** Writes an answer to a question of the survey shown; says what is wrong with it, if anything. */
  answer(question: string, text: string): Promise<string | null>;
  /** Shows where it stands. */
  go(from: number, to: number): void;
  /** Opens a rule. */
  rule(id: string): Promise<string>;
}

/** Questions that somebody put off, by what they are known by. */
export interface Aside { later: Set<string>; network: Set<string> }

let count = 0;

/** The view of a survey. */
export function asking(survey: Surveyed, aside: Aside, asker: Asker, again: () => void): HTMLElement[] {
  const unanswered = (list: Question[]) => list.filter(q => !aside.later.has(q.id) && !aside.network.has(q.id));
  // When the first are answered or set aside, what may follow is asked as well.
  const first = unanswered(survey.questions).length > 0;
  const all = first ? survey.questions : [...survey.questions, ...survey.later];
  const open = unanswered(all);
  const must = open.filter(q => q.must).length;
  const out: HTMLElement[] = [];
  if (all.length === 0) {
    out.push(el('p', { class: 'lead' }, mark('nothing open', 'good'), ' Nothing is undecided at this stage; there is nothing to ask.'));
  } else {
    out.push(el('p', { class: 'lead' }, `${open.length} ${open.length === 1 ? 'question' : 'questions'}; requirements wait for ${must} of them.${first && survey.later.length > 0 ? ` When they are answered or set aside, ${survey.later.length} more may follow.` : ''}`));
  }
  const group = (title: string, list: Question[], before: string | null) => {
    if (list.length === 0) return;
    const section = el('section', {}, el('h3', {}, `${title} (${list.length})`), before && el('p', { class: 'caution' }, before));
    let of = '', items: HTMLElement | null = null;
    for (const question of list) {
      if (question.of !== of || !items) {
        of = question.of;
        items = el('ol', { class: 'questions', 'aria-label': of });
        section.append(el('h4', {}, of), items);
      }
      items.append(one(question, aside, asker, again));
    }
    out.push(section);
  };
  for (const title of new Set(open.map(q => q.heading))) {
    const list = open.filter(q => q.heading === title);
    group(title, list, list[0]?.before ?? null);
  }
  group('Set aside: to ask the network operator', all.filter(q => aside.network.has(q.id)), null);
  group('Set aside: not known yet', all.filter(q => aside.later.has(q.id)), null);
  if (survey['left-out'].length) {
    out.push(el('section', {}, el('h3', {}, 'Not judged by these rules'), el('ul', {}, ...survey['left-out'].map(l => el('li', {}, `${l.what}, of ${l.subject} (${l.rule}; ${l.severity})`)))));
  }
  if (survey.stuck.length) {
    out.push(el('section', {}, el('h3', {}, 'No answer settles these'), el('ul', {}, ...survey.stuck.map(s => el('li', {}, `${s.rule} for ${s.subject}`)))));
  }
  if (survey.left) out.push(el('p', {}, `${survey.left} undecided verdicts are not looked into yet: answer what is asked here first.`));
  return out;
}

function one(q: Question, aside: Aside, asker: Asker, again: () => void): HTMLElement {
  const id = `q${++count}`;
  const fault = el('p', { class: 'fault', role: 'alert', id: `${id}-fault` });
  const buttons: HTMLButtonElement[] = [];
  const give = async (text: string) => {
    // Asked before anything is disabled: what has the focus says where to go on.
    const told = asker.answer(q.id, text);
    buttons.forEach(b => { b.disabled = true; });
    const wrong = await told;
    buttons.forEach(b => { b.disabled = false; });
    say(fault, wrong ?? '');
    if (wrong) field.focus();
  };
  const button = (text: string, go: () => void, props: Record<string, string> = {}) => {
    const made = el('button', { type: 'button', onclick: go, ...props }, text);
    buttons.push(made);
    return made;
  };
  const field = el('input', { id, name: id, autocomplete: 'off', autocapitalize: 'off', spellcheck: 'false', inputmode: q.unit && q.usual.length === 0 ? 'decimal' : 'text', 'aria-describedby': `${id}-means ${id}-fault`, enterkeyhint: 'done' });
  const put = (aside_: Set<string>) => { aside.later.delete(q.id); aside.network.delete(q.id); aside_.add(q.id); again(); };
  const back = aside.later.has(q.id) || aside.network.has(q.id);
  const form = el('form', { class: 'type', onsubmit: event => { event.preventDefault(); void give(field.value); } },
    el('label', { for: id }, q.answer), el('span', { class: 'row' }, field, q.unit && el('span', { class: 'unit' }, q.unit), button('Write', () => void give(field.value), { type: 'submit' })));
  return el('li', { class: 'question', 'data-asked': q.asked },
    el('h5', { tabindex: '-1' }, q.title, q.must ? mark('required', 'open') : null),
    el('p', { id: `${id}-means` }, q.lines.length ? `${q.means}; asked for ${q.lines.join(', ')}` : q.means),
    q.also.length > 0 && el('p', { class: 'how' }, `The same for ${q.also.join(', ')}`),
    q.inside.length > 0 && el('p', { class: 'how' }, `With: ${q.inside.map(i => i.label).join(', ')}`),
    ...q.open.map(open => el('p', {}, open)),
    q.how && el('p', { class: 'how' }, `How: ${q.how}`),
    q.known && el('p', { class: 'how' }, `Known so far: ${q.known}`),
    q.passes && el('p', { class: 'how' }, `Passes with: ${q.passes}`),
    q.usual.length > 0 && el('div', { class: 'taps', role: 'group', 'aria-label': `Usual answers for ${q.asked} of ${q.of}` }, ...q.usual.map(word => button(word, () => void give(word)))),
    form, fault,
    strip(`${q.asked} of ${q.of}`,
      back ? button('Ask again', () => { aside.later.delete(q.id); aside.network.delete(q.id); again(); })
        : button('Don’t know', () => put(aside.later)),
      !back && button('To ask the network operator', () => put(aside.network)),
      button('In the text', () => asker.go(q.from ?? 0, q.to ?? 0))),
    waits(q, asker));
}

function waits(q: Question, asker: Asker): HTMLElement {
  const list = el('ul', {}, ...q.waiting.slice(0, 12).map(w => el('li', {}, opening(`${w.title} (${w.severity}, ${w.subject})`, () => asker.rule(w.rule)))));
  if (q.waiting.length > 12) list.append(el('li', {}, `and ${q.waiting.length - 12} more`));
  return el('details', {}, el('summary', {}, `What waits for it (${q.waiting.length})`), list);
}

/** Something that opens to a text which is asked for when it is opened. */
export function opening(title: string, ask: () => Promise<string>, beside = ''): HTMLElement {
  const inside = el('pre', { class: 'working', tabindex: '0', role: 'region', 'aria-label': title }, '…');
  const box = el('details', {}, el('summary', {}, el('span', {}, title, beside && el('span', { class: 'limit' }, beside))), inside);
  let asked = false;
  box.addEventListener('toggle', () => {
    if (!box.open || asked) return;
    asked = true;
    ask().then(text => { inside.textContent = seen(text); }, (error: unknown) => { asked = false; inside.textContent = error instanceof Error ? error.message : String(error); });
  });
  return box;
}
