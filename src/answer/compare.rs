//! Two rulesets, editions or layers over the same designs, or two versions of one design: what
//! each rule says before and after.

use std::collections::{BTreeMap, BTreeSet};

use super::differences::Difference;
use crate::check::{Finding, Outcome, Report, Standing};
use crate::ruleset::{Ruleset, Severity};
use crate::source::words;

/// Both sides of one rule for one subject of one design.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// The design.
    pub design: String,
    /// The rule; a topic where the rulesets are of different countries.
    pub rule: String,
    /// The subject, as the second design calls it; the first, where only that has it.
    pub subject: String,
    /// Before; nothing where the rule did not exist or had no such subject.
    pub before: Option<Said>,
    /// After.
    pub after: Option<Said>,
}

/// What a rule said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// The subject's label; empty where topics are compared.
    pub subject: String,
    /// The outcome.
    pub outcome: Outcome,
    /// How a failure weighs.
    pub severity: Severity,
    /// The message, where it is not met.
    pub message: Option<String>,
    /// The clause.
    pub clause: Option<String>,
}

words! {
    /// What sort of change, the worst first.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
    pub enum Turn {
        /// Fails now.
        Breaks = "breaks",
        /// Was decided, is undecided now.
        Opens = "opens",
        /// Weighs otherwise.
        Weighs = "weighs",
        /// Failed before, fails still, for another reason.
        Restates = "restates",
        /// Does not fail any more.
        Passes = "passes",
        /// Was undecided, is met now.
        Settles = "settles",
    }
}

impl Turn {
    /// The words reports use.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Breaks => "newly broken",
            Self::Passes => "no longer broken",
            Self::Opens => "newly undecided",
            Self::Settles => "newly decided",
            Self::Weighs => "other severity",
            Self::Restates => "broken still, otherwise",
        }
    }
}

/// A comparison over any number of designs.
#[derive(Clone, Debug, Default)]
pub struct Comparison {
    /// Changes, in the order of designs, then rules.
    pub changes: Vec<(Turn, Change)>,
    /// What exists on one side only or is stated otherwise, and can turn a verdict.
    pub differences: Vec<Difference>,
    /// How often each outcome before became each outcome after.
    pub matrix: BTreeMap<(&'static str, &'static str), usize>,
    /// Designs that were compared.
    pub designs: usize,
    /// Facts that one side does not read, by design.
    pub not_read: usize,
    /// Rules are paired by topic, since no ids are shared.
    pub by_topic: bool,
}

/// Whether two rulesets share rules at all; else findings are paired by topic.
#[must_use]
pub fn share_rules(from: &Ruleset, to: &Ruleset) -> bool {
    from.rules.iter().any(|r| to.rule(&r.id).is_some())
}

impl Comparison {
    /// Adds one design: what it came to before and after.
    pub fn add(
        &mut self,
        design: &str,
        (from, before): (&Ruleset, &Report),
        (to, after): (&Ruleset, &Report),
    ) {
        self.designs += 1;
        let by_topic = self.by_topic;
        let index = |ruleset: &Ruleset, report: &Report| {
            let mut all: BTreeMap<(String, String), Said> = BTreeMap::new();
            for f in &report.findings {
                let (key, label) = if by_topic {
                    let topic = ruleset.rule(&f.rule).map_or("", |r| r.texts.topic.as_str());
                    ((topic.to_owned(), String::new()), "")
                } else {
                    let key = (f.rule.clone(), f.subject.path.clone());
                    (key, f.subject.label.as_str())
                };
                let said = said(f, label);
                match all.get_mut(&key) {
                    // Of several findings of a topic the worst counts.
                    Some(old) if rank(&said) > rank(old) => *old = said,
                    Some(_) => {}
                    None => {
                        all.insert(key, said);
                    }
                }
            }
            all
        };
        let (a, b) = (index(from, before), index(to, after));
        let keys: BTreeSet<&(String, String)> = a.keys().chain(b.keys()).collect();
        for key in keys {
            let (x, y) = (a.get(key), b.get(key));
            let word = |s: Option<&Said>| s.map_or("absent", |s| s.outcome.word());
            *self.matrix.entry((word(x), word(y))).or_insert(0) += 1;
            if let Some(turn) = turn(x, y) {
                self.changes.push((
                    turn,
                    Change {
                        design: design.to_owned(),
                        rule: key.0.clone(),
                        subject: y.or(x).map_or_else(String::new, |s| s.subject.clone()),
                        before: x.cloned(),
                        after: y.cloned(),
                    },
                ));
            }
        }
    }

    /// Changes of one sort.
    pub fn of(&self, turn: Turn) -> impl Iterator<Item = &Change> {
        self.changes
            .iter()
            .filter(move |(t, _)| *t == turn)
            .map(|(_, c)| c)
    }

    /// Whether a breach is new.
    #[must_use]
    pub fn breaks(&self) -> bool {
        let mut after = self.breach_after(&[Turn::Breaks, Turn::Weighs]);
        after.any(|s| s.outcome == Outcome::Failed)
    }

    /// What the changes come to.
    #[must_use]
    pub fn standing(&self) -> Standing {
        if self.breaks() {
            Standing::Breach
        } else if self.opens() {
            Standing::Undecided
        } else {
            Standing::Clean
        }
    }

    /// Whether something that could be a breach is newly undecided.
    #[must_use]
    pub fn opens(&self) -> bool {
        let mut after = self.breach_after(&[Turn::Opens, Turn::Weighs]);
        after.any(|s| s.outcome == Outcome::Undecided)
    }

    /// What rules that count as a breach say after a change of some sort.
    fn breach_after(&self, turns: &[Turn]) -> impl Iterator<Item = &Said> {
        let some = self.changes.iter().filter(|(t, _)| turns.contains(t));
        let after = some.filter_map(|(_, c)| c.after.as_ref());
        after.filter(|s| s.severity == Severity::Breach)
    }
}

fn said(f: &Finding, subject: &str) -> Said {
    let quiet = matches!(f.outcome, Outcome::Met | Outcome::NotApplicable);
    Said {
        subject: subject.to_owned(),
        outcome: f.outcome,
        severity: f.severity,
        message: (!quiet).then(|| f.message.clone()),
        clause: f.clause.clone(),
    }
}

/// What weighs more, of all that is said of one thing: a breach that is open more than a failed advice.
fn rank(s: &Said) -> (u8, u8, bool) {
    let told = match s.outcome {
        Outcome::Failed | Outcome::Undecided | Outcome::NotJudged => 3,
        Outcome::Departed => 2,
        Outcome::Met => 1,
        _ => 0,
    };
    (told, 3 - s.severity as u8, s.outcome == Outcome::Failed)
}

fn turn(before: Option<&Said>, after: Option<&Said>) -> Option<Turn> {
    let failed = |s: Option<&Said>| s.is_some_and(|s| s.outcome == Outcome::Failed);
    let open = |s: Option<&Said>| {
        s.is_some_and(|s| matches!(s.outcome, Outcome::Undecided | Outcome::NotJudged))
    };
    match (failed(before), failed(after)) {
        (false, true) => Some(Turn::Breaks),
        (true, false) if open(after) => Some(Turn::Opens),
        (true, false) => Some(Turn::Passes),
        (true, true) => {
            let (a, b) = (before?, after?);
            if a.severity != b.severity {
                Some(Turn::Weighs)
            } else if a.message != b.message {
                Some(Turn::Restates)
            } else {
                None
            }
        }
        (false, false) => match (open(before), open(after)) {
            (false, true) => Some(Turn::Opens),
            (true, false) => Some(Turn::Settles),
            (true, true) if before.map(|s| s.severity) != after.map(|s| s.severity) => {
                Some(Turn::Weighs)
            }
            _ => None,
        },
    }
}
