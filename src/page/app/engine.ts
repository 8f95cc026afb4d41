// The page's side of the engine's thread: one request at work, the others wait, and of those about
// the same thing only the newest. A thread that fails or is in the way is ended and started anew.
import type { Request, Wrong } from './answers';
import type { FromWorker, ToWorker } from './worker';

declare const WORKER_SOURCE: string;

/** The request was given up for a newer one. */
export class Stale extends Error {}
/** The engine said why there is no answer. */
export class Told extends Error {
  constructor(readonly wrong: Wrong) { super(wrong.problems.map(p => p.message).join('; ')); }
}

interface Job { id: number; about: string; request: Request; since: number; resolve(answer: unknown): void; reject(error: Error): void }

/** A job at work for longer than this is ended when a newer one about the same comes. */
const PATIENCE = 700;
/** Memory that a thread may keep. */
const MOST_MEMORY = 256 * 1024 * 1024;

export class Engine {
  private worker: Worker | null = null;
  private module: WebAssembly.Module | undefined;
  private ready = false;
  private atWork: Job | null = null;
  private waiting: Job[] = [];
  private last = 0;
  /** Milliseconds of each answer, for measuring. */
  readonly times: { ask: string; ms: number; memory: number }[] = [];

  constructor(private packed: string | undefined, private broken: (message: string) => void) { this.begin(); }

  /** Asks; `about` names what a newer request replaces, and is never replaced where it is empty. */
  ask<T>(request: Request, about = ''): Promise<T> {
    return new Promise<T>((resolve, reject) => {
      const job: Job = { id: ++this.last, about, request, since: 0, resolve: answer => resolve(answer as T), reject };
      if (about) {
        this.waiting = this.waiting.filter(old => old.about !== about || (old.reject(new Stale()), false));
        const old = this.atWork;
        if (old && old.about === about && performance.now() - old.since > PATIENCE) { this.end(new Stale()); this.begin(); }
      }
      this.waiting.push(job);
      this.next();
    });
  }

  /** Gives up what is at work. */
  stop() { this.end(new Stale()); this.begin(); }

  private begin() {
    const url = URL.createObjectURL(new Blob([WORKER_SOURCE], { type: 'text/javascript' }));
    const worker = new Worker(url);
    this.worker = worker;
    worker.onerror = event => { event.preventDefault(); this.failed(event.message || 'the engine stopped'); };
    worker.onmessage = ({ data }: MessageEvent<FromWorker>) => {
      if (data.kind === 'ready') {
        URL.revokeObjectURL(url);
        this.module = data.module; this.packed = undefined; this.ready = true;
        this.next();
      } else if (data.kind === 'failed') this.failed(data.message);
      else this.told(data.id, data.answer, data.ms, data.memory);
    };
    this.post(this.module ? { kind: 'start', module: this.module } : { kind: 'start', packed: this.packed ?? '' });
  }

  private post(message: ToWorker) { this.worker?.postMessage(message); }

  private end(why: Error) {
    this.worker?.terminate();
    this.worker = null; this.ready = false;
    const job = this.atWork;
    this.atWork = null;
    job?.reject(why);
  }

  private failed(message: string) {
    const started = this.ready;
    this.end(new Error(message));
    this.broken(message);
    if (started) this.begin();
    else { for (const job of this.waiting.splice(0)) job.reject(new Error(message)); }
  }

  private told(id: number, answer: unknown, ms: number, memory: number) {
    const job = this.atWork;
    if (!job || job.id !== id) return;
    this.atWork = null;
    this.times.push({ ask: job.request.ask, ms, memory });
    const wrong = answer as Partial<Wrong>;
    if (wrong && Array.isArray(wrong.problems) && Object.keys(wrong).length === 1) job.reject(new Told(wrong as Wrong));
    else job.resolve(answer);
    if (memory > MOST_MEMORY) { this.end(new Stale()); this.begin(); }
    this.next();
  }

  private next() {
    if (!this.ready || this.atWork) return;
    const job = this.waiting.shift();
    if (!job) return;
    job.since = performance.now();
    this.atWork = job;
    this.post({ kind: 'ask', id: job.id, request: job.request });
  }
}
