//! Quantities: points, tolerances, ranges, one value for each line conductor; and whether a fact
//! takes them.

use super::arithmetic::Term;
use super::expected::{as_written, example, for_example, form};
use super::limits::neighbours;
use super::resolver::{Resolver, Site, listed};
use super::units::{quantity_of, shown, spelled, takes_bare_numbers};
use super::values::one_of;
use crate::design::model::{Formula, Possible};
use crate::design::tree::{Number, Value, ValueKind, Word};
use crate::quantity::{Dim, Interval, Unit, parse_quantity, parse_relative};
use crate::source::{Problem, Span};
use crate::vocabulary::{Fact, FactType, LINES, Series, WordSet};

/// The most whole numbers of a range that are told apart.
const MOST_WHOLE: f64 = WordSet::MOST as f64;

/// How a set of numbers was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Shape {
    Range,
    Bound,
}

impl<'a> Resolver<'a> {
    /// A value of a quantity; alternatives were taken apart before.
    pub(super) fn quantity(&mut self, site: &Site<'_>, value: &'a Value) -> Option<Possible> {
        match &value.kind {
            ValueKind::Number(number) => self.point(site, number),
            ValueKind::Tolerance { base, terms } => self.tolerance(site, value, base, terms),
            ValueKind::Range { low, high } => self.range(site, value, low, high),
            ValueKind::AtMost { value: limit, .. } | ValueKind::AtLeast { value: limit, .. } => {
                let x = self.known(site, limit)?;
                if !self.in_domain(site.fact, x, limit.span) {
                    return None;
                }
                let domain = site.fact.domain;
                let set = match value.kind {
                    ValueKind::AtMost { .. } => Interval::new(domain.lo.min(x), x),
                    _ => Interval::new(x, domain.hi.max(x)),
                };
                self.set_of(site, set, value.span, Shape::Bound)
            }
            ValueKind::PerLine(lines) => self.per_line(site, value, lines),
            ValueKind::Word(word) => {
                if let Some(id) = self.parameters.get(word.as_str()) {
                    return self.parameter(site, *id, value.span);
                }
                if word == "n" && site.turn.is_some() {
                    return self.calculated(site, value);
                }
                self.wrong_type(site, value)
            }
            ValueKind::Binary { .. } => self.calculated(site, value),
            _ => self.wrong_type(site, value),
        }
    }

    fn point(&mut self, site: &Site<'_>, number: &Number) -> Option<Possible> {
        let x = self.number_for(site.fact, number)?;
        let takes = self.takes_point(site.fact, x, number.span);
        takes.then(|| Possible::point(x))
    }

    /// A number in SI, of the dimension the fact has. None: it was reported.
    fn number_for(&mut self, fact: &Fact, number: &Number) -> Option<f64> {
        let (unit, _) = quantity_of(fact);
        if let Some(series) = self.series_of(fact)
            && let Some(member) = series.named(&spelled(number))
        {
            return Some(member.value);
        }
        let Some(written) = &number.unit else {
            if takes_bare_numbers(unit) {
                return self.literal(number).map(|l| l.si);
            }
            return self.missing_unit(fact, number, unit);
        };
        if let (Err(_), Some(series)) = (Unit::parse(&written.text), self.series_of(fact))
            && series.members.iter().any(|m| {
                m.name
                    .as_deref()
                    .is_some_and(|n| n.ends_with(&written.text))
            })
        {
            return self.no_such_member(fact, series, number);
        }
        let literal = self.literal_like(number, unit.text())?;
        let other = literal.unit.as_ref()?;
        if other.dim() != unit.dim() || takes_bare_numbers(unit) && !other.is_percent() {
            return self.wrong_dimension(fact, &spelled(number), literal.dim(), number.span);
        }
        if other.is_affine() && !unit.is_affine() {
            let why = format!("`{}` is a difference of temperatures", fact.name);
            return Problem::error("wrong-unit", why)
                .at(number.span, "this is a temperature")
                .help(format!("write `{} {unit}`", number.digits))
                .fail(self);
        }
        Some(literal.si)
    }

    pub(super) fn series_of(&self, fact: &Fact) -> Option<&'a Series> {
        let vocabulary = self.vocabulary;
        fact.series.map(|id| vocabulary.series(id))
    }

    fn missing_unit(&mut self, fact: &Fact, number: &Number, unit: &Unit) -> Option<f64> {
        let why = format!(
            "`{}` takes {}, and `{}` has no unit",
            fact.name,
            form(self.vocabulary, fact),
            number.digits
        );
        Problem::wrong("missing-unit", number.span, why)
            .help(format!("write `{} {unit}`", number.digits))
            .fail(self)
    }

    /// Reports a quantity of another dimension than the fact's.
    pub(super) fn wrong_dimension<T>(
        &mut self,
        fact: &Fact,
        text: &str,
        is: Dim,
        span: Span,
    ) -> Option<T> {
        let (unit, _) = quantity_of(fact);
        // The number that was written, where it is a member of the series or its unit only lacks the
        // square: a tired reader copies what stands here.
        let (digits, written) = text.split_once([' ', '\u{a0}']).unwrap_or((text, ""));
        let series = self.series_of(fact);
        let meant = digits.parse::<f64>().ok().and_then(|x| {
            let si = unit.to_si(x);
            let near = !written.is_empty() && unit.text().starts_with(written);
            (near || series?.at(si).is_some()).then(|| shown(si, unit))
        });
        let example = meant.unwrap_or_else(|| example(self.vocabulary, fact));
        let text = if text.is_empty() {
            "this".to_owned()
        } else {
            format!("`{text}`")
        };
        let why = format!(
            "`{}` is {}, and {text} is {}",
            fact.name,
            unit.dim().describe(),
            is.describe()
        );
        Problem::wrong("wrong-dimension", span, why)
            .help(format!("write for example `{}: {example}`", fact.name))
            .fail(self)
    }

    fn no_such_member(&mut self, fact: &Fact, series: &Series, number: &Number) -> Option<f64> {
        let names: Vec<_> = series
            .members
            .iter()
            .filter_map(|m| m.name.as_deref())
            .collect();
        let why = format!(
            "`{}` cannot be `{}`: there is no such size",
            fact.name,
            spelled(number)
        );
        Problem::wrong("not-in-series", number.span, why)
            .help(format!("the series has {}", listed(&names, "and")))
            .fail(self)
    }

    /// A value that must be one number: an end of a range, the middle of a tolerance.
    fn known(&mut self, site: &Site<'_>, value: &'a Value) -> Option<f64> {
        if let ValueKind::Number(number) = &value.kind {
            return self.number_for(site.fact, number);
        }
        if !matches!(value.kind, ValueKind::Binary { .. } | ValueKind::Word(_)) {
            return self.wrong_type(site, value);
        }
        let term = self.term_for(site, value)?;
        if let Formula::Number(x) = term.formula {
            return Some(x);
        }
        let why = "a parameter cannot stand in a range or tolerance";
        Problem::wrong("parameter-in-set", value.span, why)
            .help("make the parameter itself the range, and write its name alone")
            .fail(self)
    }

    /// Arithmetic whose result has the dimension of the fact.
    pub(super) fn term_for(&mut self, site: &Site<'_>, value: &'a Value) -> Option<Term> {
        let term = self.term(site, value)?;
        let (unit, _) = quantity_of(site.fact);
        if term.dim != unit.dim() {
            return self.wrong_dimension(site.fact, "", term.dim, value.span);
        }
        if term.absolute != unit.is_affine() {
            let (is, wanted) = if term.absolute {
                ("a temperature", "a difference of temperatures")
            } else {
                ("a difference of temperatures", "a temperature")
            };
            let why = format!("`{}` is {wanted}, and this is {is}", site.fact.name);
            return Problem::wrong("wrong-unit", value.span, why)
                .help(for_example(self.vocabulary, site.fact))
                .fail(self);
        }
        Some(term)
    }

    fn calculated(&mut self, site: &Site<'_>, value: &'a Value) -> Option<Possible> {
        let term = self.term_for(site, value)?;
        let formula = match term.formula {
            Formula::Number(x) if self.takes_point(site.fact, x, value.span) => {
                return Some(Possible::point(x));
            }
            Formula::Number(_) => return None,
            formula => formula,
        };
        if site.fact.series.is_some() {
            let why = format!("`{}` takes only the values of a series", site.fact.name);
            return Problem::error("parameter-in-series", why)
                .at(value.span, "a calculation may lead beside them")
                .help("let a parameter have the values themselves, as in `a | b`, and write its name alone")
                .fail(self);
        }
        if quantity_of(site.fact).1 && !self.gives_whole(&formula) {
            let why = format!(
                "`{}` takes whole numbers, and this may give a part of one",
                site.fact.name
            );
            return Problem::wrong("not-whole", value.span, why)
                .help("let the parameter have whole numbers, as in `2 | 3`, and do not divide it")
                .fail(self);
        }
        let hull = self.hull(&formula);
        let domain = site.fact.domain;
        let inside = Interval::new(domain.lo, domain.hi).intersect(hull);
        if inside.is_none() {
            return self.outside_domain(site.fact, hull.lo, value.span);
        }
        // Where each parameter stands once, each end of the hull comes of some value of theirs.
        if formula.each_once(&mut Vec::new()) {
            let ends = [hull.lo, hull.hi].into_iter();
            let mut outside = ends.filter(|x| x.is_finite() && !domain.contains_nearly(*x));
            if let Some(end) = outside.next() {
                return self.outside_domain(site.fact, end, value.span);
            }
        }
        Some(Possible::Formula(formula))
    }

    fn tolerance(
        &mut self,
        site: &Site<'_>,
        value: &'a Value,
        base: &'a Value,
        terms: &[Number],
    ) -> Option<Possible> {
        let fact = site.fact;
        let (unit, whole) = quantity_of(fact);
        if fact.exact || whole || fact.series.is_some() {
            let plain = as_written(base).unwrap_or_else(|| example(self.vocabulary, fact));
            let why = if fact.series.is_some() {
                "one of a series"
            } else {
                "exact"
            };
            let said = format!("`{}` is {why}: it takes no tolerance", fact.name);
            return Problem::wrong("exact-only", value.span, said)
                .help(format!(
                    "write the value alone, as in `{}: {plain}`",
                    fact.name
                ))
                .fail(self);
        }
        let middle = self.known(site, base)?;
        // To either side of it.
        let mut width = 0.0;
        let mut ends = None;
        for term in terms {
            if term.digits.starts_with('-') {
                let why = "a tolerance cannot be negative";
                return Problem::wrong("negative-tolerance", term.span, why)
                    .help("`±` stands for both sides")
                    .fail(self);
            }
            let relative = term.unit.as_ref().is_some_and(|u| u.text == "%");
            let base_unit = match &base.kind {
                ValueKind::Number(n) => n.unit.as_ref().and_then(|u| Unit::parse(&u.text).ok()),
                _ => None,
            };
            let base_unit = base_unit.as_ref().unwrap_or(unit);
            if relative {
                if base_unit.is_affine()
                    || base_unit.is_percent()
                    || unit.is_affine()
                    || unit.is_percent()
                {
                    return self.relative_tolerance(site, base_unit, term);
                }
                let exact = match (&base.kind, terms) {
                    (ValueKind::Number(n), [_]) if n.more.is_empty() => {
                        parse_relative(&n.digits, base_unit, &term.digits)
                    }
                    _ => None,
                };
                let Some(share) = parse_quantity(&term.digits, &Unit::ONE) else {
                    self.literal(term)?;
                    return None;
                };
                width += middle.abs() * share / 100.0;
                ends = exact;
                continue;
            }
            width += self.half_width(fact, base_unit, term)?;
        }
        if !self.in_domain(fact, middle, base.span) {
            return None;
        }
        self.plausible(fact, middle, base.span);
        let (lo, hi) = ends.unwrap_or((middle - width, middle + width));
        let written = Interval::new(lo, hi);
        let domain = Interval::new(fact.domain.lo, fact.domain.hi);
        let inside = written.intersect(domain).unwrap_or(written);
        Some(Possible::Number(inside))
    }

    fn relative_tolerance(
        &mut self,
        site: &Site<'_>,
        unit: &Unit,
        term: &Number,
    ) -> Option<Possible> {
        let (what, other) = if unit.is_affine() || quantity_of(site.fact).0.is_affine() {
            ("a temperature, whose zero is arbitrary", "± 2 K")
        } else {
            ("itself a percentage", "0.03 ± 0.005")
        };
        let name = &site.fact.name;
        let why = format!("a percentage of `{name}` can be read in two ways: it is {what}");
        Problem::wrong("relative-tolerance", term.span, why)
            .help(format!("write both ends, as in `a .. b`, or `{other}`"))
            .fail(self)
    }

    /// The width of `± 0.02 ohm`, in SI.
    fn half_width(&mut self, fact: &Fact, base: &Unit, term: &Number) -> Option<f64> {
        let unit = base.difference();
        let Some(word) = &term.unit else {
            if takes_bare_numbers(&unit) {
                return self.literal(term).map(|l| l.si);
            }
            let why = format!("the tolerance `{}` has no unit", term.digits);
            return Problem::wrong("missing-unit", term.span, why)
                .help(format!(
                    "write `± {} {unit}` or `± {} %`",
                    term.digits, term.digits
                ))
                .fail(self);
        };
        let literal = self.literal_like(term, unit.text())?;
        if literal.dim() != unit.dim() {
            return self.wrong_dimension(fact, &spelled(term), literal.dim(), term.span);
        }
        if literal.is_absolute() {
            let step = Unit::parse(&word.text).ok()?.difference();
            return parse_quantity(&term.digits, &step);
        }
        Some(literal.si)
    }

    fn range(
        &mut self,
        site: &Site<'_>,
        value: &'a Value,
        low: &'a Value,
        high: &'a Value,
    ) -> Option<Possible> {
        let (lo, hi) = (self.known(site, low), self.known(site, high));
        let (lo, hi) = (lo?, hi?);
        if lo > hi {
            let (unit, _) = quantity_of(site.fact);
            return Problem::wrong("reversed-range", value.span, "the range runs backwards")
                .help(format!(
                    "write `{} .. {}`",
                    shown(hi, unit),
                    shown(lo, unit)
                ))
                .fail(self);
        }
        let domain = site.fact.domain;
        for (x, end) in [(lo, low), (hi, high)] {
            // An end that the domain leaves out is still the end of a set inside it.
            let inside = x >= domain.lo && x <= domain.hi;
            if !inside {
                return self.outside_domain(site.fact, x, end.span);
            }
        }
        for (x, end) in [(lo, low), (hi, high)] {
            self.plausible(site.fact, x, end.span);
        }
        self.set_of(site, Interval::new(lo, hi), value.span, Shape::Range)
    }

    /// A set of numbers: members of the series, whole numbers, or all between its ends.
    fn set_of(
        &mut self,
        site: &Site<'_>,
        set: Interval,
        span: Span,
        shape: Shape,
    ) -> Option<Possible> {
        let fact = site.fact;
        let (unit, whole) = quantity_of(fact);
        if let Some(series) = self.series_of(fact) {
            let slack = |x: f64| 1e-9 * x.abs();
            let inside = series.members.iter().filter(|m| {
                m.value >= set.lo - slack(m.value) && m.value <= set.hi + slack(m.value)
            });
            let members: Vec<_> = inside.map(|m| Possible::point(m.value)).collect();
            if members.is_empty() {
                let why = format!("no value of `{}` lies in this range", fact.name);
                return Problem::wrong("not-in-series", span, why)
                    .help(neighbours(
                        series,
                        f64::midpoint(set.lo.max(-1e300), set.hi.min(1e300)),
                        unit,
                    ))
                    .fail(self);
            }
            return Some(one_of(members));
        }
        if whole {
            let (lo, hi) = (set.lo.ceil(), set.hi.floor());
            if lo > hi {
                let why = format!("no whole number lies in this range of `{}`", fact.name);
                return Problem::wrong("not-whole", span, why)
                    .help(for_example(self.vocabulary, fact))
                    .fail(self);
            }
            if hi - lo < MOST_WHOLE {
                let all = std::iter::successors(Some(lo), |x| Some(x + 1.0));
                let members = all.take_while(|x| *x <= hi).map(Possible::point);
                return Some(one_of(members.collect()));
            }
            return Some(Possible::Number(Interval::new(lo, hi)));
        }
        if fact.exact && !set.is_point() {
            let what = if shape == Shape::Range {
                "range"
            } else {
                "limit"
            };
            let why = format!("`{}` is exact: it takes no {what}", fact.name);
            return Problem::wrong("exact-only", span, why)
                .help(format!(
                    "write the value, as in `{}: {}`, alternatives with `|`, or `?`",
                    fact.name,
                    example(self.vocabulary, fact)
                ))
                .fail(self);
        }
        Some(Possible::Number(set))
    }

    fn per_line(
        &mut self,
        site: &Site<'_>,
        value: &'a Value,
        lines: &'a [(Word, Value)],
    ) -> Option<Possible> {
        if !matches!(site.fact.ty, FactType::Quantity { per_line: true, .. }) {
            return self.wrong_type(site, value);
        }
        let mut values = [None, None, None];
        let mut wrong = false;
        for (line, value) in lines {
            let place = LINES.iter().position(|l| *l == line.text);
            let Some(slot) = place.and_then(|p| values.get_mut(p)) else {
                let name = &site.fact.name;
                let text = &line.text;
                let why = format!("`{name}` has values for line conductors, and `{text}` is none");
                Problem::error("wrong-line", why)
                    .at(line.span, "expected one of `L1`, `L2` or `L3`")
                    .report(self);
                wrong = true;
                continue;
            };
            let read = self.value(site, value);
            wrong |= read == Possible::Poison;
            *slot = Some(Box::new(read));
        }
        (!wrong).then_some(Possible::PerLine(values))
    }
}
