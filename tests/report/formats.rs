//! Formats for other programs, and an earlier report.

use serde_json::Value;

use super::{MISTAKEN, check, example, folder, jobs, run};

#[test]
fn concise_is_a_line_for_each_finding() {
    let text = check(&["--format", "concise", "examples/quarry-cottage-faults.amp"]);
    let json = check(&["--format", "json", "examples/quarry-cottage-faults.amp"]);
    let all: Value = serde_json::from_str(&json).expect("JSON");
    let findings = all["files"][0]["findings"].as_array().expect("findings");
    let told = |f: &&Value| f["outcome"] == "failed" || f["outcome"] == "undecided";
    assert_eq!(text.lines().count(), findings.iter().filter(told).count());
    for f in findings.iter().filter(told) {
        let wanted = format!(
            "examples/quarry-cottage-faults.amp:{}:{}: ",
            f["labels"][0]["line"], f["labels"][0]["column"]
        );
        let end = format!(
            "[{}] for {}",
            f["rule"].as_str().unwrap_or(""),
            f["subject"].as_str().unwrap_or("")
        );
        let found = text
            .lines()
            .any(|l| l.starts_with(&wanted) && l.ends_with(&end));
        assert!(found, "{wanted} {end}\n{text}");
    }
}

#[test]
fn annotations_keep_to_one_line_each() {
    let text = check(&["--format", "github", "examples/quarry-cottage-faults.amp"]);
    assert!(
        text.lines().all(|l| {
            ["::error ", "::warning ", "::notice "]
                .iter()
                .any(|c| l.starts_with(c))
        }),
        "{text}"
    );
    let bond = text.lines().find(|l| l.contains("[iec-bond-large-enough]"));
    let wanted = "::error file=examples/quarry-cottage-faults.amp,line=55,endLine=55,col=3,endColumn=14,title=breach::the \
                  main bond of the water service is 4 mm², less than the 10 mm² needed [iec-bond-large-enough] for water%0Areplace";
    assert!(bond.is_some_and(|l| l.starts_with(wanted)), "{bond:?}");
    // What would end a value is named in one, and a per cent sign everywhere.
    let dir = folder(&[("a,b:1%.amp", MISTAKEN)]);
    let (_, text, _) = run(
        dir.path(),
        &["check", "--format", "github", "a,b:1%.amp"],
        100,
    );
    assert!(
        text.starts_with("::error file=a%2Cb%3A1%25.amp,line=4,"),
        "{text}"
    );
}

fn sarif(text: &str) -> Value {
    let schema = include_str!("sarif-schema-2.1.0.json");
    let mut schema: Value = serde_json::from_str(schema).expect("the schema");
    // This pattern of the published schema closes a bracket that it does not open; no language is
    // written here.
    for of in ["run", "toolComponent"] {
        let language = &mut schema["definitions"][of]["properties"]["language"];
        let pattern = language
            .as_object_mut()
            .expect("an object")
            .remove("pattern");
        assert_eq!(
            pattern.expect("a pattern"),
            "^[a-zA-Z]{2}|^[a-zA-Z]{2}-[a-zA-Z]{2}]?$"
        );
    }
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    let all: Value = serde_json::from_str(text).expect("JSON");
    let faults: Vec<String> = validator
        .iter_errors(&all)
        .map(|e| format!("{}: {e}", e.instance_path()))
        .collect();
    assert!(faults.is_empty(), "{faults:#?}");
    // The schema is not blind.
    let mut wrong = all.clone();
    wrong["runs"][0]["results"][0]["level"] = "grave".into();
    assert!(!validator.is_valid(&wrong));
    all
}

#[test]
fn sarif_keeps_to_its_schema() {
    let dir = jobs();
    let (code, text, note) = run(dir.path(), &["check", "--format", "sarif", "jobs"], 100);
    assert_eq!(code, 2);
    assert!(note.contains("4 files: 1 with mistakes"), "{note}");
    let all = sarif(&text);
    let run = &all["runs"][0];
    assert_eq!(run["tool"]["driver"]["name"], "amperule");
    assert_eq!(run["invocations"][0]["executionSuccessful"], false);
    let results = run["results"].as_array().expect("results");
    let bond = results
        .iter()
        .find(|r| r["ruleId"] == "iec-bond-large-enough" && r["kind"] == "fail");
    let bond = bond.expect("a result");
    assert_eq!(bond["level"], "error");
    let place = &bond["locations"][0]["physicalLocation"];
    assert_eq!(place["artifactLocation"]["uri"], "jobs/b.amp");
    assert_eq!(place["region"]["startLine"], 55);
    assert_eq!(place["region"]["endColumn"], 14);
    let print = bond["partialFingerprints"]["finding/v2"].as_str();
    assert!(print.is_some_and(|p| p.starts_with("v2:")), "{bond}");
    // What is open is no failure, and says so in the standard's own word.
    let open = results.iter().filter(|r| r["kind"] == "open");
    assert!(open.clone().count() > 10);
    assert!(open.clone().all(|r| r["level"] == "none"));
    let rules = run["tool"]["driver"]["rules"].as_array().expect("rules");
    for r in results
        .iter()
        .filter(|r| r["partialFingerprints"].is_object())
    {
        assert!(rules.iter().any(|d| d["id"] == r["ruleId"]), "{r}");
    }
    // Nothing found is a run without results; a folder without designs is a result without place.
    let (code, text, _) = super::run(dir.path(), &["check", "--format", "sarif", "none"], 100);
    assert_eq!(code, 2);
    assert_eq!(
        sarif(&text)["runs"][0]["results"].as_array().map(Vec::len),
        Some(1)
    );
}

#[test]
fn a_departure_is_a_suppression() {
    let text = format!(
        "{}\ndeparture from iec-bond-large-enough {{ for: water  reason: \"agreed\"  agreed-by: \"owner\" }}\n",
        example("quarry-cottage-faults")
    );
    let dir = folder(&[("a.amp", &text)]);
    let (_, text, _) = run(dir.path(), &["check", "--format", "sarif", "a.amp"], 100);
    let all = sarif(&text);
    let results = all["runs"][0]["results"].as_array().expect("results");
    let bond = results
        .iter()
        .find(|r| r["ruleId"] == "iec-bond-large-enough");
    let bond = bond.expect("a result");
    assert_eq!(bond["suppressions"][0]["justification"], "agreed", "{bond}");
}

#[test]
fn the_test_report_has_a_case_for_each_verdict() {
    let dir = jobs();
    let (code, xml, _) = run(dir.path(), &["check", "--format", "junit", "jobs"], 100);
    assert_eq!(code, 2);
    assert!(xml.starts_with("<?xml "), "{xml}");
    assert_eq!(xml.matches("<testsuite ").count(), 4, "{xml}");
    let (_, json, _) = run(
        dir.path(),
        &["check", "--format", "json", "--all", "jobs"],
        100,
    );
    let all: Value = serde_json::from_str(&json).expect("JSON");
    let count = |outcome: &str, severity: &str| -> u64 {
        let files = all["files"].as_array().into_iter().flatten();
        files
            .filter_map(|f| f["counts"][outcome][severity].as_u64())
            .sum()
    };
    let failures = count("failed", "breach") + count("undecided", "breach");
    assert_eq!(xml.matches("<failure ").count() as u64, failures);
    assert!(xml.contains("classname=\"iec-bond-large-enough\""), "{xml}");
    assert_eq!(xml.matches("<error ").count(), 1, "{xml}");
}

/// Of two files that are judged no more one broke a rule that was open in the other: either may have
/// been moved, so neither finding is new.
#[test]
fn what_failed_in_one_of_two_moved_files_is_known() {
    let failed = example("quarry-cottage-faults");
    let open = failed.replace("size: 4 mm²", "size: ?");
    assert_ne!(failed, open);
    let dir = folder(&[("a.amp", &failed), ("b.amp", &open)]);
    let path = dir.path();
    let (_, report, _) = run(path, &["check", "--format", "json", "a.amp", "b.amp"], 100);
    std::fs::write(path.join("base.json"), &report).expect("written");
    std::fs::rename(path.join("a.amp"), path.join("c.amp")).expect("moved");
    std::fs::remove_file(path.join("b.amp")).expect("removed");
    let (code, text, _) = run(path, &["check", "--baseline", "base.json", "c.amp"], 200);
    assert_eq!(code, 0, "{text}");
}

/// A caution about what is written was told then, too; another one is new, and a mistake is always told.
#[test]
fn a_caution_about_the_text_is_known() {
    let before = example("quarry-cottage").replace("length: 18 m", "length: 1800 m");
    let dir = folder(&[("a.amp", &before)]);
    let path = dir.path();
    let (_, report, _) = run(path, &["check", "--format", "json", "a.amp"], 100);
    assert!(report.contains("\"implausible\""), "{report}");
    std::fs::write(path.join("base.json"), &report).expect("written");
    let deny = [
        "check",
        "--deny",
        "caution",
        "--baseline",
        "base.json",
        "a.amp",
    ];
    let told = || run(path, &deny, 200);
    let (code, text, _) = told();
    assert_eq!(code, 0, "{text}");
    assert!(!text.contains("unusual"), "{text}");
    // The same once more is new.
    let twice = before.replacen("length: 0.8 m", "length: 1800 m", 1);
    assert_ne!(twice, before);
    std::fs::write(path.join("a.amp"), twice).expect("written");
    assert_eq!(told().0, 1);
    std::fs::write(path.join("a.amp"), before.replace("1800 m", "1900 m")).expect("written");
    let (code, text, _) = told();
    assert_eq!(code, 1, "{text}");
    assert!(text.contains("1900 m"), "{text}");
    std::fs::write(path.join("a.amp"), before.replace("method: C", "method: Q")).expect("written");
    assert_eq!(told().0, 2);
}

#[test]
fn only_what_is_new_counts_against_an_earlier_report() {
    let before = example("quarry-cottage-faults");
    let dir = folder(&[("a.amp", &before), ("b.amp", &example("quarry-cottage"))]);
    let path = dir.path();
    let (_, report, _) = run(path, &["check", "--format", "json", "a.amp", "b.amp"], 100);
    std::fs::write(path.join("base.json"), &report).expect("written");
    let with = |more: &[&str]| {
        let mut all = vec!["check", "--baseline", "base.json"];
        all.extend(more);
        run(path, &all, 200)
    };
    // Nothing is new.
    let (code, text, _) = with(&["a.amp"]);
    assert_eq!(code, 0, "{text}");
    let answer = text.lines().next().unwrap_or_default().to_owned();
    assert!(
        answer.contains(": no breach; no question open; "),
        "{answer}"
    );
    assert!(
        answer.ends_with("known findings not told again, 0 gone"),
        "{answer}"
    );
    assert!(!text.contains("breach: "), "{text}");
    // The whole report says that it is not whole, too.
    let (code, text, _) = with(&["--full", "a.amp"]);
    assert_eq!(code, 0, "{text}");
    assert!(
        text.contains("known findings not told again, 0 gone"),
        "{text}"
    );
    // One is mended, another is new; lines moved.
    let after = format!("# moved\n\n{before}").replace("size: 4 mm²", "size: 10 mm²");
    std::fs::write(path.join("a.amp"), &after).expect("written");
    let (code, text, _) = with(&["a.amp"]);
    assert_eq!(code, 0, "{text}");
    assert!(
        text.lines().next().is_some_and(|l| l.ends_with(", 1 gone")),
        "{text}"
    );
    let worse = after.replace("mode: 3", "mode: 2");
    assert_ne!(worse, after);
    std::fs::write(path.join("a.amp"), &worse).expect("written");
    let (code, json, _) = with(&["--format", "json", "a.amp", "b.amp"]);
    assert_eq!(code, 1, "{json}");
    let all: Value = serde_json::from_str(&json).expect("JSON");
    assert!(
        all["totals"]["known"].as_u64().is_some_and(|n| n > 8),
        "{json}"
    );
    // A copy under another name is not covered by what was found in the first.
    std::fs::write(path.join("copy.amp"), &before).expect("written");
    assert_eq!(with(&["a.amp", "copy.amp"]).0, 1);
    // Nor is another file while the first is there, though it be not judged; a file that was moved is.
    assert_eq!(with(&["copy.amp"]).0, 1);
    std::fs::remove_file(path.join("copy.amp")).expect("removed");
    std::fs::write(path.join("a.amp"), &before).expect("written");
    std::fs::rename(path.join("a.amp"), path.join("moved.amp")).expect("moved");
    assert_eq!(with(&["moved.amp"]).0, 0);
    std::fs::rename(path.join("moved.amp"), path.join("a.amp")).expect("moved back");
    // What is no report is said to be none.
    std::fs::write(path.join("base.json"), "{}").expect("written");
    let (code, _, note) = with(&["a.amp"]);
    assert_eq!(code, 2);
    assert!(note.contains("is no earlier report"), "{note}");
    std::fs::write(path.join("base.json"), "not json").expect("written");
    assert_eq!(with(&["a.amp"]).0, 2);
}
