//! Values as people write them.

use crate::expression::{Flags, Presence, SetWords, Ty, Val};
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
        ty => match Ty::of(ty) {
            Ty::Object(_) | Ty::Collection(_) if val.bits & 1 == 0 => "fitted".to_owned(),
            Ty::Object(_) | Ty::Collection(_) => "none".to_owned(),
            ty => show_typed(val, &ty, None, 4),
        },
    }
}

/// A value of a type; a number in a unit.
#[must_use]
pub fn show_typed(val: &Val, ty: &Ty, unit: Option<&Unit>, digits: usize) -> String {
    match ty {
        Ty::Word(words) => show_words(val.bits, words),
        Ty::Set(words) => show_set(val.bits, words),
        Ty::Truth => match val.as_truth() {
            TruthSet::T => "yes",
            TruthSet::F => "no",
            _ => "not known",
        }
        .to_owned(),
        Ty::Date if val.lo == val.hi => format_date((val.lo / 86_400.0) as i32),
        Ty::Date => "?".to_owned(),
        _ => show_number(val, unit, digits),
    }
}

/// Words that are known to be in a set of words.
fn show_set(bits: u64, words: &[String]) -> String {
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
fn show_words(bits: u64, words: &[String]) -> String {
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
