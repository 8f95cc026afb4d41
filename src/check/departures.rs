//! Recorded exceptions, and what is to be said about them.

use super::finding::{Outcome, Report};
use super::judge::Settings;
use crate::design::model::Design;
use crate::ruleset::{Ruleset, Severity};
use crate::source::Problem;

/// Departures act on breaches only; unused and expired ones are said.
pub(super) fn departures(
    ruleset: &Ruleset,
    design: &Design,
    report: &mut Report,
    settings: &Settings,
) -> Vec<Problem> {
    let mut problems = Vec::new();
    let today = settings.on.or(design.newest_date);
    for d in &design.departures {
        let Some(rule) = ruleset.rule(&d.rule.value) else {
            problems.push(
                Problem::error(
                    "unknown-rule",
                    format!("there is no rule `{}`", d.rule.value),
                )
                .at(d.rule.span, "")
                .did_you_mean(&d.rule.value, ruleset.rules.iter().map(|r| r.id.as_str())),
            );
            continue;
        };
        if settings.only.is_some() {
            continue;
        }
        if !rule.departable {
            problems.push(
                Problem::error(
                    "no-departure",
                    format!("nobody may depart from `{}`", rule.id),
                )
                .at(d.rule.span, ""),
            );
            continue;
        }
        if let (Some(until), Some(today)) = (&d.until, today)
            && today > until.value
        {
            problems.push(
                Problem::caution(
                    "departure-expired",
                    format!("the departure from `{}` has expired", rule.id),
                )
                .at(until.span, "its last day"),
            );
            continue;
        }
        let subject = d.subject.as_ref().map(|s| design.describe(s.value));
        let (mut used, mut pending) = (false, false);
        for f in &mut report.findings {
            if f.rule != rule.id || subject.as_ref().is_some_and(|s| *s != f.subject) {
                continue;
            }
            match f.outcome {
                Outcome::Failed if f.severity == Severity::Breach => {
                    used = true;
                    f.outcome = Outcome::Departed;
                    f.departure = d.reason.as_ref().map(|r| r.value.clone());
                    let cell = |o| (o, rule.severity);
                    if let Some(n) = report.counts.0.get_mut(&cell(Outcome::Failed)) {
                        *n = n.saturating_sub(1);
                    }
                    *report.counts.0.entry(cell(Outcome::Departed)).or_insert(0) += 1;
                }
                Outcome::Undecided => pending = true,
                _ => {}
            }
        }
        if !used && !pending {
            problems.push(
                Problem::caution(
                    "departure-unused",
                    format!("the departure from `{}` covers nothing", rule.id),
                )
                .at(d.rule.span, "")
                .help("take it out, or name the subject it is meant for"),
            );
        }
    }
    problems
}
