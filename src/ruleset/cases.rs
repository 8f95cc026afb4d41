//! Cases of rules: small patches of a base design, and how each must come out.

use std::sync::Arc;

use super::yaml::{self, Node, Yaml};
use crate::source::{FileId, Problem, SourceFile, Span};

/// One change to the base design.
#[derive(Clone, Debug)]
pub enum Patch {
    /// Sets a fact: the path, and the value as a design would write it.
    Set {
        /// Names from the block inward.
        path: Vec<String>,
        /// The value; empty to take the line out.
        value: String,
        /// Where it is written.
        span: Span,
    },
    /// Takes a block out.
    Drop(String, Span),
    /// Adds text.
    Add(String, Span),
}

/// One case of a rule.
#[derive(Clone, Debug)]
pub struct Case {
    /// The rule.
    pub rule: String,
    /// `met`, `failed`, `undecided`, `not-applicable`.
    pub outcome: String,
    /// What is changed.
    pub patches: Vec<Patch>,
    /// The only subject that is looked at.
    pub subject: Option<String>,
    /// The edition it is run in; every edition of the rule, if none is named.
    pub edition: Option<String>,
    /// The stage, if the case needs another than the rule's.
    pub span: Span,
}

/// The cases of one file.
#[derive(Clone, Debug, Default)]
pub struct CaseFile {
    /// The base design, and where it stands.
    pub base: Option<(String, Span)>,
    /// The cases.
    pub cases: Vec<Case>,
}

/// Reads the cases in the second documents of a ruleset's files.
#[must_use]
pub fn read_cases(files: &[Arc<SourceFile>]) -> (Vec<CaseFile>, Vec<Problem>) {
    let mut all = Vec::new();
    let mut problems = Vec::new();
    for (i, source) in files.iter().enumerate() {
        let Some(from) = yaml::second_document(source.text()) else {
            continue;
        };
        let id = FileId(FileId::RULESET + u16::try_from(i).unwrap_or(0x7fff));
        match yaml::read(id, source, from) {
            Ok(node) => all.push(read_file(&node, &mut problems)),
            Err(p) => problems.push(p),
        }
    }
    (all, problems)
}

fn read_file(node: &Node, problems: &mut Vec<Problem>) -> CaseFile {
    let mut file = CaseFile::default();
    for (key, n) in node.map().unwrap_or(&[]) {
        match (key.text.as_str(), &n.value) {
            ("case-base", Yaml::Scalar(text)) => file.base = Some((text.clone(), n.span)),
            ("cases", Yaml::Map(rules)) => {
                for (rule, outcomes) in rules {
                    let Some(outcomes) = outcomes.map() else {
                        problems.push(
                            Problem::error("bad-case", "a rule's cases are a map of outcomes")
                                .at(rule.span, ""),
                        );
                        continue;
                    };
                    for (outcome, patches) in outcomes {
                        read_outcome(
                            &rule.text,
                            &outcome.text,
                            outcome.span,
                            patches,
                            &mut file,
                            problems,
                        );
                    }
                }
            }
            _ => problems.push(
                Problem::error(
                    "unknown-key",
                    format!("`{}` does not belong among cases", key.text),
                )
                .at(key.span, "")
                .did_you_mean(&key.text, ["case-base", "cases"]),
            ),
        }
    }
    file
}

fn read_outcome(
    rule: &str,
    outcome: &str,
    at: Span,
    node: &Node,
    file: &mut CaseFile,
    problems: &mut Vec<Problem>,
) {
    let outcomes = ["met", "failed", "undecided", "not-applicable"];
    if !outcomes.contains(&outcome) {
        problems.push(
            Problem::error(
                "unknown-outcome",
                format!("`{outcome}` is none of {}", outcomes.join(", ")),
            )
            .at(at, "")
            .did_you_mean(outcome, outcomes),
        );
        return;
    }
    let list: Vec<&Node> = match &node.value {
        Yaml::List(items) => items.iter().collect(),
        _ => vec![node],
    };
    for n in list {
        let mut case = Case {
            rule: rule.to_owned(),
            outcome: outcome.to_owned(),
            patches: Vec::new(),
            subject: None,
            edition: None,
            span: at,
        };
        for (key, value) in n.map().unwrap_or(&[]) {
            let text = value.text().unwrap_or("").to_owned();
            match key.text.as_str() {
                "drop" => {
                    for (name, span) in super::reader::texts(value) {
                        case.patches.push(Patch::Drop(name, span));
                    }
                }
                "add" => case.patches.push(Patch::Add(text, value.span)),
                "for" => case.subject = Some(text),
                "edition" => case.edition = Some(text),
                path => case.patches.push(Patch::Set {
                    path: split_path(path),
                    value: text,
                    span: key.span,
                }),
            }
        }
        file.cases.push(case);
    }
}

/// Splits `ev.device.In`; dots inside brackets (`bay[1]`) do not occur.
fn split_path(path: &str) -> Vec<String> {
    path.split('.').map(str::to_owned).collect()
}
