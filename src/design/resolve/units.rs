//! Numbers as written, with their units.

use super::resolver::Resolver;
use crate::design::tree::Number;
use crate::quantity::{
    Dim, Rounding, Unit, format_number, format_quantity, one_digit, parse_quantity,
};
use crate::source::Problem;
use crate::vocabulary::{Bounds, Fact, FactType, Series};

/// A number read for itself, without a fact that says what it should be.
#[derive(Clone, Debug)]
pub(super) struct Literal {
    /// In SI units.
    pub si: f64,
    /// Its unit; none for a bare number.
    pub unit: Option<Unit>,
}

impl Literal {
    /// What it measures.
    pub(super) fn dim(&self) -> Dim {
        self.unit.as_ref().map_or(Dim::NONE, Unit::dim)
    }

    /// Whether it is a point on a temperature scale.
    pub(super) fn is_absolute(&self) -> bool {
        self.unit.as_ref().is_some_and(Unit::is_affine)
    }
}

impl Resolver<'_> {
    /// Reads a number and its units. None: it was reported.
    pub(super) fn literal(&mut self, number: &Number) -> Option<Literal> {
        self.literal_like(number, "")
    }

    /// The same; `usual` is the unit to propose for one that nothing is like.
    pub(super) fn literal_like(&mut self, number: &Number, usual: &str) -> Option<Literal> {
        let unit = match &number.unit {
            None => None,
            Some(word) => match Unit::parse(&word.text) {
                Ok(unit) => Some(unit),
                Err(error) => {
                    let mut problem = Problem::wrong("unknown-unit", word.span, error.to_string());
                    if let Some(help) = error.help() {
                        problem = problem.help(help);
                    } else if usual == "1" {
                        problem = problem.help(format!("write `{}` alone", number.digits));
                    } else if !usual.is_empty() {
                        problem = problem.help(format!("write it in a unit such as `{usual}`"));
                    }
                    return problem.fail(self);
                }
            },
        };
        let mut si = self.digits(&number.digits, unit.as_ref(), number)?;
        for (digits, word) in &number.more {
            let further = Unit::parse(&word.text).ok()?;
            let part = self.digits(digits, Some(&further), number)?;
            si = if number.digits.starts_with('-') {
                si - part
            } else {
                si + part
            };
        }
        Some(Literal { si, unit })
    }

    fn digits(&mut self, digits: &str, unit: Option<&Unit>, number: &Number) -> Option<f64> {
        let read = parse_quantity(digits, unit.unwrap_or(&Unit::ONE)).filter(|x| x.is_finite());
        if read.is_none() {
            let why = format!("`{digits}` is not a number that can be used");
            let ratio = digits.split_once('/');
            let ratio =
                ratio.and_then(|(a, b)| Some(a.parse::<f64>().ok()? / b.parse::<f64>().ok()?));
            let help = match ratio.filter(|x| x.is_finite()) {
                Some(x) => format!(
                    "write it with a decimal point: `{}`",
                    format_number(x, 6, Rounding::Nearest)
                ),
                None => "write at most 30 digits, with a decimal point, as in `0.28`".to_owned(),
            };
            Problem::wrong("unreadable-number", number.span, why)
                .help(help)
                .report(self);
        }
        read
    }
}

/// A number as written, with one blank before each unit.
pub(super) fn spelled(number: &Number) -> String {
    let mut text = number.digits.clone();
    if let Some(unit) = &number.unit {
        text.push(' ');
        text.push_str(&unit.text);
    }
    for (digits, unit) in &number.more {
        text.push(' ');
        text.push_str(digits);
        text.push(' ');
        text.push_str(&unit.text);
    }
    text
}

/// A value in SI, as a design would write it in this unit.
pub(super) fn shown(si: f64, unit: &Unit) -> String {
    format_quantity(si, unit, 6)
}

/// A member of a series, as a design would write it.
pub(super) fn member_shown(series: &Series, place: usize, unit: &Unit) -> Option<String> {
    Some(series.members.get(place)?.shown(unit))
}

/// `more than 0 A`, `0 m to 500 m`; empty if there are no limits.
pub(super) fn bounds_shown(bounds: &Bounds, unit: &Unit) -> String {
    let (lo, hi) = (shown(bounds.lo, unit), shown(bounds.hi, unit));
    match (bounds.lo.is_finite(), bounds.hi.is_finite()) {
        (true, true) => match (bounds.lo_open, bounds.hi_open) {
            (false, false) => format!("`{lo} .. {hi}`"),
            (true, false) => format!("more than `{lo}` and at most `{hi}`"),
            (false, true) => format!("at least `{lo}` and less than `{hi}`"),
            (true, true) => format!("more than `{lo}` and less than `{hi}`"),
        },
        (true, false) if bounds.lo_open => format!("more than `{lo}`"),
        (true, false) => format!("at least `{lo}`"),
        (false, true) if bounds.hi_open => format!("less than `{hi}`"),
        (false, true) => format!("at most `{hi}`"),
        (false, false) => String::new(),
    }
}

/// Whether a bare number is a value of this unit.
pub(super) fn takes_bare_numbers(unit: &Unit) -> bool {
    *unit == Unit::ONE
}

/// A value of this quantity that would be right, in its own unit.
pub(super) fn example_of(fact: &Fact, series: Option<&Series>) -> String {
    let (unit, whole) = quantity_of(fact);
    if let Some(series) = series
        && let Some(text) = member_shown(series, series.members.len() / 2, unit)
    {
        return text;
    }
    let within = fact.plausible.unwrap_or(fact.domain);
    let (lo, hi) = (unit.from_si(within.lo), unit.from_si(within.hi));
    let middle = match (lo.is_finite(), hi.is_finite()) {
        (true, true) if lo > 0.0 => (lo * hi).sqrt(),
        (true, true) => f64::midpoint(lo, hi),
        (true, false) => (lo * 2.0).max(lo + 1.0),
        (false, true) => (hi / 2.0).min(hi - 1.0),
        (false, false) => 10.0,
    };
    let mut example = one_digit(middle);
    if whole {
        example = example.round();
    }
    if !within.contains(unit.to_si(example)) {
        example = middle;
    }
    shown(unit.to_si(example), unit)
}

/// The unit of a quantity, and whether it counts in whole numbers.
pub(super) fn quantity_of(fact: &Fact) -> (&Unit, bool) {
    match &fact.ty {
        FactType::Quantity { unit, whole, .. } => (unit, *whole),
        _ => (&Unit::ONE, false),
    }
}
