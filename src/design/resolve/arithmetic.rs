//! Arithmetic in values: `run + 2 m`, `4 m + n * 3 m`. Dimensions are checked, and what holds no
//! parameter is worked out at once.

use super::resolver::{Measure, Resolver, Site};
use crate::design::model::{Formula, ParameterId, Possible};
use crate::design::tree::{Arith, Value, ValueKind};
use crate::quantity::{Dim, Interval};
use crate::source::{Problem, Span};

/// A term with what it measures.
#[derive(Clone, Debug)]
pub(super) struct Term {
    /// Numbers in SI units.
    pub formula: Formula,
    /// What it measures.
    pub dim: Dim,
    /// Whether it is a point on a temperature scale, not a difference.
    pub absolute: bool,
}

impl<'a> Resolver<'a> {
    /// Reads a term. None: what is wrong was reported.
    pub(super) fn term(&mut self, site: &Site<'_>, value: &'a Value) -> Option<Term> {
        match &value.kind {
            ValueKind::Number(number) => {
                let literal = self.literal(number)?;
                Some(Term {
                    dim: literal.dim(),
                    absolute: literal.is_absolute(),
                    formula: Formula::Number(literal.si),
                })
            }
            ValueKind::Word(word) => self.term_named(site, word, value.span),
            ValueKind::Binary { op, left, right } => {
                let (left_term, right_term) = (self.term(site, left), self.term(site, right));
                self.operation(*op, left_term?, right_term?, (left.span, right.span))
            }
            _ if value.is_bad() => None,
            _ => Problem::error("not-arithmetic", "this cannot stand in a calculation")
                .at(value.span, "expected a quantity or the name of a parameter")
                .help("let a parameter have these values, and calculate with its name")
                .fail(self),
        }
    }

    fn term_named(&mut self, site: &Site<'_>, word: &str, span: Span) -> Option<Term> {
        if let Some(id) = self.parameters.get(word).copied() {
            return match self.measures.get(id.0 as usize) {
                Some(measure @ Measure::Number { .. }) => Some(Term {
                    formula: Formula::Parameter(id),
                    dim: measure.unit().dim(),
                    absolute: measure.unit().is_affine(),
                }),
                Some(Measure::Wrong) | None => None,
                Some(_) => {
                    let why = format!("the parameter `{word}` is not a number");
                    Problem::wrong("not-arithmetic", span, why)
                        .help("write its name alone, without a calculation")
                        .fail(self)
                }
            };
        }
        if word == "n" {
            if let Some(turn) = site.turn {
                return Some(Term {
                    formula: Formula::Number(f64::from(turn.number)),
                    dim: Dim::NONE,
                    absolute: false,
                });
            }
            let why = "`n` stands in a block that is not repeated";
            return Problem::wrong("number-alone", span, why)
                .help("repeat the block, as in `circuit bay[1..6] { … }`")
                .fail(self);
        }
        let names = self.parameter_names();
        let why = format!("there is no parameter called `{word}`");
        Problem::wrong("unknown-parameter", span, why)
            .did_you_mean(word, names)
            .help(format!(
                "declare it, as in `parameter {word}: 5 m .. 40 m`, outside of all blocks"
            ))
            .fail(self)
    }

    fn operation(
        &mut self,
        op: Arith,
        left: Term,
        right: Term,
        (left_span, right_span): (Span, Span),
    ) -> Option<Term> {
        let sum = matches!(op, Arith::Add | Arith::Sub);
        if sum && left.dim != right.dim {
            let (a, b) = (left.dim.describe(), right.dim.describe());
            let message = if op == Arith::Add {
                format!("{a} and {b} cannot be added")
            } else {
                format!("{b} cannot be taken from {a}")
            };
            let mut problem = Problem::error("wrong-dimension", message)
                .at(right_span, format!("this is {b}"))
                .at(left_span, format!("this is {a}"));
            if left.dim == Dim::NONE || right.dim == Dim::NONE {
                problem = problem.help("write the unit of the number");
            }
            return problem.fail(self);
        }
        let absolute = match (op, left.absolute, right.absolute) {
            (_, false, false) | (Arith::Sub, true, true) => Some(false),
            (Arith::Add, true, false) | (Arith::Add, false, true) | (Arith::Sub, true, false) => {
                Some(true)
            }
            _ => None,
        };
        let Some(absolute) = absolute else {
            let at = if right.absolute {
                right_span
            } else {
                left_span
            };
            let why = "a temperature on a scale with a zero of its own cannot be calculated with like this";
            return Problem::wrong("wrong-unit", at, why)
                .help("write differences of temperature in `K`, as in `30 °C + 5 K`")
                .fail(self);
        };
        let dim = match op {
            Arith::Add | Arith::Sub => left.dim,
            Arith::Mul => left.dim.mul(right.dim),
            Arith::Div => left.dim.div(right.dim),
        };
        let formula = match (left.formula, right.formula) {
            (Formula::Number(a), Formula::Number(b)) => {
                let result = match op {
                    Arith::Add => a + b,
                    Arith::Sub => a - b,
                    Arith::Mul => a * b,
                    Arith::Div => a / b,
                };
                if !result.is_finite() {
                    let why = if op == Arith::Div && b == 0.0 {
                        "this divides by zero"
                    } else {
                        "the result is too large"
                    };
                    return Problem::wrong("not-computable", right_span, why)
                        .help("write a value that can be worked out")
                        .fail(self);
                }
                Formula::Number(result)
            }
            (left, right) => Formula::Binary(op, Box::new(left), Box::new(right)),
        };
        Some(Term {
            formula,
            dim,
            absolute,
        })
    }

    /// The interval in which a formula surely lies.
    pub(super) fn hull(&self, formula: &Formula) -> Interval {
        match formula {
            Formula::Number(x) => Interval::point(*x),
            Formula::Parameter(id) => self.parameter_hull(*id),
            Formula::Binary(op, left, right) => {
                let (a, b) = (self.hull(left), self.hull(right));
                match op {
                    Arith::Add => a.add(b),
                    Arith::Sub => a.sub(b),
                    Arith::Mul => a.mul(b),
                    Arith::Div => a.div(b).unwrap_or(Interval::ALL),
                }
            }
        }
    }

    /// Whether a formula gives whole numbers for certain.
    pub(super) fn gives_whole(&self, formula: &Formula) -> bool {
        match formula {
            Formula::Number(x) => x.fract() == 0.0,
            Formula::Parameter(id) => {
                let parameter = self.design.parameters.get(id.0 as usize);
                parameter.is_some_and(|p| is_whole(&p.value))
            }
            Formula::Binary(op, left, right) => {
                *op != Arith::Div && self.gives_whole(left) && self.gives_whole(right)
            }
        }
    }

    fn parameter_hull(&self, id: ParameterId) -> Interval {
        let parameter = self.design.parameters.get(id.0 as usize);
        parameter.map_or(Interval::ALL, |p| hull_of(&p.value))
    }
}

/// Whether a set holds whole numbers alone.
fn is_whole(value: &Possible) -> bool {
    match value {
        Possible::Number(i) => i.is_point() && i.lo.fract() == 0.0,
        Possible::OneOf(values) => values.iter().all(is_whole),
        _ => false,
    }
}

/// The smallest interval that holds all numbers of a set.
pub(super) fn hull_of(value: &Possible) -> Interval {
    match value {
        Possible::Number(interval) => *interval,
        Possible::OneOf(values) => values
            .iter()
            .map(hull_of)
            .reduce(Interval::hull)
            .unwrap_or(Interval::ALL),
        _ => Interval::ALL,
    }
}
