//! What an answer costs grows with the design, not with its square. Counted are operations, which
//! are the same on each machine; time is not looked at.

#![expect(
    clippy::expect_used,
    reason = "a test that cannot read its own design must stop"
)]

use crate::common;

use amperule::session::{Ask, Installation, Options};

/// Four times the points may cost so many times the operations.
const AT_MOST: f64 = 5.0;

/// Points on sub-boards of ten, as somebody writes them down at first: much is open, and the
/// devices are too small for their points. `all` puts every circuit on one board.
fn car_park(points: usize, all: bool) -> Installation {
    sound(&written(points, all))
}

fn sound(text: &str) -> Installation {
    let options = Options {
        edition: Some("A4".to_owned()),
        ..Options::default()
    };
    common::sound(text, &options).expect("a sound design")
}

fn written(points: usize, all: bool) -> String {
    let (boards, each) = if all { (1, points) } else { (points / 10, 10) };
    let mut text = String::from(
        "installation \"Car park\" { premises: private-car-park rules: gb designed-on: 2026-05-12 }\n\
         supply { status: existing earthing: TN-S phases: 3 U0: 230 V Ze: 0.05 ohm (measured) \
         Ipf: 12 kA (measured) service-fuse: fuse { standard: BS-88-3 In: 400 A } }\n\
         board main { fed-from: supply status: existing all-listed: circuit\n",
    );
    for b in 1..=boards {
        text.push_str(&format!(
            " circuit feed-{b} {{ status: new role: distribution lines: L1, L2, L3 \
             device: fuse {{ standard: BS-88-2 In: 100 A curve: gG }} \
             cables: armoured {{ size: 35 mm² length: {} m method: D cores: 5 }} }}\n",
            20 + b
        ));
    }
    text.push_str("}\n");
    for b in 1..=boards {
        text.push_str(&format!(
            "board bays-{b} {{ fed-from: feed-{b} status: new\n \
             circuit bay-{b}[1..{each}] {{ status: new lines: by-turn L1, L2, L3 \
             device: rcbo {{ In: 20 A curve: B rcd-type: A IΔn: 30 mA poles: 2 }} \
             cables: armoured {{ size: 6 mm² length: 8 m + n * 0.1 m method: C cores: 3 }} }}\n}}\n\
             charge-point post-{b}[1..{each}] {{ circuit: bay-{b}[n] mode: 3 In: 32 A \
             location: outdoors open-pen: none }}\n"
        ));
    }
    text
}

/// What something costs for 80 points against 20.
fn grows(what: &str, all: bool, cost: impl Fn(&Installation) -> u64) {
    grows_by(what, all, AT_MOST, cost);
}

fn grows_by(what: &str, all: bool, at_most: f64, cost: impl Fn(&Installation) -> u64) {
    let small = cost(&car_park(20, all));
    let large = cost(&car_park(80, all));
    let ratio = large as f64 / small as f64;
    assert!(
        ratio <= at_most,
        "{what}, on one board: {all}: {small} operations for 20 points, {large} for 80: {ratio:.2} times"
    );
}

#[test]
fn a_check_grows_with_the_design() {
    for all in [false, true] {
        grows("check", all, |d| d.check(Ask::default()).work);
    }
}

#[test]
fn margins_grow_with_the_design() {
    for all in [false, true] {
        grows("margins", all, |d| d.margins().work);
    }
}

/// On one board each point moves the drop of every other behind the same feed: so many facts by so
/// many verdicts is what is asked there, and no less work answers it. On sub-boards only what all
/// share is asked again for each.
#[test]
fn bounds_grow_with_the_design() {
    let cost = |d: &Installation| d.bounds(&d.bounded_facts(&[])).work;
    grows_by("bounds", false, 6.5, cost);
}

/// A mend of a large design may take so many times what it takes to work it out once, and ends.
#[test]
fn a_mend_keeps_to_its_share_of_work() {
    for all in [false, true] {
        let design = car_park(80, all);
        let once = design.residual().program.ops.len() as u64;
        let work = design.mend(&|_| String::new()).work;
        let share = (400 * once).max(100_000_000);
        assert!(work <= share + share / 10, "{work} operations of {share}");
    }
}

/// All verdicts of a template share what its proofs may take; what is cut short says so.
#[test]
fn a_proof_keeps_to_its_share_of_work() {
    let text = written(20, false).replace("length: 8 m +", "length: run +");
    let text = format!("parameter run: 5 m .. 40 m\nparameter above: 5 A .. 60 A\n{text}").replace(
        "all-listed: circuit\n",
        "all-listed: circuit circuit lift { demand: above }\n",
    );
    let design = sound(&text);
    let once = design.residual().program.ops.len() as u64;
    let proved = design.prove(u32::MAX);
    let share = (400 * once).max(200_000_000);
    assert!(
        proved.work <= share + share / 10,
        "{} operations of {share}",
        proved.work
    );
    assert!(proved.proofs.iter().any(|p| p.exhausted));
}

#[test]
fn a_survey_grows_with_the_design() {
    for all in [false, true] {
        grows("survey", all, |d| d.survey().work);
    }
}
