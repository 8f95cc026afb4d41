//! What is said shortly, said with keys: values that stand in a head get their facts, marks are
//! taken apart, other words of the trade become those of the ruleset. All later steps see the
//! long form alone, at the places where the short one is written.

mod row;

use rustc_hash::FxHashSet;

use super::completeness::facts_called;
use super::parts::opens;
use super::resolver::listed;
use super::units::takes_bare_numbers;
use crate::design::model::Status;
use crate::design::tree::{
    Block, BlockName, Entry, FactEntry, Item, Number, Origin, Tree, Value, ValueKind, Word,
    blocks_in,
};
use crate::source::{Problem, Span};
use crate::vocabulary::{Fact, FactType, KindId, Meaning, NameRole, Short, Vocabulary};

/// A change of the text that says the same.
#[derive(Clone, Debug)]
pub(in crate::design) enum Rewrite {
    /// A word of the trade, and the ruleset's own.
    Word(Span, String),
    /// Values without keys.
    Row {
        /// Where they stand, in order.
        items: Vec<Span>,
        /// Where the head ends.
        end: usize,
        /// The word that opens the part, where none is written.
        opened_by: Option<String>,
        /// The facts, and what is written for each: a text, or the text at a place.
        facts: Vec<(String, Result<Span, String>)>,
    },
}

/// The trees of a design with all keys written, what is wrong with what was said shortly, and
/// how the text would be changed.
pub(in crate::design) struct Keyed {
    pub trees: Vec<Tree>,
    pub problems: Vec<Problem>,
    pub rewrites: Vec<Rewrite>,
}

/// Writes the keys of all trees of a design.
pub(in crate::design) fn keyed(trees: &[&Tree], vocabulary: &Vocabulary) -> Keyed {
    let mut out: Vec<Tree> = trees.iter().map(|t| (*t).clone()).collect();
    let mut long = Long {
        v: vocabulary,
        names: vocabulary.products.iter().map(|p| p.name.clone()).collect(),
        parameters: FxHashSet::default(),
        problems: Vec::new(),
        rewrites: Vec::new(),
    };
    for item in out.iter().flat_map(|t| &t.items) {
        long.note_names(item);
    }
    for item in out.iter_mut().flat_map(|t| &mut t.items) {
        match item {
            Item::Block(block) => long.block(block),
            Item::Define(define) => {
                long.opening(&mut define.head);
                if let Some((kind, _)) = opens(vocabulary, &define.head.text) {
                    long.entries(kind, &mut define.entries);
                }
            }
            Item::Use(_) | Item::Parameter(_) | Item::No(_) => {}
        }
    }
    Keyed {
        trees: out,
        problems: long.problems,
        rewrites: long.rewrites,
    }
}

struct Long<'v> {
    v: &'v Vocabulary,
    /// Names of blocks, defines and generic products.
    names: FxHashSet<String>,
    parameters: FxHashSet<String>,
    problems: Vec<Problem>,
    rewrites: Vec<Rewrite>,
}

impl<'v> Long<'v> {
    fn note_names(&mut self, item: &Item) {
        fn blocks(block: &Block, names: &mut FxHashSet<String>) {
            names.extend(block.name.as_ref().map(|n| n.word.text.clone()));
            for inner in blocks_in(&block.entries) {
                blocks(inner, names);
            }
        }
        match item {
            Item::Block(block) => blocks(block, &mut self.names),
            Item::Define(define) => {
                self.names.insert(define.name.text.clone());
            }
            Item::Parameter(parameter) => {
                self.parameters.insert(parameter.name.text.clone());
            }
            Item::Use(_) | Item::No(_) => {}
        }
    }

    fn short(&self, kind: KindId) -> Option<&'v Short> {
        self.v.short.get(&kind)
    }

    /// Another word for what opens a block or part becomes the ruleset's.
    fn opening(&mut self, word: &mut Word) {
        if opens(self.v, &word.text).is_some() || self.names.contains(&word.text) {
            return;
        }
        if let Some(meant) = self.v.opened_by(&word.text) {
            self.replace(word.span, meant);
            word.text = meant.to_owned();
        }
    }

    fn replace(&mut self, span: Span, with: &str) {
        self.rewrites.push(Rewrite::Word(span, with.to_owned()));
    }

    fn block(&mut self, block: &mut Block) {
        if block.from.is_some() {
            for entry in &mut block.entries {
                match entry {
                    Entry::Fact(fact) => self.no_row(&mut fact.value, None),
                    Entry::Block(inner) => self.block(inner),
                    Entry::No(_) => {}
                }
            }
            return;
        }
        self.opening(&mut block.kind);
        let Some(kind) = self.v.kind_named(&block.kind.text) else {
            for entry in &mut block.entries {
                if let Entry::Block(inner) = entry {
                    self.block(inner);
                }
            }
            return;
        };
        self.head(block, kind);
        self.entries(kind, &mut block.entries);
    }

    fn is_fact(&self, kind: KindId, word: &str) -> bool {
        self.v.kind(kind).fact_named(word).is_some()
    }

    /// Values in the head of a block.
    fn head(&mut self, block: &mut Block, kind: KindId) {
        let short = self.short(kind);
        let word = block
            .name
            .as_ref()
            .filter(|n| n.repeat.is_none())
            .map(|n| n.word.clone());
        let mut row = std::mem::take(&mut block.row);
        if let (Some(word), NameRole::Free) = (word, self.v.kind(kind).name_role) {
            let takes = short.is_some_and(|s| s.takes(&word.text))
                || Status::from_word(&word.text).is_some();
            if takes && short.is_some_and(|s| s.values_first) {
                block.name = None;
                row.insert(0, Value::plain(ValueKind::Word(word.text), word.span));
            } else if takes {
                // `board existing main {`: the name stands behind the value.
                let behind = row.first().filter(|v| self.is_alien(kind, v));
                let meant = behind.map(|v| Word::new(row::shown(v), v.span));
                self.name_or_value(&word, kind, meant.as_ref());
                if let (Some(name), Some(first)) = (meant, row.first_mut()) {
                    *first = Value::plain(ValueKind::Word(word.text), word.span);
                    block.name = Some(BlockName {
                        word: name,
                        repeat: None,
                    });
                }
            }
        }
        if row.is_empty() {
            return;
        }
        let end = row.iter().fold(block.head(), |head, v| head.to(v.span));
        let end = end.until().max(product_until(&block.entries));
        let label = block.label.as_ref();
        let label = label.filter(|_| short.is_none_or(|s| !s.values_first));
        let label = label.map(|l| Word::new(String::new(), l.span));
        let name = block.name.as_ref().map(|n| &n.word).or(label.as_ref());
        let facts = self.row(kind, row, &block.entries, (end, None), name);
        behind_product(&mut block.entries, facts);
    }

    fn name_or_value(&mut self, word: &Word, kind: KindId, meant: Option<&Word>) {
        let name = &self.v.kind(kind).name;
        let key = self.key_of(kind, &word.text).unwrap_or("status");
        let text = &word.text;
        let why =
            format!("`{text}` stands where the name of a {name} stands, and is a value of one");
        let problem = Problem::wrong("name-or-value", word.span, why);
        if let Some(meant) = meant {
            let help = format!("a name stands first: write `{name} {} {text}`", meant.text);
            return problem.help(help).report(&mut self.problems);
        }
        problem
            .help(format!("for the value write a name before it, `{name} main {text}`, or its key, `{name} {{ {key}: {text} }}`"))
            .help("for the name choose another word")
            .report(&mut self.problems);
    }

    /// The fact that a word without a key is a value of.
    fn key_of(&self, kind: KindId, word: &str) -> Option<&'v str> {
        let (fact, _) = self.short(kind)?.word(word)?;
        Some(&self.v.fact(kind, fact).name)
    }

    fn entries(&mut self, kind: KindId, entries: &mut Vec<Entry>) {
        let mut at = 0;
        while let Some(entry) = entries.get_mut(at) {
            at += 1;
            if let Some(block) = self.block_behind(kind, entry) {
                entries.insert(at, Entry::Block(block));
            }
        }
        for entry in entries {
            match entry {
                Entry::Fact(fact) => self.fact(kind, fact),
                Entry::Block(block) => self.block(block),
                Entry::No(_) => {}
            }
        }
    }

    /// In `fed-from: supply circuit oven { … }` a block begins behind the value: where no part is
    /// asked for, and the next word is a kind.
    fn block_behind(&self, kind: KindId, entry: &mut Entry) -> Option<Block> {
        let Entry::Fact(fact) = entry else {
            return None;
        };
        let ValueKind::Row { values, entries } = &mut fact.value.kind else {
            return None;
        };
        if self.v.kind(kind).part_of(&fact.key.text).is_some() {
            return None;
        }
        let word = |v: &Value| match &v.kind {
            ValueKind::Word(text) => Some(Word::new(text.clone(), v.span)),
            _ => None,
        };
        let head = values.get(1).and_then(word)?;
        self.v.kind_named(&head.text)?;
        let block = Block {
            span: head.span.to(fact.value.span),
            kind: head,
            name: values
                .get(2)
                .and_then(word)
                .map(|word| BlockName { word, repeat: None }),
            label: None,
            row: values.split_off(values.len().min(3)),
            entries: std::mem::take(entries),
            from: None,
        };
        fact.value = values.swap_remove(0);
        Some(block)
    }

    fn fact(&mut self, kind: KindId, entry: &mut FactEntry) {
        let declared = self.v.kind(kind);
        if declared.fact_named(&entry.key.text).is_none()
            && let Some(Meaning::Fact(ix)) =
                self.short(kind).and_then(|s| s.meaning(&entry.key.text))
        {
            let name = &declared.fact(*ix).name;
            self.replace(entry.key.span, name);
            entry.key.text.clone_from(name);
        }
        let fact = declared
            .fact_named(&entry.key.text)
            .map(|ix| declared.fact(ix));
        match fact.map(|f| (f, &f.ty)) {
            Some((fact, FactType::Part(part) | FactType::Parts(part))) => {
                self.part(kind, fact, *part, &mut entry.value, true)
            }
            Some((fact, _)) => self.plain(kind, fact, &mut entry.value),
            None => self.no_row(&mut entry.value, Some(kind)),
        }
    }

    /// A value of what is no part: other words for its words.
    fn plain(&mut self, kind: KindId, fact: &Fact, value: &mut Value) {
        self.as_mark(kind, fact, value);
        self.no_row(value, Some(kind));
        match &mut value.kind {
            ValueKind::OneOf(all) | ValueKind::List(all) | ValueKind::ByTurn(all) => {
                for value in all {
                    self.plain(kind, fact, value);
                }
            }
            ValueKind::Word(word) => {
                let Some(words) = fact.words() else { return };
                if words.contains(word) || self.parameters.contains(word.as_str()) {
                    return;
                }
                let meant = match self.short(kind).and_then(|s| s.meaning(word)) {
                    Some(Meaning::Word(ix, meant)) if self.v.fact(kind, *ix).name == fact.name => {
                        Some(meant)
                    }
                    Some(Meaning::Opens(meant)) => Some(meant),
                    _ => None,
                };
                if let Some(meant) = meant.filter(|m| words.contains(m)) {
                    word.clone_from(meant);
                    self.replace(value.span, meant);
                }
            }
            _ => {}
        }
    }

    /// `phases: 1-phase`, `phases: single phase`: a mark that says this fact alone.
    fn as_mark(&mut self, kind: KindId, fact: &Fact, value: &mut Value) {
        let text = match &value.kind {
            ValueKind::Row { values, entries } if entries.is_empty() => {
                let pieces: Option<Vec<String>> = values.iter().map(row::piece).collect();
                pieces.map(|all| all.join("-").replace(' ', "-"))
            }
            ValueKind::Word(_) | ValueKind::Number(_) => {
                row::piece(value).map(|p| p.replace(' ', "-"))
            }
            _ => None,
        };
        let Some((text, short)) = text.zip(self.short(kind)) else {
            return;
        };
        let mark = short.as_mark(&text);
        let found = short.mark(mark, None).unwrap_or_default();
        let [(ix, from, until)] = found.as_slice() else {
            return;
        };
        let own = self.v.fact(kind, *ix);
        if own.name == fact.name && own.unit().is_some_and(takes_bare_numbers) {
            let digits = mark.get(*from..*until).unwrap_or("").to_owned();
            self.replace(value.span, &digits);
            value.kind = ValueKind::Number(Number::bare(digits, value.span));
        }
    }

    /// A fact of a kind that takes parts. The word that opens one may stand `behind` a value.
    fn part(&mut self, kind: KindId, fact: &Fact, part: KindId, value: &mut Value, behind: bool) {
        match &mut value.kind {
            ValueKind::OneOf(all) | ValueKind::List(all) | ValueKind::ByTurn(all) => {
                // In `6 mm² | 10 mm² SWA` it would be of both, or of one.
                let opened = |v: &Value| match &v.kind {
                    ValueKind::Row { values, .. } => self.opener(part, values).is_some(),
                    _ => false,
                };
                let behind = all.iter().all(opened);
                for value in all {
                    self.part(kind, fact, part, value, behind);
                }
            }
            ValueKind::Part { head, entries } => {
                self.opening(head);
                if let Some((real, _)) = opens(self.v, &head.text) {
                    self.entries(real, entries);
                } else if self.names.contains(&head.text) {
                    self.entries(part, entries);
                } else if self.short(part).is_some_and(|s| s.takes(&head.text)) {
                    let first = Value::plain(ValueKind::Word(head.text.clone()), head.span);
                    let entries = std::mem::take(entries);
                    self.part_row(kind, fact, part, (vec![first], entries, behind), value);
                }
            }
            ValueKind::Row { values, entries } => {
                let (values, entries) = (std::mem::take(values), std::mem::take(entries));
                self.part_row(kind, fact, part, (values, entries, behind), value);
            }
            ValueKind::Word(word)
                if !self.names.contains(word.as_str()) && opens(self.v, word).is_none() =>
            {
                let mut opening = Word::new(word.clone(), value.span);
                self.opening(&mut opening);
                let row = self.short(part).is_some_and(|s| s.takes(word));
                if opening.text != *word {
                    *word = opening.text;
                } else if row {
                    let first = value.clone();
                    self.part_row(kind, fact, part, (vec![first], Vec::new(), behind), value);
                }
            }
            ValueKind::Number(_) | ValueKind::Tolerance { .. } | ValueKind::Range { .. }
                if self.short(part).is_some() =>
            {
                let first = value.clone();
                self.part_row(kind, fact, part, (vec![first], Vec::new(), behind), value);
            }
            _ => {}
        }
    }

    /// A part of which values stand without keys; the first may be the word that opens it.
    fn part_row(
        &mut self,
        kind: KindId,
        fact: &Fact,
        part: KindId,
        (mut values, mut entries, behind): (Vec<Value>, Vec<Entry>, bool),
        value: &mut Value,
    ) {
        let end = values.last().map_or(value.span.from(), |v| v.span.until());
        let end = end.max(product_until(&entries));
        values = self.joined(part, values);
        let at = self.opener(part, &values).filter(|_| behind).unwrap_or(0);
        let first = values.get(at).map(|v| (v.kind.clone(), v.span));
        let mut head = match first {
            Some((ValueKind::Word(text), span)) => Word::new(text, span),
            _ => Word::new(String::new(), value.span),
        };
        self.opening(&mut head);
        let mut opened_by = None;
        if self.names.contains(&head.text) || opens(self.v, &head.text).is_some() {
            values.remove(at);
        } else {
            let own = self.short(kind).and_then(|s| {
                let same = |(ix, _): &&(_, String)| self.v.fact(kind, *ix).name == fact.name;
                s.opened_by.iter().find(same).map(|(_, word)| word.clone())
            });
            head.text = own.unwrap_or_else(|| self.v.kind(part).name.clone());
            opened_by = Some(head.text.clone());
        }
        let real = opens(self.v, &head.text).map_or(part, |(real, _)| real);
        let facts = self.row(real, values, &entries, (end, opened_by), None);
        self.entries(real, &mut entries);
        behind_product(&mut entries, facts);
        value.kind = ValueKind::Part { head, entries };
    }

    /// Where the word stands that opens a part: `6 mm² SWA 22 m` says what it is behind a value.
    fn opener(&self, part: KindId, values: &[Value]) -> Option<usize> {
        let word = |v: &Value| match &v.kind {
            ValueKind::Word(text) => Some(text.clone()),
            _ => None,
        };
        let opens = |text: &str| {
            let meant = opens(self.v, text).map_or_else(|| self.v.opened_by(text), |_| Some(text));
            let kind = meant.and_then(|m| opens(self.v, m)).map(|(kind, _)| kind);
            kind.is_some_and(|k| self.v.fits(k, part))
        };
        let first = values.first().and_then(word);
        if first.is_some_and(|w| self.names.contains(&w) || opens(&w)) {
            return Some(0);
        }
        let own = |text: &str| self.short(part).is_some_and(|s| s.takes(text));
        values
            .iter()
            .position(|v| word(v).is_some_and(|w| !own(&w) && opens(&w)))
    }

    /// Values without keys where no part is asked for.
    fn no_row(&mut self, value: &mut Value, kind: Option<KindId>) {
        if let ValueKind::Row { values, entries } = &value.kind {
            let second = values.get(1).or(values.first());
            let product = facts_called(entries, "as").next();
            let product = product.map(|f| format!("as {}", row::shown(&f.value)));
            let (text, mut at) = second.map_or_else(
                || (product.unwrap_or_default(), value.span),
                |v| (row::shown(v), v.span),
            );
            let fact = kind.is_some_and(|k| self.is_fact(k, &text));
            let mut told = text.clone();
            if !fact && Origin::from_word(&text).is_none() {
                for more in values.get(2..).unwrap_or_default() {
                    told = format!("{told} {}", row::shown(more));
                    at = at.to(more.span);
                }
            }
            let why = format!("`{told}` cannot follow a value");
            let mut problem = Problem::error("trailing-text", why)
                .at(at, "expected a new line, the next `key:` or `}`");
            problem = match Origin::from_word(&text) {
                Some(_) => problem.help(format!("write `({text})`")),
                None => problem.help(
                    "what is of its own stands on a new line, or two blanks behind the value; what is only told, behind `#`",
                ),
            };
            if let Some(first) = values.first().filter(|_| values.len() > 1) {
                problem = problem.at(first.span, "the value ends here");
            }
            if fact {
                problem = problem.help(format!("`{text}` is a fact: write `{text}:`"));
            }
            self.problems.push(problem);
            value.kind = ValueKind::Bad;
        }
    }
}

/// Where `as NAME` behind a head ends: it is the first entry.
fn product_until(entries: &[Entry]) -> usize {
    match entries.first() {
        Some(Entry::Fact(f)) if f.key.text == "as" && f.key.span == f.span => f.span.until(),
        _ => 0,
    }
}

/// Puts facts of a head before those of its body, where the long form has them.
fn behind_product(entries: &mut Vec<Entry>, facts: Vec<Entry>) {
    let at = usize::from(product_until(entries) > 0);
    entries.splice(at..at, facts);
}

/// The keys that a message names at most.
fn some(names: &[&str]) -> String {
    listed(names.get(..names.len().min(6)).unwrap_or_default(), "or")
}
