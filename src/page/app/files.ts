// Files and the draft. The file is the truth; the draft is a net for a browser that is closed.

const DRAFT = 'amperule-draft';

export interface Draft { path: string; text: string; at: string }

/** The draft that this browser holds, if it holds one. */
export function draft(): Draft | null {
  try {
    const held: unknown = JSON.parse(localStorage.getItem(DRAFT) ?? 'null');
    const d = held as Draft | null;
    return d && typeof d.path === 'string' && typeof d.text === 'string' && !Number.isNaN(Date.parse(d.at)) ? d : null;
  } catch { return null; }
}

/** Keeps a draft; whether that went. */
export function keep(path: string, text: string): boolean {
  try { localStorage.setItem(DRAFT, JSON.stringify({ path, text, at: new Date().toISOString() } satisfies Draft)); return true; }
  catch { return false; }
}

/** Forgets the draft. */
export function forget() {
  try { localStorage.removeItem(DRAFT); } catch { /* a browser that keeps nothing has nothing to forget */ }
}

interface Writable { write(data: string): Promise<void>; close(): Promise<void> }
interface Handle { name: string; createWritable(): Promise<Writable> }
interface Picker { showSaveFilePicker?: (options: object) => Promise<Handle> }

let handle: Handle | null = null;

/** The next saving asks where again. */
export function another() { handle = null; }

/** Saves a text: to the file chosen before, by the browser's own dialogue, by sharing, or as a download. False, if the user thought better of it. */
export async function save(path: string, text: string): Promise<boolean> {
  const pick = (window as Picker).showSaveFilePicker;
  try {
    if (pick) {
      handle ??= await pick.call(window, { suggestedName: path, types: [{ description: 'Design', accept: { 'text/plain': ['.amp'] } }] });
      const to = await handle.createWritable();
      await to.write(text);
      await to.close();
      return true;
    }
    const file = new File([text], path, { type: 'text/plain' });
    if (matchMedia('(pointer: coarse)').matches && navigator.canShare?.({ files: [file] })) {
      await navigator.share({ files: [file] });
      return true;
    }
  } catch (error) {
    if (error instanceof DOMException && error.name === 'AbortError') return false;
  }
  // Without a type a browser asks to save instead of showing the text.
  const url = URL.createObjectURL(new Blob([text]));
  const link = document.createElement('a');
  link.href = url; link.download = path;
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
  return true;
}
