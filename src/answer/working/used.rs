//! A formula as it was used: branches that do not apply fall away, values stand for names.

use super::term_value;
use crate::check::{Linker, one_line};
use crate::expression::{Aggregate, Compiled, Presence, Reg, TermId, TermKind, Ty, Val};

/// How tightly an operation binds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Binds {
    Or,
    And,
    Not,
    Compare,
    Sum,
    Product,
    Power,
    Whole,
}

/// A formula as it was used: branches that were not taken fall away, and, if numbers are wanted,
/// values stand for names.
struct Used<'a, 'l> {
    linker: &'a Linker<'l>,
    c: &'a Compiled,
    shown: &'a [(TermId, Reg)],
    numbers: bool,
}

impl Used<'_, '_> {
    fn reg(&self, id: TermId) -> Option<Reg> {
        let mut all = self.shown.iter();
        all.find(|(t, _)| *t == id).map(|(_, r)| *r)
    }

    fn val(&self, id: TermId) -> Option<Val> {
        self.reg(id).map(|r| self.linker.program.val(r))
    }

    /// How a condition came out, if it came out the same for every member.
    fn truth(&self, id: TermId) -> Option<bool> {
        let mut all = self
            .shown
            .iter()
            .filter(|(t, _)| *t == id)
            .map(|(_, r)| self.linker.program.val(*r).as_truth().decided());
        let first = all.next()??;
        all.all(|t| t == Some(first)).then_some(first)
    }

    /// Whether all that is left of the formula is one name: then its value is the result.
    fn is_one_name(&self, id: TermId) -> bool {
        match &self.c.term(id).kind {
            TermKind::If(cond, a, b) => match self.truth(*cond) {
                Some(true) => self.is_one_name(*a),
                Some(false) => self.is_one_name(*b),
                None => false,
            },
            TermKind::Otherwise(a, _) => self.is_one_name(*a),
            TermKind::Read { .. } | TermKind::Limit(_) | TermKind::Lookup(..) => true,
            _ => false,
        }
    }

    /// The name, or the value that was put in.
    fn input(&self, id: TermId) -> String {
        match self.reg(id) {
            Some(reg) if self.numbers => term_value(self.linker, self.c, id, reg),
            _ => self.written(id),
        }
    }

    /// A term as it is written. The range of a comparison begins inside the brackets of its first part, so
    /// that brackets which lack their other half are taken in.
    fn written(&self, id: TermId) -> String {
        let range = self.c.range(id);
        let (mut from, mut to) = (range.start, range.end);
        let text = self.c.text();
        let mut depth = 0_usize;
        let mut lacking = 0_usize;
        for b in self.c.slice(id).bytes() {
            match b {
                b'(' => depth += 1,
                b')' if depth == 0 => lacking += 1,
                b')' => depth -= 1,
                _ => {}
            }
        }
        while lacking > 0 {
            let Some(before) = text
                .get(..from)
                .and_then(|t| t.trim_end().strip_suffix('('))
            else {
                break;
            };
            from = before.len();
            lacking -= 1;
        }
        while depth > 0 {
            let Some(rest) = text
                .get(to..)
                .and_then(|t| t.trim_start().strip_prefix(')'))
            else {
                break;
            };
            to = text.len() - rest.len();
            depth -= 1;
        }
        one_line(text.get(from..to).unwrap_or_default())
    }

    fn inside(&self, id: TermId, least: Binds) -> String {
        let (text, binds) = self.part(id);
        if binds < least {
            format!("({text})")
        } else {
            text
        }
    }

    fn two(&self, a: TermId, sign: &str, b: TermId, binds: Binds, right: Binds) -> (String, Binds) {
        let text = format!("{} {sign} {}", self.inside(a, binds), self.inside(b, right));
        (text, binds)
    }

    /// Whether a term was worked out and is nought.
    fn is_nought(&self, id: TermId) -> bool {
        self.val(id)
            .is_some_and(|v| v.bits == Presence::PRESENT && v.lo == 0.0 && v.hi == 0.0)
    }

    fn part(&self, id: TermId) -> (String, Binds) {
        match &self.c.term(id).kind {
            TermKind::If(cond, a, b) => match self.truth(*cond) {
                Some(true) => self.part(*a),
                Some(false) => self.part(*b),
                None => {
                    let text = format!(
                        "if {} then {} else {}",
                        self.inside(*cond, Binds::Or),
                        self.inside(*a, Binds::Or),
                        self.inside(*b, Binds::Or)
                    );
                    (text, Binds::Or)
                }
            },
            TermKind::Otherwise(a, b) => {
                let may_be = |what: u64| self.val(*a).map(|v| v.bits & what != 0);
                match (may_be(Presence::PRESENT), may_be(Presence::ABSENT)) {
                    (Some(true), Some(false)) => self.part(*a),
                    (Some(false), Some(true)) => self.part(*b),
                    _ if self.c.term(id).ty.dim().is_some() => {
                        let text = format!("({}) else {}", self.part(*a).0, self.part(*b).0);
                        (text, Binds::Or)
                    }
                    _ => self.part(*a),
                }
            }
            // What adds nothing is left out.
            TermKind::Add(a, b) if self.is_nought(*b) => self.part(*a),
            TermKind::Add(a, b) if self.is_nought(*a) => self.part(*b),
            TermKind::Add(a, b) => self.two(*a, "+", *b, Binds::Sum, Binds::Sum),
            TermKind::Sub(a, b) => self.two(*a, "−", *b, Binds::Sum, Binds::Product),
            TermKind::Mul(a, b) => self.two(*a, "·", *b, Binds::Product, Binds::Product),
            TermKind::Div(a, b) => self.two(*a, "/", *b, Binds::Product, Binds::Power),
            TermKind::Neg(a) => (format!("−{}", self.inside(*a, Binds::Product)), Binds::Sum),
            TermKind::Power(a, n) => (
                format!("{}^{n}", self.inside(*a, Binds::Whole)),
                Binds::Power,
            ),
            TermKind::Le(a, b, _) => (
                self.two(*a, "≤", *b, Binds::Sum, Binds::Sum).0,
                Binds::Compare,
            ),
            TermKind::Lt(a, b, _) => (
                self.two(*a, "<", *b, Binds::Sum, Binds::Sum).0,
                Binds::Compare,
            ),
            TermKind::And(a, b) => self.two(*a, "and", *b, Binds::And, Binds::And),
            TermKind::Or(a, b) => self.two(*a, "or", *b, Binds::Or, Binds::Or),
            // `is absent` has its negation in its words.
            TermKind::Not(a) if self.c.range(*a) == self.c.range(id) => {
                (self.input(id), Binds::Compare)
            }
            TermKind::Not(a) => (format!("not {}", self.inside(*a, Binds::Not)), Binds::Not),
            TermKind::Call(call, arguments) => {
                let list: Vec<String> = arguments.iter().map(|a| self.part(*a).0).collect();
                (
                    format!("{}({})", call.word(), list.join(", ")),
                    Binds::Whole,
                )
            }
            TermKind::Aggregate {
                body: Some(b), op, ..
            } if self.numbers => {
                let text = self.members(*b, *op, id);
                let several = *op == Aggregate::Sum && text.contains(" + ");
                (text, if several { Binds::Sum } else { Binds::Whole })
            }
            TermKind::Aggregate { body: Some(b), .. } => {
                let (whole, inner) = (self.c.range(id), self.c.range(*b));
                let before = whole.start..inner.start.max(whole.start);
                let before = self.c.text().get(before).unwrap_or("");
                // Brackets that open around the body belong to it.
                let before = one_line(before.trim_end_matches(['(', ' ']));
                (format!("{before} {}", self.part(*b).0), Binds::Sum)
            }
            _ => (self.input(id), self.bound(id)),
        }
    }

    /// The members of a sum, a least or a greatest one, each by its value.
    fn members(&self, body: TermId, op: Aggregate, whole: TermId) -> String {
        let mut values: Vec<String> = self
            .shown
            .iter()
            .filter(|(t, _)| *t == body)
            .map(|(t, r)| term_value(self.linker, self.c, *t, *r))
            .collect();
        if op == Aggregate::Sum && !values.is_empty() {
            let some: Vec<String> = values
                .iter()
                .filter(|v| v.split(' ').next() != Some("0"))
                .cloned()
                .collect();
            if !some.is_empty() {
                values = some;
            }
            return values.join(" + ");
        }
        if values.is_empty() {
            return self.input(whole);
        }
        format!("{}({})", op.word(), values.join(", "))
    }

    /// A negative or ranging value needs brackets beside a sign.
    fn bound(&self, id: TermId) -> Binds {
        if !self.numbers {
            return Binds::Whole;
        }
        match self.val(id) {
            Some(v) if v.lo < v.hi || v.lo < 0.0 => Binds::Or,
            _ => Binds::Whole,
        }
    }
}

/// The formula as it was used, with names and with numbers.
pub(super) fn used(
    linker: &Linker<'_>,
    c: &Compiled,
    shown: &[(TermId, Reg)],
    result: &str,
) -> (String, String) {
    let mut used = Used {
        linker,
        c,
        shown,
        numbers: false,
    };
    let names = used.part(c.root).0;
    used.numbers = true;
    // Of a condition the values stand below; put into the words they would not read as a sentence.
    let numbers = if used.is_one_name(c.root) || matches!(c.term(c.root).ty, Ty::Truth) {
        result.to_owned()
    } else {
        used.part(c.root).0
    };
    (names, numbers)
}
