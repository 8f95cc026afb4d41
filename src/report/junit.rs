//! Findings as the test report that build servers read (JUnit): a suite for each design, a case for
//! each verdict.

use quick_junit::{NonSuccessKind, Report, TestCase, TestCaseStatus, TestSuite};

use crate::check::{Finding, Outcome};
use crate::ruleset::Severity;
use crate::source::{Label, Problem};

use super::FileReport;
use super::entry::word;

/// One design. Failures are what decides the exit code, undecided or failed; errors are mistakes of
/// the text.
#[must_use]
pub fn suite(file: &FileReport<'_>, least: Severity) -> TestSuite {
    let mut suite = TestSuite::new(file.path);
    for p in file.problems {
        suite.add_test_case(mistake(p, file));
    }
    let findings = file.report.map_or(&[][..], |r| r.findings.as_slice());
    for f in findings {
        let decides = f.severity <= least;
        let status = match f.outcome {
            Outcome::Failed | Outcome::Undecided if decides => {
                let mut status = TestCaseStatus::non_success(NonSuccessKind::Failure);
                status.set_type(word(f));
                status.set_message(f.message.as_str());
                status.set_description(described(f, file));
                status
            }
            Outcome::NotJudged => {
                let mut status = TestCaseStatus::skipped();
                status.set_message(f.message.as_str());
                status
            }
            Outcome::NotApplicable | Outcome::NotDue => continue,
            _ => TestCaseStatus::success(),
        };
        let mut case = TestCase::new(format!("{}: {}", f.subject.path, f.title), status);
        case.set_classname(f.rule.as_str());
        if matches!(
            f.outcome,
            Outcome::Failed | Outcome::Undecided | Outcome::Departed
        ) && !decides
            || f.outcome == Outcome::Departed
        {
            let text = format!("{}: {}", word(f), described(f, file));
            case.set_system_out(text);
        }
        suite.add_test_case(case);
    }
    suite
}

/// A message, its places and what else is said, a line each.
fn lines<'a>(
    message: &'a str,
    labels: &'a [Label],
    more: impl Iterator<Item = &'a String>,
    file: &FileReport<'_>,
) -> String {
    let mut lines = vec![message.to_owned()];
    lines.extend(labels.iter().filter_map(|l| file.sources.place(l.span)));
    lines.extend(more.cloned());
    lines.join("\n")
}

fn described(f: &Finding, file: &FileReport<'_>) -> String {
    let more = f.help.iter().chain(&f.departure).chain(&f.clause);
    lines(&f.message, &f.labels, more, file)
}

fn mistake(p: &Problem, file: &FileReport<'_>) -> TestCase {
    let text = lines(&p.message, &p.labels, p.help.iter(), file);
    let mut status = match p.is_error() {
        true => TestCaseStatus::non_success(NonSuccessKind::Error),
        false => TestCaseStatus::success(),
    };
    status.set_type(p.code);
    status.set_message(p.message.as_str());
    let mut case = TestCase::new(p.message.as_str(), status);
    case.set_classname(p.code);
    if p.is_error() {
        case.status.set_description(text);
    } else {
        case.set_system_out(text);
    }
    case
}

/// The report of all designs.
///
/// # Errors
/// Why it cannot be written.
pub fn report(suites: Vec<TestSuite>) -> Result<String, String> {
    let mut report = Report::new("amperule");
    report.add_test_suites(suites);
    let text = report.to_string();
    text.map_err(|e| format!("the test report cannot be written: {e}"))
}
