//! What is told to somebody outside: the facts that a notice holds.

use super::merged::{Item, Merged};
use super::model::{Listed, Telling};
use super::reader::{Fields, path};
use super::schema;
use crate::quantity::{Unit, parse_quantity};
use crate::source::Problem;
use crate::vocabulary::{FactType, Settler, Vocabulary};

/// Reads `tell:` of all layers, in their order; a fact is told once.
pub(super) fn tellings(
    merged: &Merged<'_>,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Vec<Telling> {
    let mut all: Vec<Telling> = Vec::new();
    for item in merged.of("tell") {
        let Some(new) = telling(item, v, problems) else {
            continue;
        };
        let same = |t: &Telling| (t.to, t.kind, t.fact) == (new.to, new.kind, new.fact);
        if !all.iter().any(same) {
            all.push(new);
        }
    }
    all
}

fn telling(item: &Item<'_>, v: &Vocabulary, problems: &mut Vec<Problem>) -> Option<Telling> {
    let f = Fields::new(item.node, item.at, &schema::TELLING, problems)?;
    let (to, is) = (f.needed("to", problems), f.needed("is", problems));
    let (to, is) = (to?, is?);
    let Some(settler) = Settler::from_word(to) else {
        let words = Settler::ALL.map(Settler::word);
        let why = format!("nobody is called `{to}` here");
        return Problem::wrong("unknown-word", f.at("to"), why)
            .help(format!("write one of {}", words.join(", ")))
            .fail(problems);
    };
    let (kind, fact) = path(is, item.at, v, problems)?;
    let number = matches!(v.fact(kind, fact).ty, FactType::Quantity { .. });
    Some(Telling {
        to: settler,
        kind,
        fact,
        part: listed(&f, number, problems),
    })
}

/// What a fact does on a list, by `as`; `spare` belongs to a sum.
fn listed(f: &Fields<'_>, number: bool, problems: &mut Vec<Problem>) -> Listed {
    let spare = f.text("spare", problems).map(|text| {
        let percent = Unit::parse("%").ok().zip(text.strip_suffix('%'));
        let share = percent.and_then(|(unit, digits)| parse_quantity(digits.trim(), &unit));
        share
            .filter(|s| (0.0..=1.0).contains(s))
            .unwrap_or_else(|| {
                let why = format!("`{text}` is no share to spare");
                Problem::wrong("bad-number", f.at("spare"), why)
                    .help("write a share from 0 % to 100 %, such as `10 %`")
                    .report(problems);
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
            let why = format!("`{word}` is no part of a list");
            Problem::wrong("unknown-word", f.at("as"), why)
                .help("write one of times, sum, extra, or leave `as` out")
                .report(problems);
            Listed::Tells
        }
    };
    if part != Listed::Tells && !number {
        let why = "only a number can be counted or added up";
        Problem::wrong("bad-type", f.at("as"), why).report(problems);
        return Listed::Tells;
    }
    if spare.is_some() && !matches!(part, Listed::Sum { .. }) {
        Problem::wrong("bad-key", f.at("spare"), "`spare` belongs to `as: sum`").report(problems);
    }
    part
}
