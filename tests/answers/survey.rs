//! A survey is complete: answering all that it asks leaves nothing undecided.

use amperule::answer::{Residual, starter};
use amperule::expression::{LeafId, LeafKind, Presence, SetWords, Val};
use amperule::quantity::TruthSet;
use amperule::ruleset::Stage;

use super::{SURVEY, Sequence, TEMPLATE, design, gb};

/// One value of a leaf, by a number from 0 to 1.
fn some_value(r: &Residual, id: LeafId, x: f64) -> Val {
    let (leaf, set) = (r.leaf(id), r.written[id.0 as usize]);
    match leaf.kind {
        LeafKind::Number => {
            let lo = leaf.plausible.0.max(set.lo);
            let hi = leaf.plausible.1.min(set.hi);
            let (lo, hi) = if lo <= hi { (lo, hi) } else { (set.lo, set.hi) };
            let v = if hi.is_finite() && lo.is_finite() {
                lo + (hi - lo) * x
            } else if lo.is_finite() {
                lo + 10.0 * x
            } else {
                0.0
            };
            Val {
                lo: v,
                hi: v,
                bits: Presence::PRESENT,
                ..set
            }
        }
        LeafKind::Members(n) => {
            let free = set.bits & (set.bits >> 32) & 0xffff_ffff;
            let fixed = set.bits & 0xffff_ffff & !free;
            let chosen = (x * 256.0) as u64 & free;
            Val::bits(SetWords::known(chosen | fixed, u32::from(n)))
        }
        LeafKind::Choice | LeafKind::Truth => {
            let all: Vec<u32> = (0..64).filter(|i| set.bits >> i & 1 != 0).collect();
            let i = ((x * all.len() as f64) as usize).min(all.len() - 1);
            Val::bits(1 << all[i])
        }
    }
}

fn complete(text: &str, rounds: usize) {
    let d = design(text);
    let r = d.residual();
    let survey = d.survey();
    let asked: Vec<LeafId> = survey.each().flat_map(|q| q.leaves.clone()).collect();
    assert!(!asked.is_empty());
    let mut engine = r.engine();
    // What the rules leave out no answer settles: it is told as such.
    let undecided: Vec<usize> = (0..r.verdicts.len())
        .filter(|v| !r.rule(*v).is_left_out() && engine.truth(*v, &[]) == TruthSet::U)
        .collect();
    assert!(!undecided.is_empty());
    let mut sequence = Sequence(7);
    for _ in 0..rounds {
        let answers: Vec<(LeafId, Val)> = asked
            .iter()
            .map(|id| (*id, some_value(r, *id, sequence.next())))
            .collect();
        for v in &undecided {
            let told = engine.told(*v, &answers);
            // Where nothing can be computed no answer could help: that is said, not asked.
            assert!(
                told.truth != TruthSet::U || told.flags.any(amperule::expression::Flags::UNSOUND),
                "{} for {} stays open after every question was answered",
                r.rule(*v).id,
                r.subject(*v)
            );
        }
    }
}

#[test]
fn answering_all_of_a_half_filled_survey_decides_all() {
    complete(SURVEY, 40);
}

#[test]
fn answering_all_of_three_lines_decides_all() {
    complete(
        "installation \"Three Lines\" { premises: dwelling  rules: gb }\nsupply { status: existing  earthing: TN-C-S  phases: 1 }\n",
        40,
    );
}

#[test]
fn a_template_is_asked_for_its_parameter() {
    let d = design(TEMPLATE);
    let s = d.survey();
    assert!(s.questions.iter().any(|q| q.asked == "run"));
    complete(TEMPLATE, 20);
}

#[test]
fn a_starting_file_holds_all_that_is_asked_of_it() {
    let text = starter(&gb(), "gb", "Saddler's Yard", Stage::Design);
    let d = design(&text);
    for q in d.survey().each() {
        // What is inside a part that is not known yet comes with the part.
        if q.inner.is_some() || q.rest {
            continue;
        }
        let object = d.design().object(q.object);
        let written = object.facts[q.fact.0 as usize].is_some();
        assert!(
            written,
            "{} of {} is asked and not in the file",
            q.asked, q.of
        );
    }
}
