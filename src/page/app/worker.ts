// The engine's thread: unpacks the engine once, then answers one request after the other.
import type { Request } from './answers';
import { utf16 } from './utf16';

interface Exports { memory: WebAssembly.Memory; room(bytes: number): number; ask(): number; answer(): number; free(): void }
export type ToWorker = { kind: 'start'; packed?: string; module?: WebAssembly.Module } | { kind: 'ask'; id: number; request: Request };
export type FromWorker =
  | { kind: 'ready'; module: WebAssembly.Module }
  | { kind: 'told'; id: number; answer: unknown; ms: number; memory: number }
  | { kind: 'failed'; id: number | null; message: string };

let engine: Exports | null = null;
const post = (message: FromWorker) => self.postMessage(message);

function bytesOf(base64: string): Uint8Array<ArrayBuffer> {
  const text = atob(base64), bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
  return bytes;
}

async function start(packed: string | undefined, given: WebAssembly.Module | undefined) {
  let module = given;
  if (!module) {
    const bytes = bytesOf(packed ?? '');
    // A Blob's stream cannot be read in one engine when the page is a file.
    const source = new ReadableStream<Uint8Array<ArrayBuffer>>({ start(to) { to.enqueue(bytes); to.close(); } });
    const unpacked = source.pipeThrough(new DecompressionStream('gzip'));
    module = await WebAssembly.compileStreaming(new Response(unpacked, { headers: { 'content-type': 'application/wasm' } }));
  }
  engine = (await WebAssembly.instantiate(module, {})).exports as unknown as Exports;
  post({ kind: 'ready', module });
}

/** Gives every place that is counted in bytes the same in the string: `start` and `end`, `from` and `to`. */
function place(answer: unknown, text: string) {
  const places: { start: number; end: number; from: number; to: number }[] = [];
  const walk = (value: unknown) => {
    if (Array.isArray(value)) value.forEach(walk);
    else if (value && typeof value === 'object') {
      const held = value as Record<string, unknown>;
      if (typeof held['start'] === 'number' && typeof held['end'] === 'number') places.push(value as never);
      Object.values(held).forEach(walk);
    }
  };
  walk(answer);
  const map = utf16(text, places.flatMap(p => [p.start, p.end]));
  for (const p of places) { p.from = map.get(p.start) ?? 0; p.to = map.get(p.end) ?? 0; }
}

function ask(request: Request): unknown {
  if (!engine) throw new Error('the engine has not started');
  const asked = new TextEncoder().encode(JSON.stringify(request));
  const room = engine.room(asked.length);
  new Uint8Array(engine.memory.buffer, room, asked.length).set(asked);
  const bytes = engine.ask();
  const told = new TextDecoder().decode(new Uint8Array(engine.memory.buffer, engine.answer(), bytes));
  engine.free();
  const answer: unknown = JSON.parse(told);
  if ('design' in request) place(answer, request.design.text);
  return answer;
}

self.onmessage = async ({ data }: MessageEvent<ToWorker>) => {
  const id = data.kind === 'ask' ? data.id : null;
  try {
    if (data.kind === 'start') { await start(data.packed, data.module); return; }
    const from = performance.now();
    const answer = ask(data.request);
    post({ kind: 'told', id: data.id, answer, ms: performance.now() - from, memory: engine?.memory.buffer.byteLength ?? 0 });
  } catch (error) {
    // What is thrown here reaches neither the page nor its console by itself.
    post({ kind: 'failed', id, message: error instanceof Error ? error.message : String(error) });
  }
};
