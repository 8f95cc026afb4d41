//! Findings in the Static Analysis Results Interchange Format (SARIF) 2.1.0, an open standard of
//! OASIS. What is undecided has the kind `open`, a departure is a suppression in the source.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::check::{Finding, Outcome, Standing};
use crate::ruleset::Severity;

use super::FileReport;
use super::entry::{Entry, Level, Place, entries};

/// Where the standard publishes its schema.
const SCHEMA: &str = "https://raw.githubusercontent.com/oasis-tcs/sarif-spec/master/Schemata/sarif-schema-2.1.0.json";

/// Rules by their ids, as the run describes them.
pub type Rules = BTreeMap<String, Value>;

/// What stands before the results.
#[must_use]
pub fn head() -> String {
    format!(
        "{{\"$schema\": {}, \"version\": \"2.1.0\", \"runs\": [{{\"results\": [\n",
        json!(SCHEMA)
    )
}

/// The results of one design, divided by commas, and the rules that they name.
#[must_use]
pub fn file(file: &FileReport<'_>, least: Severity) -> (String, Rules) {
    let all = entries(file, least);
    let mut rules = Rules::new();
    for f in all.iter().filter_map(|e| e.finding) {
        rules.entry(f.rule.clone()).or_insert_with(|| rule(f));
    }
    let results: Vec<String> = all
        .iter()
        .map(|e| result(e, file.path).to_string())
        .collect();
    (results.join(",\n"), rules)
}

/// What stands after the results: the tool with its rules, and whether it could do its job.
#[must_use]
pub fn tail(rules: &Rules, worst: Standing) -> String {
    let tool = json!({"driver": {
        "name": "amperule",
        "version": env!("CARGO_PKG_VERSION"),
        "semanticVersion": env!("CARGO_PKG_VERSION"),
        "rules": rules.values().collect::<Vec<_>>(),
    }});
    let run = json!([{
        "executionSuccessful": worst != Standing::Failed,
        "exitCode": worst.code(),
    }]);
    format!(
        "\n], \"columnKind\": \"unicodeCodePoints\", \"invocations\": {run}, \"tool\": {tool}}}]}}\n"
    )
}

fn rule(f: &Finding) -> Value {
    let mut rule = json!({
        "id": f.rule,
        "shortDescription": {"text": f.title},
        "properties": {
            "severity": f.severity.word(),
            "stage": f.stage.word(),
            "clause": f.clause,
            "source": f.source,
            "confidence": f.confidence.word(),
        },
    });
    if let Some(because) = &f.because {
        rule["fullDescription"] = json!({"text": because});
    }
    rule
}

fn result(e: &Entry<'_>, path: &str) -> Value {
    let open = e.word.starts_with("undecided");
    let mut text = e.message.to_owned();
    for h in e.help {
        text.push('\n');
        text.push_str(h);
    }
    let mut result = json!({
        "ruleId": e.rule,
        "kind": if open { "open" } else { "fail" },
        "level": match e.level {
            // The standard lets only what fails have a level.
            _ if open => "none",
            Level::Error => "error",
            Level::Warning => "warning",
            Level::Note => "note",
        },
        "message": {"text": text},
    });
    let mut places: Vec<Value> = e.places.iter().map(location).collect();
    if places.is_empty() {
        places.push(json!({"physicalLocation": {"artifactLocation": {"uri": uri(path)}}}));
    }
    let others = places.split_off(1);
    if let Some(f) = e.finding {
        places[0]["logicalLocations"] = json!([{"fullyQualifiedName": f.subject.path}]);
        result["partialFingerprints"] = json!({"finding/v2": f.fingerprint});
        result["properties"] = json!({
            "outcome": f.outcome.word(),
            "severity": f.severity.word(),
            "subject": f.subject.label,
        });
        if f.outcome == Outcome::Departed {
            result["suppressions"] = json!([{"kind": "inSource", "justification": f.departure}]);
        }
    }
    result["locations"] = json!(places);
    if !others.is_empty() {
        result["relatedLocations"] = json!(others);
    }
    result
}

fn location(p: &Place<'_>) -> Value {
    json!({"physicalLocation": {
        "artifactLocation": {"uri": uri(p.file)},
        "region": {
            "startLine": p.from.line,
            "startColumn": p.from.column,
            "endLine": p.until.line,
            "endColumn": p.until.column,
        },
    }})
}

/// A path as a reference to a resource: relative as it was given, or of this machine's files.
fn uri(path: &str) -> String {
    use std::fmt::Write as _;
    let path = path.replace('\\', "/");
    let path = path.strip_prefix("./").unwrap_or(&path);
    let mut out = String::from(if path.starts_with('/') { "file://" } else { "" });
    for b in path.bytes() {
        match b {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'-' | b'.' | b'_' | b'~' => {
                out.push(char::from(b));
            }
            b => {
                let _ = write!(out, "%{b:02X}");
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::uri;

    #[test]
    fn a_path_becomes_a_reference() {
        assert_eq!(uri("./jobs/a b.amp"), "jobs/a%20b.amp");
        assert_eq!(uri("/jobs/ä.amp"), "file:///jobs/%C3%A4.amp");
        assert_eq!(uri("c:\\jobs\\a.amp"), "c%3A/jobs/a.amp");
    }
}
