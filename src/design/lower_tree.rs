//! Builds the syntax tree from what the grammar matched. Where the grammar matched a mistake, the
//! mistake is reported here and as much as is certain is kept.

use pest::iterators::{Pair, Pairs};

use super::grammar::Rule;
use super::lower::{Before, Built, Lower};
use super::syntax_errors as mistakes;
use super::tree::{
    Block, BlockName, Define, Entry, FactEntry, Item, No, Parameter, Repeat, Use, Value, ValueKind,
    Word,
};
use crate::source::{Problem, Span, Spanned};

impl<'a> Lower<'a> {
    /// All items of a `file` match.
    pub(super) fn file(&mut self, pairs: Pairs<'a, Rule>, items: &mut Vec<Item>) {
        let Some(file) = pairs.into_iter().next() else {
            return;
        };
        for pair in file.into_inner() {
            let told = matches!(
                pair.as_rule(),
                Rule::bare_fact | Rule::equals_fact | Rule::split_fact
            );
            if pair.as_rule() == Rule::stray_close {
                let span = self.span(&pair);
                Problem::wrong("stray-brace", span, "a `}` closes nothing")
                    .help("leave it out, or write the block's head and `{` before it")
                    .report(self);
                continue;
            }
            match self.entry(pair, &mut [], None) {
                Some(Built::Item(item)) => items.push(item),
                Some(Built::Entry(Entry::Block(block))) => items.push(Item::Block(block)),
                Some(Built::Entry(Entry::No(no))) => items.push(Item::No(no)),
                // One mistake was told already: that it also stands outside is told when it is mended.
                Some(Built::Entry(Entry::Fact(_))) if told => {}
                Some(Built::Entry(Entry::Fact(fact))) => mistakes::outside(&fact.key).report(self),
                None => {}
            }
        }
    }

    /// The value of a `value_only` match; none if there is none.
    pub(super) fn value_only(&mut self, pairs: Pairs<'a, Rule>) -> Option<Value> {
        let inner = pairs.into_iter().next()?.into_inner();
        let mut tokens = Vec::new();
        let mut rest = None;
        for pair in inner {
            match pair.as_rule() {
                Rule::rest => rest = Some(pair),
                Rule::EOI | Rule::comment => {}
                _ => tokens.push(pair),
            }
        }
        let mut value = if tokens.is_empty() {
            None
        } else {
            Some(self.value(tokens))
        };
        if let Some(rest) = rest {
            let span = self.span(&rest).first(rest.as_str().trim_end().len());
            mistakes::after_value(self, span, value.as_ref(), None).report(self);
            let span = value.as_ref().map_or(span, |v| v.span.to(span));
            value = Some(Value::plain(ValueKind::Bad, span));
        }
        value
    }

    /// The entries between the braces of a `body` match.
    pub(super) fn body(&mut self, body: Pair<'a, Rule>) -> Vec<Entry> {
        let mut entries = Vec::new();
        let mut before: Option<Before> = None;
        for pair in body.into_inner() {
            let end = self.span(&pair).until();
            let is_bad = pair.as_rule() == Rule::bad;
            match self.entry(pair, &mut entries, before.as_ref()) {
                Some(Built::Entry(entry)) => {
                    before = matches!(entry, Entry::Fact(_)).then_some(Before {
                        index: entries.len(),
                        end,
                    });
                    entries.push(entry);
                }
                Some(Built::Item(item)) => {
                    let (what, span) = match &item {
                        Item::Define(d) => ("define", d.span),
                        Item::Use(u) => ("use", u.span),
                        Item::Parameter(p) => ("parameter", p.span),
                        Item::Block(b) => ("block", b.span),
                        Item::No(n) => ("no", n.span),
                    };
                    let why = format!("`{what}` stands inside a block");
                    Problem::wrong("misplaced-item", span.first(what.len()), why)
                        .help("move it out of all blocks, to the outermost level of the file")
                        .report(self);
                    before = None;
                }
                None => {
                    if is_bad && let Some(b) = &mut before {
                        b.end = end;
                    }
                }
            }
        }
        entries.shrink_to_fit();
        entries
    }

    fn entry(
        &mut self,
        pair: Pair<'a, Rule>,
        entries: &mut [Entry],
        before: Option<&Before>,
    ) -> Option<Built> {
        let span = self.span(&pair);
        Some(match pair.as_rule() {
            Rule::fact | Rule::equals_fact => Built::Entry(Entry::Fact(self.fact(pair, span)?)),
            Rule::block | Rule::short_block | Rule::departure => self.block(pair, span, false)?,
            Rule::no_kind => {
                let kind = self.word(&pair.into_inner().next()?);
                Built::Entry(Entry::No(No { kind, span }))
            }
            Rule::define => self.define(pair, span)?,
            Rule::use_file => {
                let path = self.text_of(&pair.into_inner().next()?);
                Built::Item(Item::Use(Use { path, span }))
            }
            Rule::parameter => {
                let fact = self.fact(pair, span)?;
                let (name, value) = (fact.key, fact.value);
                Built::Item(Item::Parameter(Parameter { name, value, span }))
            }
            Rule::late_block => self.block(pair, span, true)?,
            Rule::split_fact => self.split_fact(pair, span, entries, before)?,
            Rule::bare_fact => {
                let behind = before.is_some_and(|b| self.on_one_line(b.end, span.from()));
                self.bare_fact(pair, span, behind)?
            }
            Rule::odd_block => {
                let mut inner = pair.into_inner();
                if let Some(head) = inner.next() {
                    mistakes::odd_head(self, &head).report(self);
                }
                for body in inner.filter(|p| p.as_rule() == Rule::body) {
                    // Its entries are read for their own mistakes; what they belong to is unknown.
                    self.body(body);
                }
                return None;
            }
            Rule::stray_body => {
                Problem::wrong(
                    "brace-without-head",
                    span.first(1),
                    "a `{` has no head before it",
                )
                .help("write the kind of the block before it, as in `circuit ev {`")
                .report(self);
                for body in pair.into_inner() {
                    self.body(body);
                }
                return None;
            }
            Rule::bad => {
                self.junk(span, entries, before);
                return None;
            }
            Rule::late_more => {
                self.late_more(pair, entries, before);
                return None;
            }
            _ => return None,
        })
    }

    pub(super) fn fact(&mut self, pair: Pair<'a, Rule>, span: Span) -> Option<FactEntry> {
        let end = pair.as_span().end();
        let mut inner = pair.into_inner().peekable();
        let key = self.word(&inner.next()?);
        if let Some(sign) = inner.next_if(|t| t.as_rule() == Rule::equals) {
            let why = format!("`{}` is given its value with `{}`", key.text, sign.as_str());
            Problem::error("equals-sign", why)
                .at(self.span(&sign), "expected `:`")
                .help(format!("write `{}:`", key.text))
                .report(self);
        }
        let tokens: Vec<_> = inner.collect();
        let value = if tokens.is_empty() {
            self.missing_value(&key, end)
        } else {
            self.value(tokens)
        };
        let span = span.to(value.span);
        Some(FactEntry::new(key, value, span))
    }

    fn bare_fact(&mut self, pair: Pair<'a, Rule>, span: Span, behind: bool) -> Option<Built> {
        let mut inner = pair.into_inner();
        let key = self.word(&inner.next()?);
        let problem = mistakes::missing_colon(self, &key, span, behind);
        let repaired = problem.code == "missing-colon";
        problem.report(self);
        let mut value = self.value(inner.collect());
        if !repaired {
            value.kind = ValueKind::Bad;
        }
        if matches!(key.text.as_str(), "use" | "define" | "parameter" | "no") {
            return None;
        }
        let fact = FactEntry::new(key, value, span);
        let no_colon = true;
        Some(Built::Entry(Entry::Fact(FactEntry { no_colon, ..fact })))
    }

    fn define(&mut self, pair: Pair<'a, Rule>, span: Span) -> Option<Built> {
        let mut inner = pair.into_inner();
        let (name, head, body) = (inner.next()?, inner.next()?, inner.next()?);
        let (name, head) = (self.word(&name), self.word(&head));
        let entries = self.body(body);
        Some(Built::Item(Item::Define(Define {
            name,
            head,
            entries,
            span,
        })))
    }

    fn block(&mut self, pair: Pair<'a, Rule>, span: Span, late: bool) -> Option<Built> {
        let departs = pair.as_rule() == Rule::departure;
        let word = "departure";
        let mut kind = departs.then(|| Word::new(word.to_owned(), span.first(word.len())));
        let (mut name, mut label, mut from) = (None, None, None);
        let (mut row, mut entries, mut product) = (Vec::new(), Vec::new(), None);
        for part in pair.into_inner() {
            match part.as_rule() {
                Rule::word if kind.is_none() => kind = Some(self.word(&part)),
                Rule::word => from = Some(self.word(&part)),
                Rule::name => name = self.name(part),
                Rule::text | Rule::odd_text => label = Some(self.text_of(&part)),
                Rule::row_value => row.push(self.value(part.into_inner().collect())),
                Rule::product => product = self.product(part),
                Rule::body => {
                    if late && let Some(kind) = &kind {
                        let open = part.as_span().start();
                        let why = format!("the `{{` of `{}` stands on a later line", kind.text);
                        Problem::wrong("brace-on-next-line", self.within(open, open + 1), why)
                            .at(kind.span, "its head ends with this line")
                            .help(format!("write `{{` on the line of `{}`", kind.text))
                            .report(self);
                    }
                    entries = self.body(part);
                }
                _ => {}
            }
        }
        let kind = kind?;
        if !departs && let Some(problem) = mistakes::keyword_block(&kind, name.as_ref()) {
            problem.report(self);
            return None;
        }
        entries.splice(0..0, product);
        Some(Built::Entry(Entry::Block(Block {
            kind,
            name,
            label,
            row,
            entries,
            span,
            from,
        })))
    }

    /// `as NAME` behind a head.
    pub(super) fn product(&mut self, pair: Pair<'a, Rule>) -> Option<Entry> {
        let span = self.span(&pair);
        let mut inner = pair.into_inner();
        let mut name = self.word(&inner.next()?);
        if let Some(more) = inner.next() {
            let first = name.text.clone();
            // A letter that is written in two ways may be read as one of another length.
            let rest = self.slice(self.span(&more)).trim();
            name.span = name.span.to(self.span(&more));
            let text = self.slice(name.span);
            name.text = text.split_whitespace().collect::<Vec<_>>().join("-");
            Problem::wrong(
                "name-in-words",
                name.span,
                format!("`{text}` is more than one word"),
            )
            .help(format!("write `as {}`", name.text))
            .help(format!(
                "what is no part of the name stands before it: `{rest} as {first}`"
            ))
            .report(self);
        }
        let key = Word::new("as".to_owned(), span);
        let value = Value::plain(ValueKind::Word(name.text), name.span);
        Some(Entry::Fact(FactEntry::new(key, value, span)))
    }

    fn name(&mut self, pair: Pair<'a, Rule>) -> Option<BlockName> {
        let mut inner = pair.into_inner();
        let word = self.word(&inner.next()?);
        let repeat = inner.next().and_then(|r| self.repeat(&r));
        Some(BlockName { word, repeat })
    }

    /// The numbers of `[1..6]`; a wrong one is reported and leaves a single block.
    pub(super) fn repeat(&mut self, pair: &Pair<'a, Rule>) -> Option<Repeat> {
        let span = self.span(pair);
        let mut ends = pair
            .clone()
            .into_inner()
            .map(|n| n.as_str().parse::<u32>().ok());
        let (first, last) = (ends.next().flatten(), ends.next().flatten());
        let many = |first: u32, last: u32| u64::from(last - first) + 1;
        match (first, last) {
            (Some(first), Some(last)) if first > last => {
                let why = format!("`{}` counts downwards", pair.as_str());
                Problem::wrong("reversed-repeat", span, why)
                    .help(format!("write `[{last}..{first}]`"))
                    .fail(self)
            }
            (Some(first), Some(last)) if many(first, last) <= u64::from(Repeat::MOST) => {
                Some(Repeat { first, last, span })
            }
            _ => {
                let why = format!(
                    "`{}` stands for more than {} blocks",
                    pair.as_str(),
                    Repeat::MOST
                );
                Problem::wrong("repeat-too-long", span, why)
                    .help(format!("write at most `[1..{}]`", Repeat::MOST))
                    .fail(self)
            }
        }
    }

    /// A quoted text without quotes and escapes; other quotes than `"` are reported.
    pub(super) fn text_of(&mut self, pair: &Pair<'a, Rule>) -> Spanned<String> {
        let span = self.span(pair);
        let raw = pair.as_str();
        if pair.as_rule() == Rule::odd_text {
            let mut inside = raw.chars();
            let first = inside.next();
            inside.next_back();
            let inside = inside.as_str();
            let what = if first == Some('\'') {
                "single quotes"
            } else {
                "typographic quotes"
            };
            Problem::wrong("wrong-quotes", span, format!("a text stands in {what}"))
                .help(format!("write `\"{}\"`", inside.replace('"', "\\\"")))
                .report(self);
            return Spanned::new(inside.to_owned(), span);
        }
        let inside = raw
            .strip_prefix('"')
            .and_then(|t| t.strip_suffix('"'))
            .unwrap_or(raw);
        if !inside.contains('\\') {
            return Spanned::new(inside.to_owned(), span);
        }
        let mut out = String::with_capacity(inside.len());
        let mut chars = inside.char_indices();
        while let Some((i, c)) = chars.next() {
            if c != '\\' {
                out.push(c);
                continue;
            }
            match chars.next() {
                Some((_, c @ ('"' | '\\'))) => out.push(c),
                other => {
                    let width = 1 + other.map_or(0, |(_, c)| c.len_utf8());
                    let at = span.from() + 1 + i;
                    let why = format!(
                        "`\\{}` means nothing in a text",
                        other.map_or(String::new(), |(_, c)| c.to_string())
                    );
                    Problem::wrong("unknown-escape", Span::new(self.file, at, at + width), why)
                        .help("write `\\\\` for a backslash and `\\\"` for a quote")
                        .report(self);
                }
            }
        }
        Spanned::new(out, span)
    }
}
