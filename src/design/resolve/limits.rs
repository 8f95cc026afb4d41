//! Whether a fact takes a number: its domain, its plausible range, its series.

use super::resolver::Resolver;
use super::units::{bounds_shown, member_shown, quantity_of, shown};
use crate::design::model::Possible;
use crate::quantity::Unit;
use crate::source::{Problem, Span};
use crate::vocabulary::{Fact, Series};

impl Resolver<'_> {
    /// Whether one number can be the value of a fact. What is wrong is reported.
    pub(super) fn takes_point(&mut self, fact: &Fact, x: f64, span: Span) -> bool {
        let (unit, whole) = quantity_of(fact);
        if !self.in_domain(fact, x, span) {
            return false;
        }
        if whole && x.fract() != 0.0 {
            let name = &fact.name;
            let value = shown(x, unit);
            let why = format!("`{name}` takes whole numbers, and this is `{value}`");
            Problem::wrong("not-whole", span, why)
                .help(format!(
                    "write `{}` or `{}`",
                    shown(x.floor(), unit),
                    shown(x.ceil(), unit)
                ))
                .report(self);
            return false;
        }
        if let Some(series) = self.series_of(fact)
            && series.at(x).is_none()
        {
            let fact_name = &fact.name;
            let shown_value = shown(x, unit);
            let why = format!("`{fact_name}` cannot be `{shown_value}`: there is no such size");
            Problem::wrong("not-in-series", span, why)
                .help(neighbours(series, x, unit))
                .report(self);
            return false;
        }
        self.plausible(fact, x, span);
        true
    }

    pub(super) fn in_domain(&mut self, fact: &Fact, x: f64, span: Span) -> bool {
        if fact.domain.contains(x) {
            return true;
        }
        self.outside_domain(fact, x, span);
        false
    }

    pub(super) fn outside_domain(&mut self, fact: &Fact, x: f64, span: Span) -> Option<Possible> {
        let (unit, _) = quantity_of(fact);
        let why = format!("`{}` cannot be `{}`", fact.name, shown(x, unit));
        Problem::wrong("outside-domain", span, why)
            .help(format!("it must be {}", bounds_shown(&fact.domain, unit)))
            .fail(self)
    }

    /// A caution for a value that is probably a slip.
    pub(super) fn plausible(&mut self, fact: &Fact, x: f64, span: Span) {
        let Some(usual) = fact.plausible else { return };
        if usual.contains_nearly(x) {
            return;
        }
        let (unit, _) = quantity_of(fact);
        Problem::caution(
            "implausible",
            format!(
                "`{}` of `{}` is unusual: it is mostly {}",
                fact.name,
                shown(x, unit),
                bounds_shown(&usual, unit)
            ),
        )
        .at(span, "")
        .help("check the decimal point and the prefix of the unit")
        .report(self);
    }
}

/// The two members of a series next to a value.
pub(super) fn neighbours(series: &Series, x: f64, unit: &Unit) -> String {
    let above = series.members.partition_point(|m| m.value < x);
    let lower = above
        .checked_sub(1)
        .and_then(|place| member_shown(series, place, unit));
    let upper = member_shown(series, above, unit);
    match (lower, upper) {
        (Some(lower), Some(upper)) => format!("the nearest are `{lower}` and `{upper}`"),
        (Some(only), None) => format!("the largest is `{only}`"),
        (None, Some(only)) => format!("the smallest is `{only}`"),
        (None, None) => "the series has no values".to_owned(),
    }
}
