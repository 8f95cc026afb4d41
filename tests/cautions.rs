//! Every answer says, in each of its formats, who decides and what comes before opening anything.

#![expect(
    clippy::expect_used,
    reason = "a run that cannot be started is a fault of the test"
)]

use std::process::Command;

fn printed(args: &[&str]) -> String {
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program starts");
    String::from_utf8_lossy(&done.stdout).into_owned()
}

const COTTAGE: &str = "examples/quarry-cottage.amp";
const FAULTS: &str = "examples/quarry-cottage-faults.amp";
const OPEN: &str = "examples/half-filled-survey.amp";
const TEMPLATE: &str = "examples/terrace-template.amp";

#[test]
fn every_answer_says_who_decides_and_what_comes_first() {
    let folder = tempfile::tempdir().expect("a folder");
    let table = folder.path().join("houses.csv");
    std::fs::write(&table, "run (m)\n12\n").expect("written");
    let table = table.to_str().expect("a path");
    let answers: [&[&str]; 12] = [
        &["check", COTTAGE],
        &["check", TEMPLATE, "--rows", table],
        &["survey", OPEN],
        &["survey", COTTAGE],
        &["bounds", COTTAGE, "supply.Ze"],
        &["mend", FAULTS],
        &["mend", COTTAGE],
        &["prove", TEMPLATE],
        &["prove", COTTAGE],
        &["sheet", COTTAGE],
        &["working", COTTAGE, "ev.Zs"],
        &["compare", "--from", COTTAGE, "--to", FAULTS],
    ];
    let says = |args: &[&str]| {
        let text = printed(args);
        assert!(text.contains("qualified person"), "{args:?}: {text}");
        assert!(
            text.contains("prove dead before any enclosure is opened"),
            "{args:?}: {text}"
        );
        text
    };
    for args in answers {
        says(args);
        let json = says(&[args, &["--format", "json"]].concat());
        serde_json::from_str::<serde_json::Value>(&json).expect("sound JSON");
    }
    says(&["sheet", COTTAGE, "--format", "html"]);
    says(&["working", COTTAGE, "--format", "html"]);
    says(&["survey", OPEN, "--format", "sheet"]);
    says(&["survey", OPEN, "--format", "html"]);
}
