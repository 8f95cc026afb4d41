//! Values as people write them.

use crate::expression::{Flags, Presence, SetWords, Val};
use crate::quantity::{TruthSet, Unit, format_date, format_interval, format_quantity};
use crate::vocabulary::{Fact, FactType, Vocabulary, WordSet};

/// A number or interval with its unit.
#[must_use]
pub fn show_number(val: &Val, unit: Option<&Unit>, digits: usize) -> String {
    if val.bits == Presence::ABSENT {
        return "none".to_owned();
    }
    if val.flags.any(Flags::GAP) {
        return "a figure the ruleset lacks".to_owned();
    }
    let Some(unit) = unit else {
        return if val.lo == val.hi {
            format!("{}", val.lo)
        } else {
            format!("{} .. {}", val.lo, val.hi)
        };
    };
    if val.lo == val.hi {
        format_quantity(val.lo, unit, digits)
    } else {
        format_interval(tame(val.lo), tame(val.hi), unit)
    }
}

/// A limit that excludes zero is kept as the number next to zero; people say zero.
#[must_use]
pub fn tame(x: f64) -> f64 {
    if x.abs() < 1e-290 { 0.0 } else { x }
}

/// A value of a fact.
#[must_use]
pub fn show_val(val: &Val, fact: &Fact, vocabulary: &Vocabulary) -> String {
    match &fact.ty {
        FactType::Choice { words, .. } => show_words(val.bits, words),
        FactType::Some { words } => show_set(val.bits, words),
        FactType::YesNo => show_truth(val).to_owned(),
        FactType::Date => {
            if val.lo == val.hi {
                format_date((val.lo / 86_400.0) as i32)
            } else {
                "?".to_owned()
            }
        }
        FactType::Quantity { unit, .. } => {
            if let Some(m) = fact.series.and_then(|s| vocabulary.series(s).at(val.lo))
                && val.lo == val.hi
                && let Some(name) = &m.name
            {
                return name.clone();
            }
            show_number(val, Some(unit), 4)
        }
        FactType::Text => "a text".to_owned(),
        _ => {
            if val.bits & 1 == 0 {
                "fitted".to_owned()
            } else {
                "none".to_owned()
            }
        }
    }
}

/// Words that are known to be in a set of words.
#[must_use]
pub fn show_set(bits: u64, words: &[String]) -> String {
    let names: Vec<&str> = (0_u8..)
        .zip(words)
        .filter(|(i, _)| SetWords::has(bits, *i) == TruthSet::T)
        .map(|(_, w)| w.as_str())
        .collect();
    if names.is_empty() {
        "none".to_owned()
    } else {
        names.join(", ")
    }
}

/// Words of a choice.
#[must_use]
pub fn show_words(bits: u64, words: &[String]) -> String {
    let mut names: Vec<&str> = words
        .iter()
        .enumerate()
        .filter(|(i, _)| WordSet::from_bits(bits).has(*i))
        .map(|(_, w)| w.as_str())
        .collect();
    if bits & Presence::NO_WORD != 0 {
        names.push("none");
    }
    if names.len() > 6 {
        return "?".to_owned();
    }
    names.join(" | ")
}

/// Yes, no or not known.
#[must_use]
pub fn show_truth(val: &Val) -> &'static str {
    match val.as_truth() {
        TruthSet::T => "yes",
        TruthSet::F => "no",
        _ => "not known",
    }
}
