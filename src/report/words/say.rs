//! Types, limits and defaults of facts in words.

use crate::quantity::{Unit, format_interval, format_quantity};
use crate::ruleset::{Assumed, Ruleset};
use crate::vocabulary::{
    Bounds, Fact, FactIx, FactType, Head, Kind, KindId, NameRole, Openness, PRESENT, Series,
    Vocabulary, with_article,
};

/// Digits of a limit or of a member of a series.
const DIGITS: usize = 6;

/// `a, b or c`.
pub(super) fn either(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [only] => (*only).to_owned(),
        [others @ .., last] => format!("{} or {last}", others.join(", ")),
    }
}

/// The kinds that may stand where one is asked for.
pub(super) fn real_kinds(v: &Vocabulary, kind: KindId) -> Vec<&str> {
    let declared = v.kind(kind);
    if declared.is_abstract() {
        let real = declared.any_of.iter();
        real.map(|k| v.kind(*k).name.as_str()).collect()
    } else {
        vec![&declared.name]
    }
}

/// What a value looks like: `mm²`, `one of final, distribution`, `the name of a board`.
pub(super) fn form(v: &Vocabulary, fact: &Fact) -> String {
    match &fact.ty {
        FactType::Quantity {
            unit,
            per_line,
            whole,
        } => {
            let base = match (unit.text(), whole) {
                (_, true) => "whole number",
                ("" | "1", false) => "number",
                (text, false) => text,
            };
            if *per_line {
                format!("{base} per line")
            } else {
                base.to_owned()
            }
        }
        FactType::Choice { words, ordered } => {
            let order = if *ordered { ", in this order" } else { "" };
            format!("one of {}{order}", words.join(", "))
        }
        FactType::Some { words } => format!("any of {}", words.join(", ")),
        FactType::YesNo => "yes or no".to_owned(),
        FactType::Text => "a text in quotes".to_owned(),
        FactType::Date => "a date, like 2026-11-02".to_owned(),
        FactType::Part(k) => format!("one {} in place", v.kind(*k).name),
        FactType::Parts(k) => {
            format!("one or more {} in place, in their order", v.kind(*k).name)
        }
        FactType::Reference(k) => {
            format!("the name of {}", with_article(&either(&real_kinds(v, *k))))
        }
        FactType::References(k) => {
            format!("one or more names of {}", either(&real_kinds(v, *k)))
        }
        FactType::Reverse { kind, fact } => {
            let from = v.kind(*kind);
            format!(
                "each {} whose {} leads here",
                from.name,
                from.fact(*fact).name
            )
        }
    }
}

/// `more than 0 A`, `0.5 .. 400 mm²`; none if there are no limits.
pub(super) fn range(bounds: &Bounds, unit: &Unit) -> Option<String> {
    let shown = |si: f64| format_quantity(si, unit, DIGITS);
    let low = if bounds.lo_open {
        "more than"
    } else {
        "at least"
    };
    let high = if bounds.hi_open {
        "less than"
    } else {
        "at most"
    };
    match (bounds.lo.is_finite(), bounds.hi.is_finite()) {
        (false, false) => None,
        (true, false) => Some(format!("{low} {}", shown(bounds.lo))),
        (false, true) => Some(format!("{high} {}", shown(bounds.hi))),
        (true, true) if bounds.lo_open || bounds.hi_open => Some(format!(
            "{low} {} and {high} {}",
            shown(bounds.lo),
            shown(bounds.hi)
        )),
        (true, true) => Some(format_interval(bounds.lo, bounds.hi, unit)),
    }
}

/// The members of a series as a design writes them: `1, 1.5, 2.5 mm²`, `14 AWG, 12 AWG`.
pub(super) fn members(series: &Series, unit: &Unit) -> String {
    let named = series.members.iter().any(|m| m.name.is_some());
    let symbol = format!(" {}", unit.text());
    let mut shown: Vec<String> = series.members.iter().map(|m| m.shown(unit)).collect();
    if !named && let Some((_, before)) = shown.split_last_mut() {
        // The unit stands once, behind the last.
        for text in before {
            if let Some(number) = text.strip_suffix(&symbol) {
                *text = number.to_owned();
            }
        }
    }
    shown.join(", ")
}

/// Which of the words that open a part set a fact; a design does not say it again besides those.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Opening {
    None,
    Some,
    All,
}

fn opening_says(kind: &Kind, ix: FactIx) -> Opening {
    let sets = |h: &&Head| h.sets.iter().any(|(f, _)| *f == ix);
    match kind.heads.iter().filter(sets).count() {
        0 => Opening::None,
        n if n == kind.heads.len() && kind.part_only => Opening::All,
        _ => Opening::Some,
    }
}

/// What holds of its values: limits, `none`, tolerances, completeness.
pub(super) fn conditions(ruleset: &Ruleset, kind: KindId, ix: FactIx) -> Vec<String> {
    let declared = ruleset.vocabulary.kind(kind);
    let fact = declared.fact(ix);
    let mut all = Vec::new();
    if opening_says(declared, ix) == Opening::All {
        all.push("said by the word that opens the part, and not again".to_owned());
    }
    if let Some(unit) = fact.unit() {
        all.extend(range(&fact.domain, unit));
        let usual = fact.plausible.as_ref().and_then(|b| range(b, unit));
        all.extend(usual.map(|u| format!("mostly {u}")));
    }
    if fact.exact {
        all.push("without tolerance or range".to_owned());
    }
    if fact.optional {
        all.push("may be none".to_owned());
    } else if matches!(fact.ty, FactType::Part(_) | FactType::Reference(_)) {
        all.push("there always is one".to_owned());
    }
    if fact.never_assumed {
        all.push("never assumed".to_owned());
    }
    let target = fact.target().map(|k| &ruleset.vocabulary.kind(k).name);
    match (fact.open, target) {
        (Openness::Always, Some(name)) => all.push(format!(
            "there may be more than are written, until `all-listed: {name}` says not"
        )),
        (Openness::Existing, Some(name)) => all.push(format!(
            "{} that is not new may have more than are written, until `all-listed: {name}` says not",
            with_article(&declared.name)
        )),
        _ => {}
    }
    all
}

/// Where the value of a fact comes from when no line of a design writes it, in the order in which
/// it is looked for; empty where nothing is known then.
pub(super) fn unwritten(ruleset: &Ruleset, kind: KindId, ix: FactIx) -> Vec<String> {
    let v = &ruleset.vocabulary;
    let declared = v.kind(kind);
    let fact = declared.fact(ix);
    let mut ways = Vec::new();
    if !fact.writable {
        return ways;
    }
    if matches!(declared.name_role, NameRole::Choice(f) | NameRole::Reference(f) if f == ix) {
        ways.push("as the name of the block".to_owned());
    }
    let around: Vec<&str> = declared
        .within
        .iter()
        .filter(|w| w.sets == ix)
        .map(|w| v.kind(w.kind).name.as_str())
        .collect();
    if !around.is_empty() {
        ways.push(format!("the {} around it", either(&around)));
    }
    if opening_says(declared, ix) == Opening::Some {
        ways.push("by the word that opens the part, where that says it".to_owned());
    }
    if fact.name == "status" {
        // The language reads this fact itself and looks for it in the blocks around.
        ways.push("as of the block around it, else new".to_owned());
    } else if fact.name == PRESENT {
        ways.push("yes".to_owned());
    } else if ruleset.derivation(kind, ix).is_some() {
        ways.push("worked out".to_owned());
    } else if let Some(along) = fact.inherits {
        ways.push(format!("as at what {} leads to", declared.fact(along).name));
    } else if let Some(a) = ruleset.assumption(kind, ix) {
        let value = match &a.value {
            Assumed::TheOnly(k) if *k == kind => "itself".to_owned(),
            Assumed::TheOnly(k) => format!("the only {} of the file", v.kind(*k).name),
            _ => a.text.clone(),
        };
        let from = a.origin.clause.as_ref().or(a.origin.source.as_ref());
        let from = from.map_or_else(String::new, |f| format!(" ({f})"));
        ways.push(format!("assumed to be {value}{from}"));
    }
    ways
}
