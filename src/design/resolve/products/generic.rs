//! Generic products of the ruleset, read where a design mentions them: what they say is asked of
//! what is bought.

use crate::design::parse::parse;
use crate::design::tree::{Define, Entry, Item, Origin, Tree, Value, ValueKind};
use crate::source::{Problem, Span, Spanned};
use crate::vocabulary::{Product, Vocabulary};

/// The generic products that designs mention and do not define themselves, as defines; what they
/// mention in turn comes along.
pub(in crate::design::resolve) fn mentioned(
    trees: &[&Tree],
    vocabulary: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Tree {
    let mut found = Tree::default();
    if vocabulary.products.is_empty() {
        return found;
    }
    let mut words = Vec::new();
    for item in trees.iter().flat_map(|t| &t.items) {
        match item {
            Item::Block(block) => words_of(&block.entries, &mut words),
            Item::Define(define) => {
                words.push(define.head.text.clone());
                words_of(&define.entries, &mut words);
            }
            Item::Use(_) | Item::Parameter(_) | Item::No(_) => {}
        }
    }
    while let Some(word) = words.pop() {
        let here = |i: &Item| matches!(i, Item::Define(d) if d.name.text == word);
        let defined = |tree: &Tree| tree.items.iter().any(here);
        let Some(product) = vocabulary.products.iter().find(|p| p.name == word) else {
            continue;
        };
        if trees.iter().any(|t| defined(t)) || defined(&found) {
            continue;
        }
        let text = format!(
            "define {} as {} {{ {} }}",
            product.name, product.is, product.says
        );
        let parsed = parse(product.span.file, &text);
        problems.extend(parsed.problems.into_iter().map(|p| at(p, product.span)));
        for item in parsed.tree.items {
            if let Item::Define(mut define) = item {
                words_of(&define.entries, &mut words);
                define.span = product.span;
                found.items.push(Item::Define(define));
            }
        }
    }
    found
}

fn at(mut problem: Problem, span: Span) -> Problem {
    for label in &mut problem.labels {
        label.span = span;
    }
    problem
}

/// Words that may name a product.
fn words_of(entries: &[Entry], words: &mut Vec<String>) {
    fn value(v: &Value, words: &mut Vec<String>) {
        match &v.kind {
            ValueKind::Word(word) => words.push(word.clone()),
            ValueKind::Part { head, entries } => {
                words.push(head.text.clone());
                words_of(entries, words);
            }
            ValueKind::Row { values, entries } => {
                if let Some(first) = values.first() {
                    value(first, words);
                }
                words_of(entries, words);
            }
            ValueKind::OneOf(all) | ValueKind::List(all) | ValueKind::ByTurn(all) => {
                for v in all {
                    value(v, words);
                }
            }
            _ => {}
        }
    }
    for entry in entries {
        match entry {
            Entry::Fact(fact) => value(&fact.value, words),
            Entry::Block(block) => words_of(&block.entries, words),
            Entry::No(_) => {}
        }
    }
}

/// What a generic product says is asked of what is bought.
pub(super) fn ask(define: &mut Define, product: &Product) {
    fn entries(all: &mut [Entry]) {
        for entry in all {
            let Entry::Fact(fact) = entry else { continue };
            if fact.key.text != "as" && fact.value.origin.is_none() {
                fact.value.origin = Some(Spanned::new(Origin::Required, fact.value.span));
            }
            value(&mut fact.value);
        }
    }
    fn value(v: &mut Value) {
        match &mut v.kind {
            ValueKind::Part { entries: all, .. } => entries(all),
            ValueKind::OneOf(all) | ValueKind::List(all) => all.iter_mut().for_each(value),
            _ => {}
        }
    }
    entries(&mut define.entries);
    // No place of its text is one of a file: all of it stands where the ruleset writes it.
    moved_entries(&mut define.entries, product.span);
    define.name.span = product.span;
    define.head.span = product.span;
}

fn moved_entries(entries: &mut [Entry], to: Span) {
    for entry in entries {
        match entry {
            Entry::Fact(fact) => {
                fact.span = to;
                fact.key.span = to;
                moved(&mut fact.value, to);
            }
            Entry::No(no) => (no.span, no.kind.span) = (to, to),
            Entry::Block(block) => moved_entries(&mut block.entries, to),
        }
    }
}

/// A value with all its places moved to another.
pub(super) fn moved(value: &mut Value, to: Span) {
    value.span = to;
    if let Some(origin) = &mut value.origin {
        origin.span = to;
    }
    match &mut value.kind {
        ValueKind::Number(number) => number.moved(to),
        ValueKind::Tolerance { base, terms } => {
            moved(base, to);
            terms.iter_mut().for_each(|t| t.moved(to));
        }
        ValueKind::Range { low, high } => {
            moved(low, to);
            moved(high, to);
        }
        ValueKind::AtMost { value, .. } | ValueKind::AtLeast { value, .. } => moved(value, to),
        ValueKind::OneOf(all) | ValueKind::List(all) | ValueKind::ByTurn(all) => {
            all.iter_mut().for_each(|v| moved(v, to));
        }
        ValueKind::Part { head, entries } => {
            head.span = to;
            moved_entries(entries, to);
        }
        ValueKind::PerLine(lines) => {
            for (word, value) in lines {
                word.span = to;
                moved(value, to);
            }
        }
        _ => {}
    }
}
