//! Key figures with their limits, and what a verdict rests on without being written.

use super::finding::FigureValue;
use super::link::Linker;
use super::settings::Settings;
use super::subject::Subject;
use crate::design::model::{Design, ObjectId};
use crate::expression::{Flags, Program, Reg, Val};
use crate::quantity::TruthSet;
use crate::ruleset::Ruleset;
use crate::vocabulary::FactIx;
use rustc_hash::FxHashMap;

/// A figure, its register, and that of its limit.
type Found = (FigureValue, Reg, Option<Reg>);

/// The key figures of a design.
pub(super) fn figures(
    linker: &mut Linker<'_>,
    ruleset: &Ruleset,
    design: &Design,
    settings: &Settings,
) -> Vec<Found> {
    let mut all: Vec<Option<Found>> = Vec::new();
    // Where each stands: a later layer may say what a figure is measured against.
    let mut places: FxHashMap<(ObjectId, FactIx), usize> = FxHashMap::default();
    if settings.only.is_some() {
        return Vec::new();
    }
    for f in &ruleset.figures {
        let fact = ruleset.vocabulary.fact(f.kind, f.fact);
        let Some(unit) = fact.unit() else { continue };
        for id in design.of_kind(f.kind) {
            let o = design.object(id);
            if !o.stays() {
                continue;
            }
            if let Some(w) = &f.where_ {
                let r = linker.expression(w, id);
                if linker.program.val(r).as_truth() != TruthSet::T {
                    continue;
                }
            }
            let reg = linker.fact(id, f.fact, None);
            let val = linker.program.val(reg);
            // What only seems not to be computable is looked into later, member by member.
            let doubt = Flags(Flags::UNSOUND.0 & !Flags::NOT_COMPUTABLE.0);
            if val.bits != crate::expression::Presence::PRESENT || val.flags.any(doubt) {
                continue;
            }
            let mut limit = |ix: Option<FactIx>, upper: bool| {
                let reg = linker.fact(id, ix?, None);
                let v = linker.program.val(reg);
                let known = v.is_number_point() && !v.flags.any(doubt);
                known.then_some(((v.lo, upper), reg))
            };
            let found = limit(f.at_most, true).or_else(|| limit(f.at_least, false));
            let (limit, limit_at) = found.unzip();
            let series = fact.series.filter(|_| val.lo == val.hi);
            let member = series.and_then(|s| ruleset.vocabulary.series(s).at(val.lo));
            let figure = FigureValue {
                subject: Subject::new(design, id),
                fact: fact.name.clone(),
                means: fact.texts.means.clone(),
                low: val.lo,
                high: val.hi,
                unit: unit.clone(),
                name: member.and_then(|m| m.name.clone()),
                limit,
            };
            if let Some(before) = places.insert((id, f.fact), all.len())
                && let Some(slot) = all.get_mut(before)
            {
                *slot = None;
            }
            all.push(Some((figure, reg, limit_at)));
        }
    }
    all.into_iter().flatten().collect()
}

/// The figures that can be computed: where a look-up seems to have no row because of what lies
/// between the members of a choice, each member is looked at alone.
pub(super) fn computable(
    found: Vec<Found>,
    program: &Program,
    mut range: impl FnMut(Reg) -> Option<Val>,
) -> Vec<FigureValue> {
    let keep = |(mut figure, reg, limit): Found| {
        let doubtful = |r: Reg| program.val(r).flags.any(Flags::NOT_COMPUTABLE);
        if limit.is_some_and(|r| doubtful(r) && range(r).is_none()) {
            figure.limit = None;
        }
        if doubtful(reg) {
            let val = range(reg)?;
            (figure.low, figure.high) = (val.lo, val.hi);
        }
        Some(figure)
    };
    found.into_iter().filter_map(keep).collect()
}

/// What was assumed, each assumption once.
pub(super) fn assumed(linker: &Linker<'_>, ruleset: &Ruleset, design: &Design) -> Vec<String> {
    let mut all: Vec<String> = linker
        .assumed
        .iter()
        .filter_map(|(o, ix)| {
            let kind = design.object(*o).kind;
            let a = ruleset.assumption(kind, *ix)?;
            let fact = ruleset.vocabulary.fact(kind, *ix);
            let cited = a.origin.clause.as_deref().or(a.origin.source.as_deref());
            let cited = cited.map_or(String::new(), |c| format!(" ({c})"));
            let (fact, kind) = (&fact.name, &ruleset.vocabulary.kind(kind).name);
            let text = &a.text;
            Some(format!(
                "{fact} of each {kind} where it is not written: {text}{cited}"
            ))
        })
        .collect();
    all.sort();
    all.dedup();
    all
}
