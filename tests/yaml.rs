//! YAML as a tree in which everything knows its place.

#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a test fails by panicking, in its helpers too"
)]

use std::fs;
use std::path::Path;

use amperule::ruleset::yaml::{Node, read, second_document};
use amperule::source::{FileId, SourceFile};
use serde_json::Value;

fn read_text(text: &str) -> (SourceFile, Node) {
    let source = SourceFile::new("t.yaml", text);
    let node = read(FileId(FileId::RULESET), &source, 0).unwrap();
    (source, node)
}

#[test]
fn everything_knows_its_place() {
    let (s, n) = read_text("a: {b: 'x''y >= 1', c: [1.10, no, 2018-07-02]}\nd: plain words\n");
    let b = n.get("a").unwrap().get("b").unwrap();
    assert_eq!(b.text(), Some("x'y >= 1"));
    let at = b.place(&s, 4..6);
    assert_eq!(s.text().get(at.from()..at.until()), Some(">="));
    let c = n.get("a").unwrap().get("c").unwrap().list().unwrap();
    let texts: Vec<_> = c.iter().map(|n| n.text().unwrap()).collect();
    assert_eq!(texts, ["1.10", "no", "2018-07-02"]);
    let d = n.get("d").unwrap().place(&s, 6..11);
    assert_eq!(s.text().get(d.from()..d.until()), Some("words"));
}

#[test]
fn folded_and_literal_texts_are_followed() {
    let (s, n) = read_text("a: >-\n  one and\n  two or\nb: |\n  three\n  four\n");
    let a = n.get("a").unwrap();
    assert_eq!(a.text(), Some("one and two or"));
    let at = a.place(&s, 8..11);
    assert_eq!(s.text().get(at.from()..at.until()), Some("two"));
    let b = n.get("b").unwrap();
    let at = b.place(&s, 6..10);
    assert_eq!(s.text().get(at.from()..at.until()), Some("four"));
}

#[test]
fn documents_are_told_apart() {
    let text = "a: 1\n---\nb: 2\n";
    let source = SourceFile::new("t.yaml", text);
    let first = read(FileId(FileId::RULESET), &source, 0).unwrap();
    assert!(first.get("a").is_some() && first.get("b").is_none());
    let second = read(
        FileId(FileId::RULESET),
        &source,
        second_document(text).unwrap(),
    )
    .unwrap();
    let b = second.get("b").unwrap();
    assert_eq!((b.text(), b.span.from()), (Some("2"), 12));
}

#[test]
fn a_bomb_of_aliases_is_an_error() {
    let mut text = String::from("a0: &a0 [x,x,x,x,x,x,x,x,x,x]\n");
    for i in 1..12 {
        let p = i - 1;
        text.push_str(&format!(
            "a{i}: &a{i} [*a{p},*a{p},*a{p},*a{p},*a{p},*a{p},*a{p},*a{p},*a{p}]\n"
        ));
    }
    let source = SourceFile::new("t.yaml", text);
    assert!(read(FileId(FileId::RULESET), &source, 0).is_err());
}

/// Documents of all files of the rulesets in the program.
/// Each slip is told what to write, not what another would have needed.
#[test]
fn slips_have_a_help_of_their_own() {
    for (text, help) in [
        ("a:\n\t- b\n", "indent with blanks, not with tabs"),
        ("a: b\na: c\n", "write it once: one of the two is to go"),
        ("a: 'it's less'\n", "an apostrophe is written twice"),
        ("a: b: c\n", "in single quotes"),
    ] {
        let source = SourceFile::new("t.yaml", text);
        let p = read(FileId(FileId::RULESET), &source, 0).unwrap_err();
        assert!(p.help.iter().any(|h| h.contains(help)), "{text:?}: {p:?}");
        assert!(!p.message.contains("DuplicateKeyPolicy"), "{p:?}");
    }
}

fn documents() -> Vec<(String, Value)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("rulesets");
    let mut all = Vec::new();
    for rules in ["core", "iec", "gb", "us"] {
        for entry in fs::read_dir(folder.join(rules)).expect("a ruleset") {
            let path = entry.expect("a file").path();
            if path.extension().is_none_or(|e| e != "yaml") {
                continue;
            }
            let text = fs::read_to_string(&path).expect("its text");
            for document in text.split("\n---\n") {
                let read = serde_yaml::from_str(document).expect("YAML");
                all.push((path.display().to_string(), read));
            }
        }
    }
    all
}

#[test]
fn every_file_of_a_ruleset_fits_the_schema_that_is_printed() {
    let schema = amperule::report::rules_schema::json();
    let schema = jsonschema::validator_for(&schema).expect("a schema");
    let all = documents();
    assert!(all.len() > 60, "{}", all.len());
    for (file, document) in &all {
        let faults: Vec<String> = schema
            .iter_errors(document)
            .map(|e| format!("{}: {e}", e.instance_path()))
            .collect();
        assert!(faults.is_empty(), "{file}: {faults:#?}");
    }
}

#[test]
fn the_schema_of_rulesets_knows_every_key_and_word() {
    let schema = amperule::report::rules_schema::json();
    let schema = jsonschema::validator_for(&schema).expect("a schema");
    let fits = |text: &str| schema.is_valid(&serde_yaml::from_str(text).expect("YAML"));
    assert!(fits("rules: [{id: a, stage: design, severity: breach}]"));
    for wrong in [
        "rulez: []",
        "rules: {}",
        "rules: [{id: a, stages: design}]",
        "rules: [{id: a, stage: built}]",
        "rules: [{id: a, follows-from: [{rule: b, because: c}]}]",
        "kinds: {board: {facts: {x: {is: A, unit: A}}}}",
        "tables: {t: {keys: {size: {is: A, of: b}}}}",
        "editions: [{id: '1', name: first}]",
        "withdraw: [{id: a, why: b}]",
        "cases: []",
    ] {
        assert!(!fits(wrong), "{wrong}");
    }
}
