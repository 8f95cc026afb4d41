//! What is wrong, in place: mistakes in what is written, and findings.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use gen_lsp_types::{
    Code, Diagnostic, DiagnosticRelatedInformation, DiagnosticSeverity, Location, Message, Range,
};

use super::position::Lines;
use super::state::{Found, State};
use crate::check::{Finding, Outcome};
use crate::ruleset::Severity;
use crate::source::{FileId, Label, Problem, Sources, Span};

/// What the editor shows as the program that says it.
const SOURCE: &str = "amperule";

/// Files whose places are told.
pub(super) struct Places<'a> {
    state: &'a State,
    sources: &'a Sources,
    lines: BTreeMap<FileId, Lines>,
}

impl<'a> Places<'a> {
    pub(super) fn new(state: &'a State, sources: &'a Sources) -> Self {
        Self {
            state,
            sources,
            lines: BTreeMap::new(),
        }
    }

    /// The file of a span, and where in it the span is.
    pub(super) fn find(&mut self, span: Span) -> Option<(PathBuf, Range)> {
        let file = self.sources.get(span.file)?;
        let encoding = self.state.client.encoding;
        let lines = self
            .lines
            .entry(span.file)
            .or_insert_with(|| Lines::new(file.text(), encoding));
        Some((PathBuf::from(file.name()), lines.of(file.text(), span)))
    }

    /// The same as a place of the protocol; none for a file inside the program.
    pub(super) fn location(&mut self, span: Span) -> Option<Location> {
        let (path, range) = self.find(span)?;
        let there = path.is_absolute() || self.state.open.contains_key(&path);
        let uri = self.state.uri(&path).filter(|_| there)?;
        Some(Location { uri, range })
    }
}

/// Adds everything that is wrong with a design to the lists of its files.
pub(super) fn of(
    state: &State,
    root: &Path,
    found: &Found,
    all: &mut BTreeMap<PathBuf, Vec<Diagnostic>>,
) {
    let mut places = Places::new(state, &found.loaded.sources);
    for problem in &found.checked.problems {
        // Parts that no design uses need no rules.
        if problem.code == "no-rules" && state.is_only_parts(root) {
            continue;
        }
        let (path, diagnostic) = mistake(&mut places, root, problem, false);
        all.entry(path).or_default().push(diagnostic);
    }
    for finding in found.findings() {
        if let Some(severity) = weight(finding) {
            let (path, diagnostic) = told(&mut places, root, finding, severity);
            all.entry(path).or_default().push(diagnostic);
        }
    }
}

/// How heavily a finding weighs in an editor; none where it is not shown.
fn weight(finding: &Finding) -> Option<DiagnosticSeverity> {
    match (finding.outcome, finding.severity) {
        (Outcome::Failed, Severity::Breach) => Some(DiagnosticSeverity::Error),
        (Outcome::Failed, Severity::Caution) => Some(DiagnosticSeverity::Warning),
        (Outcome::Failed, Severity::Advice) | (Outcome::Undecided, Severity::Breach) => {
            Some(DiagnosticSeverity::Information)
        }
        (Outcome::Undecided | Outcome::Departed, _) => Some(DiagnosticSeverity::Hint),
        _ => None,
    }
}

/// The main place of a message, the top of the design if it has none there, and its other places.
fn placed(
    places: &mut Places<'_>,
    root: &Path,
    labels: &[Label],
    fallback: &str,
    in_rules: bool,
) -> (PathBuf, Range, Vec<DiagnosticRelatedInformation>) {
    // Rules have places of their own, and those in the program none that an editor could open.
    let first = labels
        .first()
        .filter(|l| l.span.file.is_ruleset() == in_rules);
    let main = first.and_then(|l| places.find(l.span));
    let rest = labels.iter().skip(usize::from(first.is_some()));
    let others = rest.filter_map(|l| {
        let message = if l.text.is_empty() { fallback } else { &l.text };
        Some(DiagnosticRelatedInformation {
            location: places.location(l.span)?,
            message: message.to_owned(),
        })
    });
    let others = others.collect();
    let (path, range) = main.unwrap_or_else(|| (root.to_path_buf(), Range::default()));
    (path, range, others)
}

/// A message, what the main label adds to it, and what helps, a line each.
fn said<'a>(
    message: &str,
    labels: &'a [Label],
    help: impl IntoIterator<Item = &'a String>,
) -> Message {
    let mut out = message.to_owned();
    let label = labels.first().map(|l| &l.text).filter(|t| !t.is_empty());
    for line in label.into_iter().chain(help) {
        out.push('\n');
        out.push_str(line);
    }
    Message::String(out)
}

/// A mistake, and the file that it is in: the top of the design, or of the head of rules, where no
/// place of them is known.
pub(super) fn mistake(
    places: &mut Places<'_>,
    root: &Path,
    problem: &Problem,
    in_rules: bool,
) -> (PathBuf, Diagnostic) {
    let labels = &problem.labels;
    let (path, range, related) = placed(places, root, labels, &problem.message, in_rules);
    let severity = match problem.is_error() {
        true => DiagnosticSeverity::Error,
        false => DiagnosticSeverity::Warning,
    };
    let message = said(&problem.message, labels, &problem.help);
    let diagnostic = diagnostic(range, severity, problem.code, message, related);
    (path, diagnostic)
}

fn diagnostic(
    range: Range,
    severity: DiagnosticSeverity,
    code: &str,
    message: Message,
    related: Vec<DiagnosticRelatedInformation>,
) -> Diagnostic {
    Diagnostic {
        range,
        severity: Some(severity),
        code: Some(Code::String(code.to_owned())),
        source: Some(SOURCE.to_owned()),
        message,
        related_information: Some(related).filter(|r| !r.is_empty()),
        ..Diagnostic::default()
    }
}

fn told(
    places: &mut Places<'_>,
    root: &Path,
    finding: &Finding,
    severity: DiagnosticSeverity,
) -> (PathBuf, Diagnostic) {
    let (path, range, mut related) = placed(places, root, &finding.labels, &finding.title, false);
    for missing in &finding.missing {
        if let Some(location) = places.location(missing.span) {
            related.push(DiagnosticRelatedInformation {
                location,
                message: format!(
                    "{} of {}: {}; settled by {}",
                    missing.fact, missing.of, missing.means, missing.settled_by
                ),
            });
        }
    }
    let help = finding.help.iter().chain(&finding.departure);
    let message = said(
        &finding.message,
        &finding.labels,
        help.chain(&finding.clause),
    );
    let diagnostic = diagnostic(range, severity, &finding.rule, message, related);
    (path, diagnostic)
}

/// Diagnostics in the order of their places; what two designs say of one file is said once.
pub(super) fn in_order(all: &mut Vec<Diagnostic>) {
    let key = |d: &Diagnostic| {
        let (start, end) = (d.range.start, d.range.end);
        (start.line, start.character, end.line, end.character)
    };
    all.sort_by_key(key);
    all.dedup();
}
