//! What is said of a fact is what the language takes.

use std::collections::BTreeSet;

use amperule::design::parse::parse;
use amperule::design::resolve::{Settings, resolve};
use amperule::source::FileId;
use amperule::vocabulary::Vocabulary;
use serde_json::Value;

use super::{json, list, ruleset, text};

/// A design in which the only thing written is one fact of one object.
fn design(kind: &Value, fact: &str, value: &str) -> String {
    let line = format!("{fact}: {value}");
    if kind["block"] == true {
        return format!("{} {{ {line} }}", text(kind, "kind"));
    }
    // A part: a word that does not say the fact itself, or else the one that says just this, in a
    // block that holds one.
    let heads = list(kind, "opened-by");
    let says = |head: &Value, word: Option<&str>| {
        list(head, "sets")
            .iter()
            .any(|s| s["fact"] == fact && word.is_none_or(|w| s["word"] == w))
    };
    let silent = heads.iter().find(|h| !says(h, None));
    let (head, line) = match heads.iter().find(|h| says(h, Some(value))) {
        Some(head) if silent.is_none() => (head, String::new()),
        _ => (silent.unwrap_or(&heads[0]), line),
    };
    let head = text(head, "word");
    let place = list(kind, "part-of")
        .iter()
        .find(|p| !["device", "spd", "cable"].contains(&text(p, "kind")))
        .expect("a block holds it");
    format!(
        "{} {{ {}: {head} {{ {line} }} }}",
        text(place, "kind"),
        text(place, "fact")
    )
}

/// The codes of what is wrong with a design.
fn wrong(v: &Vocabulary, design: &str) -> Vec<&'static str> {
    let parsed = parse(FileId(0), design);
    let resolved = resolve(&[&parsed.tree], v, &Settings::default());
    let all = parsed.problems.iter().chain(&resolved.problems);
    all.map(|p| p.code).collect()
}

/// Values that a fact is said to take, as a design writes them.
fn values(fact: &Value) -> Vec<String> {
    let with_unit = |x: &Value| {
        let number = x.as_f64().expect("a number");
        match fact["unit"].as_str() {
            None | Some("" | "1") => format!("{number}"),
            Some(unit) => format!("{number} {unit}"),
        }
    };
    if let Some(series) = fact["series"].as_array() {
        return series
            .iter()
            .filter(|m| {
                let limits = &fact["plausible"];
                let inside = |key: &str, sign: f64| {
                    limits[key].as_f64().is_none_or(|limit| {
                        let value = m["value"].as_f64().expect("a number");
                        (value - limit) * sign <= 1e-9 * limit.abs()
                    })
                };
                inside("low", -1.0) && inside("high", 1.0)
            })
            .map(|m| match m["name"].as_str() {
                Some(name) => name.to_owned(),
                None => with_unit(&m["value"]),
            })
            .collect();
    }
    let mut all: Vec<String> = Vec::new();
    if let Some(words) = fact["words"].as_array() {
        all.extend(words.iter().filter_map(Value::as_str).map(str::to_owned));
    }
    let limits = [&fact["plausible"], &fact["domain"]]
        .into_iter()
        .find(|l| l.is_object());
    if let Some(limits) = limits {
        for (end, open) in [("low", "low-open"), ("high", "high-open")] {
            if limits[end].is_number() && limits[open] == false {
                all.push(with_unit(&limits[end]));
            }
        }
    }
    all.extend(match text(fact, "type") {
        "yes-no" => vec!["yes".to_owned(), "no".to_owned()],
        "date" => vec!["2026-11-02".to_owned()],
        "text" => vec!["\"as seen\"".to_owned()],
        _ => Vec::new(),
    });
    if fact["may-be-none"] == true {
        all.push("none".to_owned());
    }
    all.push("?".to_owned());
    all
}

/// Facts that the language reads for itself, and that take less than any fact of their type.
fn is_of_the_language(kind: &str, fact: &str) -> bool {
    fact == "status" || kind == "installation" && ["rules", "edition", "stage"].contains(&fact)
}

#[test]
fn what_a_fact_is_said_to_take_the_language_takes() {
    let ruleset = ruleset("gb");
    let mut tried = 0;
    for kind in list(&json(&[]), "kinds") {
        for fact in list(kind, "facts") {
            let (k, f) = (text(kind, "kind"), text(fact, "fact"));
            if fact["comes"] != "written" || is_of_the_language(k, f) {
                continue;
            }
            let always_said = kind["block"] == false
                && list(kind, "opened-by")
                    .iter()
                    .all(|h| list(h, "sets").iter().any(|s| s["fact"] == f));
            for value in values(fact) {
                if always_said && value == "?" {
                    continue;
                }
                let written = design(kind, f, &value);
                let found = wrong(&ruleset.vocabulary, &written);
                assert_eq!(found, [""; 0], "{written}");
                tried += 1;
            }
        }
    }
    assert!(tried > 1500, "only {tried} values were tried");
}

#[test]
fn what_a_fact_is_not_said_to_take_the_language_refuses() {
    let ruleset = ruleset("gb");
    let mut refused = BTreeSet::new();
    for kind in list(&json(&[]), "kinds") {
        for fact in list(kind, "facts") {
            let (k, f) = (text(kind, "kind"), text(fact, "fact"));
            if is_of_the_language(k, f) {
                continue;
            }
            let value = match text(fact, "type") {
                _ if fact["comes"] != "written" => "?".to_owned(),
                _ if fact["may-be-none"] == false => "none".to_owned(),
                "one-of" | "some-of" | "ordered" => "no-such-word".to_owned(),
                _ => "1 furlong".to_owned(),
            };
            // `none` may be one of the words.
            if value == "none" && list_or_empty(fact, "words").any(|w| w == "none") {
                continue;
            }
            let written = design(kind, f, &value);
            let found = wrong(&ruleset.vocabulary, &written);
            assert!(!found.is_empty(), "{written}");
            refused.extend(found);
        }
    }
    for code in ["not-optional", "unknown-word", "unknown-unit"] {
        assert!(refused.contains(code), "{refused:?}");
    }
}

fn list_or_empty<'v>(value: &'v Value, key: &str) -> impl Iterator<Item = &'v str> {
    value[key]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(Value::as_str)
}
