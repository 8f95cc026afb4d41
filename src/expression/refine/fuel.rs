//! What an answer may take, in operations and boxes and never in time, and how verdicts share it.

use super::super::program::Program;
use super::{Cone, Refiner};

/// What naming the leaves that decide one rule may cost.
pub(super) const NAMING: Fuel = Fuel(60_000);

/// What one verdict may cost: of a very large one fewer boxes are tried.
pub(super) const VERDICT: Fuel = Fuel(4_000_000);

/// What an answer may take, in operations that are worked out or looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fuel(pub u64);

impl Fuel {
    /// For a program: at least so much, and for a large one so many times what working it out once
    /// takes.
    #[must_use]
    pub const fn share(program: &Program, (least, times): (u64, u64)) -> Self {
        let all = program.ops.len() as u64 * times;
        Self(if all > least { all } else { least })
    }

    /// How often a cone may be worked out: at least a few times, unless that would cost more than a
    /// whole verdict may.
    #[must_use]
    pub fn tries(self, cone: &Cone, least: u32) -> u32 {
        let size = cone.ops.len() as u64 + 1;
        let most = (VERDICT.0 / size).max(1);
        let tries = (self.0 / size).max(u64::from(least)).min(most);
        u32::try_from(tries).unwrap_or(u32::MAX)
    }
}

/// What a whole answer may cost, in parts for its verdicts: each has its own, and of what is left
/// beside these at most an eighth.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shares {
    each: u64,
    beside: u64,
    /// Where the present verdict began.
    from: u64,
}

/// How many boxes one verdict may cost.
#[derive(Clone, Copy, Debug)]
pub struct Budget(pub u32);

impl Default for Budget {
    fn default() -> Self {
        Self(256)
    }
}

impl Refiner<'_> {
    /// Operations evaluated or looked at so far.
    #[must_use]
    pub const fn work(&self) -> u64 {
        self.work
    }

    /// Limits what is asked from now on to so many operations in all.
    pub const fn limit(&mut self, all: Fuel) {
        self.until = self.work.saturating_add(all.0);
    }

    /// Shares out what looking into so many verdicts may cost.
    pub fn share_out(&mut self, all: Fuel, verdicts: usize) {
        self.shares = Some(Shares {
            each: all.0 / 2 / (verdicts as u64).max(1),
            beside: all.0 / 2,
            from: self.work,
        });
    }

    /// Begins with the next of these verdicts.
    pub fn next_share(&mut self) {
        if let Some(s) = &mut self.shares {
            let used = self.work - s.from;
            s.beside = s.beside.saturating_sub(used.saturating_sub(s.each));
            s.from = self.work;
            self.until = self.work + s.each + s.beside / 8;
        }
    }

    /// Whether all that may be spent is spent: what is not decided stays so.
    #[must_use]
    pub const fn is_spent(&self) -> bool {
        self.work >= self.until
    }
}
