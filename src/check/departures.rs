//! Recorded exceptions, and what is to be said about them.

use super::finding::{Outcome, Report};
use super::judge::Settings;
use crate::design::model::{AsFound, Departure, Design, Object, Possible};
use crate::quantity::{absolute_floor, holds_le};
use crate::ruleset::{Ruleset, Severity};
use crate::source::{Problem, Span};
use crate::vocabulary::{FactIx, FactType, Vocabulary};

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
        if let Some(lapsed) = lapsed(ruleset, design, d) {
            problems.push(lapsed);
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

/// A pinned fact that is not what it was.
struct Change {
    fact: String,
    pinned: Span,
    /// Where it is written now.
    now: Option<Span>,
}

/// What is to be said where a fact that the departure pins differs from what is written now.
fn lapsed(ruleset: &Ruleset, design: &Design, d: &Departure) -> Option<Problem> {
    let pinned = d.as_found.as_ref()?;
    let subject = d.subject.as_ref()?.value;
    let compare = Compare {
        vocabulary: &ruleset.vocabulary,
        design,
        pinned,
    };
    let change = compare.object(pinned.objects.first()?, design.object(subject))?;
    let mut problem = Problem::caution(
        "departure-lapsed",
        format!(
            "the departure from `{}` has lapsed: `{}` of {} is not what was agreed on",
            d.rule.value,
            change.fact,
            design.describe(subject)
        ),
    )
    .at(change.pinned, "agreed on");
    problem = match change.now {
        Some(now) => problem.at(now, "written now"),
        None => problem.at(design.object(subject).head, "not written here"),
    };
    Some(problem.help("have it agreed anew and pin what is there now, or take it out"))
}

/// Compares pinned facts with those of the design.
struct Compare<'a> {
    vocabulary: &'a Vocabulary,
    design: &'a Design,
    pinned: &'a AsFound,
}

impl Compare<'_> {
    /// The first pinned fact that differs.
    fn object(&self, pinned: &Object, now: &Object) -> Option<Change> {
        for (ix, was) in (0_u16..).map(FactIx).zip(&pinned.facts) {
            let Some(was) = was else { continue };
            let fact = self.vocabulary.fact(pinned.kind, ix);
            let is = now.facts.get(ix.0 as usize).and_then(Option::as_ref);
            let change = || Change {
                fact: fact.name.clone(),
                pinned: was.span,
                now: is.map(|w| w.span),
            };
            let Some(written) = is else {
                // What is not written is not known, either.
                if was.value == Possible::Unknown {
                    continue;
                }
                return Some(change());
            };
            // Of one part, the fact in it is named.
            if let (Possible::Object(a), Possible::Object(b)) = (&was.value, &written.value)
                && let Some(part) = self.pinned.part(*a)
                && part.kind == self.design.object(*b).kind
            {
                match self.object(part, self.design.object(*b)) {
                    None => continue,
                    found => return found,
                }
            }
            let floor = match &fact.ty {
                FactType::Quantity { unit, .. } => absolute_floor(unit.dim()),
                _ => 0.0,
            };
            if !self.same(&was.value, &written.value, floor) {
                return Some(change());
            }
        }
        None
    }

    fn same(&self, was: &Possible, now: &Possible, floor: f64) -> bool {
        match (was, now) {
            // It is reported as a mistake, and nothing is known of it.
            (_, Possible::Poison) => true,
            (Possible::Number(a), Possible::Number(b)) => {
                close(a.lo, b.lo, floor) && close(a.hi, b.hi, floor)
            }
            (Possible::Object(a), Possible::Object(b)) => match self.pinned.part(*a) {
                Some(part) => {
                    let now = self.design.object(*b);
                    part.kind == now.kind && self.object(part, now).is_none()
                }
                None => a == b,
            },
            (Possible::List(a), Possible::List(b)) => {
                a.len() == b.len() && a.iter().zip(b).all(|(a, b)| self.same(a, b, floor))
            }
            // Alternatives have no order.
            (Possible::OneOf(a), Possible::OneOf(b)) => {
                a.len() == b.len()
                    && a.iter().all(|a| b.iter().any(|b| self.same(a, b, floor)))
                    && b.iter().all(|b| a.iter().any(|a| self.same(a, b, floor)))
            }
            (Possible::PerLine(a), Possible::PerLine(b)) => {
                a.iter().zip(b).all(|(a, b)| match (a, b) {
                    (Some(a), Some(b)) => self.same(a, b, floor),
                    (None, None) => true,
                    _ => false,
                })
            }
            (a, b) => a == b,
        }
    }
}

/// Equal within the slack of a comparison; infinite ends are equal to themselves.
fn close(a: f64, b: f64, floor: f64) -> bool {
    a == b || (holds_le(a, b, floor) && holds_le(b, a, floor))
}
