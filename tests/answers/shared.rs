//! What one place in the text stands for: one thing, several by a `define` or a repetition, or one of
//! several values that stand side by side. An answer changes what was asked, and nothing else.

use std::path::Path;

use amperule::answer::{Bound, End};
use amperule::session::{Mending, Options, answer};
use amperule::source::Problem;

use super::common::{PATH, project};
use super::{breaches, design, with};

const YARD: &str = include_str!("../../examples/rope-yard-office.amp");
const BANK: &str = include_str!("../../examples/larch-bank.amp");

/// The design of the bank with a second circuit that stands, both by one `define`.
fn two_by_one_define(rcd: &str) -> String {
    with(
        BANK,
        &[
            (
                "  circuit ev new {\n    device: rcbo B32 30 mA type-A 2-pole { rest: as-required }\n",
                "  circuit old existing { device: ours  cables: SWA-3-core 6 mm² 12 m clipped  joints: none }\n  circuit ev new {\n    device: ours\n",
            ),
            (
                "board main",
                &format!(
                    "define ours as rcbo {{ standard: BS-EN-61009  In: 32 A  curve: B  IΔn: 30 mA  rcd-type: {rcd}  poles: 2  Icn: 6 kA }}\nboard main"
                ),
            ),
            (
                "law {",
                "charge-point side existing outdoors as wall-7kW-socket { circuit: old }\nlaw {",
            ),
            (
                "charge-point drive outdoors",
                "charge-point drive new outdoors",
            ),
            ("wall-7kW-socket\n", "wall-7kW-socket { circuit: ev }\n"),
        ],
    )
}

/// The yard with another recorded demand.
fn demand(said: &str) -> String {
    with(YARD, &[("L1 24 A, L2 31 A, L3 19 A (measured)", said)])
}

fn mending(text: &str) -> Mending {
    let (project, options) = (project(text), Options::default());
    let loaded = project.open(Path::new(PATH), &options);
    let of = loaded.sound().expect("a sound design");
    Mending::new(&project, &loaded, of, &options, &[]).expect("no alternatives are asked for")
}

/// The text with an answer in it, at a stage, or the code of what is wrong with it.
fn answered(text: &str, question: &str, said: &str, stage: &str) -> Result<String, String> {
    let project = project(text);
    let options = Options {
        stage: amperule::ruleset::Stage::from_word(stage),
        ..Options::default()
    };
    let loaded = project.open(Path::new(PATH), &options);
    assert!(loaded.is_sound(), "{:#?}", loaded.problems);
    let code = |all: Vec<Problem>| all.first().map(|p| p.code.to_owned()).unwrap_or_default();
    let answered = answer((&project, &options), &loaded, (question, said));
    answered.map(|a| a.text).map_err(code)
}

/// What is recorded of a thing that stands is not rewritten, to mend a new one.
#[test]
fn a_mend_does_not_change_what_stands_by_the_same_define() {
    let text = two_by_one_define("AC");
    let broken = breaches(&text);
    let of = |label: &str| {
        broken
            .iter()
            .any(|(rule, path)| rule == "iec-rcd-not-type-AC" && path == label)
    };
    assert!(of("drive") && of("side"), "{broken:?}");
    let m = mending(&text);
    assert!(m.found.edits().is_empty(), "{:?}", m.found.changes);
    let unmended = m
        .found
        .beyond
        .iter()
        .filter(|(rule, ..)| rule == "iec-rcd-not-type-AC");
    assert_eq!(unmended.count(), 2);
    // By itself the new one is mended.
    let alone = text.replacen(
        "device: ours\n",
        "device: rcbo B32 30 mA type-AC 2-pole 6 kA\n",
        1,
    );
    let m = mending(&alone);
    let mends = m.found.changes.iter().flat_map(|c| &c.mends);
    let mends: Vec<&str> = mends
        .filter(|(rule, _)| rule == "iec-rcd-not-type-AC")
        .map(|(_, of)| of.path.as_str())
        .collect();
    assert_eq!(mends, ["drive"]);
}

/// Of values that are dealt out by turn the one is changed that is too small, and where each is worked
/// out by its number, none is.
#[test]
fn a_mend_changes_one_of_the_values_by_turn() {
    for (sizes, mended) in [
        ("10 mm², 2.5 mm²", "10 mm², 6 mm²"),
        ("2.5 mm², 10 mm²", "6 mm², 10 mm²"),
    ] {
        let text = with(
            YARD,
            &[(
                "size: 10 mm²\n      insulation",
                &format!("size: by-turn {sizes}\n      insulation"),
            )],
        );
        let m = mending(&text);
        assert_eq!(m.as_promised, Some(true));
        let [(_, after)] = m.texts.as_slice() else {
            unreachable!("one text changes: {:?}", m.texts)
        };
        assert!(
            after.contains(&format!("size: by-turn {mended}")),
            "{after}"
        );
        assert!(breaches(after).is_empty());
    }
}

/// What one line stands for moves together, and the bound is what holds for all of it.
#[test]
fn a_bound_of_a_line_is_one_of_all_that_share_it() {
    let of = design(&with(YARD, &[("In: 32 A\n  I-min", "In: 25 A\n  I-min")]));
    let found = of.bounds(&of.bounded_facts(&["bay[1].In".to_owned()]));
    let [
        Bound {
            of: label,
            high: End::Stopped(stop),
            ..
        },
    ] = found.bounds.as_slice()
    else {
        unreachable!("one bound: {:?}", found.bounds)
    };
    assert_eq!(label, "bay[1] and all that share its line, 2 in all");
    let at = |amperes: f64| {
        let line = format!("In: {amperes} A\n  I-min");
        breaches(&with(YARD, &[("In: 32 A\n  I-min", line.as_str())])).is_empty()
    };
    assert!(at((stop.last * 100.0).floor() / 100.0), "{}", stop.last);
    assert!(
        !at((stop.last * 100.0).ceil() / 100.0 + 0.01),
        "{}",
        stop.last
    );
}

/// An answer to one piece leaves what is written beside it.
#[test]
fn an_answer_takes_the_place_of_what_is_not_known() {
    let lines = demand("L1 60 A, L2 ?, L3 50 A");
    let after = answered(&lines, "supply.logged-demand", "5 A", "design").expect("an answer");
    assert!(
        after.contains("logged-demand: L1 60 A, L2 5 A, L3 50 A"),
        "{after}"
    );
    let two = demand("L1 60 A, L2 ?, L3 ?");
    let refused = answered(&two, "supply.logged-demand", "5 A", "design");
    assert_eq!(refused, Err("more-than-asked".to_owned()));
    let turns = with(YARD, &[("length: 26 m", "length: by-turn ?, 30 m")]);
    let after =
        answered(&turns, "main.bay[1].cables[1].length", "9 m", "design").expect("an answer");
    assert!(after.contains("length: by-turn 9 m, 30 m"), "{after}");
    let list = with(BANK, &[("22 m clipped", "22 m clipped, ?")]);
    let after = answered(
        &list,
        "main.ev.cables",
        "twin-and-earth 6 mm² 4 m",
        "design",
    )
    .expect("an answer");
    assert!(
        after.contains("SWA-3-core 6 mm² 22 m clipped, twin-and-earth 6 mm² 4 m"),
        "{after}"
    );
}

/// What stands by one `define` in the new and in the old is not answered for both.
#[test]
fn an_answer_does_not_speak_of_what_was_not_asked() {
    let text = two_by_one_define("?");
    let refused = answered(&text, "main.ev.device.rcd-type", "A", "design");
    assert_eq!(refused, Err("more-than-asked".to_owned()));
}

/// What a product says stays, and what was found gets a line of its own; where a value comes from can
/// be said of one that is written.
#[test]
fn an_answer_beside_a_product_gets_its_own_line() {
    for (question, said, line) in [
        (
            "drive.mode",
            "3",
            "drive outdoors as wall-7kW-socket { mode: 3 }",
        ),
        (
            "main.surge-protection.Up",
            "1.5 kV",
            "spd-type-2 { Up: 1.5 kV }",
        ),
        (
            "main.ev.device.Icu",
            "6 kA",
            "2-pole { rest: as-required  Icu: 6 kA }",
        ),
    ] {
        let after = answered(BANK, question, said, "verify").expect("an answer");
        assert!(after.contains(line), "{after}");
    }
    let plain = with(BANK, &[("Ze: 0.28 ohm (measured)", "Ze: 0.28 ohm")]);
    let after = answered(&plain, "supply.Ze", "0.28 ohm (measured)", "verify").expect("an answer");
    assert_eq!(after, BANK);
    let other = answered(&plain, "supply.Ze", "0.3 ohm (measured)", "verify");
    assert_eq!(other, Err("answered-already".to_owned()));
}

/// What was asked of a part that was not known is no answer to one that is known by now, and what is
/// not written of a shared part is not written for all.
#[test]
fn an_answer_comes_too_late_for_a_part_that_is_known() {
    for (was, question, said) in [
        (
            "tails: singles 16 mm² | singles 25 mm²",
            "supply.tails.length",
            "1.2 m",
        ),
        ("tails: none", "supply.tails.length", "1.2 m"),
    ] {
        let text = with(BANK, &[("tails: 25 mm²", was)]);
        let refused = answered(&text, question, said, "design");
        assert!(refused.is_err(), "{refused:?}");
    }
    // What a shared part does not say is written where it is used.
    let shared = two_by_one_define("A");
    let after = answered(&shared, "main.ev.device.isolates", "yes", "verify").expect("an answer");
    let used: Vec<&str> = after
        .lines()
        .filter(|l| l.contains("device: ours"))
        .collect();
    assert!(
        !used[0].contains("isolates") && used[1].contains("ours { isolates: yes }"),
        "{used:?}"
    );
    // What was measured within a tolerance is not overwritten by what was not.
    let found = with(
        BANK,
        &[("0.28 ohm (measured)", "0.28 ohm ± 5 % (measured)")],
    );
    let refused = answered(&found, "supply.Ze", "0.9 ohm", "design");
    assert_eq!(refused, Err("answered-already".to_owned()));
    // The line that is asked may be named.
    let lines = demand("L1 60 A, L2 ?, L3 50 A");
    let after = answered(&lines, "supply.logged-demand", "L2 5 A", "design").expect("an answer");
    assert!(
        after.contains("logged-demand: L1 60 A, L2 5 A, L3 50 A"),
        "{after}"
    );
}

/// A mend names what it changes, and how many things that is.
#[test]
fn a_mend_names_the_thing_that_changes() {
    let text = with(
        YARD,
        &[(
            "size: 10 mm²\n      insulation",
            "size: by-turn 10 mm², 2.5 mm²\n      insulation",
        )],
    );
    let m = mending(&text);
    let whats: Vec<&str> = m.found.changes.iter().map(|c| c.what.as_str()).collect();
    assert_eq!(whats, ["cables 1 of bay[2]"]);
}
