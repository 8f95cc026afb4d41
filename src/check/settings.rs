//! How a design is judged, and what is passed on while it is.

use super::verdicts::Verdict;
use crate::design::model::Design;
use crate::expression::{Budget, Fuel};
use crate::ruleset::{Rule, Ruleset, Stage};
use crate::source::limits::WORK;

/// How a design is judged.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The stage the design has reached.
    pub stage: Stage,
    /// Today, in days since 1970-01-01, for departures.
    pub on: Option<i32>,
    /// Boxes for each verdict.
    pub budget: Budget,
    /// Operations for looking into all of them.
    pub work: Fuel,
    /// Only this rule.
    pub only: Option<String>,
    /// Findings of what is met are kept; else most of them are only counted.
    pub keep_met: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            stage: Stage::Design,
            on: None,
            budget: Budget::default(),
            work: Fuel(WORK),
            only: None,
            keep_met: true,
        }
    }
}

/// A verdict with its rule.
#[derive(Clone, Copy)]
pub(super) struct Pending<'r> {
    pub(super) rule: &'r Rule,
    pub(super) verdict: &'r Verdict,
}

/// What the installation is called: its label, or its name.
#[must_use]
pub fn installation_name(ruleset: &Ruleset, design: &Design) -> String {
    let v = &ruleset.vocabulary;
    v.kind_named("installation")
        .and_then(|k| design.of_kind(k).next())
        .map(|id| {
            let o = design.object(id);
            o.label.clone().unwrap_or_else(|| o.name.clone())
        })
        .unwrap_or_default()
}
