//! Findings: plain data, rendered elsewhere.

use std::collections::BTreeMap;

use sha2::{Digest as _, Sha256};

use super::subject::Subject;
use crate::ruleset::{Confidence, Severity, Stage, first_digits};
use crate::source::{Label, Span, words};

words! {
    /// What came of a rule for a subject.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
    pub enum Outcome {
        /// It fails for every installation that fits what is written.
        Failed = "failed",
        /// Neither.
        Undecided = "undecided",
        /// It needs a fact that is written wrongly.
        NotJudged = "not-judged",
        /// A recorded departure covers a failure.
        Departed = "departed",
        /// It holds for every installation that fits.
        Met = "met",
        /// It does not apply.
        NotApplicable = "not-applicable",
        /// It belongs to a later stage.
        NotDue = "not-due",
    }
}

words! {
    /// Why something is undecided.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
    pub enum Reason {
        /// Two witnesses: one that passes and one that breaks.
        Open = "open",
        /// The work limit was met.
        Unresolved = "unresolved",
        /// For some values there is nothing to compute with.
        NotComputable = "not-computable",
        /// The ruleset has no figure here.
        Gap = "gap-in-ruleset",
        /// The rules leave it out, and it matters here.
        LeftOut = "left-out",
    }
}

/// A fact that could decide.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Missing {
    /// The object, as messages name it.
    pub of: String,
    /// The fact.
    pub fact: String,
    /// What it is.
    pub means: String,
    /// Who settles it.
    pub settled_by: &'static str,
    /// A value for which the rule holds.
    pub passes: Option<String>,
    /// A value for which it fails.
    pub breaks: Option<String>,
    /// Where it is written or could be written.
    pub span: Span,
}

/// One value of a witness.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WitnessValue {
    /// The fact, `Ze of supply`.
    pub fact: String,
    /// Its value.
    pub value: String,
}

/// One of several ways to meet a rule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WayState {
    /// Its name.
    pub name: String,
    /// Its condition, as the ruleset states it.
    pub condition: String,
    /// `holds`, `does not hold` or `is open`.
    pub state: &'static str,
}

/// A rule judged for a subject.
#[derive(Clone, Debug)]
pub struct Finding {
    /// The rule.
    pub rule: String,
    /// Its title.
    pub title: String,
    /// What came of it.
    pub outcome: Outcome,
    /// How a failure weighs.
    pub severity: Severity,
    /// Why it is undecided.
    pub reason: Option<Reason>,
    /// When it is due.
    pub stage: Stage,
    /// Standard, edition, clause.
    pub clause: Option<String>,
    /// Where it was seen.
    pub source: Option<String>,
    /// How sure its encoder is.
    pub confidence: Confidence,
    /// What it was judged for.
    pub subject: Subject,
    /// What is wrong or open.
    pub message: String,
    /// Places, the main one first.
    pub labels: Vec<Label>,
    /// Facts that could decide.
    pub missing: Vec<Missing>,
    /// An assignment that passes and one that breaks.
    pub witnesses: Option<(Vec<WitnessValue>, Vec<WitnessValue>)>,
    /// What would help.
    pub help: Vec<String>,
    /// The named ways of which one must hold, and whether each does.
    pub ways: Vec<WayState>,
    /// Whether it rests on assumed values.
    pub assumed: bool,
    /// Why the rule is asked.
    pub because: Option<String>,
    /// The layer that amended the rule, and why.
    pub amended: Option<(String, String)>,
    /// The rule and subject whose failure explains this one.
    pub follows_from: Option<(String, Subject)>,
    /// The reason of the departure that covers it.
    pub departure: Option<String>,
    /// Stays the same when lines move.
    pub fingerprint: String,
}

/// Hash of a rule and the path of its subject, without outcome or line.
#[must_use]
pub fn fingerprint(rule: &str, kind: &str, subject: &str, installation: &str) -> String {
    let mut sha = Sha256::new();
    for part in [rule, kind, subject, installation] {
        sha.update(part.as_bytes());
        sha.update([0]);
    }
    format!("v2:{}", first_digits(&sha.finalize()))
}

/// A figure of the design.
#[derive(Clone, Debug)]
pub struct FigureValue {
    /// The object.
    pub subject: Subject,
    /// The fact, `Zs`.
    pub fact: String,
    /// Its meaning.
    pub means: String,
    /// Lowest value, in SI units.
    pub low: f64,
    /// Highest value, in SI units.
    pub high: f64,
    /// The unit it is shown in.
    pub unit: crate::quantity::Unit,
    /// What a value of a series is called in the trade: `8 AWG`.
    pub name: Option<String>,
    /// The limiting value, and whether it is an upper one.
    pub limit: Option<(f64, bool)>,
}

impl FigureValue {
    /// How far the worst value is from its limit, as a share of the limit; negative if beyond.
    #[must_use]
    pub fn margin(&self) -> Option<f64> {
        let (limit, upper) = self.limit?;
        let left = if upper {
            limit - self.high
        } else {
            self.low - limit
        };
        (limit != 0.0 && left.is_finite()).then(|| left / limit)
    }
}

/// How many subjects came out how, by severity. Cautions about what is written (a value that is
/// hardly plausible, a departure that covers nothing) count as failed cautions.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts(pub BTreeMap<(Outcome, Severity), usize>);

impl Counts {
    /// Of one outcome, over all severities.
    #[must_use]
    pub fn of(&self, outcome: Outcome) -> usize {
        self.0
            .iter()
            .filter(|((o, _), _)| *o == outcome)
            .map(|(_, n)| n)
            .sum()
    }

    /// Counts further ones.
    pub fn add(&mut self, outcome: Outcome, severity: Severity, count: usize) {
        if count > 0 {
            *self.0.entry((outcome, severity)).or_insert(0) += count;
        }
    }

    /// Of one outcome and severity.
    #[must_use]
    pub fn cell(&self, outcome: Outcome, severity: Severity) -> usize {
        self.0.get(&(outcome, severity)).copied().unwrap_or(0)
    }
}

/// Everything there is to say about one design.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// Findings, in the order of places, then rules.
    pub findings: Vec<Finding>,
    /// Key figures.
    pub figures: Vec<FigureValue>,
    /// What was assumed: `ambient of cables 1 of ev: 30 °C`.
    pub assumed: Vec<String>,
    /// What is asked of articles that are yet to be bought: `isolates of device of ev: yes`.
    pub required: Vec<String>,
    /// How the rules came out.
    pub counts: Counts,
}
