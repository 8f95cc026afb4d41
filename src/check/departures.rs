//! Recorded exceptions, and what is to be said about them.

use super::finding::Outcome;
use crate::design::model::{AsFound, Departure, Design, Object, ObjectId, Possible};
use crate::quantity::{absolute_floor, holds_le};
use crate::ruleset::{Rule, Ruleset, Severity};
use crate::source::{Problem, Span};
use crate::vocabulary::{FactIx, FactType, Vocabulary};

/// The departures of a design that are in force on a day: what makes of a breach an agreed
/// exception, for every command that judges.
#[derive(Debug)]
pub struct Departures<'a> {
    active: Vec<(&'a Departure, &'a Rule)>,
    /// Departures that have expired or lapsed, as cautions.
    pub problems: Vec<Problem>,
}

/// Which departures of a [`Departures`] came to bear on one judging.
#[derive(Clone, Debug, Default)]
pub struct Used(Vec<bool>);

impl<'a> Departures<'a> {
    /// The departures of a design on a day; without one, on the newest day that it mentions.
    #[must_use]
    pub fn new(ruleset: &'a Ruleset, design: &'a Design, on: Option<i32>) -> Self {
        let mut all = Self {
            active: Vec::new(),
            problems: Vec::new(),
        };
        let today = on.or(design.newest_date);
        for d in &design.departures {
            // What is mistaken was told when the design was opened.
            let Some(rule) = ruleset.rule(&d.rule.value).filter(|r| allowed(d, r)) else {
                continue;
            };
            match out_of_force(ruleset, design, d, today) {
                None => all.active.push((d, rule)),
                Some(problem) => all.problems.push(problem),
            }
        }
        all
    }

    /// None are heeded: what only one rule is judged for.
    #[must_use]
    pub const fn none() -> Self {
        Self {
            active: Vec::new(),
            problems: Vec::new(),
        }
    }

    /// Whether there is nothing to heed.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.active.is_empty()
    }

    /// Whether a breach of a rule for a subject is covered.
    #[must_use]
    pub fn covers(&self, rule: &Rule, subject: ObjectId) -> bool {
        let mut used = Used::default();
        let outcome = match rule.is_left_out() {
            true => Outcome::Undecided,
            false => Outcome::Failed,
        };
        self.outcome(rule, subject, outcome, &mut used).0 == Outcome::Departed
    }

    /// What becomes of an outcome of a rule for a subject, with the departure where one covers a
    /// breach, or what is left out. Nothing else is covered: what is undecided may yet be kept.
    pub fn outcome(
        &self,
        rule: &Rule,
        subject: ObjectId,
        outcome: Outcome,
        used: &mut Used,
    ) -> (Outcome, Option<&'a Departure>) {
        used.0.resize(self.active.len(), false);
        let mut out = (outcome, None);
        let open = match rule.is_left_out() {
            true => outcome == Outcome::Undecided,
            false => outcome == Outcome::Failed && rule.severity == Severity::Breach,
        };
        for ((d, of), used) in self.active.iter().zip(&mut used.0) {
            let covers = d.subject.as_ref().is_none_or(|s| s.value == subject);
            if of.id != rule.id || !covers {
                continue;
            }
            if open && out.1.is_none() {
                out = (Outcome::Departed, Some(*d));
                *used = true;
            }
            *used |= outcome == Outcome::Undecided;
        }
        out
    }

    /// Departures that came to bear on nothing.
    pub fn unused(&self, used: &Used) -> Vec<Problem> {
        let idle = |i: usize| !used.0.get(i).copied().unwrap_or(false);
        let unused = self.active.iter().enumerate().filter(|(i, _)| idle(*i));
        let told = unused.map(|(_, (d, _))| {
            Problem::caution("departure-unused", format!("{} covers nothing", name(d)))
                .at(d.rule.span, "")
                .help("take it out, or name the subject it is meant for")
        });
        told.collect()
    }
}

/// What messages call a departure.
fn name(d: &Departure) -> String {
    let what = match d.elsewhere {
        true => "`judged-elsewhere` of",
        false => "departure from",
    };
    format!("the {what} `{}`", d.rule.value)
}

/// What is recorded of a departure: its reason; of what was judged elsewhere by whom and when, too.
pub(super) fn recorded(d: &Departure) -> Option<String> {
    let reason = d.reason.as_ref()?.value.clone();
    let (Some(by), Some(on)) = (&d.agreed_by, &d.on) else {
        return Some(reason);
    };
    let day = crate::quantity::format_date(on.value);
    Some(format!("{reason} ({}, {day})", by.value))
}

/// Whether such a departure can be from such a rule at all.
const fn allowed(d: &Departure, rule: &Rule) -> bool {
    match d.elsewhere {
        true => rule.is_left_out(),
        false => rule.departable,
    }
}

/// Departures that nobody may record: from no rule, or from one that allows none.
#[must_use]
pub fn mistaken_departures(ruleset: &Ruleset, design: &Design) -> Vec<Problem> {
    let mut all = Vec::new();
    for d in &design.departures {
        let id = &d.rule.value;
        let problem = match ruleset.rule(id) {
            Some(rule) if allowed(d, rule) => continue,
            Some(_) if d.elsewhere => Problem::error(
                "no-departure",
                format!("`{id}` is a rule, and is judged here"),
            )
            .help(format!(
                "write `departure from {id} {{`, if it is not kept on purpose"
            )),
            Some(rule) if rule.is_left_out() => Problem::error(
                "no-departure",
                format!("`{id}` is not judged by these rules"),
            )
            .help(format!("write `judged-elsewhere {id} {{`, once it was")),
            Some(_) => Problem::error("no-departure", format!("nobody may depart from `{id}`"))
                .help("take the departure out, and mend what it was to cover"),
            None => Problem::error("unknown-rule", format!("there is no rule `{id}`"))
                .did_you_mean(id, ruleset.rules.iter().map(|r| r.id.as_str())),
        };
        all.push(problem.at(d.rule.span, ""));
    }
    all
}

/// Why a departure from a rule is not in force, if it is not.
fn out_of_force(
    ruleset: &Ruleset,
    design: &Design,
    d: &Departure,
    today: Option<i32>,
) -> Option<Problem> {
    if let (Some(until), Some(today)) = (&d.until, today)
        && today > until.value
    {
        let problem = Problem::caution("departure-expired", format!("{} has expired", name(d)))
            .at(until.span, "its last day")
            .help("mend what it covers, or agree on a later day with those who agreed before");
        return Some(problem);
    }
    if let (Some(on), Some(today)) = (&d.on, today)
        && today < on.value
    {
        let why = format!("{} is of a day that is still to come", name(d));
        let problem = Problem::caution("departure-to-come", why)
            .at(on.span, "")
            .help("correct its day, or judge with `--on` as of that day");
        return Some(problem);
    }
    lapsed(ruleset, design, d)
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
    let why = format!(
        "{} has lapsed: `{}` of {} is not what was agreed on",
        name(d),
        change.fact,
        design.label(subject)
    );
    let mut problem = Problem::caution("departure-lapsed", why).at(change.pinned, "agreed on");
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
            let is = now.written(ix);
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
