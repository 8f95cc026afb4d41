//! What is told to somebody outside: the facts that a notice holds.

use super::layers::Merged;
use super::lower_tables::path;
use super::model::{Listed, Telling};
use super::reader::Fields;
use crate::quantity::{Unit, parse_quantity};
use crate::source::{Problem, Span};
use crate::vocabulary::{FactType, Settler, Vocabulary};

/// Reads `tell:` of all layers, in their order; a fact is told once.
pub(super) fn tellings(
    merged: &Merged<'_>,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Vec<Telling> {
    let mut all: Vec<Telling> = Vec::new();
    for item in &merged.tell {
        let name = "what is told";
        let keys = ["to", "is", "as", "spare", "in"];
        let Some(f) = Fields::new(item.node, item.at, name, &keys, problems) else {
            continue;
        };
        let (Some(to), Some(is)) = (
            f.needed("to", name, problems),
            f.needed("is", name, problems),
        ) else {
            continue;
        };
        let Some(settler) = Settler::ALL.into_iter().find(|s| s.word() == to) else {
            let words = Settler::ALL.map(Settler::word);
            problems.push(
                Problem::error("unknown-word", format!("nobody is called `{to}` here"))
                    .at(f.get("to").map_or(item.at, |n| n.span), "")
                    .help(format!("write one of {}", words.join(", "))),
            );
            continue;
        };
        let Some((kind, fact)) = path(is, item.at, v, problems) else {
            continue;
        };
        let number = matches!(v.fact(kind, fact).ty, FactType::Quantity { .. });
        let new = Telling {
            to: settler,
            kind,
            fact,
            part: listed(&f, item.at, number, problems),
        };
        let same = |t: &Telling| (t.to, t.kind, t.fact) == (new.to, new.kind, new.fact);
        if !all.iter().any(same) {
            all.push(new);
        }
    }
    all
}

/// What a fact does on a list, by `as`; `spare` belongs to a sum.
fn listed(f: &Fields<'_>, at: Span, number: bool, problems: &mut Vec<Problem>) -> Listed {
    let at = |key: &str| f.get(key).map_or(at, |n| n.span);
    let spare = f.text("spare", problems).map(|text| {
        let percent = Unit::parse("%").ok().zip(text.strip_suffix('%'));
        let share = percent.and_then(|(unit, digits)| parse_quantity(digits.trim(), &unit));
        share
            .filter(|s| (0.0..=1.0).contains(s))
            .unwrap_or_else(|| {
                problems.push(
                    Problem::error("bad-number", format!("`{text}` is no share to spare"))
                        .at(at("spare"), "")
                        .help("write a share from 0 % to 100 %, such as `10 %`"),
                );
                0.0
            })
    });
    let part = match f.text("as", problems) {
        None => Listed::Tells,
        Some("times") => Listed::Times,
        Some("sum") => Listed::Sum {
            spare: spare.unwrap_or(0.0),
        },
        Some("extra") => Listed::Extra,
        Some(word) => {
            problems.push(
                Problem::error("unknown-word", format!("`{word}` is no part of a list"))
                    .at(at("as"), "")
                    .help("write one of times, sum, extra, or leave `as` out"),
            );
            Listed::Tells
        }
    };
    if part != Listed::Tells && !number {
        problems.push(
            Problem::error("bad-type", "only a number can be counted or added up").at(at("as"), ""),
        );
        return Listed::Tells;
    }
    if spare.is_some() && !matches!(part, Listed::Sum { .. }) {
        problems
            .push(Problem::error("bad-key", "`spare` belongs to `as: sum`").at(at("spare"), ""));
    }
    part
}
