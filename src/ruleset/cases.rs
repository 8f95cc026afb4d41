//! Cases of rules: small patches of a base design, and how each must come out.

use std::path::Path;
use std::sync::Arc;

use super::yaml::{self, Key, Node, Yaml};
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
    Add(String),
}

impl Patch {
    /// Whether both change the same in the same way, wherever they are written.
    fn same(&self, other: &Self) -> bool {
        match (self, other) {
            (
                Self::Set { path, value, .. },
                Self::Set {
                    path: p, value: v, ..
                },
            ) => path == p && value == v,
            (Self::Drop(a, _), Self::Drop(b, _)) | (Self::Add(a), Self::Add(b)) => a == b,
            _ => false,
        }
    }
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
    /// Where it stands.
    pub span: Span,
}

impl Case {
    /// Whether both are about one rule, one subject and the same changes.
    fn same_design(&self, other: &Self) -> bool {
        let within = |a: &[Patch], b: &[Patch]| a.iter().all(|p| b.iter().any(|q| p.same(q)));
        self.rule == other.rule
            && self.subject == other.subject
            && self.patches.len() == other.patches.len()
            && within(&self.patches, &other.patches)
            && within(&other.patches, &self.patches)
    }

    /// Whether it is run in an edition.
    fn runs_in(&self, edition: &str) -> bool {
        self.edition.as_ref().is_none_or(|e| e == edition)
    }
}

/// What a layer says of a case of a lower layer that it turns on purpose.
#[derive(Clone, Debug)]
struct Restated {
    /// The outcome that the lower layer states.
    was: String,
    /// The case as it comes out now.
    now: Case,
}

impl Restated {
    /// Whether it is about this case.
    fn is_of(&self, case: &Case) -> bool {
        let editions = (&self.now.edition, &case.edition);
        case.same_design(&self.now)
            && case.outcome == self.was
            && !matches!(editions, (Some(a), Some(b)) if a != b)
    }
}

/// The cases of one file.
#[derive(Clone, Debug, Default)]
pub struct CaseFile {
    /// The base design, and where it stands.
    pub base: Option<(String, Span)>,
    /// The cases.
    pub cases: Vec<Case>,
}

/// Reads the cases in the second documents of a ruleset's files: those that are run in an edition,
/// with the outcomes that the uppermost layer states.
#[must_use]
pub fn read_cases(files: &[Arc<SourceFile>], edition: &str) -> (Vec<CaseFile>, Vec<Problem>) {
    let mut all: Vec<CaseFile> = Vec::new();
    let mut layers = Vec::new();
    let mut restated = Vec::new();
    let mut problems = Vec::new();
    for (id, source) in numbered(files) {
        let Some(from) = yaml::second_document(source.text()) else {
            continue;
        };
        match yaml::read(id, source, from) {
            Ok(node) => {
                all.push(read_file(&node, &mut restated, &mut problems));
                layers.push(Path::new(source.name()).parent());
            }
            Err(p) => problems.push(p),
        }
    }
    // A file without a base takes the first of its layer: that of a layer below or above is of other rules.
    let bases: Vec<_> = all.iter().map(|f| f.base.clone()).collect();
    for (file, layer) in all.iter_mut().zip(&layers) {
        let of_layer = bases
            .iter()
            .zip(&layers)
            .filter(|(_, other)| *other == layer);
        let mut first = of_layer.filter_map(|(base, _)| base.clone());
        file.base = file.base.take().or_else(|| first.next());
    }
    for r in &restated {
        restate(r, edition, &mut all, &mut problems);
    }
    for file in &mut all {
        file.cases.retain(|c| c.runs_in(edition));
    }
    (all, problems)
}

/// Files with the ids that their places name.
fn numbered(files: &[Arc<SourceFile>]) -> impl Iterator<Item = (FileId, &SourceFile)> {
    let files = files.iter().enumerate();
    files.filter_map(|(i, f)| Some((FileId::of_ruleset(i)?, &**f)))
}

/// Gives the cases that are restated their new outcome.
fn restate(r: &Restated, edition: &str, all: &mut [CaseFile], problems: &mut Vec<Problem>) {
    let cases = || all.iter().flat_map(|f| &f.cases);
    if !cases().any(|c| r.is_of(c)) {
        let others: Vec<&str> = cases()
            .filter(|c| c.same_design(&r.now))
            .map(|c| c.outcome.as_str())
            .collect();
        let why = format!(
            "no case of `{}` with these changes is said to be {}",
            r.now.rule, r.was
        );
        Problem::error("nothing-to-restate", why)
            .at(r.now.span, "said to restate one")
            .help(match others.first() {
                Some(other) => format!("there is one that is {other}"),
                None => "repeat the changes of that case as they stand there".to_owned(),
            })
            .report(problems);
    }
    if !r.now.runs_in(edition) {
        return;
    }
    for case in all.iter_mut().flat_map(|f| &mut f.cases) {
        if r.is_of(case) {
            case.outcome.clone_from(&r.now.outcome);
            case.span = r.now.span;
        }
    }
}

/// What is wrong with whom and what the cases of a ruleset's files are about: a rule that no layer
/// states in any edition, an edition that none has.
#[must_use]
pub fn check_cases(files: &[Arc<SourceFile>]) -> Vec<Problem> {
    let mut problems = Vec::new();
    let (mut rules, mut editions) = (Vec::new(), Vec::new());
    let mut cases = Vec::new();
    for (id, source) in numbered(files) {
        let ids = |node: &Node, section: &str| -> Vec<String> {
            let items = node.get(section).and_then(Node::list).unwrap_or(&[]);
            let ids = items.iter().filter_map(|n| n.get("id")?.text());
            ids.map(str::to_owned).collect()
        };
        // What cannot be read was reported when the ruleset was loaded, or when its cases were.
        if let Ok(node) = yaml::read(id, source, 0) {
            rules.extend(ids(&node, "rules"));
            rules.extend(ids(&node, "left-out"));
            editions.extend(ids(&node, "editions"));
        }
        if let Some(from) = yaml::second_document(source.text())
            && let Ok(node) = yaml::read(id, source, from)
        {
            let (mut restated, mut reported) = (Vec::new(), Vec::new());
            cases.extend(read_file(&node, &mut restated, &mut reported).cases);
            cases.extend(restated.into_iter().map(|r| r.now));
        }
    }
    let mut seen: Vec<&str> = Vec::new();
    for case in &cases {
        if !rules.contains(&case.rule) && !seen.contains(&case.rule.as_str()) {
            seen.push(&case.rule);
            let rule = &case.rule;
            let why = format!("there is no rule `{rule}` that these cases could be of");
            Problem::wrong("unknown-rule", case.span, why)
                .did_you_mean(&case.rule, rules.iter().map(String::as_str))
                .report(&mut problems);
        }
        if let Some(edition) = &case.edition
            && !editions.contains(edition)
        {
            let why = format!("there is no edition `{edition}`");
            Problem::wrong("unknown-edition", case.span, why)
                .did_you_mean(edition, editions.iter().map(String::as_str))
                .report(&mut problems);
        }
    }
    problems
}

fn read_file(node: &Node, restated: &mut Vec<Restated>, problems: &mut Vec<Problem>) -> CaseFile {
    let mut file = CaseFile::default();
    for (key, n) in node.map().unwrap_or(&[]) {
        match (key.text.as_str(), &n.value) {
            ("case-base", Yaml::Scalar(text)) => file.base = Some((text.clone(), n.span)),
            ("cases", Yaml::Map(rules)) => {
                for (rule, outcomes) in rules {
                    let Some(outcomes) = outcomes.map() else {
                        let why = "a rule's cases are a map of outcomes";
                        Problem::wrong("bad-case", rule.span, why).report(problems);
                        continue;
                    };
                    for (outcome, patches) in outcomes {
                        let cases = read_outcome(&rule.text, outcome, patches, problems);
                        for (case, was) in cases {
                            match was {
                                None => file.cases.push(case),
                                Some(was) => restated.push(Restated { was, now: case }),
                            }
                        }
                    }
                }
            }
            _ => Problem::wrong(
                "unknown-key",
                key.span,
                format!("`{}` does not belong among cases", key.text),
            )
            .did_you_mean(&key.text, ["case-base", "cases"])
            .report(problems),
        }
    }
    file
}

const OUTCOMES: [&str; 4] = ["met", "failed", "undecided", "not-applicable"];

fn is_outcome(word: &str, at: Span, problems: &mut Vec<Problem>) -> bool {
    let known = OUTCOMES.contains(&word);
    if !known {
        let why = format!("`{word}` is none of {}", OUTCOMES.join(", "));
        Problem::wrong("unknown-outcome", at, why)
            .did_you_mean(word, OUTCOMES)
            .report(problems);
    }
    known
}

/// The cases of one outcome, each with the outcome it had before, where it restates one.
fn read_outcome(
    rule: &str,
    outcome: &Key,
    node: &Node,
    problems: &mut Vec<Problem>,
) -> Vec<(Case, Option<String>)> {
    let mut cases = Vec::new();
    if !is_outcome(&outcome.text, outcome.span, problems) {
        return cases;
    }
    let list: Vec<&Node> = match &node.value {
        Yaml::List(items) => items.iter().collect(),
        _ => vec![node],
    };
    for n in list {
        let ends = n.map().and_then(|m| Some((m.first()?, m.last()?)));
        let mut case = Case {
            rule: rule.to_owned(),
            outcome: outcome.text.clone(),
            patches: Vec::new(),
            subject: None,
            edition: None,
            // With nothing changed there is nothing to point at but the outcome.
            span: ends.map_or(outcome.span, |((k, _), (_, v))| k.span.to(v.span)),
        };
        for (key, value) in n.map().unwrap_or(&[]) {
            let text = value.text().unwrap_or("").to_owned();
            match key.text.as_str() {
                "drop" => {
                    for (name, span) in super::reader::texts(value) {
                        case.patches.push(Patch::Drop(name, span));
                    }
                }
                "add" => case.patches.push(Patch::Add(text)),
                "for" => case.subject = Some(text),
                "edition" => case.edition = Some(text),
                "was" | "because" => {}
                path => case.patches.push(Patch::Set {
                    path: split_path(path),
                    value: text,
                    span: key.span,
                }),
            }
        }
        let was = n
            .get("was")
            .map(|w| (w.text().unwrap_or("").to_owned(), w.span));
        if let Some((word, at)) = &was
            && !is_outcome(word, *at, problems)
        {
            continue;
        }
        if was.is_some() != n.get("because").is_some() {
            let why = "a case that restates one of a lower layer has `was`, the outcome stated there, and `because`, the reason";
            Problem::wrong("bad-case", case.span, why).report(problems);
        }
        cases.push((case, was.map(|(word, _)| word)));
    }
    cases
}

/// Splits `ev.device.In`; dots inside brackets (`bay[1]`) do not occur.
fn split_path(path: &str) -> Vec<String> {
    path.split('.').map(str::to_owned).collect()
}
