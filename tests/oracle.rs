//! The joint verdict against a slow oracle: it evaluates points, one at a time, in exact rational
//! numbers, over sampled assignments of the leaves, and shares no code with the set evaluator.

#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "programs built here refer only to what they hold; what was tried is told"
)]

mod build;
mod exact;
mod points;
mod slopes;

use std::collections::BTreeMap;

use amperule::expression::{
    Budget, Data, Decision, Flags, LeafKind, Op, Presence, Program, Refiner, Reg, Val,
};
use amperule::quantity::TruthSet;
use num_traits::ToPrimitive;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;

use build::{Recipe, World, build, recipe};
use points::{NO_WORD, OPERATIONS, Point, had_a_say, points};

/// The verdict at a point; nothing where it turns on what the oracle cannot tell.
fn oracle(world: &World, values: &[Val]) -> Option<bool> {
    match points(world, values)[world.root.ix()] {
        Point::Truth(t) => Some(t),
        _ => None,
    }
}

fn decide(p: &Program, data: &Data, root: Reg, budget: u32) -> Decision {
    if p.val(root).as_truth() != TruthSet::U {
        return Decision {
            truth: p.val(root).as_truth(),
            flags: p.val(root).flags,
            exhausted: false,
            yes: None,
            no: None,
            boxes: 0,
        };
    }
    let mut refiner = Refiner::new(p, data);
    let cone = refiner.cone(root);
    refiner.decide(&cone, Budget(budget))
}

/// The most points of one program that are looked at.
const MOST: usize = 40;

/// Values of one leaf: all discrete ones; of a number its ends, a point inside, and that there is
/// none.
fn options(kind: LeafKind, set: Val, seed: u64) -> Vec<Val> {
    let words = |bits: u64| {
        let all = (0..=NO_WORD).filter(move |b| bits >> b & 1 != 0);
        all.map(|b| Val::bits(1 << b))
    };
    match kind {
        LeafKind::Number => {
            let inside = (seed % 15 + 1) as f64 / 16.0;
            let mut all = vec![Val::number(set.lo)];
            if set.lo < set.hi {
                all.push(Val::number(set.hi));
                all.push(Val::number(set.lo + (set.hi - set.lo) * inside));
            }
            if set.bits & Presence::ABSENT != 0 {
                all.push(Val::ABSENT);
            }
            all
        }
        LeafKind::Members(n) => {
            let (within, without) = (set.bits & 0xffff_ffff, set.bits >> 32);
            let all =
                (0..1_u64 << n).filter(|s| s & !within == 0 && !s & ((1 << n) - 1) & !without == 0);
            all.map(|s| Val::bits(s | (!s & ((1 << n) - 1)) << 32))
                .collect()
        }
        _ => words(set.bits).collect(),
    }
}

/// Assignments of all leaves: each there is, or, where these are many, some of them.
fn samples(p: &Program, seed: u64, most: usize) -> Vec<Vec<Val>> {
    let all: Vec<Vec<Val>> = p
        .leaves
        .iter()
        .map(|l| options(l.kind, l.set, seed))
        .collect();
    let count: usize = all.iter().map(Vec::len).product();
    // Steps that share no factor with the number of assignments go through different ones.
    let step = [97, 89, 83, 1]
        .into_iter()
        .find(|s| !count.is_multiple_of(*s))
        .unwrap_or(1);
    let first = seed as usize % count;
    let one = |n: usize| {
        let mut place = (first + n * step) % count;
        let pick = |of: &Vec<Val>| {
            let val = of[place % of.len()];
            place /= of.len();
            val
        };
        all.iter().map(pick).collect()
    };
    (0..count.min(most)).map(one).collect()
}

/// The same program with narrower leaves, its registers filled anew.
fn narrowed(p: &Program, data: &Data, values: &[Val]) -> Program {
    let mut q = p.clone();
    for (leaf, v) in q.leaves.iter_mut().zip(values) {
        leaf.set = *v;
    }
    q.fill(values, data);
    q
}

/// Whether a narrower set is decided alike. Where a divisor is narrowed to zero there is nothing to
/// compute any more, and that is said, or that the boxes are used up; the opposite truth never
/// comes out.
fn stays(narrow: &Decision, whole: TruthSet) -> bool {
    let said = narrow.flags.any(Flags::NOT_COMPUTABLE) || narrow.exhausted;
    narrow.truth == whole || narrow.truth == TruthSet::U && said
}

#[test]
fn a_divisor_narrowed_to_zero_is_said_and_flips_nothing() {
    // 1.25 / (x − x): of any x set evaluation knows only that the quotient may be anything.
    let r = Recipe {
        numbers: vec![(5, 0, false), (2, 9, false)],
        words: vec![3],
        set: (7, 0),
        ops: vec![(1, 1, 1, 0), (3, 0, 3, 0), (4, 4, 4, 0), (8, 4, 0, 0)],
    };
    let world = build(&r);
    let (p, data, root) = (&world.program, &world.data, world.root);
    let whole = decide(p, data, root, 256).truth;
    for some in samples(p, 0, MOST) {
        let narrow = decide(&narrowed(p, data, &some), data, root, 256);
        assert!(stays(&narrow, whole));
        assert_eq!(narrow.truth, TruthSet::U);
    }
}

/// Whether a set holds a point, as far as rounding lets anybody say.
fn holds(val: &Val, point: &Point) -> bool {
    if val.flags.any(Flags::UNSOUND) {
        return true;
    }
    match point {
        Point::Lost => true,
        Point::Absent => val.bits & Presence::ABSENT != 0,
        Point::Truth(t) => val.bits & if *t { 1 } else { 2 } != 0,
        Point::Word(w) => val.bits >> w & 1 != 0,
        Point::Set(s) => {
            let (within, without) = (val.bits & 0xffff_ffff, val.bits >> 32);
            s & !within == 0 && !s & 7 & !without == 0
        }
        Point::Number(x) => {
            let (Some(lo), Some(hi)) = (x.lo.to_f64(), x.hi.to_f64()) else {
                return true;
            };
            let slack = 1e-9 * (1.0 + lo.abs().max(hi.abs()));
            val.bits & Presence::PRESENT != 0 && val.lo - slack <= hi && lo <= val.hi + slack
        }
    }
}

/// Over the same programs on every machine: what each operation makes of a set holds what it makes
/// of each point, no decided verdict is contradicted, and no operation goes untried.
#[test]
fn every_operation_has_its_say() {
    let mut runner = TestRunner::deterministic();
    let made = recipe(false);
    let mut says: BTreeMap<&str, [usize; 2]> = OPERATIONS.iter().map(|o| (*o, [0; 2])).collect();
    for seed in 0..500 {
        let recipe = made.new_tree(&mut runner).expect("a recipe").current();
        let world = build(&recipe);
        let (p, root) = (&world.program, world.root);
        let truth = decide(p, &world.data, root, 64).truth;
        for values in samples(p, seed, MOST) {
            let all = points(&world, &values);
            for ((op, val), point) in p.ops.iter().zip(&p.vals).zip(&all) {
                assert!(
                    holds(val, point),
                    "{op:?} gives {val:?}, not {point:?} at {values:?} of {recipe:?}"
                );
                if *point != Point::Lost {
                    says.entry(points::name(op)).or_default()[0] += 1;
                }
            }
            let Point::Truth(told) = all[root.ix()] else {
                continue;
            };
            let wrong = if told { TruthSet::F } else { TruthSet::T };
            assert_ne!(
                truth, wrong,
                "a point says {told} at {values:?} of {recipe:?}"
            );
            if truth != TruthSet::U {
                for r in had_a_say(p, &all, root) {
                    says.entry(points::name(&p.ops[r.ix()])).or_default()[1] += 1;
                }
            }
        }
    }
    println!("operation: points it was held to, and decided verdicts it had a part in");
    for (op, [points, verdicts]) in &says {
        println!("{op:16} {points:8} {verdicts:8}");
    }
    assert_eq!(says.len(), OPERATIONS.len());
    for (op, say) in says {
        assert!(say.iter().all(|n| *n > 0), "{op} had no say: {say:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]

    #[test]
    fn a_decided_verdict_contradicts_no_point(r in recipe(false), seed in any::<u64>()) {
        let world = build(&r);
        let d = decide(&world.program, &world.data, world.root, 256);
        for v in samples(&world.program, seed, MOST) {
            if let Some(truth) = oracle(&world, &v) {
                let wrong = if truth { TruthSet::F } else { TruthSet::T };
                prop_assert_ne!(d.truth, wrong, "a point says {} at {:?}", truth, v);
            }
        }
    }

    #[test]
    fn open_is_exactly_points_of_both_kinds(r in recipe(true)) {
        let world = build(&r);
        let d = decide(&world.program, &world.data, world.root, 100_000);
        let all = samples(&world.program, 0, usize::MAX);
        let seen: Vec<Option<bool>> = all.iter().map(|v| oracle(&world, v)).collect();
        // Where some point is lost to a division or to the slack, the oracle has no say.
        if seen.iter().all(Option::is_some) {
            let wanted = TruthSet::new(seen.contains(&Some(true)), seen.contains(&Some(false)));
            prop_assert_eq!(d.truth, wanted);
        }
    }

    #[test]
    fn witnesses_replay(r in recipe(false)) {
        let world = build(&r);
        let p = &world.program;
        let d = decide(p, &world.data, world.root, 256);
        for (witness, wanted) in [(&d.yes, true), (&d.no, false)] {
            let Some(w) = witness else { continue };
            // Leaves without a say keep any value.
            let any = |l: &amperule::expression::Leaf| options(l.kind, l.set, 0)[0];
            let mut values: Vec<Val> = p.leaves.iter().map(any).collect();
            for (id, v) in &w.0 {
                let set = p.leaves[id.0 as usize].set;
                let absent = v.bits == Presence::ABSENT;
                let inside = absent || set.lo <= v.lo && v.hi <= set.hi;
                prop_assert!(inside && v.bits & !set.bits == 0, "inside its set");
                values[id.0 as usize] = *v;
            }
            if let Some(truth) = oracle(&world, &values) {
                prop_assert_eq!(truth, wanted);
            }
        }
    }

    #[test]
    fn refining_never_flips(r in recipe(false), seed in any::<u64>()) {
        let world = build(&r);
        let (p, data, root) = (&world.program, &world.data, world.root);
        let whole = decide(p, data, root, 256).truth;
        if whole != TruthSet::U {
            let all = samples(p, seed, MOST);
            let some = &all[seed as usize % all.len()];
            for i in 0..p.leaves.len() {
                let mut values: Vec<Val> = p.leaves.iter().map(|l| l.set).collect();
                values[i] = some[i];
                let q = narrowed(p, data, &values);
                prop_assert!(stays(&decide(&q, data, root, 256), whole));
            }
            let q = narrowed(p, data, some);
            prop_assert!(stays(&decide(&q, data, root, 256), whole));
        }
    }

    /// What cannot be computed, or has no figure, for one of the values is so for all of them
    /// together: else a condition could be decided by the others alone.
    #[test]
    fn a_doubt_about_a_point_is_one_about_its_set(r in recipe(false), seed in any::<u64>()) {
        let world = build(&r);
        let p = &world.program;
        for values in samples(p, seed, MOST) {
            let point = narrowed(p, &world.data, &values);
            // What a divisor that may be zero gives has no end, nor has a logarithm from zero on: that
            // says as much. So do those who read them.
            let mut spared = vec![false; p.ops.len()];
            for (i, op) in p.ops.iter().enumerate() {
                op.operands(&p.args, |r| spared[i] |= spared[r.ix()]);
                let divisor = match op {
                    Op::Div(_, by) => Some(p.val(*by)),
                    Op::Power(base, n) if *n < 0 => Some(p.val(*base)),
                    _ => None,
                };
                let log = matches!(op, Op::Ln(of) if p.val(*of).lo == 0.0);
                spared[i] |= log || divisor.is_some_and(|d| d.lo <= 0.0 && d.hi >= 0.0);
                let [one, all] = [&point, p].map(|p| p.vals[i].flags.any(Flags::UNSOUND));
                prop_assert!(!one || all || spared[i], "{:?} of {:?}", op, values);
            }
        }
    }

    #[test]
    fn no_register_is_nan_and_no_truth_is_empty(r in recipe(false)) {
        let world = build(&r);
        let p = &world.program;
        for (op, v) in p.ops.iter().zip(&p.vals) {
            prop_assert!(!v.lo.is_nan() && !v.hi.is_nan(), "{:?}", op);
            if matches!(op, Op::Le(..) | Op::Lt(..) | Op::Among(..) | Op::Not(_) | Op::And(..) | Op::Or(..)) {
                prop_assert!(v.bits & 3 != 0, "{:?}", op);
            }
        }
        prop_assert!(p.val(world.root).bits & 3 != 0);
    }
}
