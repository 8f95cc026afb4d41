//! What a fact is, from its text: units, types and ranges.

use std::sync::Arc;

use super::reader::{Fields, kind_of};
use crate::expression::SetWords;
use crate::quantity::{Dim, Unit, parse_quantity};
use crate::source::{Problem, Span};
use crate::vocabulary::{Bounds, FactType, Vocabulary, WordSet};

pub(super) fn unit_of(text: &str, at: Span, problems: &mut Vec<Problem>) -> Option<Unit> {
    match Unit::parse(text) {
        Ok(u) => Some(u),
        Err(e) => {
            let mut p = Problem::wrong("unknown-unit", at, format!("`{text}` is not a known unit"));
            p.help.extend(e.help());
            p.fail(problems)
        }
    }
}

/// The same, where `number` or `whole` may stand for figures without a unit.
pub(super) fn unit_of_figures(text: &str, at: Span, problems: &mut Vec<Problem>) -> Option<Unit> {
    let unit = if matches!(text, "number" | "whole") {
        ""
    } else {
        text
    };
    unit_of(unit, at, problems)
}

/// Splits `0.95`, `70 V`, `10 mohm/m` into digits and unit.
pub(super) fn split_quantity(text: &str) -> (&str, &str) {
    let text = text.trim();
    let at = text
        .char_indices()
        .find(|(i, c)| !(c.is_ascii_digit() || *c == '.' || (*i == 0 && matches!(c, '-' | '+'))))
        .map_or(text.len(), |(i, _)| i);
    let (digits, unit) = text.split_at(at);
    (digits, unit.trim())
}

/// What a type says before kinds and facts are known.
pub(super) enum Said {
    Type(FactType),
    Reverse(String),
}

/// Whether a design can write this word of a choice: as one word, or as a number with at most
/// letters glued to it (`100`, `4a`).
fn can_be_written(word: &str) -> bool {
    if word.starts_with(|c: char| c.is_ascii_digit()) {
        let letters = word.trim_start_matches(|c: char| c.is_ascii_digit());
        return letters.chars().all(char::is_alphabetic);
    }
    let piece = |p: &str| {
        let mut chars = p.chars().peekable();
        chars.peek().is_some() && chars.all(|c| c.is_alphanumeric() || c == '_')
    };
    word.starts_with(char::is_alphabetic) && word.split('-').all(piece)
}

/// Reads the type of a fact: `A per line`, `one of A B C`, `part device` …
pub(super) fn fact_type(
    text: &str,
    at: Span,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Option<Said> {
    let text = text.trim();
    let (base, per_line) = match text.strip_suffix("per line") {
        Some(base) => (base.trim(), true),
        None => (text, false),
    };
    let words = |list: &str, problems: &mut Vec<Problem>, most: usize| {
        let all: Vec<String> = list
            .split([' ', ','])
            .filter(|w| !w.is_empty())
            .map(str::to_owned)
            .collect();
        if all.is_empty() || all.len() > most {
            let why = format!("give 1 to {most} words, not {}", all.len());
            Problem::wrong("bad-words", at, why).report(problems);
        }
        for word in all.iter().filter(|w| !can_be_written(w)) {
            let why = format!("no design can write the word `{word}` of a choice");
            Problem::wrong("bad-words", at, why)
                .help("a word begins with a letter and has letters, digits, `_` and single hyphens, or it is a number, perhaps with letters right behind it")
                .report(problems);
        }
        Arc::new(all)
    };
    let quantity = |unit: Unit, whole: bool| FactType::Quantity {
        unit,
        per_line,
        whole,
    };
    if per_line
        && matches!(
            base.split(' ').next(),
            Some("one" | "ordered" | "some" | "part" | "reference")
        )
    {
        return Problem::wrong("bad-type", at, "only a quantity has a value for each line")
            .fail(problems);
    }
    let of = |rest: &'_ str| rest.strip_prefix("of ").unwrap_or(rest).to_owned();
    Some(Said::Type(match base.split_once(' ') {
        Some(("one", rest)) => FactType::Choice {
            words: words(&of(rest), problems, WordSet::MOST),
            ordered: false,
        },
        Some(("ordered", rest)) => FactType::Choice {
            words: words(rest, problems, WordSet::MOST),
            ordered: true,
        },
        Some(("some", rest)) => FactType::Some {
            words: words(&of(rest), problems, SetWords::MOST),
        },
        Some((form @ ("part" | "parts" | "reference" | "references"), kind)) => {
            let id = kind_of(kind.trim(), at, v, problems)?;
            match form {
                "part" => FactType::Part(id),
                "parts" => FactType::Parts(id),
                "reference" => FactType::Reference(id),
                _ => FactType::References(id),
            }
        }
        Some(("reverse", path)) => return Some(Said::Reverse(path.trim().to_owned())),
        _ => match base {
            "number" => quantity(Unit::ONE, false),
            "whole" => quantity(Unit::ONE, true),
            "yes-no" => FactType::YesNo,
            "text" => FactType::Text,
            "date" => FactType::Date,
            unit => match Unit::parse(unit) {
                Ok(u) => quantity(u, false),
                Err(_) => {
                    let why = format!("`{text}` is not the type of a fact");
                    return Problem::wrong("bad-type", at, why)
                        .help("write a unit, or one of: number, whole, yes-no, text, date, one of …, ordered …, some of …, part K, parts K, reference K, references K, reverse K.F")
                        .fail(problems);
                }
            },
        },
    }))
}

/// Reads `> 0 A`, `0 m .. 500 m`, `>= 1`.
pub(super) fn bounds(
    text: &str,
    unit: Option<&Unit>,
    at: Span,
    problems: &mut Vec<Problem>,
) -> Option<Bounds> {
    let number = |part: &str, fallback: Option<&str>| -> Option<(f64, Dim, String)> {
        let (digits, written) = split_quantity(part);
        let own = unit.map(|u| u.text().to_owned()).unwrap_or_default();
        let unit_text = if written.is_empty() {
            fallback.map_or(own, str::to_owned)
        } else {
            written.to_owned()
        };
        let u = Unit::parse(&unit_text).ok()?;
        Some((parse_quantity(digits, &u)?, u.dim(), unit_text))
    };
    let mut b = Bounds::ALL;
    let text = text.trim();
    let mut dims: Vec<Dim> = Vec::new();
    let parsed = if let Some((low, high)) = text.split_once("..") {
        match number(high, None) {
            Some((hi, d, unit_text)) => number(low, Some(&unit_text)).map(|(lo, e, _)| {
                (b.lo, b.hi) = (lo, hi);
                dims.extend([d, e]);
            }),
            None => None,
        }
    } else {
        // The sign, whether what it gives is the low end, and whether that end is open.
        let signs = [
            (">=", true, false),
            (">", true, true),
            ("<=", false, false),
            ("<", false, true),
        ];
        let signed = signs
            .into_iter()
            .find_map(|(sign, low, open)| Some((text.strip_prefix(sign)?, low, open)));
        signed.and_then(|(rest, low, open)| {
            let (x, d, _) = number(rest, None)?;
            if low {
                (b.lo, b.lo_open) = (x, open);
            } else {
                (b.hi, b.hi_open) = (x, open);
            }
            dims.push(d);
            Some(())
        })
    };
    let fits = unit.is_none_or(|u| dims.iter().all(|d| *d == u.dim()));
    let wrong = if parsed.is_none() {
        let why = format!("`{text}` is not a range of this fact");
        Some((why, "write it like `> 0 A` or `0 m .. 500 m`".to_owned()))
    } else if !fits {
        let own = unit.map_or("", Unit::text);
        let why = format!("`{text}` is in another unit than the fact, which is in {own}");
        Some((why, format!("write it in {own}")))
    } else {
        let why = format!("`{text}` begins above its end");
        (b.lo > b.hi).then(|| (why, "write the lower end first".to_owned()))
    };
    if let Some((why, help)) = wrong {
        return Problem::wrong("bad-range", at, why)
            .help(help)
            .fail(problems);
    }
    Some(b)
}

/// Whether `optional: yes` fits a type; a value that is absent is none of the two of yes and no,
/// and no set of words.
pub(super) fn can_be_absent(ty: &FactType, f: &Fields<'_>, problems: &mut Vec<Problem>) -> bool {
    let (what, instead) = match ty {
        FactType::YesNo => (
            "yes or no",
            "make it `one of` some words, one of them for what is absent",
        ),
        FactType::Some { .. } => ("a set of words", "give it the word `none`"),
        _ => return true,
    };
    if let Some(node) = f.get("optional") {
        let why = format!("what is {what} cannot be absent, so it cannot be optional");
        Problem::wrong("bad-optional", node.span, why)
            .help(instead)
            .report(problems);
    }
    false
}
