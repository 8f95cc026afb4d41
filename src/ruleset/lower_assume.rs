//! Assumptions from their YAML.

use super::lower_fact_type::split_quantity;
use super::lower_tables::origin;
use super::merged::{Item, Merged};
use super::model::{Assumed, Assumption};
use super::reader::{Fields, path};
use super::schema;
use crate::quantity::{Dim, Unit, parse_quantity};
use crate::source::Problem;
use crate::vocabulary::{FactIx, FactType, KindId, Later, Vocabulary, WordSet, Words};

pub(super) fn assumptions(
    merged: &Merged<'_>,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Vec<Vec<Option<Later<Assumption>>>> {
    let mut all: Vec<Vec<Option<Later<Assumption>>>> =
        v.kinds.iter().map(|k| vec![None; k.facts.len()]).collect();
    for item in merged.of("assume") {
        if let Some((kind, ix, entry)) = assumption(merged, item, v, problems) {
            all[kind.0 as usize][ix.0 as usize] = Some(entry.into());
        }
    }
    all
}

fn assumption(
    merged: &Merged<'_>,
    item: &Item<'_>,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Option<(KindId, FactIx, Assumption)> {
    let (kind, ix) = path(item.name, item.at, v, problems)?;
    let f = Fields::new(item.node, item.at, &schema::ASSUMPTION, problems)?;
    let text = f.needed("is", problems)?;
    let fact = v.fact(kind, ix);
    if fact.never_assumed {
        let why = format!("nobody may assume `{}`", item.name);
        return Problem::wrong("never-assumed", item.at, why)
            .at(fact.span, "it is marked so")
            .fail(problems);
    }
    if !fact.writable {
        let why = format!(
            "`{}` follows from others: there is nothing to assume",
            item.name
        );
        return Problem::wrong("never-assumed", item.at, why)
            .at(fact.span, "it is declared here")
            .help("assume what it follows from, or replace its formula under `derive`")
            .fail(problems);
    }
    let Some(value) = assumed(text, &fact.ty, v) else {
        let why = format!("`{text}` is no value of `{}`", item.name);
        return Problem::wrong("bad-value", f.at("is"), why).fail(problems);
    };
    if let Assumed::Number(x) = value {
        let series = fact.series.map(|s| v.series(s));
        let outside = match series {
            Some(series) if series.at(x).is_none() => Some(format!("the series `{}`", series.name)),
            _ if !fact.domain.contains_nearly(x) => Some("what the fact may be".to_owned()),
            _ => None,
        };
        if let Some(outside) = outside {
            let why = format!("`{text}` is assumed for `{}`, outside {outside}", item.name);
            Problem::wrong("bad-value", f.at("is"), why)
                .at(fact.span, "it is declared here")
                .report(problems);
        }
    }
    let entry = Assumption {
        value,
        only: f.flag("of-the-only", problems),
        text: text.to_owned(),
        origin: origin(&f, merged.layer_name(item), problems),
        span: item.at,
    };
    Some((kind, ix, entry))
}

fn assumed(text: &str, ty: &FactType, v: &Vocabulary) -> Option<Assumed> {
    if text == "none" {
        return Some(Assumed::Absent);
    }
    let word = |words: &Words, w: &str| words.iter().position(|x| x == w.trim()).map(WordSet::one);
    match ty {
        FactType::Quantity { unit, .. } => {
            let (digits, own) = split_quantity(text);
            let u = if own.is_empty() {
                if unit.dim() != Dim::NONE {
                    return None;
                }
                unit.clone()
            } else {
                Unit::parse(own).ok().filter(|u| u.dim() == unit.dim())?
            };
            parse_quantity(digits, &u).map(Assumed::Number)
        }
        FactType::Choice { words, .. } => word(words, text).map(Assumed::Word),
        FactType::Some { words } => text
            .split(',')
            .map(|w| word(words, w))
            .try_fold(WordSet::EMPTY, |all, one| one.map(|w| all.or(w)))
            .map(Assumed::Members),
        FactType::YesNo => match text {
            "yes" => Some(Assumed::Truth(true)),
            "no" => Some(Assumed::Truth(false)),
            _ => None,
        },
        FactType::Reference(_) => v.kind_named(text).map(Assumed::TheOnly),
        _ => None,
    }
}
