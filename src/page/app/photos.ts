// Photos of what is asked and read: taken or chosen, made small, shown, removed.
import { el, say } from './dom';
import type { Kept } from './draft';

/** The longest side of a photo that is kept: what stands on a label can be read. */
const LONGEST = 1600;
/** What a photo is of that belongs to no question. */
const ALL = 'the installation';

interface Photo extends Kept { url: string }
let all: Photo[] = [], changed = () => {};
const shown = new WeakMap<HTMLElement, () => void>();

/** The photos of the design that is open. */
export const photos = (): readonly Kept[] => all;

/** Says what is to happen when photos come or go. */
export function onPhotos(tell: () => void) { changed = tell; }

/** Takes the photos of another design. */
export function takePhotos(next: Omit<Kept, 'id'>[]) {
  for (const photo of all) URL.revokeObjectURL(photo.url);
  all = next.map(made);
  refresh();
}

/** Only ever an image: whatever the bytes are, nothing of them runs. */
const made = (photo: Omit<Kept, 'id'> & { id?: string }): Photo => ({ ...photo, id: photo.id ?? Math.random().toString(36).slice(2), url: URL.createObjectURL(new Blob([photo.bytes], { type: 'image/jpeg' })) });

function refresh() {
  for (const box of document.querySelectorAll<HTMLElement>('.photos')) shown.get(box)?.();
}

/** A picture as it is kept: upright, small, and without what a camera writes beside it, such as the place. */
async function small(file: File): Promise<Uint8Array<ArrayBuffer>> {
  const image = await createImageBitmap(file);
  const scale = Math.min(1, LONGEST / Math.max(image.width, image.height));
  const canvas = el('canvas', { width: Math.max(1, Math.round(image.width * scale)), height: Math.max(1, Math.round(image.height * scale)) });
  canvas.getContext('2d')?.drawImage(image, 0, 0, canvas.width, canvas.height);
  image.close();
  const blob = await new Promise<Blob | null>(done => canvas.toBlob(done, 'image/jpeg', 0.8));
  if (!blob) throw new Error('no picture came of it');
  return new Uint8Array(await blob.arrayBuffer());
}

function adder(of: string, word: string, more: Record<string, string>, fault: HTMLElement): HTMLElement {
  const input = el('input', { type: 'file', accept: 'image/*', 'aria-label': `${word}: ${of}`, ...more, onchange: async () => {
    const files = [...input.files ?? []], wrong: string[] = [];
    input.value = '';
    for (const file of files) {
      try { all.push(made({ of, bytes: await small(file) })); } catch { wrong.push(file.name); }
    }
    if (files.length > wrong.length) { refresh(); changed(); }
    say(fault, wrong.length ? `This browser cannot read as a picture: ${wrong.join(', ')}` : '');
  } });
  return el('label', { class: 'button' }, word, input);
}

function figure(photo: Photo, captioned: boolean): HTMLElement {
  const image = el('img', { src: photo.url, alt: `Photo of ${photo.of}`, loading: 'lazy', decoding: 'async' });
  const thumb = el('button', { type: 'button', class: 'thumb', 'aria-expanded': 'false', onclick: () => thumb.setAttribute('aria-expanded', String(box.classList.toggle('large'))) }, image);
  const remove = () => {
    if (!confirm(`Remove this photo of ${photo.of}?`)) return;
    const next = box.nextElementSibling ?? box.previousElementSibling, at = box.closest<HTMLElement>('.photos');
    const index = next && at ? [...at.querySelectorAll('figure')].indexOf(box) : -1;
    all = all.filter(p => p !== photo);
    URL.revokeObjectURL(photo.url);
    refresh(); changed();
    (at?.querySelectorAll('figure')[index]?.querySelector<HTMLElement>('.thumb') ?? at?.querySelector('input'))?.focus();
  };
  const box = el('figure', {}, thumb, captioned && el('figcaption', {}, photo.of), el('button', { type: 'button', class: 'remove', 'aria-label': `Remove photo of ${photo.of}`, onclick: remove }, 'Remove'));
  return box;
}

/** The photos of one thing, and how to add some, beside other buttons. */
export function strip(of: string, ...beside: (HTMLElement | false)[]): HTMLElement {
  return show(photo => photo.of === of, of, false, beside);
}

/** All photos of the design. */
export function gallery(): HTMLElement {
  return show(() => true, ALL, true, []);
}

function show(mine: (photo: Photo) => boolean, of: string, captioned: boolean, beside: (HTMLElement | false)[]): HTMLElement {
  const box = el('div', { class: 'photos' });
  const fault = el('p', { class: 'fault', role: 'alert' }), list = el('div', { class: 'strip' });
  const fill = () => list.replaceChildren(...all.filter(mine).map(photo => figure(photo, captioned)));
  box.append(list, el('div', { class: 'taps quiet' }, ...beside, adder(of, 'Take a photo', { capture: 'environment', class: 'camera' }, fault), adder(of, 'Add photos', { multiple: '' }, fault)), fault);
  shown.set(box, fill);
  fill();
  return box;
}
