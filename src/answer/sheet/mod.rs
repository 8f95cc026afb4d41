//! The sheet for those who install and test: what is to be built, the terminals with their torques,
//! and each reading with what to expect of it.

mod accepted;
mod as_designed;
mod readings;
mod telling;

pub use accepted::{Accepted, Side};
pub use as_designed::{Terminal, Thing};
pub(super) use as_designed::{stands_apart, used};
pub use readings::ToRead;
pub use telling::{Told as ToldFact, told};
pub(super) use telling::{by_kind, value};

use std::sync::Arc;

use super::residual::Residual;
use super::survey::{Question, survey};
use crate::check::Departures;
use crate::design::model::Design;
use crate::ruleset::{Ruleset, Stage};
use crate::vocabulary::Settler;

/// What those who install and test need to know of a design.
#[derive(Clone, Debug, Default)]
pub struct Sheet {
    /// What is put in, changed or taken out, in the order in which it is written.
    pub things: Vec<Thing>,
    /// Terminals and their torques.
    pub terminals: Vec<Terminal>,
    /// What those who install settle and rules wait for.
    pub to_settle: Vec<Question>,
    /// Readings to take, in the order of the vocabulary, thing by thing.
    pub readings: Vec<ToRead>,
}

/// Makes the sheet of a design. What the design does not decide stays a range, or is left to be
/// filled in.
#[must_use]
pub fn sheet(ruleset: &Arc<Ruleset>, design: &Design) -> Sheet {
    Sheet {
        things: as_designed::things(ruleset, design),
        terminals: as_designed::terminals(ruleset, design, &by_kind(ruleset, Settler::Maker)),
        to_settle: survey(
            &Residual::of(ruleset, design.clone(), &[], Stage::Verify),
            &Departures::none(),
        )
        .each()
        .filter(|q| q.settled_by == Settler::Installer)
        .cloned()
        .collect(),
        readings: readings::to_read(ruleset, design),
    }
}
