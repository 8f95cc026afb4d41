//! What a file says about the rules that judge it: read before there is a vocabulary.

use super::completeness::facts_called;
use super::words::day_of;
use crate::design::tree::{Arith, Block, Item, Tree, Value, ValueKind};
use crate::source::{Problem, Span, Spanned};

/// The rules a design names in its `installation` block.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RulesNamed {
    /// The ruleset.
    pub base: Spanned<String>,
    /// Local layers on top of it, in order.
    pub patches: Vec<Spanned<String>>,
    /// Hashes that the content of the rules must have: `gb @ 0123456789abcdef`.
    pub pins: Vec<Spanned<String>>,
    /// The edition, if one is named.
    pub edition: Option<Spanned<String>>,
    /// The day on which the design was made, in days since 1970-01-01.
    pub designed_on: Option<Spanned<i32>>,
    /// The day on which work began, in days since 1970-01-01.
    pub started_on: Option<Spanned<i32>>,
    /// The stage the works have reached.
    pub stage: Option<Spanned<String>>,
}

/// Reads `installation { rules: gb + scotland  edition: "A2"  designed-on: … }`. None, if the
/// file names no rules; a `rules` that cannot be read is a problem as well.
#[must_use]
pub fn rules_named(tree: &Tree) -> (Option<RulesNamed>, Vec<Problem>) {
    let mut problems = Vec::new();
    let blocks: Vec<&Block> = tree
        .items
        .iter()
        .filter_map(|item| match item {
            Item::Block(b) if b.kind.text == "installation" => Some(b),
            _ => None,
        })
        .collect();
    let fact = |key: &str| {
        let mut facts = blocks.iter().flat_map(|b| facts_called(&b.entries, key));
        facts.next().map(|f| &f.value)
    };
    let Some(rules) = fact("rules") else {
        return (None, problems);
    };
    let (mut names, mut pins) = (Vec::new(), Vec::new());
    if !collect(rules, &mut names, &mut pins) {
        if !rules.is_bad() {
            Problem::error("rules-unreadable", "`rules` does not name a ruleset")
                .at(
                    rules.span,
                    "expected the name of a ruleset, and of its patches",
                )
                .help("write a name, such as `rules: gb`, or `rules: gb + scotland` with a patch")
                .report(&mut problems);
        }
        return (None, problems);
    }
    let mut names = names.into_iter();
    let Some(base) = names.next() else {
        return (None, problems);
    };
    let named = RulesNamed {
        base,
        patches: names.collect(),
        pins,
        edition: fact("edition").and_then(name),
        designed_on: fact("designed-on").and_then(date),
        started_on: fact("started-on").and_then(date),
        stage: fact("stage").and_then(name),
    };
    (Some(named), problems)
}

/// The names of a sum of names, and the hashes behind them; false, if it is anything else.
fn collect(
    value: &Value,
    names: &mut Vec<Spanned<String>>,
    pins: &mut Vec<Spanned<String>>,
) -> bool {
    match &value.kind {
        ValueKind::Binary {
            op: Arith::Add,
            left,
            right,
        } => collect(left, names, pins) && collect(right, names, pins),
        ValueKind::Word(word) => {
            names.push(Spanned::new(word.clone(), value.span));
            true
        }
        ValueKind::Text(text) => split(text, value.span, names, pins),
        _ => false,
    }
}

/// The names in a text; there the `+` stands inside the quotes.
fn split(
    text: &str,
    span: Span,
    names: &mut Vec<Spanned<String>>,
    pins: &mut Vec<Spanned<String>>,
) -> bool {
    text.split('+').all(|part| {
        let (name, pin) = match part.split_once('@') {
            Some((name, pin)) => (name.trim(), Some(pin.trim())),
            None => (part.trim(), None),
        };
        names.push(Spanned::new(name.to_owned(), span));
        pins.extend(pin.map(|pin| Spanned::new(pin.to_owned(), span)));
        !name.is_empty() && pin != Some("")
    })
}

fn name(value: &Value) -> Option<Spanned<String>> {
    let text = match &value.kind {
        ValueKind::Word(text) | ValueKind::Text(text) => text.clone(),
        ValueKind::Number(n) if n.more.is_empty() => match &n.unit {
            Some(unit) => format!("{}{}", n.digits, unit.text),
            None => n.digits.clone(),
        },
        _ => return None,
    };
    Some(Spanned::new(text, value.span))
}

fn date(value: &Value) -> Option<Spanned<i32>> {
    Some(Spanned::new(day_of(value)?, value.span))
}
