//! The sheet for those who install and test: its limits are those of the rules, readings as expected
//! break none, and what it asks for is what the rules wait for.

#![expect(
    clippy::expect_used,
    reason = "a test stops where its design cannot be read"
)]

use crate::common;

use std::process::Command;

use amperule::answer::{Accepted, Sheet, Side, ToRead};
use amperule::check::Outcome;
use amperule::report::sheet::{self, SheetOf};
use amperule::ruleset::{Severity, Stage};
use amperule::session::{Ask, Installation, Options};
use amperule::vocabulary::Settler;

const DESIGNS: [&str; 6] = [
    "examples/quarry-cottage",
    "examples/heron-farm",
    "examples/mill-lane-workshop",
    "tests/designs/granary-court-car-park",
    "tests/designs/harbour-row-tt-island",
    "tests/designs/mill-race-three-phase",
];

fn text_of(name: &str) -> String {
    let path = format!("{}/{name}.amp", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("a design");
    // What is read already stands in the way of what a test writes.
    text.lines()
        .filter(|l| !l.starts_with("no readings"))
        .map(|l| format!("{l}\n"))
        .collect()
}

fn read(text: &str) -> Installation {
    common::sound(text, &Options::default()).expect("a sound design")
}

fn sheet_of(name: &str) -> (String, Sheet) {
    let text = text_of(name);
    let sheet = read(&text).sheet();
    (text, sheet)
}

/// Rules of readings that fail.
fn failing(text: &str) -> Vec<String> {
    let told = told(text).into_iter();
    told.filter(|t| t.1 == Outcome::Failed)
        .map(|t| t.0)
        .collect()
}

/// Requirements of readings that fail or are open.
fn unmet(text: &str, of: &[ToRead]) -> Vec<String> {
    let told = told(text).into_iter();
    told.filter(|t| t.2 && of.iter().any(|r| r.rules.contains(&t.0)))
        .map(|t| t.0)
        .collect()
}

/// Rules of readings that fail or are open, and whether they are requirements.
fn told(text: &str) -> Vec<(String, Outcome, bool)> {
    let judged = read(text).at(Stage::Verify).check(Ask::default());
    let findings = judged.report.findings.into_iter();
    findings
        .filter(|f| matches!(f.outcome, Outcome::Failed | Outcome::Undecided))
        .map(|f| (f.rule, f.outcome, f.severity == Severity::Breach))
        .collect()
}

/// A reading as it is written, in its own unit.
fn number(r: &ToRead, si: f64) -> String {
    let unit = r.unit.as_ref().expect("a unit");
    format!("{} {}", unit.from_si(si), unit.text())
}

/// The middle of what is accepted, the expected value where there is one.
fn good(r: &ToRead) -> String {
    if let Some((words, _)) = r.required.words.as_ref().or(r.usual.words.as_ref()) {
        return words.split(" | ").next().unwrap_or(words).to_owned();
    }
    if r.unit.is_none() {
        return r.words.first().cloned().expect("a word");
    }
    let at = |s: &Option<Side>| s.as_ref().map(|s| s.at);
    let low = [at(&r.required.low), at(&r.usual.low)]
        .into_iter()
        .flatten()
        .reduce(f64::max);
    let high = [at(&r.required.high), at(&r.usual.high)]
        .into_iter()
        .flatten()
        .reduce(f64::min);
    let x = match (r.expected, low, high) {
        (Some((l, h)), ..) => f64::midpoint(l, h),
        (None, Some(l), Some(h)) => f64::midpoint(l, h),
        (None, Some(l), None) => 2.0 * l,
        (None, None, Some(h)) => 0.9 * h,
        (None, None, None) => 1.0,
    };
    number(r, x)
}

/// The design with readings of all that is asked for; some replaced, some left out.
fn with_readings(text: &str, all: &[ToRead], change: impl Fn(&ToRead) -> Option<String>) -> String {
    let mut out = text.to_owned();
    let mut last = None;
    for r in all.iter().filter(|r| r.read.is_none()) {
        if last != Some(r.object) {
            if last.is_some() {
                out.push_str("}\n");
            }
            out.push_str(&format!("readings {{\n  of: {}.{}\n", r.kind, r.of));
            last = Some(r.object);
        }
        if let Some(value) = change(r) {
            out.push_str(&format!("  {}: {value}\n", r.reading));
        }
    }
    if last.is_some() {
        out.push_str("}\n");
    }
    out
}

#[test]
fn readings_as_expected_break_nothing() {
    for name in DESIGNS {
        let (text, s) = sheet_of(name);
        assert!(s.readings.len() > 10, "{name}: {}", s.readings.len());
        let filled = with_readings(&text, &s.readings, |r| Some(good(r)));
        let mut failing = failing(&filled);
        failing.retain(|rule| s.readings.iter().any(|r| r.rules.contains(rule)));
        assert!(failing.is_empty(), "{name}: {failing:?}\n{filled}");
    }
}

/// With the whole sheet filled in no requirement waits for a reading, nor where a rule asks only that
/// something was read.
#[test]
fn no_reading_that_is_required_is_left_off() {
    for name in DESIGNS.iter().chain(&["tests/faults/ridge-house-iec"]) {
        let (text, s) = sheet_of(name);
        let filled = with_readings(&text, &s.readings, |r| Some(good(r)));
        let of = read(&filled);
        let mut open = told(&filled);
        open.retain(|(id, outcome, required)| {
            let rule = of.ruleset().rule(id).expect("a rule");
            let rests = of.ruleset().readings_in(rule).next().is_some();
            *required && rests && *outcome == Outcome::Undecided
        });
        assert!(open.is_empty(), "{name}: {open:?}\n{filled}");
    }
}

/// Just inside a limit nothing fails; just beyond it the rule does that is named.
#[test]
fn each_limit_is_where_its_rule_breaks() {
    let mut tried = 0;
    for name in DESIGNS {
        let (text, s) = sheet_of(name);
        let mut seen: Vec<(&str, &str)> = Vec::new();
        for r in &s.readings {
            // The like of other circuits is tried once.
            if seen.contains(&(&r.kind, &r.reading)) {
                continue;
            }
            seen.push((&r.kind, &r.reading));
            let sides = |a: &Accepted| [(a.low.clone(), -1.0), (a.high.clone(), 1.0)];
            for (side, way) in [sides(&r.required), sides(&r.usual)].into_iter().flatten() {
                let Some(side) = side else { continue };
                let fails = |x: f64| {
                    let filled = with_readings(&text, &s.readings, |other| {
                        let same = other.object == r.object && other.reading == r.reading;
                        Some(if same { number(r, x) } else { good(other) })
                    });
                    failing(&filled).contains(&side.rule)
                };
                let of = format!("{name}: {} of {}: {side:?}", r.reading, r.of);
                assert!(!fails(side.at - way * 1e-4 * side.at.abs()), "{of}");
                assert!(fails(side.at + way * 1e-3 * side.at.abs()), "{of}");
                tried += 1;
            }
        }
    }
    assert!(tried > 60, "only {tried} limits");
}

/// Without what is marked as needed a requirement is not met; without the rest it is.
#[test]
fn what_is_needed_is_what_requirements_wait_for() {
    for name in DESIGNS {
        let (text, s) = sheet_of(name);
        let only_needed = with_readings(&text, &s.readings, |r| r.needed.then(|| good(r)));
        let closed = |t: &str| format!("{t}no readings\n");
        let open = unmet(&closed(&only_needed), &s.readings);
        assert!(open.is_empty(), "{name}: {open:?}\n{only_needed}");
        let mut objects: Vec<_> = s.readings.iter().filter(|r| r.needed).collect();
        objects.dedup_by_key(|r| r.object);
        assert!(!objects.is_empty(), "{name}");
        for of in objects {
            let without = with_readings(&text, &s.readings, |r| {
                (r.object != of.object || !r.needed).then(|| good(r))
            });
            assert!(
                !unmet(&closed(&without), &s.readings).is_empty(),
                "{name}: {}",
                of.of
            );
        }
    }
}

#[test]
fn all_that_is_put_in_stands_on_the_sheet_once() {
    for name in DESIGNS {
        let (text, s) = sheet_of(name);
        let of = read(&text);
        for kind in ["circuit", "charge-point"] {
            let id = of.ruleset().vocabulary.kind_named(kind).expect("a kind");
            let new = of
                .design()
                .of_kind(id)
                .filter(|o| {
                    let object = of.design().object(*o);
                    !object.phantom && object.status == amperule::design::model::Status::New
                })
                .count();
            let there = s.things.iter().filter(|t| t.kind == kind).count();
            assert_eq!(there, new, "{name}: {kind}");
        }
        for t in &s.things {
            assert!(
                t.facts.iter().all(|(f, v)| !f.is_empty() && !v.is_empty()),
                "{t:?}"
            );
        }
        assert!(!s.terminals.is_empty(), "{name}");
    }
}

/// What the installer settles and rules wait for is asked for, and asked no more when it is written.
#[test]
fn what_the_installer_settles_is_asked_for() {
    let (text, s) = sheet_of("examples/quarry-cottage");
    let asked = |s: &Sheet| {
        s.to_settle
            .iter()
            .filter(|q| q.asked == "fire-fixings")
            .count()
    };
    assert_eq!(asked(&s), 2);
    let settled = text.replacen("length: 4 m", "length: 4 m  fire-fixings: yes", 1);
    assert_eq!(asked(&read(&settled).sheet()), 1);
}

/// A torque that the design states is on the sheet, whichever part of the design states it.
#[test]
fn torques_come_from_the_design() {
    let text =
        text_of("examples/quarry-cottage").replacen("Icn: 6 kA", "Icn: 6 kA  torque: 2.2 N·m", 1)
            + "termination gland { at: drive  torque: 3 N·m  done: 3 N·m  fits: yes }\n";
    let s = read(&text).sheet();
    let of = |at: &str| {
        let t = s.terminals.iter().find(|t| t.at == at).expect(at);
        (t.torque.clone(), t.done.clone())
    };
    let some = |t: &str| Some(t.to_owned());
    assert_eq!(of("device of ev"), (some("2.2 N·m"), None));
    assert_eq!(of("gland at drive"), (some("3 N·m"), some("3 N·m")));
    assert_eq!(of("drive"), (None, None));
}

/// What is put into something that stays is built and tightened; a device that only names what a
/// rating needs, and what its maker has built in, have no terminals.
#[test]
fn what_goes_into_old_things_is_built_and_tightened() {
    let shower =
        "circuit shower existing { fed-from: main  device: rcbo { In: 40 A  status: new } }\n";
    let text = text_of("examples/quarry-cottage") + shower;
    let s = read(&text).sheet();
    let thing = s.things.iter().find(|t| t.name == "shower");
    let thing = thing.expect("it is changed");
    assert!(thing.altered && !thing.goes);
    let facts: Vec<&str> = thing.facts.iter().map(|(f, _)| f.as_str()).collect();
    assert_eq!(facts, ["device"]);
    let at: Vec<&str> = s.terminals.iter().map(|t| t.at.as_str()).collect();
    assert!(at.contains(&"device of shower"), "{at:?}");
    assert!(
        at.iter()
            .all(|a| !a.contains("behind") && !a.contains("dc-fault")),
        "{at:?}"
    );
    let other = read(&text.replace("status: new } }", "status: existing } }")).sheet();
    assert!(other.things.iter().all(|t| t.name != "shower"));
}

/// Of a range whose end no value can go beyond only the other end is said.
#[test]
fn an_end_that_is_the_domains_is_not_said() {
    let text = text_of("examples/quarry-cottage").replace("Up: 1.4 kV", "Up: 0 kV .. 1.4 kV");
    let text = text.replace(
        "status: existing\n  enclosure: metal",
        "status: new\n  enclosure: metal",
    );
    let s = read(&text).sheet();
    let said: Vec<&String> = s
        .things
        .iter()
        .flat_map(|t| t.facts.iter().map(|f| &f.1))
        .collect();
    assert!(
        said.iter().any(|t| t.contains("Up at most 1.4 kV")),
        "{said:?}"
    );
}

fn run(arguments: &[&str]) -> (i32, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program starts");
    let text = String::from_utf8_lossy(&done.stdout).into_owned();
    (done.status.code().unwrap_or(-1), text)
}

/// A design in breach says so on top: it is not to be built from.
#[test]
fn a_sheet_of_a_design_in_breach_says_so() {
    let (code, bad) = run(&["sheet", "examples/quarry-cottage-faults.amp"]);
    assert_eq!(code, 0);
    assert!(bad.contains("Not to be built from yet"), "{bad}");
    let (_, good) = run(&["sheet", "examples/quarry-cottage.amp"]);
    assert!(!good.contains("Not to be built"), "{good}");
    assert!(good.contains("prove dead"), "{good}");
}

/// A reading that is taken keeps what it had to be, and one beyond that is marked.
#[test]
fn a_reading_taken_is_held_against_what_it_must_be() {
    let (text, sheet) = sheet_of("examples/mill-lane-workshop");
    let wanted = sheet.readings.iter().find(|r| r.reading == "R1R2");
    let wanted = wanted.expect("a continuity to read");
    let most = wanted.required.high.as_ref().expect("a limit").at;
    let with = |ohm: f64| {
        let text = with_readings(&text, std::slice::from_ref(wanted), |r| {
            Some(number(r, ohm))
        });
        read(&text).sheet()
    };
    let of = |sheet: &Sheet| {
        let same = |r: &&ToRead| (r.object, r.fact) == (wanted.object, wanted.fact);
        sheet
            .readings
            .iter()
            .find(same)
            .expect("the reading")
            .clone()
    };
    for (ohm, marked) in [(most * 0.1, false), (most * 1.5, true)] {
        let sheet = with(ohm);
        let taken = of(&sheet);
        assert!(taken.read.is_some());
        assert_eq!(
            taken.required.high.as_ref().map(|s| s.at.to_bits()),
            Some(most.to_bits())
        );
        let told = sheet::text(&SheetOf::default(), &sheet);
        assert_eq!(told.contains("not what it must be"), marked, "{ohm}");
    }
}

/// Limits that no value keeps are told as that, not as a range that runs backwards.
#[test]
fn limits_that_no_value_keeps_are_told() {
    let (_, sheet) = sheet_of("examples/quarry-cottage");
    let limited = |r: &&ToRead| r.usual.low.is_some() && r.usual.high.is_some();
    let r = sheet.readings.iter().find(limited).expect("two limits");
    assert!(sheet::asked(r).usual.contains(" to "));
    let mut turned = r.clone();
    std::mem::swap(&mut turned.usual.low, &mut turned.usual.high);
    assert_eq!(sheet::asked(&turned).usual, "no value passes");
}

/// Who must be asked first is given no last day of a notice.
#[test]
fn what_is_worked_out_to_be_none_is_no_blank() {
    let paper = |text: &str| {
        let told = read(text).told(Settler::Network);
        told.into_iter().find(|t| t.fact == "notice-due")
    };
    let (text, _) = sheet_of("examples/quarry-cottage");
    assert!(paper(&text).is_some());
    let apply = text.replacen("looped: no", "looped: yes", 1);
    assert_ne!(apply, text);
    assert_eq!(paper(&apply).map(|t| t.value), None);
}

/// What the works take out stands on the sheet, and on the paper for the network operator.
#[test]
fn what_is_taken_out_is_told() {
    let (text, _) = sheet_of("examples/mill-lane-workshop");
    let old = "charge-point old-bay { circuit: bay-1  status: to-go  In: 16 A }\n";
    let of = read(&text.replacen(
        "charge-point bay-1 {",
        &format!("{old}charge-point bay-1 {{"),
        1,
    ));
    let sheet = of.sheet();
    let gone: Vec<&str> = (sheet.things.iter().filter(|t| t.goes))
        .map(|t| t.name.as_str())
        .collect();
    assert_eq!(gone, ["old-bay"]);
    let told = sheet::text(&SheetOf::default(), &sheet);
    let out = told.find("To take out").expect("a section of its own");
    let build = told.find("To build").expect("a section of its own");
    assert!(told[out..build].contains("charge-point old-bay"), "{told}");
    let notice = of.told(Settler::Network);
    let status: Vec<_> = notice.iter().filter(|t| t.of == "old-bay").collect();
    assert_eq!(status.len(), 1);
    assert_eq!(
        (status[0].fact.as_str(), status[0].value.as_deref()),
        ("status", Some("to-go"))
    );
}

/// Text, page and JSON say the same, and names from the design cannot break the page.
#[test]
fn all_forms_hold_each_reading() {
    let (_, json) = run(&["sheet", "examples/quarry-cottage.amp", "--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(json["schema"], "amperule-sheet-1");
    let readings = json["readings"].as_array().expect("a list");
    let (_, text) = run(&["sheet", "examples/quarry-cottage.amp"]);
    let (_, page) = run(&["sheet", "examples/quarry-cottage.amp", "--format", "html"]);
    assert!(readings.len() > 15, "{}", readings.len());
    for r in readings {
        let reading = r["reading"].as_str().expect("a name");
        assert!(
            text.lines().any(|l| l.contains(&format!("  {reading} "))),
            "{reading}"
        );
        assert!(page.contains(&format!(">{reading}</span>")), "{reading}");
    }
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("sharp.amp");
    let sharp = text_of("examples/quarry-cottage")
        .replace("Socket beside the porch", "A <b>&\u{201d} socket");
    std::fs::write(&path, sharp).expect("a file");
    let (_, page) = run(&["sheet", path.to_str().expect("a path"), "--format", "html"]);
    assert!(page.contains("A &lt;b&gt;&amp;\u{201d} socket"), "{page}");
}

/// The network operator is told what the ruleset lists: what is known, and blanks for the rest.
#[test]
fn a_notice_tells_what_is_known_and_leaves_blanks() {
    let (code, text) = run(&[
        "sheet",
        "--for",
        "network",
        "examples/mill-lane-workshop.amp",
    ]);
    assert_eq!(code, 0, "{text}");
    for line in [
        "network-route   notify",
        "demand          L1 95 A, L2 83 A, L3 57 A",
        "meter-point     ______________",
        "members  bay-1, bay-2",
    ] {
        assert!(text.contains(line), "{line}\n{text}");
    }
    assert!(!text.contains("To settle with it"), "{text}");
    let (_, text) = run(&[
        "sheet",
        "--for",
        "network",
        "examples/half-filled-survey.amp",
    ]);
    assert!(text.contains("network-route   apply"), "{text}");
    assert!(
        text.contains("to be agreed: ") && text.contains("gb-network-route-known"),
        "{text}"
    );
    assert!(
        text.contains("not known: ") && text.contains("gb-looped-service-parted"),
        "{text}"
    );
    let (_, json) = run(&[
        "sheet",
        "--for",
        "network",
        "examples/half-filled-survey.amp",
        "--format",
        "json",
    ]);
    let json: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(json["schema"], "amperule-notice-1");
    let facts = json["facts"].as_array().expect("a list");
    let (_, page) = run(&[
        "sheet",
        "--for",
        "network",
        "examples/half-filled-survey.amp",
        "--format",
        "html",
    ]);
    for f in facts {
        let fact = f["fact"].as_str().expect("a name");
        assert!(page.contains(&format!("<th>{fact}<span")), "{fact}");
        assert!(text.contains(&format!("    {fact} ")), "{fact}");
    }
    assert!(facts.len() > 20, "{}", facts.len());
    // A ruleset that says nothing of it cannot make a notice.
    let (code, _) = run(&["sheet", "--for", "network", "examples/elm-fork.amp"]);
    assert_eq!(code, 2);
}
