//! Between which numbers an expression lies whatever a design says, as far as domains, figures and
//! arithmetic show it.

use super::syntax::Aggregate;
use super::table::{Table, hull};
use super::typed::{Call, Compiled, TermId, TermKind};
use super::typing::Limits;
use crate::quantity::Interval;
use crate::vocabulary::{FactIx, KindId, Vocabulary};

/// What is known besides an expression itself.
#[derive(Clone, Copy, Debug)]
pub struct Ranges<'a> {
    /// Series.
    pub vocabulary: &'a Vocabulary,
    /// Limits.
    pub limits: &'a Limits,
    /// Tables.
    pub tables: &'a [Table],
    /// Where the facts of each kind lie; nothing for one that has no value so far.
    pub facts: &'a [Vec<Option<Interval>>],
}

/// Quotients. Nothing is divided by nought: a divisor that begins or ends there does not reach it.
fn divided(a: Interval, b: Interval) -> Option<Interval> {
    let lo = if b.lo == 0.0 { b.lo.next_up() } else { b.lo };
    let hi = if b.hi == 0.0 { b.hi.next_down() } else { b.hi };
    (lo <= hi).then(|| a.div(Interval { lo, hi }).unwrap_or(Interval::ALL))
}

impl Ranges<'_> {
    /// Where a fact lies.
    #[must_use]
    pub fn fact(&self, kind: KindId, fact: FactIx) -> Option<Interval> {
        let facts = self.facts.get(usize::from(kind.0));
        match facts.and_then(|f| f.get(usize::from(fact.0))) {
            Some(range) => *range,
            None => Some(Interval::ALL),
        }
    }

    /// Where each term of an expression lies wherever it has a value; nothing, if it never has
    /// one. Only what is said of numbers means anything.
    #[must_use]
    pub fn of(&self, c: &Compiled) -> Vec<Option<Interval>> {
        // Operands come before what uses them.
        let mut known: Vec<Option<Interval>> = Vec::with_capacity(c.terms.len());
        for term in &c.terms {
            let of = |id: TermId| match known.get(id.0 as usize) {
                Some(range) => *range,
                None => Some(Interval::ALL),
            };
            let range = match term.ty.dim() {
                Some(_) => self.number(&term.kind, &of),
                None => Some(Interval::ALL),
            };
            known.push(range);
        }
        known
    }

    fn number(&self, kind: &TermKind, of: &dyn Fn(TermId) -> Option<Interval>) -> Option<Interval> {
        let two =
            |a: TermId, b: TermId, f: fn(Interval, Interval) -> Interval| Some(f(of(a)?, of(b)?));
        let all = Some(Interval::ALL);
        match kind {
            TermKind::Number(x) => Some(Interval::point(*x)),
            TermKind::Nothing => None,
            TermKind::Rank(_) => Some(Interval::NON_NEGATIVE),
            // What rests on a limit that no layer has set decides nothing.
            TermKind::Limit(id) => {
                let limit = self.limits.all.get(usize::from(id.0));
                limit.and_then(|l| l.value).map(Interval::point)
            }
            TermKind::Read { fact, .. } => fact
                .by_kind
                .iter()
                .fold(None, |range, (k, f)| hull(range, self.fact(*k, *f))),
            TermKind::Add(a, b) => two(*a, *b, Interval::add),
            TermKind::Sub(a, b) => two(*a, *b, Interval::sub),
            TermKind::Mul(a, b) => two(*a, *b, Interval::mul),
            TermKind::Div(a, b) => divided(of(*a)?, of(*b)?),
            TermKind::Neg(a) => of(*a).map(Interval::neg),
            TermKind::Power(a, n) => of(*a).map(|a| a.powi(*n).unwrap_or(Interval::ALL)),
            TermKind::If(_, a, b) | TermKind::Otherwise(a, b) => hull(of(*a), of(*b)),
            TermKind::Round(a, step, mode) => of(*a).map(|a| a.round_to(*step, *mode)),
            TermKind::Aggregate { op, body, .. } => {
                let body = body.map_or(all, of);
                match op {
                    Aggregate::Count => Some(Interval::NON_NEGATIVE),
                    // Nobody knows how many there are, if any.
                    Aggregate::Sum | Aggregate::LargestTwo => {
                        Some(body.map_or(Interval::ZERO, Interval::without_end))
                    }
                    Aggregate::Min | Aggregate::Max => body,
                    Aggregate::Every | Aggregate::Any => all,
                }
            }
            TermKind::Lookup(table, _) => {
                let table = self.tables.get(usize::from(table.0));
                table.map_or(all, Table::range)
            }
            TermKind::Call(call, arguments) => self.call(*call, arguments, of),
            TermKind::Next(series, ..) => self.vocabulary.series(*series).range(),
            _ => all,
        }
    }

    fn call(
        &self,
        call: Call,
        arguments: &[TermId],
        of: &dyn Fn(TermId) -> Option<Interval>,
    ) -> Option<Interval> {
        let values: Option<Vec<Interval>> = arguments.iter().map(|a| of(*a)).collect();
        let values = values?;
        let first = values.first().copied().unwrap_or(Interval::ALL);
        let fold = |f: fn(Interval, Interval) -> Interval| values.iter().copied().reduce(f);
        let positive = first.intersect(Interval::NON_NEGATIVE);
        match call {
            Call::Min => fold(Interval::min),
            Call::Max => fold(Interval::max),
            Call::Abs => Some(first.abs()),
            Call::Sqrt => positive.and_then(Interval::sqrt),
            Call::Ln => positive.map(|x| x.ln().unwrap_or(Interval::ALL)),
            Call::Exp => Some(first.exp()),
            Call::Sin => Some(first.sin()),
            Call::Cos => Some(first.cos()),
            Call::Acos => first
                .intersect(Interval::new(-1.0, 1.0))
                .and_then(Interval::acos),
            // Magnitudes of phasors.
            Call::NeutralCurrent | Call::OpenPenVoltage | Call::BehindSource => {
                Some(Interval::NON_NEGATIVE)
            }
        }
    }
}
