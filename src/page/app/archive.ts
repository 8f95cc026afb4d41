// One file of a design and its photos: a ZIP archive, which any file manager opens.
import { strFromU8, strToU8, unzipSync, zipSync, type Zippable } from 'fflate';
import type { Kept } from './draft';

/** Signs that some file system takes in no name. */
const ODD = /[\u0000-\u001f\u007f"%*/:<>?\\|]/g;
const PHOTO = /(?:^|\/)photos\/([^/]+?)(?: \d+)?\.(?:jpe?g|png|webp)$/i;
/** What one file may unpack to, and how many photos. */
const MOST_TEXT = 4e6, MOST_PHOTO = 30e6, MOST_PHOTOS = 500;

export interface Opened { name: string; text: string; photos: Omit<Kept, 'id'>[] }

/** An archive of a design and its photos, which are packed already. */
export function pack(path: string, text: string, photos: readonly Kept[]): Uint8Array<ArrayBuffer> {
  const files: Zippable = { [path.replace(ODD, '_')]: strToU8(text) };
  for (const photo of photos) {
    const of = photo.of.replace(ODD, sign => encodeURIComponent(sign).replace('*', '%2A'));
    let n = 1;
    while (`photos/${of} ${n}.jpg` in files) n++;
    files[`photos/${of} ${n}.jpg`] = photo.bytes;
  }
  return zipSync(files, { level: 0 });
}

function named(of: string): string {
  try { return decodeURIComponent(of); } catch { return of; }
}

/** What a file holds: a design, or an archive of one with photos. Says in an error what is wrong with it. */
export async function unpack(file: File): Promise<Opened> {
  const bytes = new Uint8Array(await file.arrayBuffer());
  if (strFromU8(bytes.subarray(0, 4), true) !== 'PK\u0003\u0004') return { name: file.name, text: await file.text(), photos: [] };
  const refused: string[] = [];
  let count = 0, held: Record<string, Uint8Array>;
  try {
    held = unzipSync(bytes, { filter: ({ name, originalSize }) => {
      const photo = PHOTO.test(name);
      if (name.startsWith('__MACOSX/') || (!photo && !/\.amp$/i.test(name))) return false;
      if (originalSize <= (photo ? MOST_PHOTO : MOST_TEXT) && (!photo || ++count <= MOST_PHOTOS)) return true;
      refused.push(name);
      return false;
    } });
  } catch { throw new Error(`${file.name} cannot be unpacked: it is damaged, or packed in a way that this page does not know`); }
  if (refused.length) throw new Error(`${file.name} is not opened: it holds more, or larger files, than this page takes: ${refused[0]}`);
  const designs = Object.keys(held).filter(name => !PHOTO.test(name));
  const [name] = designs, text = name && held[name];
  if (!text || designs.length > 1) throw new Error(`${file.name} holds ${designs.length === 0 ? 'no design' : `${designs.length} designs`}; one file that ends in .amp is expected`);
  const photos = Object.entries(held).flatMap(([entry, photo]) => {
    const of = PHOTO.exec(entry)?.[1];
    return of ? [{ of: named(of), bytes: photo as Uint8Array<ArrayBuffer> }] : [];
  });
  return { name: name.slice(name.lastIndexOf('/') + 1), text: strFromU8(text), photos };
}
