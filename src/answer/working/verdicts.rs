//! How the rules judge a figure.

use super::{WorkingStep, lines};
use crate::check::{Linker, one_line, show_number};
use crate::design::model::ObjectId;
use crate::expression::{Op, Presence, Reg, Val};
use crate::quantity::TruthSet;
use crate::vocabulary::FactIx;

/// What the rules say of a fact: each comparison of it that a rule makes of its object, with the
/// other side and how much is in hand.
pub(super) fn verdicts(
    linker: &mut Linker<'_>,
    object: ObjectId,
    ix: FactIx,
    result: &str,
) -> Vec<WorkingStep> {
    let kind = linker.design.object(object).kind;
    let fact = linker.ruleset.vocabulary.fact(kind, ix);
    let Some(unit) = fact.unit().cloned() else {
        return Vec::new();
    };
    let lines = lines(fact).iter();
    let regs: Vec<Reg> = lines.map(|l| linker.fact(object, ix, *l)).collect();
    let ruleset = linker.ruleset;
    let mut out: Vec<WorkingStep> = Vec::new();
    let design = linker.design;
    for rule in &ruleset.rules {
        for subject in design.of_kind(rule.each) {
            let o = design.object(subject);
            if !o.stays() {
                continue;
            }
            if let Some(w) = &rule.where_ {
                let reg = linker.expression(w, subject);
                if linker.program.val(reg).as_truth() != TruthSet::T {
                    continue;
                }
            }
            let conditions = rule.conditions();
            for c in &conditions {
                let root = linker.expression(c, subject);
                for (other, at_most, truth) in compared(linker, root, &regs) {
                    let limit = linker.program.val(other);
                    let known = limit.bits == Presence::PRESENT && limit.lo.is_finite();
                    let what = format!("check: {} ({})", rule.title, design.label(subject));
                    if !known || out.iter().any(|s| s.what == what) {
                        continue;
                    }
                    let sign = if at_most { "≤" } else { "≥" };
                    let verdict = match truth {
                        TruthSet::T => "holds",
                        TruthSet::F => "does not hold",
                        _ => "is open",
                    };
                    let mut verdict =
                        format!("{verdict}{}", in_hand(linker, &regs, &limit, at_most));
                    if conditions.len() > 1 {
                        let n = conditions.len();
                        verdict = format!("{verdict}; one of {n} ways, of which one must hold");
                    }
                    out.push(WorkingStep {
                        what,
                        means: rule.id.clone(),
                        formula: one_line(&c.text),
                        numbers: format!("{result} {sign} {}", show_number(&limit, Some(&unit), 5)),
                        result: verdict,
                        inputs: Vec::new(),
                        clause: rule.origin.clause.clone(),
                        source: rule.origin.source.clone(),
                    });
                }
            }
        }
    }
    out
}

/// How far the worst value is from its limit, as a share of the limit.
fn in_hand(linker: &Linker<'_>, regs: &[Reg], limit: &Val, at_most: bool) -> String {
    let all = regs.iter().map(|r| linker.program.val(*r));
    let left = if at_most {
        limit.lo - all.fold(f64::NEG_INFINITY, |m, v| m.max(v.hi))
    } else {
        all.fold(f64::INFINITY, |m, v| m.min(v.lo)) - limit.hi
    };
    let share = left / limit.lo.abs();
    if !share.is_finite() {
        return String::new();
    }
    if share >= 0.0 {
        format!(", {:.0} % in hand", share * 100.0)
    } else {
        format!(", {:.0} % beyond", -share * 100.0)
    }
}

/// The comparisons under a condition that have one of some registers as a side: the other side,
/// whether it is an upper limit, and how the comparison came out.
fn compared(linker: &Linker<'_>, root: Reg, regs: &[Reg]) -> Vec<(Reg, bool, TruthSet)> {
    let mut seen: Vec<Reg> = Vec::new();
    let mut stack = vec![root];
    let mut out = Vec::new();
    while let Some(r) = stack.pop() {
        if seen.contains(&r) || seen.len() > 400 {
            continue;
        }
        seen.push(r);
        let Some(op) = linker.program.ops.get(r.ix()) else {
            continue;
        };
        let truth = linker.program.val(r).as_truth();
        match op {
            Op::Le(a, b, _) | Op::Lt(a, b, _) => {
                if regs.contains(a) {
                    out.push((*b, true, truth));
                } else if regs.contains(b) {
                    out.push((*a, false, truth));
                }
            }
            // A comparison that is turned round says something else.
            Op::And(a, b) | Op::Or(a, b) => stack.extend([*b, *a]),
            _ => {}
        }
    }
    out
}
