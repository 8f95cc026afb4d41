// Elements made from data: text is only ever text.

/** Signs that are not seen, or that turn the direction of reading. */
const UNSEEN = /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff]/g;

/** A text in which such signs are spelt, since names and labels come from other people. */
export const seen = (text: string) => text.replace(UNSEEN, sign => `[U+${sign.charCodeAt(0).toString(16).toUpperCase().padStart(4, '0')}]`);

type Child = Node | string | null | undefined | false;
type Props = Record<string, string | number | boolean | ((event: Event) => void) | null | undefined>;

/** An element with attributes, listeners (`onclick`) and children. */
export function el<K extends keyof HTMLElementTagNameMap>(tag: K, props: Props = {}, ...children: Child[]): HTMLElementTagNameMap[K] {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === null || value === undefined || value === false) continue;
    if (typeof value === 'function') made.addEventListener(name.slice(2), value);
    else made.setAttribute(name, value === true ? '' : name === 'value' ? String(value) : seen(String(value)));
  }
  for (const child of children) if (child || child === '') made.append(typeof child === 'string' ? seen(child) : child);
  return made;
}

/** What must be in the page's own frame. */
export function byId<T extends HTMLElement>(id: string): T {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no #${id}`);
  return found as T;
}

/** Sets a text only where it is another, so that nothing is read out twice. */
export function say(where: HTMLElement, text: string) {
  const shown = seen(text);
  if (where.textContent !== shown) where.textContent = shown;
}

/** A mark of how something weighs: a word and a shape, in a colour of its own. */
export function mark(word: string, weight: 'stop' | 'warn' | 'note' | 'good' | 'open'): HTMLElement {
  const shapes = { stop: '■', warn: '▲', note: '●', good: '✓', open: '?' };
  return el('span', { class: `mark ${weight}` }, el('span', { 'aria-hidden': 'true' }, shapes[weight]), ` ${word}`);
}

const folds = new WeakMap<HTMLElement, () => void>();

/** Something folded, whose inside is made when it is first opened. */
export function folded(title: string, inside: () => Child[], open = false): HTMLElement {
  const box = el('details', { class: 'group' }, el('summary', {}, title));
  const fill = () => {
    if (!folds.delete(box)) return;
    box.append(...inside().filter((child): child is Node | string => !!child));
  };
  folds.set(box, fill);
  box.addEventListener('toggle', () => { if (box.open) fill(); });
  if (open) { fill(); box.open = true; }
  return box;
}

/** Opens all that is folded. */
export function unfold(within: HTMLElement) {
  for (const box of within.querySelectorAll<HTMLDetailsElement>('details.group')) { folds.get(box)?.(); box.open = true; }
}
