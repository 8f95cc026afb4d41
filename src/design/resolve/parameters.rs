//! Template parameters: what they may be, what the command line makes of them, and whether a fact
//! takes them.

use super::Settings;
use super::parts::opens;
use super::resolver::{Measure, Resolver, Site};
use super::units::{quantity_of, shown, spelled};
use super::words::{day_of, texts_of};
use crate::design::model::{self, Formula, ParameterId, Possible};
use crate::design::tree::{Number, Parameter, Value, ValueKind};
use crate::quantity::{Interval, Unit, format_date, format_interval};
use crate::source::{Problem, Span};
use crate::vocabulary::{Fact, FactType, SeriesId};

impl<'a> Resolver<'a> {
    /// Reads all parameters, then what the command line says of them.
    pub(super) fn read_parameters(&mut self, settings: &'a Settings) {
        let written = self.parameters_written.clone();
        for parameter in &written {
            let name = parameter.name.text.as_str();
            let first = self.parameters.get(name);
            let first = first.and_then(|id| self.design.parameters.get(id.0 as usize));
            if let Some(first) = first.map(|p| p.span) {
                let why = format!("there are two parameters called `{name}`");
                Problem::error("duplicate-name", why)
                    .at(parameter.name.span, "again")
                    .at(first, "first here")
                    .help("give one of them another name")
                    .report(self);
                continue;
            }
            let Ok(id) = u16::try_from(self.design.parameters.len()).map(ParameterId) else {
                break;
            };
            let sound = self.parameter_name(parameter);
            let (value, measure) = self
                .declared(parameter, &written)
                .unwrap_or((Possible::Poison, Measure::Wrong));
            let unit = Some(measure.unit()).filter(|unit| **unit != Unit::ONE);
            self.design.parameters.push(model::Parameter {
                name: name.to_owned(),
                declared: value.clone(),
                value,
                unit: unit.map_or("", Unit::text).to_owned(),
                span: parameter.name.span,
            });
            self.measures
                .push(if sound { measure } else { Measure::Wrong });
            self.parameters.insert(name, id);
        }
        let mut seen: Vec<&str> = Vec::new();
        for (name, value) in &settings.set {
            let twice = seen.contains(&name.as_str());
            seen.push(name);
            self.apart(|this| {
                if twice {
                    Problem::error("duplicate-set", format!("`{name}` is set twice"))
                        .at(value.span, "again")
                        .help("leave one of them out")
                        .report(this);
                } else {
                    this.set(name, value);
                }
            });
        }
    }

    pub(super) fn parameter_names(&self) -> Vec<&'a str> {
        let all = self.parameters_written.iter();
        all.map(|p| p.name.text.as_str()).collect()
    }

    /// Reports under a fresh account of what was reported: values from the command line all stand
    /// at the same place.
    fn apart(&mut self, f: impl FnOnce(&mut Self)) {
        let kept = std::mem::take(&mut self.reported);
        f(self);
        self.reported = kept;
    }

    /// Whether a parameter may have its name; reports it.
    fn parameter_name(&mut self, parameter: &Parameter) -> bool {
        let name = parameter.name.text.as_str();
        let vocabulary = self.vocabulary;
        let word_of = vocabulary.kinds.iter().find_map(|kind| {
            let fact = kind
                .facts
                .iter()
                .find(|f| f.words().is_some_and(|w| w.iter().any(|w| w == name)))?;
            Some(format!("it is a word of `{}` of {}", fact.name, kind.name))
        });
        let taken = if let Some(why) = word_of {
            Some((why, None))
        } else if matches!(name, "n" | "none" | "all" | "yes" | "no") {
            Some(("it has a meaning of its own in values".to_owned(), None))
        } else if Unit::parse(name).is_ok() {
            Some(("it is a unit".to_owned(), None))
        } else if opens(vocabulary, name).is_some() {
            Some(("it opens a block or part".to_owned(), None))
        } else if let Some(define) = self.defines.get(name) {
            Some(("a define has this name".to_owned(), Some(define.name.span)))
        } else if let Some(first) = self.names.get(name).and_then(|ids| ids.first()) {
            Some((
                "a block has this name".to_owned(),
                Some(self.design.object(*first).head),
            ))
        } else {
            None
        };
        let Some((why, other)) = taken else {
            return true;
        };
        let said = format!("a parameter cannot be called `{name}`");
        let mut problem = Problem::error("name-taken", said)
            .at(parameter.name.span, why)
            .help(format!("choose another name, such as `the-{name}`"));
        if let Some(other) = other {
            problem = problem.at(other, "this one");
        }
        problem.report(self);
        false
    }

    /// What a parameter is declared to be. None: it is declared wrongly, which was reported.
    fn declared(
        &mut self,
        parameter: &'a Parameter,
        all: &[&'a Parameter],
    ) -> Option<(Possible, Measure)> {
        let (name, value) = (&parameter.name.text, &parameter.value);
        if value.is_bad() {
            return None;
        }
        let is_parameter = |word: &str| all.iter().any(|p| p.name.text == word);
        if let Some((word, span)) = word_within(value, &is_parameter) {
            let why = format!("the parameter `{name}` rests on another one, `{word}`");
            return Problem::wrong("parameter-of-parameter", span, why)
                .help("calculate where the parameters are used, as in `length: run + 2 m`")
                .fail(self);
        }
        if let Some(read) = self.words_or_dates(value, false) {
            return Some(read);
        }
        let Some(number) = first_number(value) else {
            let why = format!("the parameter `{name}` needs the values it may take");
            return Problem::error("parameter-value", why)
                .at(value.span, "expected a quantity, a range, words or a date")
                .help(format!("write for example `parameter {name}: 5 m .. 40 m`"))
                .fail(self);
        };
        let like = self.like(name, number, parameter.name.span)?;
        let read = self.read_like(&like, value)?;
        let measure = Measure::Number {
            like: Box::new(like),
            was_set: false,
        };
        Some((read, measure))
    }

    /// A fact that takes quantities in the unit of a number.
    fn like(&mut self, name: &str, number: &Number, span: Span) -> Option<Fact> {
        let spelling = spelled(number);
        let vocabulary = self.vocabulary;
        let series = vocabulary
            .series
            .iter()
            .zip(0_u16..)
            .find(|(s, _)| s.named(&spelling).is_some());
        let (unit, series) = match series {
            Some((series, id)) => (series.unit.clone(), Some(SeriesId(id))),
            None => (self.literal(number)?.unit.unwrap_or(Unit::ONE), None),
        };
        let ty = FactType::Quantity {
            unit,
            per_line: false,
            whole: false,
        };
        Some(Fact {
            series,
            ..Fact::plain(name, ty, span)
        })
    }

    fn read_like(&mut self, like: &Fact, value: &'a Value) -> Option<Possible> {
        let site = Site::nowhere(like);
        let read = self.value(&site, value);
        if read == Possible::Unknown {
            let why = format!("the parameter `{}` cannot be unknown", like.name);
            return Problem::wrong("parameter-value", value.span, why)
                .help("write the values it may take")
                .fail(self);
        }
        (read != Possible::Poison).then_some(read)
    }

    /// A value of words, texts, yes and no, or dates; none, if it is anything else. With `words`
    /// numbers alone are words as well.
    fn words_or_dates(&mut self, value: &Value, words: bool) -> Option<(Possible, Measure)> {
        let alternatives = match &value.kind {
            ValueKind::OneOf(values) => values.as_slice(),
            _ => std::slice::from_ref(value),
        };
        if alternatives
            .iter()
            .all(|v| matches!(&v.kind, ValueKind::Word(w) if w == "yes" || w == "no"))
        {
            let truths = alternatives
                .iter()
                .map(|v| Possible::Truth(matches!(&v.kind, ValueKind::Word(w) if w == "yes")));
            return Some((self.one_of(truths.collect(), value.span), Measure::Truth));
        }
        if let Some(days) = alternatives.iter().map(day_of).collect::<Option<Vec<_>>>() {
            for day in &days {
                self.note_date(*day);
            }
            let days = days.into_iter().map(Possible::Date);
            return Some((self.one_of(days.collect(), value.span), Measure::Date));
        }
        let is_text = |v: &Value| matches!(v.kind, ValueKind::Word(_) | ValueKind::Text(_));
        if !words && !alternatives.iter().any(is_text) {
            return None;
        }
        let texts = alternatives.iter().map(|v| match &v.kind {
            ValueKind::Word(text) | ValueKind::Text(text) => Some(Possible::Text(text.clone())),
            // A word such as `100` is spelled with digits.
            ValueKind::Number(n) if n.unit.is_none() => Some(Possible::Text(n.digits.clone())),
            _ => None,
        });
        let texts = texts.collect::<Option<Vec<_>>>()?;
        Some((self.one_of(texts, value.span), Measure::Words))
    }

    /// Narrows a parameter to what the command line says.
    fn set(&mut self, name: &'a str, value: &'a Value) {
        let Some(id) = self.parameters.get(name).copied() else {
            let names = self.parameter_names();
            let why = format!("the design has no parameter called `{name}`");
            let problem = Problem::wrong("unknown-parameter", value.span, why);
            let problem = if names.is_empty() {
                problem.help("declare it in the design, as in `parameter run: 5 m .. 40 m`")
            } else {
                problem.did_you_mean(name, names)
            };
            problem.report(self);
            return;
        };
        let place = id.0 as usize;
        let (Some(measure), Some(parameter)) = (
            self.measures.get(place).cloned(),
            self.design.parameters.get(place).cloned(),
        ) else {
            return;
        };
        let read = match &measure {
            Measure::Wrong => return,
            Measure::Number { like, .. } => self.read_like(like, value),
            _ => match self.words_or_dates(value, matches!(measure, Measure::Words)) {
                Some((read, _)) => Some(read),
                None if value.is_bad() => return,
                None => Problem::wrong(
                    "parameter-value",
                    value.span,
                    format!("`{name}` is not a quantity, and is set to one"),
                )
                .help(format!(
                    "it is declared as {}",
                    set_shown(&parameter.declared, &Unit::ONE)
                ))
                .fail(self),
            },
        };
        let Some(read) = read.filter(|r| *r != Possible::Poison) else {
            return;
        };
        if !is_within(&read, &parameter.declared) {
            let unit = measure.unit();
            let why = format!(
                "`{name}` cannot be {}: it is declared as {}",
                set_shown(&read, unit),
                set_shown(&parameter.declared, unit)
            );
            Problem::wrong("outside-declared", value.span, why)
                .at(parameter.span, "declared here")
                .help("set it to a value inside, or widen the declaration")
                .report(self);
            return;
        }
        if let Some(parameter) = self.design.parameters.get_mut(place) {
            parameter.value = read;
        }
        if let Some(Measure::Number { was_set, .. }) = self.measures.get_mut(place) {
            *was_set = true;
        }
    }

    /// A parameter as the whole value of a fact.
    pub(super) fn parameter(
        &mut self,
        site: &Site<'_>,
        id: ParameterId,
        span: Span,
    ) -> Option<Possible> {
        let place = id.0 as usize;
        let measure = self.measures.get(place)?.clone();
        let parameter = self.design.parameters.get(place)?.clone();
        let fact = site.fact;
        let takes = match (&fact.ty, &measure) {
            (_, Measure::Wrong) => return None,
            (FactType::Quantity { unit, .. }, Measure::Number { was_set, .. }) => {
                let own = measure.unit();
                if own.dim() != unit.dim() || own.is_affine() && !unit.is_affine() {
                    return self.wrong_dimension(fact, &parameter.name, own.dim(), span);
                }
                self.takes_all(fact, &parameter.value, *was_set, span)
            }
            (FactType::Choice { words, .. } | FactType::Some { words }, Measure::Words) => {
                let texts = texts_of(&parameter.value);
                if let Some(text) = texts.iter().find(|t| !words.iter().any(|w| w == *t)) {
                    return self.unknown_word(site, text, words, span);
                }
                true
            }
            (FactType::YesNo, Measure::Truth)
            | (FactType::Date, Measure::Date)
            | (FactType::Text, Measure::Words) => true,
            _ => {
                let form = super::expected::form(self.vocabulary, fact);
                let why = format!(
                    "`{}` takes {form}, and the parameter `{}` is something else",
                    fact.name, parameter.name
                );
                return Problem::wrong("wrong-type", span, why)
                    .at(parameter.span, "declared here")
                    .fail(self);
            }
        };
        takes.then_some(Possible::Formula(Formula::Parameter(id)))
    }

    /// Whether a fact takes every number of a set.
    fn takes_all(&mut self, fact: &Fact, value: &Possible, was_set: bool, span: Span) -> bool {
        match value {
            Possible::OneOf(values) => values
                .iter()
                .all(|v| self.takes_all(fact, v, was_set, span)),
            Possible::Number(set) if set.is_point() => self.takes_point(fact, set.lo, span),
            Possible::Number(set) => {
                let (unit, whole) = quantity_of(fact);
                if fact.series.is_some() || whole || fact.exact && was_set {
                    let what = if fact.series.is_some() {
                        "takes only the values of a series"
                    } else if whole {
                        "takes only whole numbers"
                    } else {
                        "is exact"
                    };
                    let why = format!("`{}` {what}, and this parameter is a range", fact.name);
                    Problem::wrong("exact-only", span, why)
                        .help("let the parameter have the values themselves, as in `a | b`")
                        .report(self);
                    return false;
                }
                let domain = Interval::new(fact.domain.lo, fact.domain.hi);
                if set.is_within(domain) {
                    self.plausible(fact, set.lo, span);
                    self.plausible(fact, set.hi, span);
                    return true;
                }
                let outside = if set.lo < domain.lo { set.lo } else { set.hi };
                let why = format!("`{}` cannot be `{}`", fact.name, shown(outside, unit));
                Problem::error("outside-domain", why)
                    .at(span, "this parameter reaches it")
                    .help(format!(
                        "it must be {}",
                        super::units::bounds_shown(&fact.domain, unit)
                    ))
                    .report(self);
                false
            }
            _ => false,
        }
    }
}

/// Whether every value of one set belongs to another.
fn is_within(inner: &Possible, outer: &Possible) -> bool {
    match (inner, outer) {
        (Possible::OneOf(values), outer) => values.iter().all(|v| is_within(v, outer)),
        (inner, Possible::OneOf(values)) => values.iter().any(|v| is_within(inner, v)),
        (Possible::Number(a), Possible::Number(b)) => {
            let slack = |x: f64| if x.is_finite() { 1e-9 * x.abs() } else { 0.0 };
            a.lo >= b.lo - slack(b.lo) && a.hi <= b.hi + slack(b.hi)
        }
        (inner, outer) => inner == outer,
    }
}

/// A set of a parameter, as a design would write it.
fn set_shown(value: &Possible, unit: &Unit) -> String {
    fn plain(value: &Possible, unit: &Unit) -> String {
        match value {
            Possible::Number(set) => format_interval(set.lo, set.hi, unit),
            Possible::Text(text) => text.clone(),
            Possible::Truth(truth) => if *truth { "yes" } else { "no" }.to_owned(),
            Possible::Date(day) => format_date(*day),
            Possible::OneOf(values) => {
                let all: Vec<_> = values.iter().map(|v| plain(v, unit)).collect();
                all.join(" | ")
            }
            _ => "something else".to_owned(),
        }
    }
    format!("`{}`", plain(value, unit))
}

/// The ends, operands and alternatives of a value; a row of values is none that a parameter may take.
fn pieces(value: &Value) -> impl Iterator<Item = &Value> {
    use ValueKind::{ByTurn, Indexed, List, PerLine, Row};
    let row = matches!(
        value.kind,
        ByTurn(_) | Indexed { .. } | List(_) | PerLine(_) | Row { .. }
    );
    value.inner().filter(move |_| !row)
}

/// The first number of a value: its unit is the parameter's.
fn first_number(value: &Value) -> Option<&Number> {
    match &value.kind {
        ValueKind::Number(number) => Some(number),
        _ => pieces(value).find_map(first_number),
    }
}

/// The first word of a value that is `wanted`.
fn word_within<'v>(value: &'v Value, wanted: &impl Fn(&str) -> bool) -> Option<(&'v str, Span)> {
    match &value.kind {
        ValueKind::Word(word) if wanted(word) => Some((word, value.span)),
        _ => pieces(value).find_map(|v| word_within(v, wanted)),
    }
}
