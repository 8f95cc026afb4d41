//! Single faults of messages that were mended, each held by what it must and must not say.

use std::path::Path;

use serde_json::Value;

use super::{bomb, changed, example, folder, refused, run, run_in, sound};

fn check(design: &str, arguments: &[&str]) -> (i32, String) {
    let dir = folder(design, None);
    let mut all = vec!["check", "--full", "bad.amp"];
    all.extend(arguments);
    run_in(dir.path(), &all)
}

fn closing(text: &str) -> &str {
    text.lines()
        .find(|l| l.starts_with("bad.amp: ") && l.contains(" met, "))
        .expect("a closing line")
}

/// A value that is hardly plausible counts as a caution, and `--deny caution` sees it.
#[test]
fn an_implausible_value_is_counted_and_denied() {
    let text = changed("logged-for: 14 d", "logged-for: 900 d");
    let cautions = |text: &str| -> usize {
        let line = closing(text).to_owned();
        let part = line.split(", ").find(|p| p.contains("caution"));
        let number = part.and_then(|p| p.split(' ').next().map(str::to_owned));
        number.and_then(|n| n.parse().ok()).expect("a number")
    };
    let (_, before) = check(&sound(), &[]);
    let (code, after) = check(&text, &[]);
    assert!(after.contains("`900 d` is unusual"), "{after}");
    assert_eq!(cautions(&after), cautions(&before) + 1);
    assert_eq!(code, 0, "a caution alone decides nothing");
    assert_eq!(check(&text, &["--deny", "caution"]).0, 1);
    let (_, json) = check(&text, &["--format", "json"]);
    let v: Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(v["files"][0]["counts"]["failed"]["caution"], 1);
}

/// No value that nobody meets is named.
#[test]
fn named_values_are_plausible() {
    let mut all = example("half-filled-survey");
    all.push_str(&run(&[
        "check",
        "--format",
        "json",
        "examples/half-filled-survey.amp",
    ]));
    for absurd in [
        "4.941e-324",
        "1970-01-01",
        "with 0 ohm",
        "with 0 kA",
        "with 0 kV",
        "\"passes\":\"60\"",
        "0.5 mm² ",
        "\"0 ohm\"",
    ] {
        assert!(!all.contains(absurd), "{absurd}");
    }
    // Of a series, the members on both sides of where the verdict turns.
    assert!(all.contains("\"passes\":\"80 A\"") && all.contains("\"breaks\":\"60 A\""));
}

#[test]
fn undecided_advice_and_what_is_not_due_are_told() {
    let text = example("half-filled-survey");
    assert!(text.contains("Undecided advice:\n"), "{text}");
    assert!(
        text.contains("(gb-public-bay-size); needs private-use of law"),
        "{text}"
    );
    assert!(
        text.contains("Not due: these rules wait for a later stage"),
        "{text}"
    );
    assert!(
        text.contains("--stage verify or --stage handover"),
        "{text}"
    );
    let last = run(&[
        "check",
        "--full",
        "examples/half-filled-survey.amp",
        "--stage",
        "handover",
    ]);
    assert!(!last.contains("Not due:"), "{last}");
}

#[test]
fn ways_say_what_they_ask() {
    let text = example("quarry-cottage-faults");
    assert!(text.contains("one of these ways must hold:"), "{text}");
    assert!(
        text.contains("- overcurrent (Z-loop <= Zs-limit): does not hold"),
        "{text}"
    );
}

#[test]
fn common_practice_is_cited_once() {
    let text = example("half-filled-survey");
    assert!(
        !text.contains("common practice (common practice)"),
        "{text}"
    );
    assert!(text.contains("common practice\n"), "{text}");
}

#[test]
fn the_touch_voltage_says_under_which_fault_it_stands() {
    let text = example("quarry-cottage");
    let line = text.lines().find(|l| l.contains("touch-voltage of supply"));
    assert!(
        line.is_some_and(|l| l.contains("with the PEN conductor open")),
        "{line:?}"
    );
}

/// Labels of one finding, as the lines of the file.
fn lines_of(text: &str, rule: &str) -> String {
    let from = text.find(&format!(": {rule}\n")).expect("the finding");
    let rest = text.get(from..).unwrap_or("");
    let end = rest.find("  help:").unwrap_or(rest.len());
    rest.get(..end).unwrap_or("").to_owned()
}

#[test]
fn an_open_pen_breach_points_at_what_decides_it() {
    let text = example("quarry-cottage-faults");
    let lines = lines_of(&text, "gb-pme-not-used-outdoors");
    for beside in ["phases: 1", "protective-measure"] {
        assert!(!lines.contains(beside), "{lines}");
    }
    assert!(lines.contains("location: outdoors"), "{lines}");
}

#[test]
fn no_remedy_moves_a_cable_elsewhere() {
    let text = example("quarry-cottage-faults");
    for fact in ["method", "ambient", "group", "guard", "location"] {
        assert!(!text.contains(&format!("`{fact}: ")), "{fact}");
    }
    assert!(
        text.contains("`size: 10 mm²` for cables 1 of ev would meet this rule"),
        "{text}"
    );
}

#[test]
fn many_mistakes_are_counted_not_told() {
    let mut design = sound();
    for i in 0..2000 {
        design.push_str(&format!("load l{i} {{ wrong-{i}: 1 }}\n"));
    }
    let (code, text) = check(&design, &[]);
    assert_eq!(code, 2);
    assert!(
        text.contains("there are 1900 more mistakes"),
        "{}",
        text.len()
    );
    assert!(text.len() < 200_000, "{} bytes", text.len());
}

#[test]
fn a_long_line_is_shown_around_its_label() {
    let design = changed(
        "earthing: TN-C-S\n",
        &format!("earthing: TN-X  # {}\n", "y".repeat(50_000)),
    );
    let (code, text) = check(&design, &[]);
    assert_eq!(code, 2);
    assert!(text.contains("TN-X"), "{}", text.len());
    assert!(text.lines().all(|l| l.chars().count() < 400));
    // The label behind the long part, too.
    let behind = format!(
        "installation {{ rules: gb  address: \"{}\"  stage: desing }}\n",
        "ä".repeat(20_000)
    );
    let (_, text) = check(&behind, &[]);
    assert!(text.contains("stage: desing"), "{text}");
    assert!(text.lines().all(|l| l.chars().count() < 400));
}

#[test]
fn broken_yaml_is_said_once_and_at_its_place() {
    let text = refused(&sound(), Some("ruleset: [unclosed\n"));
    assert!(text.contains("sets/mine/ruleset.yaml:1:10"), "{text}");
    assert!(!text.contains("has no head"), "{text}");
    let text = refused(&sound(), Some(&bomb()));
    assert!(!text.contains("Nodes") && !text.contains('{'), "{text}");
    assert!(text.contains("unfolds to more than is read"), "{text}");
}

/// Labels in a second file are lines of it, not a message of their own.
#[test]
fn a_label_in_another_file_is_no_second_message() {
    let dir = folder(&sound(), None);
    let write = |name: &str, yaml: &str| {
        let path = dir.path().join("sets").join(name);
        std::fs::create_dir_all(&path).expect("made");
        std::fs::write(path.join("ruleset.yaml"), yaml).expect("written");
    };
    write(
        "mine",
        "ruleset: mine\ntitle: m\nparent: iec\neditions: [{id: '1', title: one}]\nlimits:\n  own: {is: 1 V, means: m, source: own}\n",
    );
    write(
        "yours",
        "ruleset: yours\ntitle: y\nparent: mine\neditions: [{id: '1', title: one}]\nlimits:\n  own: {is: 1 A, means: m, source: own}\n",
    );
    let arguments = ["check", "bad.amp", "--rulesets", "sets", "--rules", "yours"];
    let (_, text) = run_in(Path::new(dir.path()), &arguments);
    assert!(text.contains("sets/yours/ruleset.yaml:6"), "{text}");
    assert!(text.contains("sets/mine/ruleset.yaml:6"), "{text}");
    assert!(!text.contains("Advice") && !text.contains('☞'), "{text}");
}

#[test]
fn a_unit_that_nothing_is_like_gets_an_example() {
    let text = refused(&changed("length: 18 m ", "length: 18 furlong "), None);
    assert!(text.contains("write it in a unit such as `m`"), "{text}");
}

#[test]
fn junk_is_not_asked_for_its_rules() {
    let text = refused("]]]] {{ 12 (((\n===\n", None);
    assert!(text.contains("exit code 2"), "{text}");
    assert!(!text.contains("does not say by which rules"), "{text}");
    let text = refused("supply { }\n", None);
    assert!(text.contains("does not say by which rules"), "{text}");
}

/// A sum keeps its brackets, a set of lines is shown by its names, and the verdict stands below.
#[test]
fn workings_read_like_a_calculation() {
    let text = run(&["working", "examples/quarry-cottage.amp", "ev.voltage-drop"]);
    assert!(text.contains("= 0.0292 ohm + 0.1422 ohm"), "{text}");
    assert!(!text.contains("sum()"), "{text}");
    assert!(!text.contains("lines = 0"), "{text}");
    let text = run(&[
        "working",
        "examples/quarry-cottage.amp",
        "supply.touch-voltage",
    ]);
    assert!(text.contains("= 1 / sqrt((1 + 1) / 2)"), "{text}");
    let text = run(&["working", "examples/quarry-cottage.amp", "ev.Iz"]);
    assert!(
        text.contains("= 47 A ≥ 32 A\n     = holds, 47 % in hand"),
        "{text}"
    );
    let text = run(&[
        "working",
        "examples/quarry-cottage.amp",
        "supply.maximum-demand",
    ]);
    assert!(
        text.contains("= 56 A ≤ 80 A\n     = holds, 30 % in hand"),
        "{text}"
    );
}
