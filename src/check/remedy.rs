//! Single changes to what the designer may choose, each tried on the whole design: a help that is
//! known to work.

use rustc_hash::FxHashSet;

use super::finding::Outcome;
use super::judge::{Settings, check};
use super::link::{LeafInfo, What};
use super::show::{show_number, show_val};
use crate::design::model::{Design, Possible, Status};
use crate::expression::Val;
use crate::quantity::{Interval, Rounding, TruthSet, format_toward};
use crate::ruleset::{Ruleset, Severity};
use crate::vocabulary::{Fact, FactType, Settler};

/// Facts that say where a thing is and how it is laid: another value would describe another place,
/// not a change that a designer can order.
const WHERE_IT_IS: [&str; 14] = [
    "method",
    "ambient",
    "group",
    "group-laid",
    "raceway",
    "place",
    "location",
    "seen",
    "guard",
    "insulation-cover",
    "depth",
    "soil",
    "status",
    "lines",
];

/// A rule and a subject.
pub(super) type Pair = (String, String);

/// At most this many changes are told.
const MOST: usize = 2;

/// Changes of one written value after which a rule holds for a subject and no other breach is
/// added.
pub(super) fn remedies(
    ruleset: &Ruleset,
    design: &Design,
    settings: &Settings,
    pair: &Pair,
    leaves: &[LeafInfo],
    failing: &FxHashSet<Pair>,
) -> Vec<String> {
    let mut out = Vec::new();
    let mut seen: FxHashSet<(u32, u16)> = FxHashSet::default();
    for info in leaves {
        if info.what != What::Fact || info.inner.is_some() || info.line.is_some() {
            continue;
        }
        if !seen.insert((info.object.0, info.fact.0)) {
            continue;
        }
        let object = design.object(info.object);
        let fact = ruleset.vocabulary.fact(object.kind, info.fact);
        let chosen = fact.settled_by == Settler::Designer
            && matches!(object.status, Status::New | Status::Altered)
            && !WHERE_IT_IS.contains(&fact.name.as_str());
        let Some(Some(written)) = object.facts.get(info.fact.0 as usize) else {
            continue;
        };
        if !chosen {
            continue;
        }
        let with = |value: Possible| {
            let mut changed = design.clone();
            if let Some(Some(w)) = changed
                .objects
                .get_mut(info.object.0 as usize)
                .and_then(|o| o.facts.get_mut(info.fact.0 as usize))
            {
                w.value = value;
            }
            changed
        };
        let holds = |d: &Design| holds(ruleset, d, settings, pair);
        for (value, text) in candidates(ruleset, fact, &written.value, |x| {
            holds(&with(Possible::Number(Interval::point(x))))
        }) {
            let changed = with(value);
            if holds(&changed) && adds_nothing(ruleset, &changed, settings, pair, failing) {
                out.push(format!(
                    "`{}: {text}` for {} would meet this rule and break no other, if the site allows it",
                    fact.name,
                    design.describe(info.object)
                ));
                break;
            }
        }
        if out.len() >= MOST {
            break;
        }
    }
    out
}

fn quiet(settings: &Settings) -> Settings {
    Settings {
        remedies: false,
        ..settings.clone()
    }
}

fn holds(ruleset: &Ruleset, design: &Design, settings: &Settings, pair: &Pair) -> bool {
    let only = Settings {
        only: Some(pair.0.clone()),
        ..quiet(settings)
    };
    let judged = check(ruleset, design, &only);
    judged
        .report
        .findings
        .iter()
        .filter(|f| f.subject == pair.1)
        .all(|f| matches!(f.outcome, Outcome::Met | Outcome::NotApplicable))
}

fn adds_nothing(
    ruleset: &Ruleset,
    design: &Design,
    settings: &Settings,
    pair: &Pair,
    failing: &FxHashSet<Pair>,
) -> bool {
    check(ruleset, design, &quiet(settings))
        .report
        .findings
        .iter()
        .filter(|f| f.outcome == Outcome::Failed && f.severity == Severity::Breach)
        .map(|f| (f.rule.clone(), f.subject.clone()))
        .all(|p| p != *pair && failing.contains(&p))
}

/// Other values of a fact, nearest first, as value and text.
fn candidates(
    ruleset: &Ruleset,
    fact: &Fact,
    now: &Possible,
    holds: impl Fn(f64) -> bool,
) -> Vec<(Possible, String)> {
    let v = &ruleset.vocabulary;
    match (&fact.ty, now) {
        (FactType::Quantity { unit, whole, .. }, Possible::Number(i)) if i.is_point() => {
            if let Some(s) = fact.series {
                let mut all: Vec<f64> = v.series(s).members.iter().map(|m| m.value).collect();
                all.retain(|m| (m - i.lo).abs() > 1e-9 * m.abs() && fact.domain.contains(*m));
                all.sort_by(|a, b| (a - i.lo).abs().total_cmp(&(b - i.lo).abs()));
                all.truncate(8);
                return all
                    .into_iter()
                    .map(|m| {
                        (
                            Possible::Number(Interval::point(m)),
                            show_val(&Val::number(m), fact, v),
                        )
                    })
                    .collect();
            }
            if *whole || fact.exact {
                return Vec::new();
            }
            // The largest smaller value that will do, to three digits on the safe side.
            let (mut good, mut bad) = (i.lo * 0.4, i.lo);
            if !holds(good) {
                return Vec::new();
            }
            for _ in 0..10 {
                let middle = (good + bad) / 2.0;
                if holds(middle) {
                    good = middle;
                } else {
                    bad = middle;
                }
            }
            let text = format_toward(good, unit, 3, Rounding::Down);
            let digits: String = text
                .chars()
                .take_while(|c| c.is_ascii_digit() || *c == '.')
                .collect();
            let value = crate::quantity::parse_quantity(&digits, unit).unwrap_or(good);
            vec![(
                Possible::Number(Interval::point(value)),
                show_number(&Val::number(value), Some(unit), 3),
            )]
        }
        (FactType::Choice { words, .. }, Possible::Words(bits)) => words
            .iter()
            .enumerate()
            .filter(|(i, _)| bits >> i & 1 == 0)
            .map(|(i, w)| (Possible::Words(1 << i), w.clone()))
            .collect(),
        (FactType::Choice { words, .. }, Possible::Absent) => words
            .iter()
            .enumerate()
            .map(|(i, w)| (Possible::Words(1 << i), w.clone()))
            .collect(),
        (FactType::YesNo, Possible::Truth(t)) => {
            let word = if TruthSet::of(*t) == TruthSet::T {
                "no"
            } else {
                "yes"
            };
            vec![(Possible::Truth(!t), word.to_owned())]
        }
        _ => Vec::new(),
    }
}
