//! What is asked of an open leaf: the question in words, what is known by now, what an answer
//! looks like.

use super::super::residual::Residual;
use super::Question;
use crate::check::{What, show_val, tame};
use crate::design::model::Status;
use crate::expression::{LeafId, LeafSource};
use crate::quantity::{Unit, format_interval};
use crate::vocabulary::{Fact, FactIx, FactType, KindId, Settler, Vocabulary, with_article};

/// Whether parts that are not written at all are asked for themselves, and not whether all are listed.
pub(super) fn is_asked_itself(residual: &Residual, leaf: LeafId) -> bool {
    let ty = &residual.fact(leaf).ty;
    residual.info(leaf).what == What::Rest
        && matches!(ty, FactType::Parts(_) | FactType::References(_))
}

impl Question {
    /// Takes in another leaf that the same answer settles.
    pub(super) fn take(&mut self, residual: &Residual, leaf: LeafId) {
        if self.leaves.contains(&leaf) {
            return;
        }
        self.leaves.push(leaf);
        let info = residual.info(leaf);
        if let Some(line) = info.line
            && !self.lines.contains(&line)
        {
            self.lines.push(line);
            self.lines.sort_unstable();
        }
        let of = residual.design.label(info.object);
        if !self.parameter && of != self.of && !self.also.contains(&of) {
            self.also.push(of);
        }
    }
}

/// The question about a leaf; `inside` is what is asked of a part that is not known, none for the
/// part itself.
pub(super) fn question(
    residual: &Residual,
    leaf: LeafId,
    inside: Option<(KindId, FactIx)>,
) -> Question {
    let info = residual.info(leaf);
    let v = &residual.ruleset.vocabulary;
    let object = residual.design.object(info.object);
    if let What::Parameter(p) = info.what {
        let parameter = &residual.design.parameters[p as usize];
        return Question {
            object: info.object,
            fact: info.fact,
            inner: None,
            inside: Vec::new(),
            later: true,
            rest: false,
            parameter: true,
            lines: Vec::new(),
            leaves: Vec::new(),
            of: "the template".to_owned(),
            also: Vec::new(),
            asked: parameter.name.clone(),
            label: "Parameter of the template".to_owned(),
            means: "parameter of the template".to_owned(),
            ask: None,
            answer: format!("a value in {}", parameter.unit),
            words: Vec::new(),
            unit: Some(parameter.unit.clone()),
            settled_by: Settler::Designer,
            known: None,
            waiting: Vec::new(),
            passes: None,
            span: parameter.span,
            block: parameter.span,
        };
    }
    let outer = v.fact(object.kind, info.fact);
    let parts = is_asked_itself(residual, leaf);
    let rest = info.what == What::Rest && !parts;
    let inner = inside.map(|(k, f)| v.fact(k, f));
    let fact = inner.unwrap_or(outer);
    let listed = outer.target().map_or("", |k| v.kind(k).name.as_str());
    let (asked, label, means) = if rest {
        (
            format!("all-listed: {listed}"),
            format!("{}: complete list", outer.texts.label),
            "whether the list is complete".to_owned(),
        )
    } else {
        (
            fact.name.clone(),
            fact.texts.label.clone(),
            fact.texts.means.clone(),
        )
    };
    let existing = object.status == Status::Existing;
    let settled_by = match (rest, fact.settled_by) {
        (true, _) => v.completes(outer, existing),
        (false, Settler::Designer) if existing => Settler::Site,
        (false, s) => s,
    };
    let written = object.written(info.fact);
    let source = residual.leaf(leaf).source;
    let known = (!rest && !parts && info.inner.is_none() && source != LeafSource::Unknown)
        .then(|| known(residual, leaf, fact))
        .flatten();
    let (answer, words, unit) = if rest {
        ("yes, or what is missing".to_owned(), Vec::new(), None)
    } else {
        let mut words = words(fact);
        if fact.optional && matches!(fact.ty, FactType::Choice { .. }) {
            words.push("none".to_owned());
        }
        let unit = unit_to_write(fact).map(str::to_owned);
        (answer(fact, &words, v), words, unit)
    };
    Question {
        object: info.object,
        fact: info.fact,
        inner: inside,
        inside: Vec::new(),
        later: true,
        rest,
        parameter: false,
        lines: Vec::new(),
        leaves: Vec::new(),
        of: match inside {
            Some(_) => format!("{} of {}", outer.name, residual.design.label(info.object)),
            None => residual.design.label(info.object),
        },
        also: Vec::new(),
        asked,
        label,
        means,
        ask: fact.texts.ask.clone(),
        answer,
        words,
        unit,
        settled_by,
        known,
        waiting: Vec::new(),
        passes: None,
        span: written.map_or(object.head, |w| w.span),
        block: object.span,
    }
}

fn known(residual: &Residual, leaf: LeafId, fact: &Fact) -> Option<String> {
    let val = residual.written[leaf.0 as usize];
    let info = residual.info(leaf);
    if info.what == What::Alternative {
        return None;
    }
    match (&fact.ty, fact.series) {
        (FactType::Quantity { unit, .. }, Some(s)) => {
            let members = residual.ruleset.vocabulary.series(s).members.iter();
            let known = members.enumerate().filter(|(i, _)| val.as_words().has(*i));
            let known: Vec<String> = known.map(|(_, m)| m.shown(unit)).collect();
            (known.len() <= 6).then(|| known.join(" | "))
        }
        (FactType::Quantity { unit, .. }, None) => {
            Some(format_interval(tame(val.lo), tame(val.hi), unit))
        }
        _ => Some(show_val(&val, fact, &residual.ruleset.vocabulary)),
    }
}

/// The words to choose from, without what stands for none.
pub(in crate::answer) fn words(fact: &Fact) -> Vec<String> {
    match &fact.ty {
        FactType::Choice { words, .. } | FactType::Some { words } => words.to_vec(),
        FactType::YesNo => vec!["yes".to_owned(), "no".to_owned()],
        _ => Vec::new(),
    }
}

/// The unit that is to be written: a plain number has none.
pub(in crate::answer) fn unit_to_write(fact: &Fact) -> Option<&str> {
    let text = fact.unit().map(Unit::text);
    text.filter(|text| !matches!(*text, "" | "1"))
}

/// What an answer looks like; `words` are those to choose from.
fn answer(fact: &Fact, words: &[String], v: &Vocabulary) -> String {
    let what = match &fact.ty {
        FactType::Quantity { whole: true, .. } => "a whole number".to_owned(),
        FactType::Quantity { .. } => match unit_to_write(fact) {
            Some(unit) => format!("a value in {unit}"),
            None => "a number".to_owned(),
        },
        FactType::Part(k) | FactType::Parts(k) => {
            let kind = v.kind(*k);
            format!("{} ({})", with_article(&kind.name), kind.means)
        }
        FactType::Reference(k) | FactType::References(k) | FactType::Reverse { kind: k, .. } => {
            format!("the name of {}", with_article(&v.kind(*k).name))
        }
        // Whether it may be none is among the words, or nothing that is told.
        FactType::Choice { .. } => return format!("one of {}", words.join(", ")),
        FactType::Some { .. } => return format!("any of {}", words.join(", ")),
        FactType::YesNo => return "yes or no".to_owned(),
        FactType::Text => return "a text".to_owned(),
        FactType::Date => return "a date, like 2026-11-02".to_owned(),
    };
    if fact.optional {
        format!("{what}, or none")
    } else {
        what
    }
}
