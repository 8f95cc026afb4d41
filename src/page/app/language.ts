// The language in the editor: colours and completion, with the words of the ruleset that the engine gives.
import { HighlightStyle, StreamLanguage, type StringStream } from '@codemirror/language';
import type { Completion, CompletionContext, CompletionResult } from '@codemirror/autocomplete';
import { tags } from '@lezer/highlight';
import type { WordsOf } from './answers';

interface KindWords { facts: Map<string, WordsOf['kinds'][number]['facts'][number]>; means: string; block: boolean; within: string[]; heads: string[] }

/** The words of one ruleset, by where they may stand. */
export class Vocabulary {
  readonly kinds = new Map<string, KindWords>();
  readonly heads = new Map<string, string>();
  readonly facts = new Set<string>();
  readonly values = new Set<string>(['yes', 'no', 'none', 'all']);

  constructor(words: WordsOf | null) {
    for (const kind of words?.kinds ?? []) {
      const heads = kind['opened-by'].map(h => h.word);
      this.kinds.set(kind.kind, { facts: new Map(kind.facts.map(f => [f.fact, f])), means: kind.means, block: kind.block, within: kind.within.map(w => w.kind), heads });
      for (const head of heads) { this.heads.set(head, kind.kind); this.values.add(head); }
      for (const fact of kind.facts) {
        this.facts.add(fact.fact);
        for (const word of fact.words ?? []) this.values.add(word);
      }
    }
  }

  /** The kind that a word before a bracket opens. */
  kindOf(word: string): string | undefined { return this.kinds.has(word) ? word : this.heads.get(word); }
}

const WORD = /^[\p{L}_][\p{L}\p{M}\d_]*(?:-[\p{L}\p{M}\d_]+)*/u;

/** Colours of the text; `words` is asked anew for each line, since a ruleset comes after the text. */
export function language(words: () => Vocabulary) {
  return StreamLanguage.define({
    name: 'amperule',
    token(stream: StringStream) {
      if (stream.eatSpace()) return null;
      if (stream.match(/^#.*/)) return 'comment';
      if (stream.match(/^"(?:[^"\\]|\\.)*"?/)) return 'string';
      if (stream.match(/^\?/)) return 'heading';
      if (stream.match(/^\d{4}-\d{2}-\d{2}/)) return 'number';
      if (stream.match(/^[+-]?\d+(?:[./]\d+)?(?:\s*(?:[µmkMGΩ°%]|ohm|[AVW]|Hz|h|d|min|s|ft|in|AWG)[\p{L}²³·/%]*(?![\w-]))?/u)) return 'number';
      if (stream.match(/^\((?:measured|calculated|by-enquiry|declared|assumed)\)/)) return 'meta';
      const word = stream.match(WORD) as RegExpMatchArray | null;
      if (!word) { stream.next(); return null; }
      const known = words(), text = word[0];
      if (stream.match(/^\s*:/, false)) return known.facts.has(text) || known.facts.size === 0 ? 'propertyName' : null;
      if (['use', 'define', 'parameter', 'departure', 'from', 'as'].includes(text) || known.kinds.get(text)?.block) return 'keyword';
      return known.values.has(text) ? 'atom' : null;
    },
    languageData: { commentTokens: { line: '#' }, wordChars: '-' },
  });
}

/** The colours stand in the page's style, for light and dark. */
export const colours = HighlightStyle.define([
  { tag: tags.comment, class: 'tok-comment' }, { tag: tags.string, class: 'tok-string' }, { tag: tags.propertyName, class: 'tok-key' },
  { tag: tags.number, class: 'tok-number' }, { tag: tags.keyword, class: 'tok-kind' }, { tag: tags.atom, class: 'tok-word' },
  { tag: tags.heading, class: 'tok-open' }, { tag: tags.meta, class: 'tok-origin' },
]);

/** The words that open the brackets around a place, the outermost first. */
function around(text: string): string[] {
  const open: string[] = [];
  let line = '';
  for (const row of text.split('\n')) {
    const code = row.replace(/"(?:[^"\\]|\\.)*"?/g, '""').replace(/#.*/, '');
    line = '';
    for (const sign of code) {
      if (sign === '{') { open.push(line.trim()); line = ''; }
      else if (sign === '}') { open.pop(); line = ''; }
      else line += sign;
    }
  }
  return open;
}

/** What may stand at the cursor: facts and blocks at the beginning of an entry, else values of the fact. */
export function complete(words: () => Vocabulary) {
  return (context: CompletionContext): CompletionResult | null => {
    const known = words();
    const typed = context.matchBefore(/[\p{L}\p{M}\d_-]*/u);
    if (!typed || (typed.from === typed.to && !context.explicit)) return null;
    const before = context.state.sliceDoc(0, typed.from);
    const line = before.slice(before.lastIndexOf('\n') + 1);
    if (/#/.test(line.replace(/"[^"]*"?/g, ''))) return null;
    const open = around(before).map(head => {
      const inside = head.includes(':') ? head.slice(head.lastIndexOf(':') + 1) : head;
      return inside.trim().split(/[\s,|]+/).map(w => known.kindOf(w)).find(k => k !== undefined);
    });
    const kind = open.at(-1), held = kind ? known.kinds.get(kind) : undefined;
    const entry = line.slice(line.lastIndexOf('{') + 1);
    const key = /([\p{L}\p{M}\d_-]+)\s*:[^:]*$/u.exec(entry)?.[1];
    const options: Completion[] = [];
    const fact = key ? held?.facts.get(key) : undefined;
    if (key) {
      for (const word of fact?.words ?? []) options.push({ label: word, type: 'constant' });
      if (fact?.type === 'yes-no') options.push({ label: 'yes', type: 'constant' }, { label: 'no', type: 'constant' });
      const part = fact?.['leads-to']?.kind;
      if (part) for (const head of known.kinds.get(part)?.heads ?? []) options.push({ label: head, type: 'class' });
      for (const size of fact?.series ?? []) if (size.name) options.push({ label: size.name, type: 'constant' });
    } else if (!entry.trim()) {
      for (const [name, f] of held?.facts ?? []) if (f.comes === 'written') options.push({ label: name, apply: `${name}: `, type: 'property', detail: f.form, info: f.means });
      for (const [name, k] of known.kinds) {
        if (k.block && (!kind ? true : k.within.includes(kind))) options.push({ label: name, type: 'keyword', info: k.means });
      }
    }
    return options.length ? { from: typed.from, options, validFor: /^[\p{L}\p{M}\d_-]*$/u } : null;
  };
}
