// The draft: a net for a browser that is closed. The file is the truth.

const DRAFT = 'amperule-draft';

/** A photo as it is kept; `of` says what it is of: "Ze of supply". */
export interface Kept { id: string; of: string; bytes: Uint8Array<ArrayBuffer> }
export interface Draft { path: string; text: string; at: string; photos: string[] }

/** The draft that this browser holds, if it holds one. */
export function draft(): Draft | null {
  try {
    const held = JSON.parse(localStorage.getItem(DRAFT) ?? 'null') as Draft | null;
    const whole = held && typeof held.path === 'string' && typeof held.text === 'string' && !Number.isNaN(Date.parse(held.at));
    return whole ? { ...held, photos: Array.isArray(held.photos) ? held.photos : [] } : null;
  } catch { return null; }
}

/** Keeps a text, at once; whether that went. */
export function keep(path: string, text: string, photos: readonly Kept[]): boolean {
  try {
    localStorage.setItem(DRAFT, JSON.stringify({ path, text, at: new Date().toISOString(), photos: photos.map(p => p.id) } satisfies Draft));
    return true;
  } catch { return false; }
}

/** Forgets the draft. */
export function forget() {
  try { localStorage.removeItem(DRAFT); } catch { /* a browser that keeps nothing has nothing to forget */ }
  void keepPhotos([]);
}

const settled = <T>(asked: IDBRequest<T>) => new Promise<T>((done, failed) => {
  asked.onsuccess = () => done(asked.result);
  asked.onerror = () => failed(asked.error ?? new Error('the browser keeps nothing'));
});

async function store(mode: IDBTransactionMode): Promise<IDBObjectStore> {
  const asked = indexedDB.open('amperule', 1);
  asked.onupgradeneeded = () => asked.result.createObjectStore('photos', { keyPath: 'id' });
  const all = (await settled(asked)).transaction('photos', mode);
  all.oncomplete = all.onabort = () => asked.result.close();
  return all.objectStore('photos');
}

/** Which photos are kept, once that is known. */
let stored: string | null = null;

/** Keeps these photos and no others; whether that went. */
export async function keepPhotos(photos: readonly Kept[]): Promise<boolean> {
  const now = photos.map(p => p.id).join();
  if (now === stored) return true;
  try {
    const held = await store('readwrite');
    const wanted = new Set(photos.map(p => p.id)), there = new Set(await settled(held.getAllKeys()));
    await Promise.all([
      ...[...there].filter(id => !wanted.has(String(id))).map(id => settled(held.delete(id))),
      ...photos.filter(p => !there.has(p.id)).map(({ id, of, bytes }) => settled(held.put({ id, of, bytes }))),
    ]);
    stored = now;
    return true;
  } catch { return false; }
}

/** The photos of a draft, as many as are still kept. */
export async function photosOf(held: Draft): Promise<Kept[]> {
  if (held.photos.length === 0) return [];
  try {
    const all = (await settled((await store('readonly')).getAll())) as Kept[];
    return held.photos.flatMap(id => all.find(p => p.id === id) ?? []);
  } catch { return []; }
}
