//! One cause, one finding: which failure explains another.

use std::collections::BTreeMap;

use rustc_hash::FxHashMap;

use super::finding::{Finding, Outcome};
use super::link::Linker;
use super::subject::Subject;
use crate::design::model::{Design, ObjectId};
use crate::expression::Compiled;
use crate::ruleset::{Path, Rule, Severity};

/// The rules that may explain failures, and where their subjects lead.
#[derive(Debug, Default)]
pub(super) struct Causes<'r> {
    /// For a rule and the place of a cause in its list: from each object that a path of the cause's
    /// subjects leads to, those subjects.
    leads: FxHashMap<(&'r str, usize), FxHashMap<ObjectId, Vec<ObjectId>>>,
}

impl<'r> Causes<'r> {
    /// The rules that may explain the failure of a rule for a subject, each with the subject there.
    pub(super) fn of(
        &mut self,
        linker: &mut Linker<'_>,
        rule: &'r Rule,
        subject: ObjectId,
    ) -> Vec<(String, ObjectId)> {
        let mut all = Vec::new();
        for (at, cause) in rule.texts.follows_from.iter().enumerate() {
            let id = cause.rule.as_str();
            match &cause.path {
                None => all.push((id.to_owned(), subject)),
                Some(Path::At(path)) => {
                    all.extend(linker.object_at(path, subject).map(|o| (id.to_owned(), o)));
                }
                Some(Path::To(path)) => {
                    let leads = self
                        .leads
                        .entry((&rule.id, at))
                        .or_insert_with(|| leads(linker, id, path));
                    let here = leads.get(&subject).into_iter().flatten();
                    all.extend(here.map(|o| (id.to_owned(), *o)));
                }
            }
        }
        all
    }
}

/// From each object that a path leads to, the subjects of a rule that it leads there from.
fn leads(
    linker: &mut Linker<'_>,
    rule: &str,
    path: &Compiled,
) -> FxHashMap<ObjectId, Vec<ObjectId>> {
    let mut all: FxHashMap<ObjectId, Vec<ObjectId>> = FxHashMap::default();
    let (design, ruleset) = (linker.design, linker.ruleset);
    let kind = ruleset.rule(rule).map(|r| r.each);
    for from in kind.into_iter().flat_map(|k| design.of_kind(k)) {
        if let Some(to) = linker.object_at(path, from) {
            all.entry(to).or_default().push(from);
        }
    }
    all
}

/// Says of each finding by which other it is explained: one that fails, is not departed from, and
/// is of no lesser severity.
pub(super) fn explain(
    design: &Design,
    findings: &mut [Finding],
    causes: &[(usize, &Vec<(String, ObjectId)>)],
) {
    let failed: BTreeMap<(&str, ObjectId), Severity> = findings
        .iter()
        .filter(|f| f.outcome == Outcome::Failed)
        .map(|f| ((f.rule.as_str(), f.subject.id), f.severity))
        .collect();
    let mut found = Vec::new();
    for (at, all) in causes {
        let Some(f) = findings.get(*at) else { continue };
        if !matches!(f.outcome, Outcome::Failed | Outcome::Undecided) {
            continue;
        }
        let cause = all.iter().find(|(rule, of)| {
            failed
                .get(&(rule.as_str(), *of))
                .is_some_and(|s| *s <= f.severity)
        });
        if let Some((rule, subject)) = cause {
            found.push((*at, rule.clone(), Subject::new(design, *subject)));
        }
    }
    for (at, rule, subject) in found {
        findings[at].follows_from = Some((rule, subject));
    }
}
