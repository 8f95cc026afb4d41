//! What a fact takes, in the user's notation: for every message that refuses a value.

use super::resolver::{Resolver, Site, listed};
use super::units::{example_of, spelled};
use crate::design::tree::{Value, ValueKind};
use crate::source::{Problem, Span};
use crate::vocabulary::{Fact, FactType, KindId, Settler, Vocabulary, with_article};

/// The most words of a choice that a message lists.
const MOST_WORDS: usize = 16;

/// A text in quotes where a name, a word or a date stands without them.
pub(super) fn in_quotes(site: &Site<'_>, what: &str, text: &str, at: Span) -> Problem {
    let fact = &site.fact.name;
    let why = format!("`{fact}` takes {what}, and this is a text");
    Problem::wrong("wrong-type", at, why).help(format!("leave out the quotes: `{fact}: {text}`"))
}

/// What a fact takes: `a quantity in A`, `one of …`.
pub(super) fn form(vocabulary: &Vocabulary, fact: &Fact) -> String {
    let name = |kind: KindId| vocabulary.kind(kind).name.as_str();
    match &fact.ty {
        FactType::Quantity {
            unit,
            per_line,
            whole,
        } => {
            let mut text = match (unit.text(), whole) {
                ("1", true) => "a whole number".to_owned(),
                ("1", false) => "a number".to_owned(),
                (unit, _) => format!("a quantity in {unit}"),
            };
            if *per_line {
                text.push_str(", one for each line conductor or one for all");
            }
            text
        }
        FactType::Choice { words, .. } if words.len() <= MOST_WORDS => {
            format!("one of {}", listed(words, "or"))
        }
        FactType::Choice { .. } => {
            format!(
                "one of the words that `amperule rules words {}` lists",
                fact.name
            )
        }
        FactType::Some { words } => format!("any of {}", listed(words, "and")),
        FactType::YesNo => "`yes` or `no`".to_owned(),
        FactType::Text => "a text".to_owned(),
        FactType::Date => "a date".to_owned(),
        FactType::Part(kind) => format!("{} as a part", with_article(name(*kind))),
        FactType::Parts(kind) => format!("parts, each {}", with_article(name(*kind))),
        FactType::Reference(kind) => format!("the name of {}", with_article(name(*kind))),
        FactType::References(kind) => format!("names, each of {}", with_article(name(*kind))),
        FactType::Reverse { kind, .. } => format!("nothing: each {} says it", name(*kind)),
    }
}

/// A value that would be right.
pub(super) fn example(vocabulary: &Vocabulary, fact: &Fact) -> String {
    match &fact.ty {
        FactType::Quantity { .. } => example_of(fact, fact.series.map(|s| vocabulary.series(s))),
        FactType::Choice { words, .. } => words.first().cloned().unwrap_or_default(),
        FactType::Some { words } => {
            let two: Vec<_> = words.iter().take(2).map(String::as_str).collect();
            two.join(", ")
        }
        FactType::YesNo => "yes".to_owned(),
        FactType::Text => "\"…\"".to_owned(),
        FactType::Date => "2026-11-02".to_owned(),
        FactType::Part(kind) => format!("{} {{ … }}", opening_word(vocabulary, *kind)),
        FactType::Parts(kind) => {
            let word = opening_word(vocabulary, *kind);
            format!("{word} {{ … }}, {word} {{ … }}")
        }
        FactType::Reference(_) => "NAME".to_owned(),
        FactType::References(_) => "NAME, NAME".to_owned(),
        FactType::Reverse { .. } => String::new(),
    }
}

/// What to write instead of what is wrong. No figure is put into the mouth of an instrument.
pub(super) fn for_example(vocabulary: &Vocabulary, fact: &Fact) -> String {
    if let (Settler::Test, Some(unit)) = (fact.settled_by, fact.unit()) {
        let lines = match fact.ty {
            FactType::Quantity { per_line: true, .. } => "; line by line as `L1 …, L2 …, L3 …`",
            _ => "",
        };
        return format!(
            "write what was read with its unit, {unit}{lines}; `at least …` with the end of the instrument's range, \
             where it shows no more than that it is above"
        );
    }
    let example = example(vocabulary, fact);
    format!("write for example `{}: {example}`", fact.name)
}

/// A word that opens a part of this kind.
fn opening_word(vocabulary: &Vocabulary, kind: KindId) -> &str {
    let declared = vocabulary.kind(kind);
    let first = std::iter::once(declared)
        .chain(declared.any_of.iter().map(|k| vocabulary.kind(*k)))
        .find(|k| !k.is_abstract());
    first.map_or(declared.name.as_str(), |k| {
        k.heads.first().map_or(k.name.as_str(), |h| h.word.as_str())
    })
}

/// The words that open a part of this kind, and the names of the kinds that have none.
pub(super) fn opening_words(vocabulary: &Vocabulary, kind: KindId) -> Vec<&str> {
    let mut words = Vec::new();
    for id in vocabulary
        .kind_ids()
        .filter(|id| vocabulary.fits(*id, kind))
    {
        let kind = vocabulary.kind(id);
        if kind.is_abstract() {
            continue;
        }
        words.extend(kind.heads.iter().map(|h| h.word.as_str()));
        if kind.heads.is_empty() {
            words.push(kind.name.as_str());
        }
    }
    words
}

/// What sort of value is written: `a word`, `a quantity`.
pub(super) fn sort_of(value: &Value) -> &'static str {
    match &value.kind {
        ValueKind::Unknown => "unknown",
        ValueKind::Absent => "`none`",
        ValueKind::Word(_) => "a word",
        ValueKind::Text(_) => "a text",
        ValueKind::Date { .. } => "a date",
        ValueKind::Number(n) if n.unit.is_none() => "a number",
        ValueKind::Number(_) => "a quantity",
        ValueKind::Tolerance { .. } => "a quantity with a tolerance",
        ValueKind::Range { .. } | ValueKind::AtMost { .. } | ValueKind::AtLeast { .. } => "a range",
        ValueKind::OneOf(_) => "a choice",
        ValueKind::List(_) => "a list",
        ValueKind::Part { .. } => "a part",
        ValueKind::Row { .. } => "several values without keys",
        ValueKind::PerLine(_) => "one value for each line conductor",
        ValueKind::ByTurn(_) => "a row of values to take by turn",
        ValueKind::All(_) => "all of a kind",
        ValueKind::Indexed { .. } => "the name of one of many",
        ValueKind::Binary { .. } => "a calculation",
        ValueKind::Bad => "a mistake",
    }
}

/// The value as written, where it is short enough to repeat.
pub(super) fn as_written(value: &Value) -> Option<String> {
    match &value.kind {
        ValueKind::Word(word) => Some(word.clone()),
        ValueKind::Text(text) if text.len() <= 40 => Some(format!("\"{text}\"")),
        ValueKind::Number(number) => Some(spelled(number)),
        ValueKind::Date { year, month, day } => Some(format!("{year:04}-{month:02}-{day:02}")),
        ValueKind::All(kind) => Some(format!("all {}", kind.text)),
        ValueKind::Absent => Some("none".to_owned()),
        ValueKind::Unknown => Some("?".to_owned()),
        _ => None,
    }
}

impl<'a> Resolver<'a> {
    /// A value of the wrong sort.
    pub(super) fn wrong_type<T>(&mut self, site: &Site<'_>, value: &Value) -> Option<T> {
        if value.is_bad() {
            return None;
        }
        // Of yes or no the words that mean something else elsewhere say nothing.
        if let ValueKind::Word(word) = &value.kind
            && !matches!(site.fact.ty, FactType::YesNo)
            && self.asked(word, value.span)
        {
            return None;
        }
        let fact = site.fact;
        let form = form(self.vocabulary, fact);
        let sort = sort_of(value);
        let message = match as_written(value) {
            Some(text) => format!("`{}` takes {form}, and `{text}` is {sort}", fact.name),
            None => format!("`{}` takes {form}, and this is {sort}", fact.name),
        };
        let help = match &fact.ty {
            FactType::Reference(_) | FactType::References(_) => self.names_help(fact),
            _ => for_example(self.vocabulary, fact),
        };
        Problem::wrong("wrong-type", value.span, message)
            .help(help)
            .fail(self)
    }

    /// Which names a reference could lead to.
    pub(super) fn names_help(&self, fact: &Fact) -> String {
        let Some(kind) = fact.target() else {
            return String::new();
        };
        let names = self.names_fitting(Some(kind));
        let kind = &self.vocabulary.kind(kind).name;
        let few = names.len() <= MOST_WORDS;
        match names.first() {
            None => format!("no {kind} is written in this design"),
            Some(name) if few => format!("write for example `{}: {name}`", fact.name),
            Some(_) => format!("write the name of {}", with_article(kind)),
        }
    }
}
