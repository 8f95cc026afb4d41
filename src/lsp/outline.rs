//! The build of a text: symbols, folds, growing selections, colours.

use gen_lsp_types::{
    BaseSymbolInformation, DocumentSymbol, DocumentSymbolParams, DocumentSymbolResponse,
    FoldingRange, FoldingRangeKind, FoldingRangeParams, Location, SelectionRange,
    SelectionRangeParams, SemanticToken, SemanticTokens, SemanticTokensParams, SymbolKind,
    WorkspaceSymbol, WorkspaceSymbolLocation, WorkspaceSymbolParams, WorkspaceSymbolResponse,
};

use super::document::path_of;
use super::position::Lines;
use super::state::{State, View};
use crate::design::parse::{Parsed, parse};
use crate::design::tree::{Block, Entry, Item, Tree, Value, ValueKind, Word};
use crate::source::{FileId, Span};

/// What a stretch of a text is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Is {
    /// A word of the language, or one that opens a block.
    Keyword,
    /// A name.
    Name,
    /// The key of a fact.
    Key,
    /// The word that opens a part.
    Part,
    /// A word of a value.
    Word,
    Number,
    Text,
    Comment,
    /// A whole block, fact or value: nothing that has a colour.
    Whole,
}

/// The colours, in the order of [`Is`], by the names of the protocol.
pub(super) const COLOURS: [&str; 8] = [
    "keyword",
    "variable",
    "property",
    "type",
    "enumMember",
    "number",
    "string",
    "comment",
];

/// Calls something for every stretch of a tree, whole things before what is in them.
fn walk(tree: &Tree, f: &mut dyn FnMut(Span, Is)) {
    for item in &tree.items {
        match item {
            Item::Block(b) => block(b, f),
            Item::Define(d) => {
                f(d.span, Is::Whole);
                f(begins(d.span, "define"), Is::Keyword);
                f(d.name.span, Is::Name);
                f(d.head.span, Is::Part);
                entries(&d.entries, f);
            }
            Item::Use(u) => {
                f(u.span, Is::Whole);
                f(begins(u.span, "use"), Is::Keyword);
                f(u.path.span, Is::Text);
            }
            Item::Parameter(p) => {
                f(p.span, Is::Whole);
                f(begins(p.span, "parameter"), Is::Keyword);
                f(p.name.span, Is::Name);
                value(&p.value, f);
            }
            Item::No(no) => {
                f(no.span, Is::Whole);
                f(begins(no.span, "no"), Is::Keyword);
                f(no.kind.span, Is::Keyword);
            }
        }
    }
}

/// The word that an item begins with.
fn begins(span: Span, word: &str) -> Span {
    Span::new(span.file, span.from(), span.from() + word.len())
}

fn block(b: &Block, f: &mut dyn FnMut(Span, Is)) {
    f(b.span, Is::Whole);
    f(b.kind.span, Is::Keyword);
    if let Some(from) = &b.from {
        f(from.span, Is::Name);
    }
    if let Some(name) = &b.name {
        f(name.word.span, Is::Name);
    }
    if let Some(label) = &b.label {
        f(label.span, Is::Text);
    }
    for v in &b.row {
        value(v, f);
    }
    entries(&b.entries, f);
}

fn entries(all: &[Entry], f: &mut dyn FnMut(Span, Is)) {
    for entry in all {
        match entry {
            Entry::Fact(fact) => {
                f(fact.span, Is::Whole);
                f(fact.key.span, Is::Key);
                value(&fact.value, f);
            }
            Entry::Block(b) => block(b, f),
            Entry::No(no) => {
                f(begins(no.span, "no"), Is::Keyword);
                f(no.kind.span, Is::Keyword);
            }
        }
    }
}

fn value(v: &Value, f: &mut dyn FnMut(Span, Is)) {
    f(v.span, Is::Whole);
    match &v.kind {
        ValueKind::Word(word) => f(begins(v.span, word), Is::Word),
        ValueKind::Text(_) => f(v.span, Is::Text),
        ValueKind::Number(n) => f(n.span, Is::Number),
        ValueKind::Date { .. } => f(v.span, Is::Number),
        ValueKind::Tolerance { terms, .. } => terms.iter().for_each(|n| f(n.span, Is::Number)),
        ValueKind::Part {
            head,
            entries: inner,
        } => {
            f(head.span, Is::Part);
            entries(inner, f);
        }
        ValueKind::Row { entries: inner, .. } => entries(inner, f),
        ValueKind::PerLine(lines) => lines.iter().for_each(|(line, _)| f(line.span, Is::Word)),
        ValueKind::All(word) => f(word.span, Is::Keyword),
        ValueKind::Indexed { word, .. } => f(word.span, Is::Name),
        _ => {}
    }
    v.inner().for_each(|v| value(v, f));
    if let Some(origin) = &v.origin {
        f(origin.span, Is::Keyword);
    }
}

/// A text without its design: what of it can be told from its tree alone.
struct Text<'a> {
    text: &'a str,
    lines: &'a Lines,
    parsed: &'a Parsed,
}

impl<'a> Text<'a> {
    fn of(view: &'a View) -> Self {
        Self {
            text: view.text(),
            lines: &view.lines,
            parsed: &view.parsed,
        }
    }

    fn symbols(&self) -> Vec<DocumentSymbol> {
        let items = self.parsed.tree.items.iter();
        let all = items.filter_map(|item| match item {
            Item::Block(b) => Some(self.block(b)),
            Item::Define(d) => {
                let detail = format!("define as {}", d.head.text);
                let inner = self.inner(&d.entries);
                Some(self.symbol(&d.name, detail, SymbolKind::Class, d.span, inner))
            }
            Item::Parameter(p) => {
                let detail = "parameter".to_owned();
                Some(self.symbol(&p.name, detail, SymbolKind::Variable, p.span, Vec::new()))
            }
            Item::Use(_) | Item::No(_) => None,
        });
        all.collect()
    }

    fn block(&self, b: &Block) -> DocumentSymbol {
        let name = b.name.as_ref().map(|n| &n.word);
        let word = b.from.as_ref().or(name).unwrap_or(&b.kind);
        let mut detail = b.kind.text.clone();
        if let Some(label) = &b.label {
            detail = format!("{detail} \"{}\"", label.value);
        }
        let inner = self.inner(&b.entries);
        self.symbol(word, detail, SymbolKind::Object, b.span, inner)
    }

    fn inner(&self, entries: &[Entry]) -> Vec<DocumentSymbol> {
        let mut all = Vec::new();
        for entry in entries {
            match entry {
                Entry::Block(b) => all.push(self.block(b)),
                Entry::Fact(fact) => self.parts(&fact.key, &fact.value, &mut all),
                Entry::No(_) => {}
            }
        }
        all
    }

    fn parts(&self, key: &Word, value: &Value, all: &mut Vec<DocumentSymbol>) {
        match &value.kind {
            ValueKind::Part { head, entries } => {
                let (detail, inner) = (head.text.clone(), self.inner(entries));
                let mut symbol = self.symbol(head, detail, SymbolKind::Struct, value.span, inner);
                symbol.name.clone_from(&key.text);
                all.push(symbol);
            }
            ValueKind::List(values) | ValueKind::OneOf(values) => {
                values.iter().for_each(|v| self.parts(key, v, all));
            }
            _ => {}
        }
    }

    #[expect(deprecated, reason = "a field that the protocol has still")]
    fn symbol(
        &self,
        word: &Word,
        detail: String,
        kind: SymbolKind,
        span: Span,
        inner: Vec<DocumentSymbol>,
    ) -> DocumentSymbol {
        // What is selected must lie in what is shown.
        let whole = span.to(word.span);
        let name = self.text.get(word.span.from()..word.span.until());
        DocumentSymbol {
            name: name.unwrap_or(&word.text).to_owned(),
            detail: Some(detail),
            kind,
            tags: None,
            deprecated: None,
            range: self.lines.of(self.text, whole),
            selection_range: self.lines.of(self.text, word.span),
            children: Some(inner).filter(|i| !i.is_empty()),
        }
    }
}

/// The blocks and parts of a text.
pub(super) fn symbols(
    state: &mut State,
    params: DocumentSymbolParams,
) -> Option<DocumentSymbolResponse> {
    let view = state.view(&path_of(&params.text_document.uri))?;
    let all = Text::of(&view).symbols();
    Some(DocumentSymbolResponse::DocumentSymbolList(all))
}

/// Designs of the folders that are looked through for a name.
const MOST_DESIGNS: usize = 500;

/// Blocks, defines and parameters of all designs whose names hold a text.
pub(super) fn all_symbols(
    state: &mut State,
    params: WorkspaceSymbolParams,
) -> Option<WorkspaceSymbolResponse> {
    let wanted = params.query.to_lowercase();
    let open = state.open.keys().filter(|p| !State::is_rules(p));
    let mut paths: Vec<_> = open.cloned().collect();
    let (designs, _) = state.project.designs(&state.folders);
    paths.extend(designs.into_iter().take(MOST_DESIGNS));
    paths.sort();
    paths.dedup();
    let mut all = Vec::new();
    for path in paths {
        let (Ok(text), Some(uri)) = (state.project.text(&path), state.uri(&path)) else {
            continue;
        };
        let parsed = parse(FileId(0), &text);
        let lines = Lines::new(&text, state.client.encoding);
        let symbols = Text {
            text: &text,
            lines: &lines,
            parsed: &parsed,
        }
        .symbols();
        let mut stack: Vec<(Option<String>, DocumentSymbol)> =
            symbols.into_iter().rev().map(|s| (None, s)).collect();
        while let Some((container, symbol)) = stack.pop() {
            let inner = symbol.children.unwrap_or_default().into_iter().rev();
            stack.extend(inner.map(|s| (Some(symbol.name.clone()), s)));
            if symbol.name.to_lowercase().contains(&wanted) {
                all.push(WorkspaceSymbol {
                    location: WorkspaceSymbolLocation::Location(Location {
                        uri: uri.clone(),
                        range: symbol.selection_range,
                    }),
                    data: None,
                    base_symbol_information: BaseSymbolInformation {
                        name: symbol.name,
                        kind: symbol.kind,
                        tags: None,
                        container_name: container,
                    },
                });
            }
        }
    }
    Some(WorkspaceSymbolResponse::WorkspaceSymbolList(all))
}

/// Blocks, parts and comments of several lines.
pub(super) fn folds(state: &mut State, params: FoldingRangeParams) -> Option<Vec<FoldingRange>> {
    let view = state.view(&path_of(&params.text_document.uri))?;
    let mut all: Vec<(usize, usize, Option<FoldingRangeKind>)> = Vec::new();
    let line = |byte| view.lines.line_of(byte);
    walk(&view.parsed.tree, &mut |span, is| {
        let (first, last) = (line(span.from()), line(span.until()));
        let until = view.text().get(..span.until());
        let braced = until.is_some_and(|t| t.ends_with('}'));
        if is == Is::Whole && braced && last > first {
            all.push((first, last, None));
        }
    });
    let mut run: Option<(usize, usize)> = None;
    let comments = view.parsed.comments.iter().map(|c| line(c.span.from()));
    for at in comments.chain([usize::MAX]) {
        match run {
            Some((first, last)) if at == last + 1 => run = Some((first, at)),
            before => {
                if let Some((first, last)) = before.filter(|(first, last)| last > first) {
                    all.push((first, last, Some(FoldingRangeKind::Comment)));
                }
                run = Some((at, at));
            }
        }
    }
    all.sort_by_key(|(first, last, _)| (*first, std::cmp::Reverse(*last)));
    // Of what begins on one line the largest.
    all.dedup_by_key(|(first, ..)| *first);
    let number = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let folds = all.into_iter().map(|(first, last, kind)| FoldingRange {
        start_line: number(first),
        // The bracket that closes stays in sight.
        end_line: number(if kind.is_none() { last - 1 } else { last }),
        kind,
        ..FoldingRange::default()
    });
    Some(folds.filter(|f| f.end_line > f.start_line).collect())
}

/// Selections that grow from a word to the whole text.
pub(super) fn selections(
    state: &mut State,
    params: SelectionRangeParams,
) -> Option<Vec<SelectionRange>> {
    let view = state.view(&path_of(&params.text_document.uri))?;
    let one = |position| {
        let at = view.lines.byte(view.text(), position);
        let mut around = vec![(0, view.text().len())];
        walk(&view.parsed.tree, &mut |span, _| {
            if span.from() <= at && at <= span.until() {
                around.push((span.from(), span.until()));
            }
        });
        let token = crate::design::cursor::token(view.text(), at);
        around.push((token.start, token.end));
        around.sort_by_key(|(from, until)| std::cmp::Reverse(until - from));
        around.dedup();
        let mut whole: Option<SelectionRange> = None;
        for (from, until) in around {
            whole = Some(SelectionRange {
                range: view.lines.range(view.text(), from, until),
                parent: whole.map(Box::new),
            });
        }
        whole.unwrap_or_default()
    };
    Some(params.positions.into_iter().map(one).collect())
}

/// The colours of a text.
pub(super) fn colours(state: &mut State, params: SemanticTokensParams) -> Option<SemanticTokens> {
    let view = state.view(&path_of(&params.text_document.uri))?;
    let mut all: Vec<(usize, usize, Is)> = Vec::new();
    let mut add = |span: Span, is: Is| {
        let text = view.text().get(span.from()..span.until()).unwrap_or("");
        if is != Is::Whole && !text.is_empty() && !text.contains(['\n', '\r']) {
            all.push((span.from(), span.until(), is));
        }
    };
    walk(&view.parsed.tree, &mut add);
    for c in &view.parsed.comments {
        add(c.span, Is::Comment);
    }
    all.sort_by_key(|(from, until, _)| (*from, *until));
    let mut data = Vec::new();
    let (mut line, mut column, mut done) = (0, 0, 0);
    for (from, until, is) in all {
        if from < done {
            continue;
        }
        done = until;
        let range = view.lines.range(view.text(), from, until);
        let delta_line = range.start.line - line;
        data.push(SemanticToken {
            delta_line,
            delta_start: range.start.character - if delta_line == 0 { column } else { 0 },
            length: range.end.character - range.start.character,
            token_type: is as u32,
            token_modifiers_bitset: 0,
        });
        (line, column) = (range.start.line, range.start.character);
    }
    Some(SemanticTokens {
        result_id: None,
        data,
    })
}
