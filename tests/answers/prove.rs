//! A proof is sound: no point that is called passing breaks a rule, none that is called broken
//! holds; and rows say what a check with the same values says.

use amperule::answer::{BOXES, RowJudge, State, stretches};
use amperule::check::Outcome;
use amperule::expression::Val;
use amperule::quantity::TruthSet;
use amperule::ruleset::Severity;

use super::{Sequence, TEMPLATE, design, design_with, report, those, with};

fn two_parameters() -> String {
    with(
        TEMPLATE,
        &[
            (
                "parameter run: 5 m .. 40 m",
                "parameter run: 5 m .. 40 m\nparameter loop: 0.1 ohm .. 0.8 ohm",
            ),
            ("Ze: 0.3 ohm (measured)", "Ze: loop"),
        ],
    )
}

/// 10,000 points of the parameters, each judged by the registers of the template.
fn points_agree(text: &str) {
    let d = design(text);
    let (proved, residual) = (d.prove(BOXES), d.residual());
    let judge = RowJudge::new(residual);
    let mut reader = judge.reader();
    let mut sequence = Sequence(11);
    let (mut passing, mut breaking) = (0_usize, 0_usize);
    for _ in 0..10_000 {
        let point: Vec<Val> = judge
            .parameters
            .iter()
            .map(|p| Val::number(p.set.lo + (p.set.hi - p.set.lo) * sequence.next()))
            .collect();
        let unmet = reader.judge(&point);
        for p in &proved.proofs {
            let mine: Vec<Val> = p.parameters.iter().map(|i| point[*i]).collect();
            let says = unmet
                .iter()
                .find(|(v, _)| *v == p.verdict)
                .map_or(TruthSet::T, |(_, t)| *t);
            match p.at(&mine) {
                State::Passes => {
                    passing += 1;
                    assert_eq!(says, TruthSet::T, "{} at {point:?}", p.rule);
                }
                State::Breaks => {
                    breaking += 1;
                    assert_eq!(says, TruthSet::F, "{} at {point:?}", p.rule);
                }
                State::Open => {}
            }
        }
    }
    assert!(passing > 1000 && breaking > 1000, "{passing} {breaking}");
}

#[test]
fn ten_thousand_points_of_one_parameter_agree() {
    points_agree(TEMPLATE);
}

#[test]
fn ten_thousand_points_of_two_parameters_agree() {
    points_agree(&two_parameters());
}

#[test]
fn rows_say_what_a_check_says() {
    let text = two_parameters();
    let d = design(&text);
    let residual = d.residual();
    let judge = RowJudge::new(residual);
    let mut reader = judge.reader();
    let mut sequence = Sequence(3);
    for _ in 0..60 {
        // Values with few digits, so that a text says them exactly.
        let run = (50.0 + 350.0 * sequence.next()).round() / 10.0;
        let ze = (100.0 + 700.0 * sequence.next()).round() / 1000.0;
        let values: Vec<Val> = judge
            .parameters
            .iter()
            .map(|p| Val::number(if p.name == "run" { run } else { ze }))
            .collect();
        let unmet = reader.judge(&values);
        let checked = report(&design_with(
            &text,
            &[("run", &format!("{run} m")), ("loop", &format!("{ze} ohm"))],
        ));
        for severity in Severity::ALL {
            let mine: std::collections::BTreeSet<(String, String)> = unmet
                .iter()
                .chain(&judge.fixed)
                .filter(|(v, t)| *t == TruthSet::F && residual.rule(*v).severity == severity)
                .map(|(v, _)| (residual.rule(*v).id.clone(), residual.subject(*v).path))
                .collect();
            let theirs = those(&checked, Outcome::Failed, severity);
            assert_eq!(mine, theirs, "{severity} at run {run} m, loop {ze} ohm");
        }
    }
}

#[test]
fn the_template_passes_to_28_m_and_breaks_beyond() {
    let proved = design(TEMPLATE).prove(BOXES);
    let all = stretches(&proved, |p| p.severity == Severity::Breach);
    let states: Vec<State> = all.iter().map(|s| s.state).collect();
    assert_eq!(states, [State::Passes, State::Open, State::Breaks]);
    // What is neither shown to pass nor to break is narrower than a millimetre.
    assert!(all[1].range.hi - all[1].range.lo < 1e-3);
    // 4 mm² XLPE armoured: 12 mV/A/m (table 4E4B), 32 A, 5 % of 230 V: about 30 m less the 2 m of
    // the formula.
    assert!((all[1].range.lo - 27.95).abs() < 0.01, "{:?}", all[1].range);
}

#[test]
fn a_spent_budget_says_so_and_calls_nothing_proved() {
    let proved = design(&two_parameters()).prove(3);
    assert!(proved.proofs.iter().any(|p| p.exhausted));
    for p in &proved.proofs {
        let all: f64 = [State::Passes, State::Breaks, State::Open]
            .iter()
            .map(|s| p.share(*s, &proved.parameters))
            .sum();
        assert!((all - 1.0).abs() < 1e-9);
    }
}
