//! How the rules judge a figure.

use std::collections::BTreeSet;

use rustc_hash::FxHashMap;

use super::{WorkingStep, lines};
use crate::check::{Linker, one_line, show_number};
use crate::design::model::ObjectId;
use crate::expression::{Compiled, Op, Presence, Reg, Val};
use crate::quantity::TruthSet;
use crate::ruleset::Rule;
use crate::vocabulary::FactIx;

/// A comparison that a rule makes of an object.
struct Compared<'a> {
    rule: &'a Rule,
    subject: ObjectId,
    condition: &'a Compiled,
    /// Of how many ways the condition is one.
    ways: usize,
    /// What is to be no more, and than what.
    sides: [Reg; 2],
    truth: TruthSet,
}

/// The comparisons of all rules that apply, and which of them each register is a side of.
pub(super) struct Comparisons<'a> {
    all: Vec<Compared<'a>>,
    by_side: FxHashMap<Reg, Vec<usize>>,
}

impl<'a> Comparisons<'a> {
    pub(super) fn of(linker: &mut Linker<'a>) -> Self {
        let (ruleset, design) = (linker.ruleset, linker.design);
        let mut all: Vec<Compared<'a>> = Vec::new();
        for rule in &ruleset.rules {
            for subject in design.of_kind(rule.each) {
                if !design.object(subject).stays() {
                    continue;
                }
                if let Some(w) = &rule.where_ {
                    let reg = linker.expression(w, subject);
                    if linker.program.val(reg).as_truth() != TruthSet::T {
                        continue;
                    }
                }
                let conditions = rule.conditions();
                for condition in &conditions {
                    let root = linker.expression(condition, subject);
                    let found = compared(linker, root).into_iter();
                    all.extend(found.map(|(sides, truth)| Compared {
                        rule,
                        subject,
                        condition,
                        ways: conditions.len(),
                        sides,
                        truth,
                    }));
                }
            }
        }
        let mut by_side: FxHashMap<Reg, Vec<usize>> = FxHashMap::default();
        for (i, one) in all.iter().enumerate() {
            for side in one.sides {
                by_side.entry(side).or_default().push(i);
            }
        }
        Self { all, by_side }
    }
}

/// What the rules say of a fact: each comparison of it, with the other side and how much is in hand.
pub(super) fn verdicts(
    linker: &mut Linker<'_>,
    comparisons: &Comparisons<'_>,
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
    let found = regs.iter().filter_map(|r| comparisons.by_side.get(r));
    let found: BTreeSet<usize> = found.flatten().copied().collect();
    let mut out: Vec<WorkingStep> = Vec::new();
    for one in found.into_iter().filter_map(|i| comparisons.all.get(i)) {
        let Compared { rule, ways, .. } = one;
        let [a, b] = one.sides;
        let at_most = regs.contains(&a);
        let limit = linker.program.val(if at_most { b } else { a });
        let known = limit.bits == Presence::PRESENT && limit.lo.is_finite();
        let of = linker.design.label(one.subject);
        let what = format!("check: {} ({of})", rule.texts.title);
        if !known || out.iter().any(|s| s.what == what) {
            continue;
        }
        let sign = if at_most { "≤" } else { "≥" };
        let verdict = match one.truth {
            TruthSet::T => "holds",
            TruthSet::F => "does not hold",
            _ => "is open",
        };
        let mut verdict = format!("{verdict}{}", in_hand(linker, &regs, &limit, at_most));
        if *ways > 1 {
            verdict = format!("{verdict}; one of {ways} ways, of which one must hold");
        }
        out.push(WorkingStep {
            what,
            means: rule.id.clone(),
            formula: one_line(one.condition.text()),
            numbers: format!("{result} {sign} {}", show_number(&limit, Some(&unit), 5)),
            result: verdict,
            inputs: Vec::new(),
            clause: rule.texts.origin.clause.clone(),
            source: rule.texts.origin.source.clone(),
        });
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

/// The comparisons under a condition: both sides, and how each came out.
fn compared(linker: &Linker<'_>, root: Reg) -> Vec<([Reg; 2], TruthSet)> {
    let mut seen: Vec<Reg> = Vec::new();
    let mut stack = vec![root];
    let mut out = Vec::new();
    while let Some(r) = stack.pop() {
        if seen.contains(&r) || seen.len() > 400 {
            continue;
        }
        seen.push(r);
        match linker.program.ops.get(r.ix()) {
            Some(Op::Le(a, b, _) | Op::Lt(a, b, _)) => {
                out.push(([*a, *b], linker.program.val(r).as_truth()));
            }
            // A comparison that is turned round says something else.
            Some(Op::And(a, b) | Op::Or(a, b)) => stack.extend([*b, *a]),
            _ => {}
        }
    }
    out
}
