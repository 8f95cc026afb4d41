// Saving to a file.

interface Writable { write(data: Data): Promise<void>; close(): Promise<void> }
interface Handle { name: string; createWritable(): Promise<Writable> }
interface Picker { showSaveFilePicker?: (options: object) => Promise<Handle> }

/** A text, or an archive. */
type Data = string | Uint8Array<ArrayBuffer>;

let handle: Handle | null = null;

/** The next saving asks where again. */
export function another() { handle = null; }

/** Saves: to the file chosen before, by the browser's own dialogue, by sharing, or as a download. False, if the user thought better of it. */
export async function save(name: string, data: Data): Promise<boolean> {
  const packed = typeof data !== 'string', end = packed ? '.zip' : '.amp';
  if (!handle?.name.endsWith(end)) handle = null;
  const pick = (window as Picker).showSaveFilePicker;
  try {
    if (pick) {
      handle ??= await pick.call(window, { suggestedName: name, types: [packed ? { description: 'Design and photos', accept: { 'application/zip': [end] } } : { description: 'Design', accept: { 'text/plain': [end] } }] });
      const to = await handle.createWritable();
      await to.write(data);
      await to.close();
      return true;
    }
    const file = new File([data], name, { type: packed ? 'application/zip' : 'text/plain' });
    if (matchMedia('(pointer: coarse)').matches && navigator.canShare?.({ files: [file] })) {
      await navigator.share({ files: [file] });
      return true;
    }
  } catch (error) {
    if (error instanceof DOMException && error.name === 'AbortError') return false;
  }
  // Without a type a browser asks to save instead of showing the text.
  const url = URL.createObjectURL(new Blob([data]));
  const link = document.createElement('a');
  link.href = url; link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
  return true;
}
