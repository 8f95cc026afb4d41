//! The schema of the answers for programs, and each answer held to it.

use std::path::{Path, PathBuf};
use std::{fs, thread};

use serde_json::{Value, json};

use super::{ROOT, folder, run};

fn schema() -> Value {
    let (code, text, _) = run(Path::new(ROOT), &["help", "schema"], 100);
    assert_eq!(code, 0);
    serde_json::from_str(&text).expect("JSON")
}

/// What is wrong with an answer of this name.
fn faults(schema: &Value, name: &str, arguments: &[&str]) -> Vec<String> {
    let (_, text, err) = run(Path::new(ROOT), arguments, 100);
    let Ok(answer) = serde_json::from_str::<Value>(&text) else {
        return vec![format!("{arguments:?}: no JSON; {err}")];
    };
    let one = json!({"$ref": format!("#/$defs/{name}"), "$defs": schema["$defs"]});
    let validator = jsonschema::validator_for(&one).expect("a schema");
    let said = |e: jsonschema::ValidationError<'_>| format!("{name}{}: {e}", e.instance_path());
    validator.iter_errors(&answer).map(said).collect()
}

fn designs() -> Vec<PathBuf> {
    let mut all = Vec::new();
    for folder in ["examples", "tests/designs"] {
        let entries = fs::read_dir(Path::new(ROOT).join(folder)).expect("a folder");
        let paths = entries.map(|e| e.expect("readable").path());
        all.extend(paths.filter(|p| p.extension().is_some_and(|e| e == "amp")));
    }
    all.sort();
    all
}

/// No key that is not described: a new one is written down, or the test below fails.
#[test]
fn every_object_is_described_to_its_last_key() {
    fn objects(at: &Value, found: &mut usize) {
        if at["type"] == "object" {
            *found += 1;
            assert!(!at["additionalProperties"].is_null(), "{at}");
        }
        let inner: Vec<&Value> = match at {
            Value::Object(map) => map.values().collect(),
            Value::Array(all) => all.iter().collect(),
            _ => Vec::new(),
        };
        for value in inner {
            objects(value, found);
        }
    }
    let schema = schema();
    assert!(jsonschema::draft202012::meta::is_valid(&schema));
    let mut found = 0;
    objects(&schema, &mut found);
    assert!(found > 50, "{found}");
    // It refuses what it does not know.
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    let (_, text, _) = run(
        Path::new(ROOT),
        &["order", "--format", "json", "examples/larch-bank.amp"],
        100,
    );
    let mut answer: Value = serde_json::from_str(&text).expect("JSON");
    assert!(validator.is_valid(&answer));
    answer["designs"][0]["more"] = json!(1);
    assert!(!validator.is_valid(&answer));
}

#[test]
fn every_answer_keeps_to_its_schema() {
    let schema = schema();
    let all = designs();
    assert!(all.len() > 20);
    let of = |path: &PathBuf| -> Vec<String> {
        let file = path.to_str().expect("a path");
        let text = fs::read_to_string(path).expect("a text");
        let mut wrong = Vec::new();
        for (name, more) in [
            ("check", &["check"][..]),
            ("check", &["check", "--all"]),
            ("survey", &["survey", "--full"]),
            ("bounds", &["bounds"]),
            ("mend", &["mend"]),
            ("prove", &["prove"]),
            ("sheet", &["sheet"]),
            ("notice", &["sheet", "--for", "network"]),
            ("order", &["order"]),
            ("working", &["working"]),
        ] {
            if name == "notice" && text.contains("rules: us") {
                continue;
            }
            let arguments = [more, &["--format", "json", file]].concat();
            wrong.extend(faults(&schema, name, &arguments));
        }
        wrong
    };
    let half = all.len().div_ceil(2);
    let wrong: Vec<String> = thread::scope(|s| {
        let parts: Vec<_> = all
            .chunks(half)
            .map(|some| s.spawn(|| some.iter().flat_map(of).collect::<Vec<_>>()))
            .collect();
        parts
            .into_iter()
            .flat_map(|p| p.join().expect("done"))
            .collect()
    });
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn comparisons_rules_and_rows_keep_to_theirs() {
    let schema = schema();
    let json = ["--format", "json"];
    let house = "examples/quarry-cottage.amp";
    let faulty = "examples/quarry-cottage-faults.amp";
    for (name, arguments) in [
        ("compare", vec!["compare", "--from", house, "--to", faulty]),
        (
            "compare",
            vec!["compare", "--from", "gb@A2", "--to", "gb@A4", house],
        ),
        (
            "compare",
            vec!["compare", "--from", "gb", "--to", "iec", house],
        ),
        (
            "explain",
            vec!["explain", "iec-service-bonded", "--rules", "gb"],
        ),
        (
            "explain",
            vec!["explain", "iec-breaking-capacity", "--rules", "gb"],
        ),
        ("code", vec!["explain", "no-key"]),
        ("check", vec!["check", "no-such-file.amp", house]),
        ("check", vec!["check", "examples"]),
    ] {
        let wrong = faults(&schema, name, &[arguments.as_slice(), &json].concat());
        assert!(wrong.is_empty(), "{wrong:#?}");
    }
    let dir = folder(&[("houses.csv", "house,run (m)\n1,12\n2,30\n3,far\n")]);
    let table = dir.path().join("houses.csv");
    let table = table.to_str().expect("a path");
    let rows = ["check", "--rows", table, "examples/terrace-template.amp"];
    let wrong = faults(&schema, "rows", &[&rows[..], &json].concat());
    assert!(wrong.is_empty(), "{wrong:#?}");
}
