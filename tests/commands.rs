//! What each command prints, and its exit code.

#![expect(
    clippy::expect_used,
    reason = "a test stops where the program does not start"
)]

use std::collections::BTreeSet;
use std::fs;
use std::process::Command;

use serde_json::Value;

fn run(arguments: &[&str]) -> (i32, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program starts");
    let text = String::from_utf8_lossy(&done.stdout).into_owned();
    (done.status.code().unwrap_or(-1), text)
}

/// Checks the clean cottage with one text in place of another.
fn check_changed(old: &str, new: &str) -> (i32, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("changed.amp");
    let cottage = format!("{}/examples/quarry-cottage.amp", env!("CARGO_MANIFEST_DIR"));
    let text = fs::read_to_string(cottage).expect("an example");
    assert!(text.contains(old), "{old}");
    fs::write(&path, text.replace(old, new)).expect("a file");
    run(&["check", "--full", path.to_str().expect("a path")])
}

#[test]
fn the_examples_end_as_their_comments_promise() {
    let wanted = [
        ("larch-bank", 0),
        ("quarry-cottage", 0),
        ("quarry-cottage-faults", 1),
        ("heron-farm", 0),
        ("mill-lane-workshop", 0),
        ("half-filled-survey", 3),
        ("terrace-template", 3),
        ("elm-fork", 0),
    ];
    for (name, code) in wanted {
        let (got, out) = run(&["check", &format!("examples/{name}.amp")]);
        assert_eq!(got, code, "{name}:\n{out}");
    }
}

#[test]
fn each_deliberate_fault_is_a_breach() {
    let (_, out) = run(&["check", "examples/quarry-cottage-faults.amp"]);
    for rule in [
        "iec-demand-within-service-device",
        "iec-bond-large-enough",
        "iec-fault-cleared-in-time",
        "iec-device-within-cable",
        "gb-pme-not-used-outdoors",
        "iec-enclosure-suits-water",
        "iec-rcd-not-type-AC",
        "iec-rcd-opens-all-live",
    ] {
        assert!(out.contains(&format!("breach: {rule}")), "{rule}:\n{out}");
    }
}

#[test]
fn json_has_the_schema_and_the_findings() {
    let (code, out) = run(&[
        "check",
        "--format",
        "json",
        "examples/quarry-cottage-faults.amp",
    ]);
    assert_eq!(code, 1);
    let all: Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(all["schema"], "amperule-check-1");
    let file = &all["files"][0];
    assert_eq!(file["ruleset"]["id"], "gb");
    let findings = file["findings"].as_array().expect("findings");
    let breaches = findings
        .iter()
        .filter(|f| f["outcome"] == "failed" && f["severity"] == "breach")
        .count();
    assert_eq!(file["counts"]["failed"]["breach"], breaches);
    for f in findings {
        assert!(f["labels"][0]["line"].as_u64().is_some(), "{f}");
        assert!(
            f["fingerprint"]
                .as_str()
                .is_some_and(|p| p.starts_with("v2:")),
            "{f}"
        );
    }
}

/// Ze 0.266 to 0.294 ohm; 4 m of 6/2.5 mm² at 70 °C and 18 m of 6/6 mm²: worked by hand in the
/// ruleset's own figures, 3.08 and 7.41 mohm/m of IEC 60228.
/// A calculation sheet says all that the text says; steps that only carry a value along the feed are in
/// the JSON alone.
#[test]
fn a_calculation_sheet_says_what_the_text_says() {
    let file = "examples/quarry-cottage.amp";
    let (code, page) = run(&["working", file, "--format", "html"]);
    assert_eq!(code, 0, "{page}");
    let (_, text) = run(&["working", file]);
    let (_, all) = run(&["working", file, "--format", "json"]);
    let all: Value = serde_json::from_str(&all).expect("JSON");
    let workings = all["workings"].as_array().expect("a list");
    assert!(workings.len() > 8, "{}", workings.len());
    let mut carried = 0;
    for w in workings {
        let head = format!(
            "{} of {} = ",
            w["fact"].as_str().unwrap_or(""),
            w["subject"].as_str().unwrap_or("")
        );
        assert!(page.contains(&format!("<h2>{head}")), "{head}");
        assert!(text.contains(&head), "{head}");
        for s in w["steps"].as_array().expect("steps") {
            let what = s["what"].as_str().unwrap_or("");
            let told = text.lines().any(|l| {
                let line = l
                    .trim_start()
                    .trim_start_matches(|c: char| c.is_ascii_digit());
                line.strip_prefix(". ")
                    .is_some_and(|l| l.starts_with(&format!("{what} (")))
            });
            carried += usize::from(!told);
            if !told {
                let formula = s["formula"].as_str().unwrap_or("");
                let fact = what.split(' ').next().unwrap_or("");
                let same =
                    s["result"] == formula && s["inputs"].as_array().is_some_and(Vec::is_empty);
                let carries = formula.contains(&format!(".{fact}"));
                assert!(same || carries, "{what}: {formula}");
            }
        }
    }
    assert!(carried > 5, "{carried}");
    // What several figures need is worked out once.
    let mut seen = BTreeSet::new();
    for line in text.lines().filter_map(|l| l.trim_start().split_once(". ")) {
        let number = line.0.parse::<u32>().is_ok();
        assert!(!number || seen.insert(line.1), "twice: {}", line.1);
    }
    assert!(
        seen.len() > 50 && text.contains("steps stand above"),
        "{}",
        seen.len()
    );
    assert!(page.contains("steps stand above"));
    assert!(page.contains("holds, 47 % in hand") && page.contains("a qualified person answers"));
}

/// A circuit and its point may have one name; readings say which is meant, and the message says how.
#[test]
fn readings_of_like_names_are_told_apart_by_their_kind() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("like.amp");
    let name = path.to_str().expect("a path");
    let workshop = format!(
        "{}/examples/mill-lane-workshop.amp",
        env!("CARGO_MANIFEST_DIR")
    );
    let text = fs::read_to_string(workshop).expect("an example");
    fs::write(
        &path,
        format!("{text}readings bay-1 {{ insulation: 2 Mohm }}\n"),
    )
    .expect("a file");
    let (code, out) = run(&["check", name]);
    assert_eq!(code, 2);
    let told = "leave the name of this block out and write `of: circuit.bay-1` or";
    assert!(out.contains(told), "{out}");
    let mended = format!("{text}readings {{ of: circuit.bay-1  insulation: 0.5 Mohm }}\n");
    fs::write(&path, mended).expect("a file");
    let (code, out) = run(&["check", name, "--stage", "verify"]);
    assert_eq!(code, 1, "{out}");
    assert!(out.contains("breach: iec-insulation-read"), "{out}");
}

/// Brackets of a formula come in pairs in the sheet, also where a comparison begins within them.
#[test]
fn a_working_closes_every_bracket_that_it_opens() {
    for (file, fact) in [
        ("tests/designs/mill-race-three-phase.amp", "ev.voltage-drop"),
        (
            "tests/designs/granary-court-car-park.amp",
            "bay-6.total-drop",
        ),
        ("examples/heron-farm.amp", "supply.maximum-demand"),
    ] {
        let (code, out) = run(&["working", file, fact]);
        assert_eq!(code, 0, "{out}");
        let formulas = out
            .lines()
            .filter(|l| l.starts_with("     ") && !l.contains("[tests"));
        let mut seen = 0;
        for line in formulas {
            let mut depth = 0;
            for c in line.chars() {
                depth += i32::from(c == '(') - i32::from(c == ')');
                assert!(depth >= 0, "{file}: {line}");
            }
            assert_eq!(depth, 0, "{file}: {line}");
            seen += usize::from(line.contains('('));
        }
        assert!(seen > 0, "{file}: only {seen} lines with brackets");
    }
}

#[test]
fn a_working_ends_in_the_figure_and_names_clause_and_line() {
    let (code, out) = run(&["working", "examples/quarry-cottage.amp", "ev.R1R2"]);
    assert_eq!(code, 0, "{out}");
    let by_hand = 4.0 * (3.08 + 7.41) + 18.0 * (3.08 + 3.08);
    let (code, json) = run(&[
        "working",
        "examples/quarry-cottage.amp",
        "ev.R1R2",
        "--format",
        "json",
    ]);
    assert_eq!(code, 0);
    let all: Value = serde_json::from_str(&json).expect("JSON");
    let w = &all["workings"][0];
    let low = w["low"].as_f64().expect("a number");
    assert_eq!(w["unit"], "ohm");
    assert!(
        (low * 1000.0 - by_hand).abs() < 1e-6,
        "{low} ohm, by hand {by_hand} mohm"
    );
    assert!(out.contains("[examples/quarry-cottage.amp:"), "{out}");
    assert!(out.contains("IEC 60228"), "{out}");
}

#[test]
fn a_fact_that_is_not_worked_out_is_told() {
    let (code, _) = run(&["working", "examples/quarry-cottage.amp", "Zss"]);
    assert_eq!(code, 2);
}

#[test]
fn a_parameter_decides_a_template() {
    let template = "examples/terrace-template.amp";
    assert_eq!(run(&["check", template, "--set", "run=12m"]).0, 0);
    assert_eq!(run(&["check", template, "--set", "run=40m"]).0, 1);
    assert_eq!(run(&["check", template, "--set", "run=60m"]).0, 2);
}

#[test]
fn the_formatter_writes_only_what_differs() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.amp");
    let text = fs::read_to_string("examples/quarry-cottage.amp").expect("the example");
    fs::write(&path, text.replace("  phases: 1\n", "      phases:1\n")).expect("written");
    let name = path.to_str().expect("a path");
    assert_eq!(run(&["format", "--check", name]).0, 1);
    assert_eq!(run(&["format", name]).0, 0);
    assert_eq!(fs::read_to_string(&path).expect("read"), text);
    assert_eq!(run(&["format", "--check", name]).0, 0);
    let left: Vec<_> = fs::read_dir(folder.path()).expect("listed").collect();
    assert_eq!(left.len(), 1, "something was left behind");
}

#[test]
fn a_rule_is_shown_whole() {
    let (code, out) = run(&["rules", "show", "iec-fault-cleared-in-time"]);
    assert_eq!(code, 0);
    for part in [
        "way overcurrent: Z-loop <= Zs-limit",
        "411.4.4",
        "amended  by gb",
    ] {
        assert!(out.contains(part), "`{part}` is not in:\n{out}");
    }
    assert_eq!(run(&["rules", "show", "iec-nothing"]).0, 2);
}

/// What neither of two editions knows is a mistake, not a fact that one of them does not read.
#[test]
fn what_no_edition_knows_is_a_mistake_of_a_comparison() {
    let dir = tempfile::tempdir().expect("a folder");
    let text = include_str!("../examples/quarry-cottage.amp");
    let slip = text.replacen("IΔn: 30 mA", "IDn2: 30 mA", 1);
    std::fs::write(dir.path().join("slip.amp"), slip).expect("written");
    let line = ["compare", "--from", "gb@A2", "--to", "gb@A4", "slip.amp"];
    let (code, out, err) = crate::common::program::run(dir.path(), &line, 100);
    assert_eq!(code, 2, "{out}{err}");
    assert_eq!(err.matches("no fact called `IDn2`").count(), 1, "{err}");
}

/// A rule that a layer withdrew is not said never to have been, and the help does not lead back.
#[test]
fn a_rule_that_was_withdrawn_is_told_as_that() {
    let dir = tempfile::tempdir().expect("a folder");
    let firm = dir.path().join("firm");
    std::fs::create_dir(&firm).expect("a folder");
    let patch = "ruleset: firm\ntitle: firm\nwithdraw:\n  \
                 - {id: gb-bond-continuous, because: 'not here'}\n  \
                 - {id: iec-voltage-drop, because: 'nor here'}\n";
    std::fs::write(firm.join("ruleset.yaml"), patch).expect("a ruleset");
    for (rule, why, help) in [
        ("gb-bond-continuous", "not here", "--rules gb"),
        ("iec-voltage-drop", "nor here", "--rules iec"),
    ] {
        let line = ["explain", rule, "--rules", "gb + firm", "--rulesets", "."];
        let (code, out, err) = crate::common::program::run(dir.path(), &line, 200);
        let told = out + &err;
        assert_eq!(code, 2, "{told}");
        let withdrawn = format!("`{rule}` is withdrawn by `firm`: {why}");
        assert!(told.contains(&withdrawn), "{told}");
        assert!(
            told.contains(&format!("amperule explain {rule} {help}")),
            "{told}"
        );
    }
}

/// What a message says to write instead keeps the number that was meant, so that it can be copied.
#[test]
fn an_example_keeps_the_number_that_was_written() {
    let (code, out) = check_changed("size: 6 mm²", "size: 6 mm");
    assert_eq!(code, 2, "{out}");
    assert!(out.contains("write for example `size: 6 mm²`"), "{out}");
    assert!(
        out.contains("write for example `lead-size: 6 mm²`"),
        "{out}"
    );
}

/// Like findings are told in full once; the others say their own figures in a line each.
#[test]
fn like_findings_are_told_once_in_full() {
    let (code, out) = run(&[
        "check",
        "--full",
        "tests/designs/granary-court-car-park.amp",
    ]);
    assert_eq!(code, 0, "{out}");
    assert_eq!(
        out.matches("advice: iec-spd-near-point").count(),
        1,
        "{out}"
    );
    for (bay, metres) in [(3, 14), (4, 17), (5, 20), (6, 23)] {
        let said = format!(": point bay-{bay} is {metres} m of cable away");
        let line = out.lines().find(|l| l.contains(&said)).unwrap_or_default();
        assert!(line.starts_with("  also line "), "{bay}: {line}\n{out}");
    }
}

/// One wrong reference leaves many rules open: they are named in one place, not each in a block.
#[test]
fn what_is_not_judged_is_told_in_one_place() {
    let (code, out) = check_changed("  circuit: ev\n", "  circuit: evv\n");
    assert_eq!(code, 2, "{out}");
    assert_eq!(out.matches("ot judged").count(), 2, "{out}");
    assert!(
        out.contains("Not judged, for what line 128 holds ("),
        "{out}"
    );
    assert!(out.contains("iec-voltage-drop for drive"), "{out}");
}
