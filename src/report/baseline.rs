//! What an earlier check found already, read from its JSON report: only what is new is told and
//! counts then.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use crate::check::{Finding, Outcome, Subject};
use crate::ruleset::Severity;
use crate::session::Checked;
use crate::source::Problem;

/// The schema of the report.
pub const SCHEMA: &str = "amperule-check-1";

/// Fingerprints of what failed or was undecided, each with whether it failed and how heavily; cautions
/// about the text, which have none, by their code and message.
type Found = BTreeMap<String, (bool, Severity)>;

/// An earlier report.
#[derive(Clone, Debug, Default)]
pub struct Baseline {
    by_path: BTreeMap<String, Found>,
    /// What was found in files that are there no more: they may have been moved.
    elsewhere: Found,
}

/// How a design compares with an earlier report.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Against {
    /// Findings that were there already, and are not told.
    pub known: usize,
    /// Findings of then that are gone.
    pub gone: usize,
}

#[cfg(feature = "cli")]
impl Against {
    /// The same in a few words.
    pub(super) fn told(self) -> String {
        let known = super::counted(self.known, "known finding", "known findings");
        format!("{known} not told again, {} gone", self.gone)
    }
}

/// What tells cautions about the text apart: what they say, and how often it was said before.
fn prints<'p>(all: impl Iterator<Item = (&'p str, &'p str)>) -> Vec<String> {
    let mut seen: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    all.map(|(code, message)| {
        let nth = seen.entry((code, message)).or_insert(0);
        *nth += 1;
        format!("{code}: {message} ({nth})")
    })
    .collect()
}

/// A path, however it was typed.
fn plain(path: &str) -> String {
    let path = path.replace('\\', "/");
    path.strip_prefix("./").unwrap_or(&path).to_owned()
}

impl Baseline {
    /// Reads a report that `check --format json` wrote; `judged` are the files that are judged now, and
    /// `there` says whether another is still there.
    ///
    /// # Errors
    /// What it is instead, in words.
    pub fn read<'p>(
        text: &str,
        judged: impl IntoIterator<Item = &'p str>,
        there: impl Fn(&str) -> bool,
    ) -> Result<Self, String> {
        let all: Value = serde_json::from_str(text).map_err(|e| format!("it is no JSON: {e}"))?;
        if all["schema"] != SCHEMA {
            return Err(format!("it does not have the schema `{SCHEMA}`"));
        }
        let now: BTreeSet<String> = judged.into_iter().map(plain).collect();
        let mut read = Self::default();
        for file in all["files"].as_array().into_iter().flatten() {
            let path = plain(file["path"].as_str().ok_or("a file in it has no path")?);
            let found = if now.contains(&path) {
                read.by_path.entry(path).or_default()
            } else if there(&path) {
                continue;
            } else {
                &mut read.elsewhere
            };
            let told = file["problems"].as_array().into_iter().flatten();
            let told = told.filter_map(|p| Some((p["code"].as_str()?, p["message"].as_str()?)));
            for print in prints(told) {
                found.insert(print, (true, Severity::Caution));
            }
            for f in file["findings"].as_array().into_iter().flatten() {
                let outcome = f["outcome"].as_str();
                let failed = outcome == Some(Outcome::Failed.word());
                if failed || outcome == Some(Outcome::Undecided.word()) {
                    let print = f["fingerprint"].as_str();
                    let print = print.ok_or("a finding in it has no fingerprint")?;
                    let severity = f["severity"].as_str().and_then(Severity::from_word);
                    let severity = severity.ok_or("a finding in it has no severity")?;
                    let was = found.entry(print.to_owned()).or_insert((failed, severity));
                    *was = (was.0 || failed, was.1.min(severity));
                }
            }
        }
        Ok(read)
    }

    /// Takes what was there already out of what a check found; what was undecided and fails now, or weighs
    /// more, is new, and what is written wrongly is always told.
    pub fn sift(&self, path: &str, checked: &mut Checked) -> Option<Against> {
        let report = &mut checked.judged.as_mut()?.report;
        let mine = self.by_path.get(&plain(path));
        let counts = |f: &Finding| matches!(f.outcome, Outcome::Failed | Outcome::Undecided);
        let told = checked
            .problems
            .iter()
            .map(|p| (p.code, p.message.as_str()));
        let told = prints(told);
        let found = report.findings.iter().filter(|f| counts(f));
        let found = found.map(|f| f.fingerprint.clone());
        let still: BTreeSet<String> = told.iter().cloned().chain(found).collect();
        let gone = mine.map_or(0, |m| m.keys().filter(|p| !still.contains(*p)).count());
        let then = mine.unwrap_or(&self.elsewhere);
        let known = |f: &Finding| {
            let was = then.get(&f.fingerprint);
            let as_bad = |(failed, severity): &(bool, Severity)| {
                (*failed || f.outcome == Outcome::Undecided) && *severity <= f.severity
            };
            counts(f) && was.is_some_and(as_bad)
        };
        let before = report.findings.len() + checked.problems.len();
        let mut print = told.iter();
        let known_before = |p: &mut Problem| {
            let told_then = print.next().is_some_and(|print| then.contains_key(print));
            told_then && !p.is_error()
        };
        let known_cautions = checked.problems.extract_if(.., known_before).count();
        if let Some(n) = report
            .counts
            .0
            .get_mut(&(Outcome::Failed, Severity::Caution))
        {
            *n = n.saturating_sub(known_cautions);
        }
        for f in report.findings.iter().filter(|f| known(f)) {
            if let Some(n) = report.counts.0.get_mut(&(f.outcome, f.severity)) {
                *n = n.saturating_sub(1);
            }
        }
        report.findings.retain(|f| !known(f));
        if let Some(survey) = &mut checked.survey {
            let open = |rule: &str, subject: &Subject| {
                let mut all = report.findings.iter();
                all.any(|f| f.rule == rule && f.subject == *subject)
            };
            for asked in [&mut survey.questions, &mut survey.later] {
                asked.retain(|q| q.waiting.iter().any(|w| open(&w.rule, &w.subject)));
            }
            survey.stuck.retain(|(rule, subject)| open(rule, subject));
        }
        Some(Against {
            known: before - report.findings.len() - checked.problems.len(),
            gone,
        })
    }
}
