//! What somebody outside is told: the facts of a notice, written or worked out.

use super::as_designed::shown;
use crate::check::{Linker, show_val};
use crate::design::model::{Design, ObjectId, Possible};
use crate::expression::{Flags, Presence, Val};
use crate::ruleset::{Ruleset, Telling};
use crate::vocabulary::{Fact, FactIx, FactType, KindId, LINES, Settler};

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
    let mut all = Vec::new();
    for (kind, facts) in by_kind(ruleset, to) {
        for id in design.of_kind(kind) {
            let object = design.object(id);
            if !object.goes() && !object.stays() {
                continue;
            }
            let mut add = |ix: FactIx, value: Option<String>| {
                let fact = v.fact(kind, ix);
                all.push(Told {
                    kind: v.kind(kind).name.clone(),
                    of: design.label(id),
                    label: object.label.clone(),
                    fact: fact.name.clone(),
                    means: fact.texts.means.clone(),
                    value,
                });
            };
            // Of what is taken out only that.
            if object.goes() {
                if let Some(ix) = v.kind(kind).fact_named("status") {
                    add(ix, Some(object.status.word().to_owned()));
                }
                continue;
            }
            for t in &facts {
                if !is_nothing(&mut linker, id, t.fact) {
                    add(t.fact, value(&mut linker, id, t.fact));
                }
            }
        }
    }
    all
}

/// Whether a fact is worked out to be none, so that nobody is to fill it in.
fn is_nothing(linker: &mut Linker<'_>, id: ObjectId, ix: FactIx) -> bool {
    let object = linker.design.object(id);
    let fact = linker.ruleset.vocabulary.fact(object.kind, ix);
    let one = matches!(
        fact.ty,
        FactType::Quantity {
            per_line: false,
            ..
        } | FactType::Date
    );
    let derived = linker.ruleset.derivation(object.kind, ix).is_some();
    if !one || !derived || object.written(ix).is_some() {
        return false;
    }
    let reg = linker.fact(id, ix, None);
    let val = linker.program.val(reg);
    val.bits == Presence::ABSENT && !val.flags.any(Flags::UNSOUND)
}

/// What somebody is told, kind by kind, in the order in which the ruleset first names each.
pub(in crate::answer) fn by_kind(ruleset: &Ruleset, to: Settler) -> Vec<(KindId, Vec<&Telling>)> {
    let mut all: Vec<(KindId, Vec<&Telling>)> = Vec::new();
    for t in ruleset.tellings.iter().filter(|t| t.to == to) {
        match all.iter_mut().find(|(kind, _)| *kind == t.kind) {
            Some((_, told)) => told.push(t),
            None => all.push((t.kind, vec![t])),
        }
    }
    all
}

/// What is written; else what is worked out.
pub(in crate::answer) fn value(
    linker: &mut Linker<'_>,
    id: ObjectId,
    ix: FactIx,
) -> Option<String> {
    let (ruleset, design) = (linker.ruleset, linker.design);
    let object = design.object(id);
    let fact = ruleset.vocabulary.fact(object.kind, ix);
    if let Some(w) = object.written(ix) {
        return match w.value {
            Possible::Unknown => None,
            _ => shown(ruleset, design, fact, &w.value),
        };
    }
    // Of what is not worked out, an assumption says something of plain values alone.
    let derived = ruleset.derivation(object.kind, ix).is_some();
    if !derived {
        let reg = linker.fact(id, ix, None);
        let val = linker.program.val(reg);
        let single = val.lo == val.hi || !matches!(fact.ty, FactType::Quantity { .. });
        let assumed = is_plain(fact) && val.flags.any(Flags::ASSUMED) && single;
        let text = assumed.then(|| one(linker, id, ix, fact, None));
        return text.flatten().map(|text| format!("{text} (assumed)"));
    }
    let per_line = matches!(fact.ty, FactType::Quantity { per_line: true, .. });
    if !per_line {
        return one(linker, id, ix, fact, None);
    }
    let lines: Vec<String> = (0_u8..)
        .zip(LINES)
        .filter_map(|(l, name)| {
            let text = one(linker, id, ix, fact, Some(l))?;
            (text.split(' ').next() != Some("0")).then(|| format!("{name} {text}"))
        })
        .collect();
    (!lines.is_empty()).then(|| lines.join(", "))
}

fn one(
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
    Some(show_val(&val, fact, &linker.ruleset.vocabulary))
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
