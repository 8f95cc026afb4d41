//! Values under the type of their fact: what all types share.

use super::parts::{MOST_ALTERNATIVES, Role};
use super::resolver::{Resolver, Site};
use crate::design::model::Possible;
use crate::design::tree::{Value, ValueKind};
use crate::quantity::Interval;
use crate::source::{Problem, Span};
use crate::vocabulary::{FactType, WordSet};

impl<'a> Resolver<'a> {
    /// What a value may be, under the type of its fact.
    pub(super) fn value(&mut self, site: &Site<'_>, value: &'a Value) -> Possible {
        self.read(site, value).unwrap_or(Possible::Poison)
    }

    /// The same. None: it is written wrongly, which was reported.
    fn read(&mut self, site: &Site<'_>, value: &'a Value) -> Option<Possible> {
        match &value.kind {
            ValueKind::Bad => return None,
            ValueKind::Unknown => return Some(Possible::Unknown),
            ValueKind::Absent => return self.absent(site, value),
            ValueKind::ByTurn(values) => return self.by_turn(site, values, value.span),
            _ => {}
        }
        match site.fact.ty {
            FactType::Parts(kind) => return self.parts(site, kind, value),
            FactType::References(kind) => return self.references(site, kind, value),
            _ => {}
        }
        if let ValueKind::OneOf(values) = &value.kind {
            return self.alternatives(site, values, value.span);
        }
        match site.fact.ty {
            FactType::Quantity { .. } => self.quantity(site, value),
            FactType::Choice { .. } => self.choice(site, value),
            FactType::Some { .. } => self.some_of(site, value),
            FactType::YesNo => self.yes_no(site, value),
            FactType::Text => self.text(site, value),
            FactType::Date => self.date(site, value),
            FactType::Part(kind) => {
                let name = &site.fact.name;
                self.part(Role { site, kind, name }, value)
            }
            FactType::Reference(kind) => self.reference(site, kind, value),
            // The first two were handled above, and the last is never written.
            FactType::Parts(_) | FactType::References(_) | FactType::Reverse { .. } => {
                self.wrong_type(site, value)
            }
        }
    }

    /// `none`: the thing is known not to be there, unless it is one of the fact's words.
    fn absent(&mut self, site: &Site<'_>, value: &Value) -> Option<Possible> {
        let fact = site.fact;
        if let Some(words) = fact.words()
            && let Some(place) = words.iter().position(|w| w == "none")
        {
            let one = WordSet::one(place);
            return Some(match fact.ty {
                FactType::Some { .. } => Possible::Members(one),
                _ => Possible::Words(one),
            });
        }
        if fact.optional {
            return Some(Possible::Absent);
        }
        let why = format!(
            "`{}` cannot be `none`: {}",
            fact.name,
            always_has(&fact.texts.means)
        );
        Problem::wrong("not-optional", value.span, why)
            .help(format!(
                "write its value, or `{}: ?` if it is not known",
                fact.name
            ))
            .fail(self)
    }

    /// `by-turn a, b, c`: the value for this member of a repeated block.
    fn by_turn(&mut self, site: &Site<'_>, values: &'a [Value], span: Span) -> Option<Possible> {
        let Some(turn) = site.turn else {
            let why = "`by-turn` stands in a block that is not repeated";
            return Problem::wrong("by-turn-alone", span, why)
                .help("repeat the block, as in `circuit bay[1..6] { … }`, or write one value")
                .fail(self);
        };
        if matches!(site.fact.ty, FactType::Part(_) | FactType::Parts(_)) {
            // Reading a part makes an object of it.
            let place = turn.place % values.len().max(1);
            return self.read(site, values.get(place)?);
        }
        // All of them are read, so that all their mistakes are reported.
        let mut read: Vec<_> = values.iter().map(|v| self.value(site, v)).collect();
        let place = turn.place.checked_rem(read.len())?;
        Some(read.swap_remove(place))
    }

    /// `a | b`
    fn alternatives(
        &mut self,
        site: &Site<'_>,
        values: &'a [Value],
        span: Span,
    ) -> Option<Possible> {
        if let (true, Some(first)) = (values.len() > MOST_ALTERNATIVES, values.first()) {
            return self.too_many_alternatives(first.span, values.len());
        }
        let mut read = Vec::with_capacity(values.len());
        for value in values {
            if matches!(
                value.kind,
                ValueKind::PerLine(_) | ValueKind::ByTurn(_) | ValueKind::All(_)
            ) || matches!(value.kind, ValueKind::List(_))
                && !matches!(site.fact.ty, FactType::Some { .. })
            {
                let why = "alternatives of whole rows of values cannot be written";
                Problem::wrong("alternatives-of-rows", value.span, why)
                    .help("write the alternatives inside the row, as in `L1 (5 A | 6 A), L2 3 A`")
                    .report(self);
                read.push(Possible::Poison);
                continue;
            }
            read.push(self.value(site, value));
        }
        Some(self.one_of(read, span))
    }

    /// One of several possibilities: groups of alternatives are put together, and may then be too
    /// many to tell apart.
    pub(super) fn one_of(&mut self, values: Vec<Possible>, span: Span) -> Possible {
        match one_of(values) {
            Possible::OneOf(all) if all.len() > MOST_ALTERNATIVES => self
                .too_many_alternatives(span, all.len())
                .unwrap_or(Possible::Poison),
            possible => possible,
        }
    }

    pub(super) fn too_many_alternatives(&mut self, span: Span, count: usize) -> Option<Possible> {
        let why = format!("a value has {count} alternatives, more than {MOST_ALTERNATIVES}");
        Problem::error("too-many-alternatives", why)
            .at(span, "the first of them")
            .help("write a range")
            .fail(self)
    }
}

/// What is said of a fact that is always there.
fn always_has(means: &str) -> String {
    if means.is_empty() {
        "there always is one".to_owned()
    } else {
        format!("there always is one ({means})")
    }
}

/// One of several possibilities, as simply as it can be said.
pub(super) fn one_of(values: Vec<Possible>) -> Possible {
    let mut flat: Vec<Possible> = Vec::with_capacity(values.len());
    let mut words: Option<WordSet> = None;
    let mut queue: Vec<Possible> = values.into_iter().rev().collect();
    while let Some(value) = queue.pop() {
        match value {
            Possible::OneOf(inner) => queue.extend(inner.into_iter().rev()),
            Possible::Poison => return Possible::Poison,
            Possible::Words(set) => words = Some(words.unwrap_or_default().or(set)),
            value if flat.contains(&value) => {}
            value => flat.push(value),
        }
    }
    if let Some(set) = words {
        flat.insert(0, Possible::Words(set));
    }
    if flat.contains(&Possible::Unknown) {
        return Possible::Unknown;
    }
    if flat.len() > 1 {
        return Possible::OneOf(flat);
    }
    flat.pop().unwrap_or(Possible::Unknown)
}

/// Whether two statements about one fact exclude each other. What is not certain can hold.
pub(super) fn cannot_both_hold(a: &Possible, b: &Possible) -> bool {
    match (a, b) {
        (Possible::OneOf(values), other) | (other, Possible::OneOf(values)) => {
            values.iter().all(|v| cannot_both_hold(v, other))
        }
        (Possible::Absent, other) | (other, Possible::Absent) => !matches!(
            other,
            Possible::Absent | Possible::Unknown | Possible::Poison | Possible::Formula(_)
        ),
        (Possible::Number(a), Possible::Number(b)) => apart(*a, *b),
        (Possible::Words(a), Possible::Words(b)) => a.and(*b).is_empty(),
        (Possible::Members(a), Possible::Members(b)) => a != b,
        (Possible::Truth(a), Possible::Truth(b)) => a != b,
        (Possible::Text(a), Possible::Text(b)) => a != b,
        (Possible::Date(a), Possible::Date(b)) => a != b,
        (Possible::PerLine(a), Possible::PerLine(b)) => a.iter().zip(b).any(|pair| match pair {
            (Some(a), Some(b)) => cannot_both_hold(a, b),
            _ => false,
        }),
        (Possible::PerLine(lines), other) | (other, Possible::PerLine(lines)) => lines
            .iter()
            .flatten()
            .any(|line| cannot_both_hold(line, other)),
        _ => false,
    }
}

/// Whether two intervals have nothing in common, with the slack of every comparison.
fn apart(a: Interval, b: Interval) -> bool {
    let less = |x: f64, y: f64| x < y && (y - x) > 1e-9 * x.abs().max(y.abs());
    less(a.hi, b.lo) || less(b.hi, a.lo)
}
