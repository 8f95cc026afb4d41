//! Operators: arithmetic, comparisons, membership.

use super::super::syntax::{BinaryOp, Expr, ExprKind, Range};
use super::super::typed::{TermId, TermKind, Ty};
use super::{TypingError, Work, fits, line_indices, present_when, word_index};
use crate::quantity::{Dim, Rounding, Unit, absolute_floor, format_number};
use crate::vocabulary::{LINES, WordSet};
impl Work<'_, '_> {
    pub(super) fn binary(
        &mut self,
        op: BinaryOp,
        a: &Expr,
        b: &Expr,
        range: &Range,
        expected: Option<&Ty>,
    ) -> TermId {
        match op {
            BinaryOp::And | BinaryOp::Or => {
                let a_id = self.truth(a);
                let guards = present_when(a, op == BinaryOp::And);
                let b_id = self.with_guards(guards, |w| w.truth(b));
                let kind = if op == BinaryOp::And {
                    TermKind::And(a_id, b_id)
                } else {
                    TermKind::Or(a_id, b_id)
                };
                self.condition(kind, range)
            }
            BinaryOp::Otherwise => {
                let a_id = self.term(a, expected);
                let a_ty = self.ty(a_id);
                let b_id = self.term(b, Some(&a_ty));
                let b_ty = self.ty(b_id);
                if !fits(&b_ty, &a_ty) {
                    let why = format!("one side is {a_ty}, the other {b_ty}");
                    self.error(&b.range, why);
                }
                if a_ty.dim().is_some() || matches!(a_ty, Ty::Word(_) | Ty::Date | Ty::Wrong) {
                    let optional = self.is_optional(b_id);
                    self.push(TermKind::Otherwise(a_id, b_id), a_ty, range, optional)
                } else {
                    self.refuse(range, &a.range, "`else` follows a number, a word or a date")
                }
            }
            BinaryOp::Add | BinaryOp::Sub => self.add(op == BinaryOp::Add, a, b, range),
            BinaryOp::Mul | BinaryOp::Div => {
                let (a_id, a_dim) = self.number(a);
                let (b_id, b_dim) = self.number(b);
                let dims = a_dim.zip(b_dim);
                let (kind, dim) = if op == BinaryOp::Mul {
                    (TermKind::Mul(a_id, b_id), dims.map(|(x, y)| x.mul(y)))
                } else {
                    (TermKind::Div(a_id, b_id), dims.map(|(x, y)| x.div(y)))
                };
                self.quantity(kind, dim, range)
            }
            BinaryOp::Pow => {
                let (a_id, dim) = self.number(a);
                let power = match &b.kind {
                    ExprKind::Number { digits, unit: None } => digits.parse::<i32>().ok(),
                    _ => None,
                };
                match power.filter(|n| (1..=8).contains(n)) {
                    Some(n) => {
                        self.quantity(TermKind::Power(a_id, n), dim.map(|d| d.powi(n)), range)
                    }
                    None => self.refuse(range, &b.range, "the power is a whole number from 1 to 8"),
                }
            }
            _ => self.comparison(op, a, b, range),
        }
    }

    pub(super) fn add(&mut self, plus: bool, a: &Expr, b: &Expr, range: &Range) -> TermId {
        let a_id = self.used(a, None);
        let b_id = self.used(b, None);
        let kind = if plus {
            TermKind::Add(a_id, b_id)
        } else {
            TermKind::Sub(a_id, b_id)
        };
        let ty = match (self.ty(a_id), self.ty(b_id)) {
            (Ty::Wrong, _) | (_, Ty::Wrong) => Ty::Wrong,
            (Ty::Number(x), Ty::Number(y)) if x == y => Ty::Number(x),
            (Ty::Temperature, Ty::Temperature) if !plus => Ty::Number(Dim::TEMPERATURE),
            (Ty::Temperature, Ty::Number(Dim::TEMPERATURE)) => Ty::Temperature,
            (Ty::Number(Dim::TEMPERATURE), Ty::Temperature) if plus => Ty::Temperature,
            (Ty::Date, Ty::Number(Dim::TIME)) => Ty::Date,
            (Ty::Date, Ty::Date) if !plus => Ty::Number(Dim::TIME),
            (x, y) => {
                let why = format!(
                    "{x} and {y} cannot be {}",
                    if plus { "added" } else { "subtracted" }
                );
                self.error(range, why);
                Ty::Wrong
            }
        };
        self.push(kind, ty, range, false)
    }

    pub(super) fn comparison(&mut self, op: BinaryOp, a: &Expr, b: &Expr, range: &Range) -> TermId {
        // Two references.
        if matches!(op, BinaryOp::Eq | BinaryOp::Ne)
            && let (Some((x, _, xo)), Some((y, _, yo))) = (self.object(a), self.object(b))
        {
            for (e, optional) in [(a, xo), (b, yo)] {
                if optional && !self.guarded(e) {
                    let id = self.push(TermKind::Nothing, Ty::Nothing, &e.range, true);
                    self.needed(e, id);
                }
            }
            let id = self.condition(TermKind::SameObject(x, y), range);
            return self.negate_if(op == BinaryOp::Ne, id, range);
        }
        // A word takes its meaning from the other side.
        let named = a.name();
        let a_first = named.is_none_or(|n| self.find(self.subject, n).is_some());
        let (mut a_id, mut b_id) = if a_first {
            let a_id = self.used(a, None);
            let a_ty = self.ty(a_id);
            (a_id, self.used(b, Some(&a_ty)))
        } else {
            let b_id = self.used(b, None);
            let b_ty = self.ty(b_id);
            (self.used(a, Some(&b_ty)), b_id)
        };
        let (x, y) = (self.ty(a_id), self.ty(b_id));
        let floor = match (&x, &y) {
            (Ty::Wrong, _) | (_, Ty::Wrong) => return self.wrong(range),
            (Ty::Number(p), Ty::Number(q)) if p == q => Some(absolute_floor(*p)),
            (Ty::Temperature, Ty::Temperature) => Some(absolute_floor(Dim::TEMPERATURE)),
            (Ty::Date, Ty::Date) => Some(0.5),
            (Ty::Word(p), Ty::Word(q)) if p == q => {
                if matches!(op, BinaryOp::Eq | BinaryOp::Ne) {
                    None
                } else {
                    let number = Ty::Number(Dim::NONE);
                    let ra = self.ranges[a_id.0 as usize].clone();
                    a_id = self.push(TermKind::Rank(a_id), number.clone(), &ra, false);
                    let rb = self.ranges[b_id.0 as usize].clone();
                    b_id = self.push(TermKind::Rank(b_id), number, &rb, false);
                    Some(1e-9)
                }
            }
            (Ty::Truth, Ty::Truth) => None,
            (Ty::Text, Ty::Text) => {
                let literal =
                    |w: &Self, id: TermId| matches!(w.terms[id.0 as usize].kind, TermKind::Text(_));
                if !literal(self, a_id) && !literal(self, b_id) {
                    self.error(range, "a text can only be compared with a text in quotes");
                }
                None
            }
            _ => {
                let why = format!("{x} is compared with {y}");
                return self.refuse(range, range, why);
            }
        };
        let Some(floor) = floor else {
            if !matches!(op, BinaryOp::Eq | BinaryOp::Ne) {
                self.error(range, format!("{x} has no order"));
            }
            let id = self.condition(TermKind::Same(a_id, b_id), range);
            return self.negate_if(op == BinaryOp::Ne, id, range);
        };
        self.share(a_id, b, b_id);
        self.share(b_id, a, a_id);
        let kind = match op {
            BinaryOp::Le => TermKind::Le(a_id, b_id, floor),
            BinaryOp::Ge => TermKind::Le(b_id, a_id, floor),
            BinaryOp::Lt => TermKind::Lt(a_id, b_id, floor),
            BinaryOp::Gt => TermKind::Lt(b_id, a_id, floor),
            _ => TermKind::Equal(a_id, b_id, floor),
        };
        let id = self.condition(kind, range);
        self.negate_if(op == BinaryOp::Ne, id, range)
    }

    /// Reports a share in % that is compared with a number without a unit: 3 is 300 %.
    fn share(&mut self, share: TermId, written: &Expr, number: TermId) {
        let TermKind::Read { fact, .. } = &self.terms[share.0 as usize].kind else {
            return;
        };
        let percent = fact.by_kind.iter().any(|(kind, ix)| {
            let fact = self.typer.vocabulary.fact(*kind, *ix);
            fact.unit().is_some_and(Unit::is_percent)
        });
        let x = match &self.terms[number.0 as usize].kind {
            TermKind::Number(x) if matches!(written.kind, ExprKind::Number { unit: None, .. }) => {
                *x
            }
            TermKind::Limit(id) => {
                let limit = &self.typer.limits.all[id.0 as usize];
                match limit.value {
                    Some(x) if !limit.unit.is_percent() => x,
                    _ => return,
                }
            }
            _ => return,
        };
        if percent && x != 0.0 {
            let share = format_number(100.0 * x, 6, Rounding::Nearest);
            let why = format!("a share in % is compared with the number {x}");
            let error = TypingError::new(written.range.clone(), why);
            self.errors
                .push(error.help(format!("{x} is {share} %: write the unit")));
        }
    }

    pub(super) fn negate_if(&mut self, negate: bool, id: TermId, range: &Range) -> TermId {
        if negate {
            self.condition(TermKind::Not(id), range)
        } else {
            id
        }
    }

    pub(super) fn among_set(
        &mut self,
        inner: &Expr,
        words: &[(String, Range)],
        range: &Range,
    ) -> TermId {
        if let Some(line) = inner.name().and_then(|n| self.line_named(n)) {
            let mut set = WordSet::EMPTY;
            for (w, at) in words {
                match LINES.iter().position(|l| l == w) {
                    Some(i) => set = set.or(WordSet::one(i)),
                    None => self.error(at, format!("`{w}` is no line conductor")),
                }
            }
            return self.condition(TermKind::LineAmong(line, set), range);
        }
        let id = self.used(inner, None);
        let all = match self.ty(id) {
            Ty::Word(w) => w,
            Ty::Wrong => return self.wrong(range),
            other => {
                let why = format!("this is {other}, where a word of a choice is expected");
                let error = TypingError::new(inner.range.clone(), why)
                    .help("a set of words is asked `WORD among fact`");
                return self.refuse_with(range, error);
            }
        };
        let mut set = WordSet::EMPTY;
        for (w, at) in words {
            match word_index(&all, w) {
                Some(i) => set = set.or(WordSet::one(usize::from(i))),
                None => {
                    let error = TypingError::new(
                        at.clone(),
                        format!("`{w}` is none of {}", all.join(", ")),
                    )
                    .did_you_mean(w, all.iter().map(String::as_str));
                    self.errors.push(error);
                }
            }
        }
        self.condition(TermKind::Among(id, set), range)
    }

    pub(super) fn among(&mut self, inner: &Expr, set: &Expr, range: &Range) -> TermId {
        let set_id = self.used(set, None);
        let words = match self.ty(set_id) {
            Ty::Set(w) => w,
            Ty::Wrong => return self.wrong(range),
            other => {
                let why = format!("this is {other}, where a set of words is expected");
                return self.refuse(range, &set.range, why);
            }
        };
        if let Some(line) = inner.name().and_then(|n| self.line_named(n)) {
            let at = line_indices(&words);
            return self.condition(TermKind::HasLine(set_id, line, at), range);
        }
        let word = match &inner.kind {
            ExprKind::Name(n) => Some(n.clone()),
            ExprKind::Number { digits, unit: None } => Some(digits.clone()),
            _ => None,
        };
        if let Some(i) = word.as_deref().and_then(|w| word_index(&words, w)) {
            return self.condition(TermKind::Has(set_id, i), range);
        }
        let id = self.used(inner, Some(&Ty::Word(words.clone())));
        match self.ty(id) {
            Ty::Word(w) if w == words => self.condition(TermKind::MemberOf(id, set_id), range),
            Ty::Wrong => self.wrong(range),
            other => {
                let why = format!("this is {other}, the set holds {}", words.join(", "));
                self.refuse(range, &inner.range, why)
            }
        }
    }
}
