//! What is to be bought: every new thing once, like things together, nothing that is there already.

#![expect(
    clippy::expect_used,
    reason = "a test that cannot read its own design must stop"
)]

use crate::common;

use std::path::Path;
use std::process::Command;

use amperule::answer::Article;
use amperule::session::Options;

const COTTAGE: &str = include_str!("../examples/quarry-cottage.amp");
const CAR_PARK: &str = include_str!("designs/granary-court-car-park.amp");

fn order(text: &str) -> Vec<Article> {
    let of = common::sound(text, &Options::default()).expect("a sound design");
    of.order()
}

fn fact<'a>(a: &'a Article, name: &str) -> Option<&'a str> {
    let found = a.facts.iter().find(|(fact, _)| fact == name)?;
    found.1.as_deref()
}

fn of_kind<'a>(all: &'a [Article], what: &str) -> Vec<&'a Article> {
    all.iter().filter(|a| a.what == what).collect()
}

/// Each of two cables side by side has glands, and what may not be there is not ordered as certain.
#[test]
fn glands_are_counted_for_each_cable_and_doubt_is_marked() {
    let glands = |text: &str| {
        let all = order(text);
        let glands = of_kind(&all, "glands").first().and_then(|a| a.count);
        (
            glands,
            of_kind(&all, "charge-point").iter().any(|a| a.is_open()),
        )
    };
    assert_eq!(glands(COTTAGE), (Some(2), false));
    let two = COTTAGE.replacen("cores: 3", "cores: 3  parallel: 2", 1);
    assert_eq!(glands(&two).0, Some(4));
    let doubt = COTTAGE.replacen(
        "charge-point drive",
        "charge-point spare { present: ?  status: new }\ncharge-point drive",
        1,
    );
    assert!(glands(&doubt).1);
}

#[test]
fn cable_is_added_up_with_a_share_to_spare() {
    // Six runs of 8, 11, 14, 17, 20 and 23 m: see the design.
    let lengths: f64 = (0..6).map(|n| 8.0 + 3.0 * f64::from(n)).sum();
    let all = order(CAR_PARK);
    let cables = of_kind(&all, "cable");
    let small = cables
        .iter()
        .find(|a| fact(a, "size") == Some("6 mm²"))
        .expect("the cables of the points");
    assert_eq!(small.count, Some(6));
    let amount = small.amount.as_ref().expect("sold by length");
    let sum = amount.sum.expect("settled");
    assert!((sum - lengths).abs() < 1e-9, "{sum} m of {lengths} m");
    assert!((amount.ordered().expect("settled") - 1.1 * lengths).abs() < 1e-9);
    let glands = of_kind(&all, "glands");
    assert_eq!(
        glands.iter().filter_map(|g| g.count).sum::<u64>(),
        cables
            .iter()
            .filter(|c| fact(c, "form") == Some("armoured"))
            .filter_map(|c| c.count)
            .sum::<u64>()
            * 2
    );
}

#[test]
fn like_things_stand_together_whatever_their_line() {
    let all = order(CAR_PARK);
    let points = of_kind(&all, "charge-point");
    assert_eq!(points.len(), 1);
    assert_eq!(points[0].count, Some(6));
    assert_eq!(points[0].wanted_for.len(), 6);
}

#[test]
fn what_is_there_or_built_in_is_not_bought() {
    let all = order(COTTAGE);
    // The main switch, the other circuits and the supply exist; the 6 mA function sits in the point.
    let devices = of_kind(&all, "device");
    assert_eq!(devices.len(), 1, "{devices:?}");
    assert_eq!(fact(devices[0], "In"), Some("32 A"));
    assert!(of_kind(&all, "board").is_empty());
    let point = of_kind(&all, "charge-point");
    assert!(fact(point[0], "dc-fault-protection").is_some());
}

#[test]
fn what_is_open_is_marked() {
    let open = |from: &str, to: &str| {
        assert!(COTTAGE.contains(from), "{from}");
        order(&COTTAGE.replacen(from, to, 1))
    };
    assert!(!order(COTTAGE).iter().any(Article::is_open));
    let unknown = open("length: 18 m", "length: ?");
    let cable = unknown.iter().find(|a| a.is_open()).expect("a length");
    assert_eq!(cable.amount.as_ref().map(|a| a.sum), Some(None));
    // The longest that it may be is bought, and the cable is settled.
    let range = open("length: 18 m", "length: 16 m .. 20 m");
    assert!(!range.iter().any(Article::is_open));
    let sums: Vec<f64> = range
        .iter()
        .filter_map(|a| a.amount.as_ref()?.sum)
        .collect();
    assert!(sums.contains(&20.0), "{sums:?}");
    let armoured =
        "armoured { size: 6 mm²  insulation: XLPE  length: 18 m  method: C  cores: 3  cpc: core }";
    let other = armoured.replace("6 mm²", "10 mm²");
    let choice = open(armoured, &format!("({armoured} | {other})"));
    assert_eq!(choice.iter().filter(|a| a.one_of_several).count(), 4);
}

#[test]
fn several_designs_make_one_list_or_none() {
    let run = |files: &[&str]| {
        Command::new(env!("CARGO_BIN_EXE_amperule"))
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .args(["order", "--format", "csv"])
            .args(files)
            .output()
            .expect("runs")
    };
    let both = run(&[
        "examples/quarry-cottage.amp",
        "examples/mill-lane-workshop.amp",
    ]);
    assert!(both.status.success());
    let mut rows = csv::Reader::from_reader(both.stdout.as_slice());
    let armoured: Vec<csv::StringRecord> = rows
        .records()
        .map(|r| r.expect("a row"))
        .filter(|r| &r[4] == "cable" && r[5].starts_with("armoured"))
        .collect();
    assert_eq!(armoured.len(), 1, "{armoured:?}");
    assert_eq!(&armoured[0][0], "3");
    assert!(armoured[0][7].contains("Quarry Cottage: ev"));
    assert!(armoured[0][7].contains("Mill Lane workshop: bay-2"));
    // A list that leaves a house out would be bought from.
    let broken = run(&["examples/quarry-cottage.amp", "examples/none.amp"]);
    assert_eq!(broken.status.code(), Some(2));
    assert!(broken.stdout.is_empty());
}

/// What is open is counted in the same words wherever it is told.
#[test]
fn what_is_open_is_told_as_a_check_tells_it() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let run = |arguments: &[&str]| common::program::run(root, arguments, 1000).1;
    for (design, told) in [
        ("half-filled-survey", "no breach, 36 questions open"),
        ("quarry-cottage-faults", "9 breaches, 1 question open"),
    ] {
        let design = format!("examples/{design}.amp");
        let first = run(&["check", &design]);
        let first = first.lines().next().expect("a line");
        assert!(told.split(", ").all(|part| first.contains(part)), "{first}");
        for (command, act) in [("sheet", "built from"), ("order", "bought")] {
            let said = format!("Not to be {act} yet: {told}; `amperule check` says which.");
            let text = run(&[command, &design]);
            assert!(text.contains(&said), "{text}");
            assert!(!text.contains("undecided"), "{text}");
        }
    }
}
