//! The questions of a survey as they are put to a person, one for each thing to write, in the
//! order of a visit; and how an answer becomes an edit of the text.

mod edit;
mod names;
mod worded;

use super::survey::{Question, Survey, unit_to_write, words};
use crate::design::model::{Design, ObjectId};
use crate::quantity::format_quantity;
use crate::ruleset::{Ruleset, Severity};
use crate::source::Span;
use crate::vocabulary::{Fact, FactType, KindId, Settler, Vocabulary};

pub use edit::{edit, written_as};
pub use names::{Names, Target};
pub use worded::worded;

/// In which way a question is answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Input {
    /// A number with its unit.
    Number,
    /// One of some words.
    Choice,
    /// Any of some words.
    Several,
    /// Yes or no.
    YesNo,
    /// A text.
    Text,
    /// A day.
    Date,
    /// A part, or several.
    Part,
    /// The name of another block, or several.
    Name,
    /// Whether all of a kind are written down.
    Listed,
}

/// A question as it is put to a person.
#[derive(Clone, Debug)]
pub struct Asked {
    /// What it is known by: `supply.Ze`, `main.ev.device.curve`, `main.all-listed circuit`.
    pub id: String,
    /// The object, as messages name it.
    pub of: String,
    /// Others that stand in the same block, and get the same answer.
    pub also: Vec<String>,
    /// What people call it.
    pub label: String,
    /// Its own word, as a design writes it.
    pub fact: String,
    /// Its meaning.
    pub means: String,
    /// How to find it out, where the vocabulary says so.
    pub how: Option<String>,
    /// What an answer looks like.
    pub answer: String,
    /// In which way it is answered.
    pub input: Input,
    /// Its unit, for a quantity.
    pub unit: Option<String>,
    /// The line conductors that are asked about, where each has a value: 0, 1, 2.
    pub lines: Vec<u8>,
    /// Values that exist or are usual, words to choose from, names that it may be.
    pub usual: Vec<String>,
    /// Who settles it.
    pub settled_by: Settler,
    /// What is known so far.
    pub known: Option<String>,
    /// Values with which all passes that waits for it.
    pub passes: Option<String>,
    /// A requirement waits for it, not only a caution or advice.
    pub must: bool,
    /// What is looked for in a list that may not be complete.
    pub open: Vec<String>,
    /// Of a part that is not written: what matters of it.
    pub inside: Vec<Asked>,
    /// Where it stands, or should stand.
    pub span: Span,
}

/// The questions of a survey as they are put to a person, in its order.
#[must_use]
pub fn asked(ruleset: &Ruleset, design: &Design, survey: &Survey) -> Vec<Asked> {
    let v = &ruleset.vocabulary;
    let names = Names::new(v, design);
    let all = survey.questions.iter().filter(|q| !q.parameter);
    all.map(|q| outer(v, design, &names, q)).collect()
}

impl Asked {
    /// What is asked of a part that is not written, beside what it is.
    #[must_use]
    pub fn parts(&self) -> Vec<&Self> {
        let told = |i: &&Self| {
            let own = i.usual.iter().all(|u| self.usual.contains(u));
            !(i.input == Input::Choice && own)
        };
        self.inside.iter().filter(told).collect()
    }
}

/// The question about the fact that a design writes.
fn outer(v: &Vocabulary, design: &Design, names: &Names, q: &Question) -> Asked {
    let object = design.object(q.object);
    let fact = v.fact(object.kind, q.fact);
    let mut this = of_fact(v, design, fact, q);
    this.id = format!("{}.{}", names.of(q.object), fact.name);
    let inside = q.holds().into_iter().filter_map(|i| {
        let (kind, ix) = i.inner?;
        let fact = v.fact(kind, ix);
        Some(Asked {
            id: format!("{}.{}", this.id, fact.name),
            of: this.label.clone(),
            also: Vec::new(),
            ..of_fact(v, design, fact, i)
        })
    });
    this.inside = inside.collect();
    if q.rest {
        let listed = fact.target().map_or("", |k| v.kind(k).name.as_str());
        this.id = format!("{}.all-listed {listed}", names.of(q.object));
        this.fact = q.asked.clone();
        this.label = q.label.clone();
        this.means = q.means.clone();
        this.how = None;
        this.answer = "yes, where all of them are written down".to_owned();
        this.input = Input::Listed;
        this.usual = vec!["yes".to_owned()];
        for open in q.waiting.iter().filter_map(|w| w.open.clone()) {
            if !this.open.contains(&open) {
                this.open.push(open);
            }
        }
    }
    this
}

fn of_fact(v: &Vocabulary, design: &Design, fact: &Fact, q: &Question) -> Asked {
    Asked {
        id: String::new(),
        of: q.of.clone(),
        also: q.also.clone(),
        label: fact.texts.label.clone(),
        fact: fact.name.clone(),
        means: fact.texts.means.clone(),
        how: fact.texts.ask.clone(),
        answer: expected(v, fact),
        input: input(&fact.ty),
        unit: unit_to_write(fact).map(str::to_owned),
        // One line has its value without a name.
        lines: q
            .lines
            .iter()
            .copied()
            .filter(|_| q.lines.len() > 1)
            .collect(),
        usual: usual(v, design, fact, q.object),
        settled_by: q.settled_by,
        known: q.known.clone(),
        passes: q.passes.clone(),
        must: q.waiting.iter().any(|w| w.severity == Severity::Breach),
        open: Vec::new(),
        inside: Vec::new(),
        span: q.span,
    }
}

const fn input(ty: &FactType) -> Input {
    match ty {
        FactType::Quantity { .. } => Input::Number,
        FactType::Choice { .. } => Input::Choice,
        FactType::Some { .. } => Input::Several,
        FactType::YesNo => Input::YesNo,
        FactType::Text => Input::Text,
        FactType::Date => Input::Date,
        FactType::Part(_) | FactType::Parts(_) => Input::Part,
        FactType::Reference(_) | FactType::References(_) | FactType::Reverse { .. } => Input::Name,
    }
}

/// What an answer to a question about a fact looks like.
fn expected(v: &Vocabulary, fact: &Fact) -> String {
    let kind = |k: KindId| v.kind(k);
    let text = match &fact.ty {
        FactType::Quantity { unit, per_line, .. } => {
            let range = fact
                .plausible
                .filter(|b| b.lo.is_finite() && b.hi.is_finite());
            let of = match unit_to_write(fact) {
                Some(unit) => format!("a value in {unit}"),
                None => "a number".to_owned(),
            };
            let lines = if *per_line {
                ", or of each line, like `L1 …, L2 …`"
            } else {
                ""
            };
            let shown = |x: f64| format_quantity(x, unit, 6);
            let mostly = range.map(|b| format!("; mostly {} .. {}", shown(b.lo), shown(b.hi)));
            format!("{of}{lines}{}", mostly.unwrap_or_default())
        }
        FactType::Choice { .. } => "one of the words".to_owned(),
        FactType::Some { .. } => "any of the words, with commas".to_owned(),
        FactType::YesNo => "yes or no".to_owned(),
        FactType::Text => "a text".to_owned(),
        FactType::Date => "a date, like 2026-11-02".to_owned(),
        FactType::Part(k) | FactType::Parts(k) => {
            format!(
                "what it is and its values, as a design writes {}",
                kind(*k).means
            )
        }
        FactType::Reference(k) | FactType::References(k) | FactType::Reverse { kind: k, .. } => {
            format!("the name of a block: {}", kind(*k).means)
        }
    };
    if fact.optional {
        format!("{text}, or none")
    } else {
        text
    }
}

/// Values that exist, words to choose from, names that it may be.
fn usual(v: &Vocabulary, design: &Design, fact: &Fact, from: ObjectId) -> Vec<String> {
    let mut all: Vec<String> = match &fact.ty {
        FactType::Quantity { unit, .. } => {
            let likely =
                |x: &f64| fact.domain.contains(*x) && fact.plausible.is_none_or(|b| b.contains(*x));
            let members = fact.series.into_iter().flat_map(|s| &v.series(s).members);
            let likely = members.filter(|m| likely(&m.value));
            likely.map(|m| m.shown(unit)).collect()
        }
        FactType::Choice { .. } | FactType::Some { .. } | FactType::YesNo => words(fact),
        FactType::Part(k) | FactType::Parts(k) => {
            v.kind(*k).heads.iter().map(|h| h.word.clone()).collect()
        }
        FactType::Reference(k) | FactType::References(k) => {
            let block = |o: &ObjectId| {
                let object = design.object(*o);
                object.owner.is_none() && !object.phantom && *o != from && v.fits(object.kind, *k)
            };
            design
                .ids()
                .filter(block)
                .map(|o| design.label(o))
                .collect()
        }
        FactType::Text | FactType::Date | FactType::Reverse { .. } => Vec::new(),
    };
    if fact.optional {
        all.push("none".to_owned());
    }
    all
}
