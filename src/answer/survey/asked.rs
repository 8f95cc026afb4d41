//! What is asked of an open leaf: the question in words, what is known by now, what an answer
//! looks like.

use super::super::residual::Residual;
use super::Question;
use crate::check::{What, show_val, tame};
use crate::design::model::Status;
use crate::expression::{LeafId, LeafSource};
use crate::quantity::{Unit, format_interval, format_quantity};
use crate::ruleset::Ruleset;
use crate::vocabulary::{Fact, FactIx, FactType, KindId, Member, Settler, with_article};

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
            format!("{}: complete list", outer.label),
            format!("whether every {listed} is written down"),
        )
    } else {
        (fact.name.clone(), fact.label.clone(), fact.means.clone())
    };
    let existing = object.status == Status::Existing;
    let settled_by = match (rest, fact.settled_by) {
        (true, _) if !existing => Settler::Designer,
        (true, _) => Settler::Site,
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
        answer(fact, &residual.ruleset)
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
        ask: fact.ask.clone(),
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

/// A member of a series by its name, or its figure.
pub(in crate::answer) fn member(m: &Member, unit: &Unit) -> String {
    let figure = || format_quantity(m.value, unit, 6);
    m.name.clone().unwrap_or_else(figure)
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
            let known: Vec<String> = known.map(|(_, m)| member(m, unit)).collect();
            (known.len() <= 6).then(|| known.join(" | "))
        }
        (FactType::Quantity { unit, .. }, None) => {
            Some(format_interval(tame(val.lo), tame(val.hi), unit))
        }
        _ => Some(show_val(&val, fact, &residual.ruleset.vocabulary)),
    }
}

/// What an answer looks like, the words to choose from, the unit.
fn answer(fact: &Fact, ruleset: &Ruleset) -> (String, Vec<String>, Option<String>) {
    let v = &ruleset.vocabulary;
    let or_none = |s: String| {
        if fact.optional {
            format!("{s}, or none")
        } else {
            s
        }
    };
    match &fact.ty {
        FactType::Quantity { unit, whole, .. } => {
            let text = unit.text().to_owned();
            let named = !text.is_empty() && text != "1";
            let what = match (*whole, named) {
                (true, _) => "a whole number".to_owned(),
                (false, true) => format!("a value in {text}"),
                (false, false) => "a number".to_owned(),
            };
            (or_none(what), Vec::new(), named.then_some(text))
        }
        FactType::Choice { words, .. } => {
            let mut all = words.as_ref().clone();
            if fact.optional {
                all.push("none".to_owned());
            }
            (format!("one of {}", all.join(", ")), all, None)
        }
        FactType::Some { words } => (
            format!("any of {}", words.join(", ")),
            words.as_ref().clone(),
            None,
        ),
        FactType::YesNo => (
            "yes or no".to_owned(),
            vec!["yes".to_owned(), "no".to_owned()],
            None,
        ),
        FactType::Text => ("a text".to_owned(), Vec::new(), None),
        FactType::Date => ("a date, like 2026-11-02".to_owned(), Vec::new(), None),
        FactType::Part(k) | FactType::Parts(k) => {
            let kind = v.kind(*k);
            (
                or_none(format!("{} ({})", with_article(&kind.name), kind.means)),
                Vec::new(),
                None,
            )
        }
        FactType::Reference(k) | FactType::References(k) | FactType::Reverse { kind: k, .. } => (
            or_none(format!("the name of {}", with_article(&v.kind(*k).name))),
            Vec::new(),
            None,
        ),
    }
}
