// The design as text.
import { ChangeSet, Compartment, EditorState, Prec } from '@codemirror/state';
import { EditorView, drawSelection, highlightSpecialChars, keymap, lineNumbers } from '@codemirror/view';
import { defaultKeymap, history, historyKeymap } from '@codemirror/commands';
import { lintGutter, lintKeymap, setDiagnostics, type Diagnostic } from '@codemirror/lint';
import { indentUnit, syntaxHighlighting } from '@codemirror/language';
import { searchKeymap } from '@codemirror/search';
import { autocompletion, completionKeymap } from '@codemirror/autocomplete';
import { Vocabulary, colours, complete, language } from './language';
import type { WordsOf } from './answers';

declare const STYLE_NONCE: string;

export interface Place { from: number; to: number; weight: 'error' | 'warning' | 'info'; message: string }

export class Editor {
  readonly view: EditorView;
  private words = new Vocabulary(null);
  private syntax = new Compartment();

  constructor(parent: HTMLElement, changed: () => void) {
    this.view = new EditorView({
      parent,
      state: EditorState.create({
        extensions: [
          lineNumbers(), lintGutter(), history(), drawSelection(), highlightSpecialChars(), EditorView.lineWrapping,
          this.syntax.of(language(() => this.words)), syntaxHighlighting(colours), indentUnit.of('  '),
          autocompletion({ override: [complete(() => this.words)], icons: false }),
          Prec.high(keymap.of(completionKeymap)),
          keymap.of([...defaultKeymap, ...historyKeymap, ...searchKeymap, ...lintKeymap]),
          EditorView.contentAttributes.of({ 'aria-label': 'Text of the design', tabindex: '0', autocapitalize: 'off', autocorrect: 'off', spellcheck: 'false' }),
          EditorView.cspNonce.of(STYLE_NONCE),
          EditorView.updateListener.of(update => { if (update.docChanged) changed(); }),
        ],
      }),
    });
  }

  get text(): string { return this.view.state.doc.toString(); }

  /** Takes another text; only what differs is changed, so that the cursor and the history stay. */
  set(text: string) {
    const now = this.text;
    let from = 0, end = 0;
    const most = Math.min(now.length, text.length);
    while (from < most && now.charCodeAt(from) === text.charCodeAt(from)) from++;
    while (end < most - from && now.charCodeAt(now.length - 1 - end) === text.charCodeAt(text.length - 1 - end)) end++;
    if (from === now.length && from === text.length) return;
    const changes = ChangeSet.of({ from, to: now.length - end, insert: text.slice(from, text.length - end) }, now.length);
    this.view.dispatch({ changes });
  }

  /** Marks places of the text as it is now. */
  mark(places: Place[]) {
    const length = this.view.state.doc.length;
    const clamp = (at: number) => Math.max(0, Math.min(at, length));
    const all: Diagnostic[] = places.map(p => ({ from: clamp(p.from), to: Math.max(clamp(p.from), clamp(p.to)), severity: p.weight, message: p.message }));
    this.view.dispatch(setDiagnostics(this.view.state, all));
  }

  /** The ruleset's words, for colours and completion. */
  learn(words: WordsOf) {
    this.words = new Vocabulary(words);
    this.view.dispatch({ effects: this.syntax.reconfigure(language(() => this.words)) });
  }

  /** Shows a place and puts the cursor there. */
  go(from: number, to: number) {
    const length = this.view.state.doc.length;
    const at = Math.min(from, length);
    this.view.dispatch({ selection: { anchor: at, head: Math.min(Math.max(to, at), length) }, effects: EditorView.scrollIntoView(at, { y: 'center' }) });
    this.view.focus();
  }

  /** Shows a place without taking the cursor there. */
  show(at: number) {
    this.view.dispatch({ effects: EditorView.scrollIntoView(Math.min(at, this.view.state.doc.length), { y: 'start', yMargin: 8 }) });
  }

  /** The entry that a place belongs to, from its key on: of several on a line the last that begins before it. */
  entry(at: number): string {
    const line = this.view.state.doc.lineAt(Math.min(at, this.view.state.doc.length));
    const keys = [...line.text.matchAll(/[\p{L}_][\p{L}\p{M}\d_-]*\s*:/gu)].filter(key => line.from + key.index <= at);
    return line.text.slice(keys.at(-1)?.index ?? 0).trimStart();
  }

  line(at: number): number { return this.view.state.doc.lineAt(Math.min(at, this.view.state.doc.length)).number; }
}
