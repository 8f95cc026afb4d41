//! Functions, physics, and aggregates over collections.

use super::super::syntax::{Aggregate, Expr, Range};
use super::super::typed::{Call, Over, TermId, TermKind, Ty};
use super::{TypingError, Variable, Work, line_indices, present_when};
use crate::quantity::{Dim, Rounding};
use crate::source::closest;
use crate::vocabulary::LINES;
impl Work<'_, '_> {
    pub(super) fn call(
        &mut self,
        name: &str,
        at: &Range,
        arguments: &[Expr],
        range: &Range,
    ) -> TermId {
        let count = |w: &mut Self, n: usize| -> bool {
            if arguments.len() == n {
                return true;
            }
            let why = format!(
                "`{name}` takes {n} arguments, {} are given",
                arguments.len()
            );
            w.error(at, why);
            false
        };
        let Some(call) = Call::from_word(name) else {
            return match name {
                "round" if count(self, 3) => self.round(arguments, range),
                "next-up" | "next-down" if count(self, 2) => {
                    self.next(name == "next-up", arguments, range)
                }
                "round" | "next-up" | "next-down" => self.wrong(range),
                _ => self.unknown(name, at, range),
            };
        };
        match call {
            Call::Min | Call::Max => {
                let mut ids = Vec::new();
                let mut all: Option<Ty> = None;
                for e in arguments {
                    let (id, ty) = self.scalar(e);
                    if let (Some(x), Some(y)) = (&all, &ty)
                        && x != y
                    {
                        self.error(&e.range, format!("{y} is compared with {x}"));
                    }
                    all = all.or(ty);
                    ids.push(id);
                }
                if ids.is_empty() {
                    self.error(range, format!("`{name}` needs arguments"));
                }
                self.push(
                    TermKind::Call(call, ids),
                    all.unwrap_or(Ty::Wrong),
                    range,
                    false,
                )
            }
            Call::Abs | Call::Sqrt => {
                if !count(self, 1) {
                    return self.wrong(range);
                }
                let (id, dim) = self.number(&arguments[0]);
                let dim = if call == Call::Abs {
                    dim
                } else {
                    let root = dim.and_then(Dim::sqrt);
                    if let (Some(d), None) = (dim, root) {
                        let why = format!("{} has no square root", d.describe());
                        self.error(range, why);
                    }
                    root
                };
                self.quantity(TermKind::Call(call, vec![id]), dim, range)
            }
            Call::Ln | Call::Exp | Call::Sin | Call::Cos | Call::Acos => {
                if !count(self, 1) {
                    return self.wrong(range);
                }
                let id = self.pure(&arguments[0]);
                self.quantity(TermKind::Call(call, vec![id]), Some(Dim::NONE), range)
            }
            Call::NeutralCurrent | Call::OpenPenVoltage | Call::BehindSource => {
                self.physics(call, arguments, range)
            }
        }
    }

    /// A name that no function has.
    fn unknown(&mut self, name: &str, at: &Range, range: &Range) -> TermId {
        let others = ["round", "next-up", "next-down"];
        let known = Call::ALL.map(Call::word).into_iter().chain(others);
        let mut error = TypingError::new(at.clone(), format!("there is no function `{name}`"));
        if self.typer.tables.names.contains_key(name) {
            error = error.help(format!("a table is read with `{name}[…]`"));
        } else if let Some(n) = closest(name, known) {
            error = error.help(format!("did you mean `{n}`?"));
        }
        self.refuse_with(range, error)
    }

    pub(super) fn round(&mut self, arguments: &[Expr], range: &Range) -> TermId {
        let (id, dim) = self.number(&arguments[0]);
        let (step_id, step_dim) = self.number(&arguments[1]);
        let step = match self.terms[step_id.0 as usize].kind {
            TermKind::Number(x) if x > 0.0 => x,
            _ => {
                self.error(&arguments[1].range, "the step is a number above zero");
                1.0
            }
        };
        if dim.is_some() && step_dim.is_some() && dim != step_dim {
            self.error(
                &arguments[1].range,
                "the step has the unit of what is rounded",
            );
        }
        let mode = match arguments[2].name() {
            Some("nearest") => Rounding::Nearest,
            Some("up") => Rounding::Up,
            Some("down") => Rounding::Down,
            _ => {
                self.error(&arguments[2].range, "say `nearest`, `up` or `down` here");
                Rounding::Nearest
            }
        };
        self.quantity(TermKind::Round(id, step, mode), dim, range)
    }

    pub(super) fn next(&mut self, up: bool, arguments: &[Expr], range: &Range) -> TermId {
        let vocabulary = self.typer.vocabulary;
        let name = arguments[0].name().unwrap_or("");
        let (id, dim) = self.number(&arguments[1]);
        let Some(series) = vocabulary.series_names.get(name).copied() else {
            let error = TypingError::new(
                arguments[0].range.clone(),
                format!("there is no series `{name}`"),
            )
            .did_you_mean(name, vocabulary.series_names.keys().map(String::as_str));
            return self.refuse_with(range, error);
        };
        let unit = &vocabulary.series(series).unit;
        if let Some(d) = dim
            && d != unit.dim()
        {
            let why = format!(
                "the series `{name}` holds {}, this is {}",
                unit.dim().describe(),
                d.describe()
            );
            self.error(&arguments[1].range, why);
        }
        self.quantity(TermKind::Next(series, up, id), Some(unit.dim()), range)
    }

    pub(super) fn physics(&mut self, call: Call, arguments: &[Expr], range: &Range) -> TermId {
        let (volt, amp, ohm) = (Dim::VOLTAGE, Dim::CURRENT, Dim::RESISTANCE);
        let (wanted, gives) = match call {
            Call::NeutralCurrent => (vec![amp; 3], amp),
            Call::BehindSource => (vec![ohm; 4], ohm),
            _ => (vec![volt, Dim::NONE, amp, amp, amp, ohm, ohm], volt),
        };
        if arguments.len() != wanted.len() {
            let why = format!(
                "`{call}` takes {} arguments, {} are given",
                wanted.len(),
                arguments.len()
            );
            return self.refuse(range, range, why);
        }
        let mut ids = Vec::new();
        for (e, d) in arguments.iter().zip(wanted) {
            let (id, got) = self.number(e);
            if let Some(got) = got
                && got != d
            {
                let why = format!(
                    "this is {}, where {} is expected",
                    got.describe(),
                    d.describe()
                );
                self.error(&e.range, why);
            }
            ids.push(id);
        }
        self.quantity(TermKind::Call(call, ids), Some(gives), range)
    }

    pub(super) fn aggregate(
        &mut self,
        op: Aggregate,
        var: &str,
        over: &Expr,
        filter: Option<&Expr>,
        body: Option<&Expr>,
        range: &Range,
    ) -> TermId {
        let (over, variable) = match self.over(over) {
            Some(x) => x,
            None => return self.wrong(range),
        };
        let Some(slot) = self.next_slot() else {
            return self.refuse(range, range, "aggregates are nested too deep");
        };
        self.vars.push((var.to_owned(), variable));
        let filter_id = filter.map(|f| self.truth(f));
        let guards = filter.map_or_else(Vec::new, |f| present_when(f, true));
        let body_id = body.map(|b| {
            self.with_guards(guards, |w| match op {
                Aggregate::Every | Aggregate::Any => w.truth(b),
                Aggregate::Min | Aggregate::Max => w.scalar(b).0,
                _ => w.number(b).0,
            })
        });
        self.vars.pop();
        let (ty, optional) = match op {
            Aggregate::Count => (Ty::Number(Dim::NONE), false),
            Aggregate::Every | Aggregate::Any => (Ty::Truth, false),
            Aggregate::Sum | Aggregate::LargestTwo => {
                (body_id.map_or(Ty::Wrong, |b| self.ty(b)), false)
            }
            // Nothing has neither a least nor a greatest; lines always exist.
            Aggregate::Min | Aggregate::Max => (
                body_id.map_or(Ty::Wrong, |b| self.ty(b)),
                !matches!(over, Over::AllLines | Over::Lines(..)),
            ),
        };
        if body.is_none() && op != Aggregate::Count {
            self.errors.push(
                TypingError::new(range.clone(), format!("`{}` needs a body", op.word()))
                    .help(format!("write `{} {var} in …: …`", op.word())),
            );
        }
        if body.is_some() && op == Aggregate::Count {
            self.errors.push(
                TypingError::new(range.clone(), "`count` takes `where`, not a body")
                    .help("write `count x in … where …`"),
            );
        }
        self.push(
            TermKind::Aggregate {
                op,
                var: slot,
                over,
                filter: filter_id,
                body: body_id,
                // Known when all facts are.
                never_negative: false,
            },
            ty,
            range,
            optional,
        )
    }

    pub(super) fn over(&mut self, over: &Expr) -> Option<(Over, Variable)> {
        if over.name() == Some("all-lines") {
            return Some((Over::AllLines, Variable::Line));
        }
        let id = self.term(over, None);
        let term = &self.terms[id.0 as usize];
        match (&term.ty, &term.kind) {
            (Ty::Collection(k), TermKind::Read { object, fact, .. }) => {
                let out = (
                    Over::Collection(object.clone(), fact.clone()),
                    Variable::Object(*k),
                );
                self.needed(over, id);
                Some(out)
            }
            (Ty::Set(words), _) if words.iter().any(|w| LINES.contains(&w.as_str())) => {
                let at = line_indices(words);
                self.needed(over, id);
                Some((Over::Lines(id, at), Variable::Line))
            }
            (Ty::Wrong, _) => None,
            (ty, _) => {
                let why = format!("this is {ty}, where a collection is expected");
                self.error(&over.range, why);
                None
            }
        }
    }
}
