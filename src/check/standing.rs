//! From counts of outcomes to what a design, a row or a folder comes to: the one place that
//! decides every exit code.

use super::finding::{Counts, Outcome};
use crate::ruleset::Severity;

/// What judging came to, the heaviest last.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// Nothing of the severities that count fails or is undecided.
    #[default]
    Clean,
    /// Nothing fails, but something is undecided.
    Undecided,
    /// Something fails.
    Breach,
    /// It could not be judged: the input has mistakes.
    Failed,
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

    /// The exit code, as README lists them.
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
