//! Look-ups of choices: what a table gives for several values together is what it gives for each
//! alone, and a value without a row is never passed over.

#![expect(
    clippy::expect_used,
    reason = "a test whose own table is wrong must stop"
)]

use amperule::expression::{
    Between, Beyond, Budget, Cell, Data, Flags, Key, KeyType, LeafKind, LeafSource, Op, Program,
    Refiner, Reg, Row, RowKey, Table, TableId, Val,
};
use amperule::quantity::{Dim, Interval, TruthSet};
use amperule::vocabulary::{SeriesId, WordSet};
use proptest::prelude::*;

/// A table of one numeric key with these rows; each gives its own number times ten.
fn table(rows: &[f64], between: Between, beyond: Beyond) -> Table {
    let rows: Vec<Row> = rows
        .iter()
        .map(|x| (vec![RowKey::Number(*x)], Cell::Value(10.0 * x)))
        .collect();
    let key = Key {
        name: "k".to_owned(),
        ty: KeyType::Number(Dim::NONE, between, beyond),
    };
    let text = String::new;
    Table::new(text(), text(), text(), vec![key], Dim::NONE, &rows).expect("no row twice")
}

/// What tells two tables apart goes by the words of each row, also below a number.
#[test]
fn a_cell_is_named_by_its_numbers_and_words() {
    let words = ["red", "green"].map(str::to_owned).to_vec();
    let key = |ty: KeyType| Key {
        name: "k".to_owned(),
        ty,
    };
    let keys = vec![
        key(KeyType::Number(
            Dim::NONE,
            Between::Nothing,
            Beyond::Nothing,
        )),
        key(KeyType::Word(words.into())),
    ];
    let row = |size: f64, word: RowKey, gives: f64| {
        (vec![RowKey::Number(size), word], Cell::Value(gives))
    };
    let rows = [
        row(1.5, RowKey::Word(0), 10.0),
        row(1.5, RowKey::Word(1), 12.0),
        row(2.5, RowKey::Any, 20.0),
    ];
    let text = String::new;
    let table = Table::new(text(), text(), text(), keys, Dim::NONE, &rows).expect("no row twice");
    let cells = table.cells();
    let names: Vec<&str> = cells.keys().map(String::as_str).collect();
    assert_eq!(names, ["1.5; green; ", "1.5; red; ", "2.5; any; "]);
}

fn leaf(program: &mut Program, kind: LeafKind, set: Val) -> Reg {
    let ends = (f64::NEG_INFINITY, f64::INFINITY);
    program.leaf(kind, set, set, ends, LeafSource::Range).1
}

/// Whether `table[key] <= limit`, for a key that `make` adds.
fn verdict(data: &Data, limit: f64, make: impl Fn(&mut Program) -> Reg) -> TruthSet {
    let mut program = Program::default();
    let key = make(&mut program);
    let (first, count) = program.counted(&[key]);
    let found = program.push(Op::Lookup(TableId(0), first, count), data);
    let limit = program.constant(Val::number(limit));
    let floor = program.constant_index(Val::number(0.0));
    let root = program.push(Op::Le(found, limit, floor), data);
    program.finish();
    let mut refiner = Refiner::new(&program, data);
    let cone = refiner.cone(root);
    refiner.decide(&cone, Budget::default()).truth
}

/// What all come to if each comes to this.
fn together(alone: &[TruthSet]) -> TruthSet {
    let all = |t: TruthSet| alone.iter().all(|a| *a == t);
    match () {
        () if all(TruthSet::T) => TruthSet::T,
        () if all(TruthSet::F) => TruthSet::F,
        () => TruthSet::U,
    }
}

/// A figure over choices is put together from each of them; where they are too many to go through, none
/// is given, rather than one that leaves some out.
#[test]
fn a_figure_leaves_no_choice_out() {
    let data = Data::default();
    // The root of a product of two numbers that always have one sign: for each choice it can be
    // computed, for all together it cannot.
    let root_of = |p: &mut Program, choices: u32| {
        let choice = leaf(p, LeafKind::Choice, Val::bits((1 << choices) - 1));
        let ends = |p: &mut Program, size: f64| {
            let signs = (0..choices).map(|i| if i % 2 == 0 { size } else { -size });
            let all: Vec<Reg> = signs.map(|x| p.constant(Val::number(x))).collect();
            let (first, count) = p.counted(&all);
            p.push(Op::Pick(choice, first, count), &data)
        };
        let (a, b) = (ends(p, 2.0), ends(p, 8.0));
        let product = p.push(Op::Mul(a, b), &data);
        p.push(Op::Sqrt(product), &data)
    };
    let range = |choices: &[u32]| {
        let mut p = Program::default();
        let roots: Vec<Reg> = choices.iter().map(|n| root_of(&mut p, *n)).collect();
        let mut sum = p.constant(Val::number(0.0));
        for root in roots {
            sum = p.push(Op::Add(sum, root), &data);
        }
        let found = Refiner::new(&p, &data).range(sum)?;
        Some((found.lo, found.hi))
    };
    assert_eq!(range(&[60]), Some((4.0, 4.0)));
    assert_eq!(range(&[4, 5]), Some((8.0, 8.0)));
    assert_eq!(range(&[60, 60]), None);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn members_alone_and_together_agree(
        rows in proptest::collection::btree_set(1_u8..20, 1..8),
        members in proptest::collection::btree_set(1_u8..24, 1..7),
        between in prop_oneof![Just(Between::Nothing), Just(Between::NextLarger), Just(Between::Linear)],
        beyond in prop_oneof![Just(Beyond::Nothing), Just(Beyond::Hold)],
        limit in 0_u8..24,
    ) {
        let rows: Vec<f64> = rows.iter().map(|x| f64::from(*x)).collect();
        let members: Vec<f64> = members.iter().map(|x| f64::from(*x)).collect();
        let limit = 10.0 * f64::from(limit) + 5.0;
        let data = Data { tables: vec![table(&rows, between, beyond).into()], series: vec![members.clone()] };
        let alone: Vec<TruthSet> = members
            .iter()
            .map(|m| verdict(&data, limit, |p| p.constant(Val::number(*m))))
            .collect();
        let chosen = Val::words(WordSet::first(members.len()));
        // Members of a series, and alternatives of a fact without one.
        let of_series = verdict(&data, limit, |p| {
            let s = leaf(p, LeafKind::Choice, chosen);
            p.push(Op::Member(s, SeriesId(0)), &data)
        });
        prop_assert_eq!(of_series, together(&alone), "members {:?}", alone);
        let alternatives = verdict(&data, limit, |p| {
            let s = leaf(p, LeafKind::Choice, chosen);
            let regs: Vec<Reg> = members.iter().map(|m| p.constant(Val::number(*m))).collect();
            let (first, count) = p.counted(&regs);
            p.push(Op::Pick(s, first, count), &data)
        });
        prop_assert_eq!(alternatives, together(&alone), "alternatives {:?}", alone);
    }

    /// A range is no better than any number in it.
    #[test]
    fn a_range_is_met_only_where_each_of_its_numbers_is(
        rows in proptest::collection::btree_set(1_u8..20, 1..8),
        (lo, width) in (0.0_f64..22.0, 0.0_f64..6.0),
        between in prop_oneof![Just(Between::Nothing), Just(Between::NextLarger), Just(Between::Linear)],
        beyond in prop_oneof![Just(Beyond::Nothing), Just(Beyond::Hold)],
        limit in 0_u8..24,
        shares in proptest::collection::vec(0.0_f64..=1.0, 8),
    ) {
        let rows: Vec<f64> = rows.iter().map(|x| f64::from(*x)).collect();
        let limit = 10.0 * f64::from(limit) + 5.0;
        let data = Data { tables: vec![table(&rows, between, beyond).into()], series: Vec::new() };
        let hi = lo + width;
        let whole = verdict(&data, limit, |p| {
            leaf(p, LeafKind::Number, Val::interval(Interval { lo, hi }))
        });
        if whole == TruthSet::U {
            return Ok(());
        }
        for x in shares.iter().map(|s| (lo + s * width).min(hi)).chain([lo, hi]) {
            let point = verdict(&data, limit, |p| p.constant(Val::number(x)));
            prop_assert_eq!(point, whole, "at {}", x);
        }
    }
}

#[test]
fn a_value_without_a_row_is_not_passed_over() {
    let t = table(&[15.0, 20.0, 30.0], Between::Nothing, Beyond::Nothing);
    let over = |lo: f64, hi: f64| {
        t.look_up_each([Val::interval(Interval { lo, hi })].into_iter(), |_, _| {
            None
        })
    };
    assert!(!over(20.0, 20.0).flags.any(Flags::NOT_COMPUTABLE));
    for (lo, hi) in [
        (20.0, 30.0),
        (13.0, 25.0),
        (16.0, 17.0),
        (30.0, 31.0),
        (15.0, 15.1),
    ] {
        assert!(
            over(lo, hi).flags.any(Flags::NOT_COMPUTABLE),
            "{lo} .. {hi}"
        );
    }
    let held = table(&[15.0, 20.0], Between::Nothing, Beyond::Hold);
    let over = |lo: f64, hi: f64| {
        held.look_up_each([Val::interval(Interval { lo, hi })].into_iter(), |_, _| {
            None
        })
    };
    assert!(!over(1.0, 15.0).flags.any(Flags::NOT_COMPUTABLE));
    assert!(over(1.0, 16.0).flags.any(Flags::NOT_COMPUTABLE));
}

// Whole designs.

use crate::common;

use amperule::check::Outcome;
use amperule::ruleset::Stage;
use amperule::session::{Ask, Options};

/// The outcomes of some rules for one circuit of a design in which something is written otherwise.
fn outcomes(file: &str, from: &str, to: &str, stage: Stage) -> Vec<Outcome> {
    let path = format!("{}/tests/designs/{file}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("the design is there");
    assert!(text.contains(from), "`{from}` is not in {file}");
    let options = Options {
        stage: Some(stage),
        ..Options::default()
    };
    let of = common::sound(&text.replacen(from, to, 1), &options).expect("sound");
    let ask = Ask {
        met: true,
        helps: false,
    };
    let found = of.check(ask).report.findings;
    let rules = [
        "iec-fault-cleared-in-time",
        "iec-line-withstands-fault",
        "iec-cpc-withstands-fault",
    ];
    let wanted = found.iter().filter(|f| rules.contains(&f.rule.as_str()));
    let mut all: Vec<(String, String, Outcome)> = wanted
        .map(|f| (f.subject.path.clone(), f.rule.clone(), f.outcome))
        .collect();
    all.sort_by(|a, b| (&a.0, &a.1).cmp(&(&b.0, &b.1)));
    all.into_iter().map(|(.., o)| o).collect()
}

/// A device of a rating that no table holds cannot be judged, be it written alone or as one of
/// several, or lie in a range.
#[test]
fn a_rating_without_a_row_is_not_hidden_by_one_that_has_a_row() {
    let file = "plum-cottage-old-board.amp";
    let line = "device: fuse { standard: BS-3036  In: 30 A  Icn: 2 kA  isolates: no";
    let with = |rating: &str| {
        let to = line.replace("30 A", rating);
        outcomes(file, line, &to, Stage::Design)
    };
    let sure = with("30 A");
    let alone = with("25 A");
    assert_ne!(sure, alone, "25 A has no row");
    for several in ["25 A | 30 A", "25 A | 13 A", "25 A .. 30 A"] {
        for ((a, b), all) in sure.iter().zip(&alone).zip(with(several)) {
            if *b == Outcome::Undecided {
                assert_eq!(all, Outcome::Undecided, "{several}, alone {a:?} and {b:?}");
            }
        }
    }
}

/// A key that misses the last row of a linear table by the rounding of a sum alone stands on it.
#[test]
fn a_sum_that_rounds_beyond_the_last_row_stands_on_it() {
    let data = Data {
        tables: vec![table(&[0.1, 0.3], Between::Linear, Beyond::Nothing).into()],
        ..Data::default()
    };
    let verdict = verdict(&data, 3.0, |program| {
        let sum = program.constant(Val::number(0.1));
        let other = program.constant(Val::number(0.2));
        program.push(Op::Add(sum, other), &data)
    });
    assert_eq!(verdict, TruthSet::T);
}
