// What the engine answers, as far as the page reads it.

export interface Label { start: number; end: number; line: number | null; file: string | null; text: string; from?: number; to?: number }
export interface Problem { code: string; weight: string; message: string; labels: Label[]; help: string[] }
export interface Missing { of: string; fact: string; means: string; passes: string | null }
export interface Finding {
  rule: string; title: string; outcome: string; severity: string; stage: string; clause: string; source: string;
  confidence: string; subject: string; message: string; labels: Label[]; missing: Missing[]; help: string[]; assumed: string[];
}
export interface Figure { fact: string; subject: string; low: number | null; high: number | null; unit: string; limit: number | null; margin: number | null }
export interface Checked {
  file: {
    problems: Problem[]; findings: Finding[]; figures: Figure[]; assumed: string[]; stage: string;
    counts: Record<string, Record<string, number>>;
    ruleset: { id: string; edition: string; hash: string; notes: string[] } | null;
  };
  about: { standing: string; installation: string | null; rules: string | null; sound: boolean; caution: string };
}
export interface Question {
  id: string; of: string; also: string[]; asked: string; label: string; title: string; means: string; lines: string[]; inside: { label: string }[]; how: string | null;
  open: string[]; known: string | null; passes: string | null; answer: string; usual: string[]; unit: string | null; must: boolean;
  'settled-by': string; heading: string; before: string | null; start: number; end: number; from?: number; to?: number;
  waiting: { rule: string; title: string; subject: string; severity: string }[];
}
export interface Surveyed {
  questions: Question[]; later: Question[]; undecided: Record<string, number>; caution: string; left: number;
  'left-out': { rule: string; what: string; subject: string; severity: string }[];
  stuck: { rule: string; subject: string }[];
}
export interface About { version: string; caution: string; rulesets: { id: string; title: string; edition: string; jobs: { name: string; about: string }[] }[] }
export interface Accepted { low: unknown; high: unknown; words: string | null }
export interface Reading {
  of: string; kind: string; reading: string; means: string; unit: string | null; words: string[]; needed: boolean; read: string | null;
  told: { required: string; expected: string; usual: string };
}
export interface Built {
  columns: string[]; rows: string[][]; warning: string | null; after: string;
  sheet: {
    before: string[]; after: string; caution: string;
    things: { kind: string; name: string; label: string | null; changed: boolean; facts: { fact: string; value: string }[] }[];
    terminals: { at: string; what: string; torque: string | null; done: string | null }[];
    readings: Reading[];
  };
  verified: { findings: Finding[] };
}
export interface Explained { text: string }
export interface Workings { workings: { fact: string; subject: string; text: string }[]; after: string }
export interface Texted { text: string }
export interface WordsOf {
  ruleset: string; edition: string; hash: string;
  kinds: {
    kind: string; means: string; block: boolean; within: { kind: string }[]; 'opened-by': { word: string }[];
    facts: { fact: string; means: string; comes: string; form: string; unit: string | null; words: string[] | null; type: string; 'leads-to': { kind: string } | null; series: { value: number; name: string | null }[] | null }[];
  }[];
}
export interface Wrong { problems: Problem[] }
export interface Design { path: string; text: string }

export type Request =
  | { ask: 'about' }
  | { ask: 'start'; rules: string; job: string | null; name: string }
  | { ask: 'check' | 'survey' | 'build' | 'words'; design: Design }
  | { ask: 'answer'; design: Design; question: string; answer: string }
  | { ask: 'read'; design: Design; reading: number; answer: string }
  | { ask: 'working'; design: Design; subject: string; fact: string }
  | { ask: 'explain'; design: Design; rule: string }
  | { ask: 'format'; text: string };
