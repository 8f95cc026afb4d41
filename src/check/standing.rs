//! From counts of outcomes to what a design, a row or a folder comes to: the one place that
//! decides every exit code.

use super::finding::{Counts, Outcome};
use crate::ruleset::Severity;
use crate::source::words;

words! {
    /// What judging came to, the heaviest last.
    #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
    pub enum Standing {
        /// Nothing of the severities that count fails or is undecided.
        #[default]
        Clean = "clean",
        /// Nothing fails, but something is undecided.
        Undecided = "undecided",
        /// Something fails.
        Breach = "breach",
        /// It could not be judged: the input has mistakes.
        Failed = "failed",
    }
}

impl Standing {
    /// What counts come to, where everything at least as severe as `least` decides.
    #[must_use]
    pub fn of(counts: &Counts, least: Severity) -> Self {
        let some = |outcome| {
            let mut severities = Severity::ALL.into_iter().filter(|s| *s <= least);
            severities.any(|s| counts.cell(outcome, s) > 0)
        };
        if some(Outcome::Failed) {
            Self::Breach
        } else if some(Outcome::Undecided) {
            Self::Undecided
        } else {
            Self::Clean
        }
    }

    /// The exit code, as `guide/exit-codes.md` lists them.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Clean => 0,
            Self::Breach => 1,
            Self::Failed => 2,
            Self::Undecided => 3,
        }
    }
}

/// What many designs come to. One that cannot be read takes the exit code, but hides nothing: what
/// the others come to is kept beside it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Totals {
    counts: [usize; 4],
    /// The worst of all: it gives the exit code.
    pub worst: Standing,
    /// The worst of what could be judged, also in files with mistakes; none, where nothing could.
    pub worst_judged: Option<Standing>,
}

impl Totals {
    /// Counts a design: what it comes to, and what the part of it does that could be judged.
    pub fn add(&mut self, standing: Standing, judged: Option<Standing>) {
        self.counts[standing as usize] += 1;
        self.worst = self.worst.max(standing);
        self.worst_judged = self.worst_judged.max(judged);
    }

    /// How many designs came to this.
    #[must_use]
    pub const fn of(&self, standing: Standing) -> usize {
        self.counts[standing as usize]
    }

    /// How many there are.
    #[must_use]
    pub fn files(&self) -> usize {
        self.counts.iter().sum()
    }
}
