//! What somebody outside is told: the facts of a notice, written or worked out.

use super::as_designed::shown;
use crate::check::{Linker, show_val};
use crate::design::model::{Design, ObjectId, Possible, Status};
use crate::expression::{Flags, Presence, Val};
use crate::ruleset::Ruleset;
use crate::vocabulary::{Fact, FactIx, FactType, LINES, Settler};

/// One fact that is told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// What kind of thing it is about.
    pub kind: String,
    /// Its name.
    pub of: String,
    /// Its label.
    pub label: Option<String>,
    /// The fact.
    pub fact: String,
    /// What it is.
    pub means: String,
    /// The value. None, where it is not known yet.
    pub value: Option<String>,
}

/// What somebody is told, thing by thing, in the order of the ruleset.
#[must_use]
pub fn told(ruleset: &Ruleset, design: &Design, to: Settler) -> Vec<Told> {
    let mut linker = Linker::new(ruleset, design);
    let v = &ruleset.vocabulary;
    let mut kinds = Vec::new();
    for t in ruleset.tellings.iter().filter(|t| t.to == to) {
        if !kinds.contains(&t.kind) {
            kinds.push(t.kind);
        }
    }
    let mut all = Vec::new();
    for kind in kinds {
        for id in design.of_kind(kind) {
            let object = design.object(id);
            if object.phantom || object.status == Status::ToGo {
                continue;
            }
            let facts = ruleset
                .tellings
                .iter()
                .filter(|t| t.to == to && t.kind == kind);
            for t in facts {
                let fact = v.fact(kind, t.fact);
                all.push(Told {
                    kind: v.kind(kind).name.clone(),
                    of: design.label(id),
                    label: object.label.clone(),
                    fact: fact.name.clone(),
                    means: fact.means.clone(),
                    value: value(ruleset, design, &mut linker, id, t.fact, fact),
                });
            }
        }
    }
    all
}

/// What is written; else what is worked out.
pub(in crate::answer) fn value(
    ruleset: &Ruleset,
    design: &Design,
    linker: &mut Linker<'_>,
    id: ObjectId,
    ix: FactIx,
    fact: &Fact,
) -> Option<String> {
    let written = design.object(id).facts.get(ix.0 as usize);
    if let Some(w) = written.and_then(Option::as_ref) {
        return match w.value {
            Possible::Unknown => None,
            _ => shown(ruleset, design, fact, &w.value),
        };
    }
    // Of what is not worked out, an assumption says something of plain values alone.
    let derived = ruleset.derivation(design.object(id).kind, ix).is_some();
    if !derived {
        let reg = linker.fact(id, ix, None);
        let val = linker.program.val(reg);
        let single = val.lo == val.hi || !matches!(fact.ty, FactType::Quantity { .. });
        let assumed = is_plain(fact) && val.flags.any(Flags::ASSUMED) && single;
        let text = assumed.then(|| one(ruleset, linker, id, ix, fact, None));
        return text.flatten().map(|text| format!("{text} (assumed)"));
    }
    let per_line = matches!(fact.ty, FactType::Quantity { per_line: true, .. });
    if !per_line {
        return one(ruleset, linker, id, ix, fact, None);
    }
    let lines: Vec<String> = (0_u8..)
        .zip(LINES)
        .filter_map(|(l, name)| {
            let text = one(ruleset, linker, id, ix, fact, Some(l))?;
            (text.split(' ').next() != Some("0")).then(|| format!("{name} {text}"))
        })
        .collect();
    (!lines.is_empty()).then(|| lines.join(", "))
}

fn one(
    ruleset: &Ruleset,
    linker: &mut Linker<'_>,
    id: ObjectId,
    ix: FactIx,
    fact: &Fact,
    line: Option<u8>,
) -> Option<String> {
    let reg = linker.fact(id, ix, line);
    let val = linker.program.val(reg);
    if val.flags.any(Flags::UNSOUND) || !is_known(&val, fact) {
        return None;
    }
    Some(show_val(&val, fact, &ruleset.vocabulary))
}

/// A number, a date, one word, yes or no.
const fn is_plain(fact: &Fact) -> bool {
    matches!(
        fact.ty,
        FactType::Quantity {
            per_line: false,
            ..
        } | FactType::Date
            | FactType::YesNo
            | FactType::Choice { .. }
    )
}

/// Whether a value says something: a number within bounds, one word, yes or no.
fn is_known(val: &Val, fact: &Fact) -> bool {
    match fact.ty {
        FactType::Quantity { .. } | FactType::Date => {
            val.bits == Presence::PRESENT && val.lo.is_finite() && val.hi.is_finite()
        }
        FactType::YesNo | FactType::Choice { .. } => val.bits.count_ones() == 1,
        _ => true,
    }
}
