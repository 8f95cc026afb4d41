//! Each value of a row to its fact.

use super::super::expected::as_written;
use super::super::parts::opens;
use super::super::resolver::nearest;
use super::super::units::spelled;
use super::{Long, Rewrite, ambiguous, some};
use crate::design::model::Status;
use crate::design::tree::{Entry, FactEntry, Number, Value, ValueKind, Word};
use crate::quantity::{Unit, parse_quantity};
use crate::source::{Problem, Span};
use crate::vocabulary::{Fact, FactIx, FactType, KindId, Meaning, Short, Vocabulary, with_article};

/// One fact that a value of a row says: its key, its value, and the value as text if it is not
/// the one written.
struct Said {
    key: String,
    value: Value,
    text: Option<String>,
}

/// Why a value has no place, and the facts that it may have been meant for.
type Refused = (Problem, Vec<String>);

impl Long<'_> {
    /// The facts that values without keys say of a thing of a kind.
    pub(super) fn row(
        &mut self,
        kind: KindId,
        values: Vec<Value>,
        body: &[Entry],
        (end, opened_by): (usize, Option<String>),
        block: bool,
    ) -> Vec<Entry> {
        let mut facts: Vec<Entry> = Vec::new();
        let mut texts = Vec::new();
        let mut meant: Vec<Entry> = Vec::new();
        let items: Vec<Span> = values.iter().map(|v| v.span).collect();
        for value in values {
            if value.is_bad() {
                continue;
            }
            let said = match self.said(kind, &value, block) {
                Ok(said) => said,
                Err((problem, keys)) => {
                    self.problems.push(problem);
                    // What it may have been meant for is not silent, but written wrongly.
                    for text in keys {
                        let span = value.span;
                        let value = Value::plain(ValueKind::Bad, span);
                        let key = Word::new(text, span);
                        meant.push(Entry::Fact(FactEntry::new(key, value, span)));
                    }
                    continue;
                }
            };
            for Said { key, value, text } in said {
                let span = value.span;
                let first = facts.iter().chain(body).find_map(|e| match e {
                    Entry::Fact(f) if f.key.text == key => Some(f.span),
                    _ => None,
                });
                if let Some(first) = first {
                    Problem::error("duplicate-fact", format!("`{key}` is written twice"))
                        .at(span, format!("this is `{key}`"))
                        .at(first, "and this")
                        .help("leave one of them out")
                        .report(&mut self.problems);
                    continue;
                }
                texts.push((key.clone(), text.map_or(Ok(span), Err)));
                let key = Word::new(key, span);
                facts.push(Entry::Fact(FactEntry::new(key, value, span)));
            }
        }
        if !items.is_empty() {
            self.rewrites.push(Rewrite::Row {
                items,
                end,
                opened_by,
                facts: texts,
            });
        }
        // A fact that another value says has its value.
        let key = |e: &Entry| match e {
            Entry::Fact(f) => Some(f.key.text.clone()),
            _ => None,
        };
        meant.retain(|m| !facts.iter().any(|f| key(f) == key(m)));
        facts.extend(meant);
        facts
    }

    #[expect(
        clippy::result_large_err,
        reason = "a mistake is rare, and told at once"
    )]
    fn said(&mut self, kind: KindId, value: &Value, block: bool) -> Result<Vec<Said>, Refused> {
        let empty = Short::default();
        let short = self.short(kind).unwrap_or(&empty);
        match &value.kind {
            ValueKind::Word(word) => {
                if let Some(marked) = short.mark(word, None) {
                    return Ok(self.marked(kind, word, value, &marked));
                }
                if let Some((fact, meant)) = short.word(word) {
                    let own = short.unkeyed.iter().any(|u| u.words.contains(&meant));
                    if meant != *word && own {
                        self.rewrites.push(Rewrite::Word(value.span, meant.clone()));
                    }
                    let text = Some(meant.clone()).filter(|m| m != word);
                    let value = Value {
                        kind: ValueKind::Word(meant),
                        ..value.clone()
                    };
                    let key = self.v.fact(kind, fact).name.clone();
                    return Ok(vec![Said { key, value, text }]);
                }
                if Status::from_word(word).is_some() {
                    let (key, value) = ("status".to_owned(), value.clone());
                    return Ok(vec![Said {
                        key,
                        value,
                        text: None,
                    }]);
                }
                Err(self.unplaced_word(kind, word, value.span, block))
            }
            ValueKind::Number(number) => {
                let unit = number.unit.as_ref().map(|u| u.text.as_str());
                if let Some(marked) = short.mark(&number.digits, unit) {
                    return Ok(self.marked(kind, &number.digits, value, &marked));
                }
                self.measured(kind, short, &[number], value)
            }
            ValueKind::Tolerance { base, .. } => match &base.kind {
                ValueKind::Number(n) => self.measured(kind, short, &[n], value),
                _ => Err(self.no_key(kind, value, "a calculation")),
            },
            ValueKind::Range { low, high } => match (&low.kind, &high.kind) {
                (ValueKind::Number(a), ValueKind::Number(b)) => {
                    self.measured(kind, short, &[a, b], value)
                }
                _ => Err(self.no_key(kind, value, "a calculation")),
            },
            ValueKind::Unknown => Err(self.no_key(kind, value, "`?`")),
            _ => Err(self.no_key(kind, value, "a calculation")),
        }
    }

    /// The values that a mark holds, each at its own letters.
    fn marked(
        &self,
        kind: KindId,
        text: &str,
        at: &Value,
        found: &[(FactIx, usize, usize)],
    ) -> Vec<Said> {
        let mut said = Vec::new();
        for (ix, from, until) in found {
            let fact = self.v.fact(kind, *ix);
            let written = text.get(*from..*until).unwrap_or("");
            let start = at.span.from();
            let span = Span::new(at.span.file, start + from, start + until);
            let value = match fact.unit() {
                None => ValueKind::Word(written.to_owned()),
                Some(unit) => ValueKind::Number(Number {
                    digits: written.to_owned(),
                    unit: (*unit != Unit::ONE).then(|| Word::new(unit.text().to_owned(), span)),
                    more: Vec::new(),
                    span,
                }),
            };
            let text = match &value {
                ValueKind::Number(n) => spelled(n),
                _ => written.to_owned(),
            };
            said.push(Said {
                key: fact.name.clone(),
                value: Value::plain(value, span),
                text: Some(text),
            });
        }
        said
    }

    /// A quantity goes to the fact of its dimension, and within the ranges of that.
    #[expect(
        clippy::result_large_err,
        reason = "a mistake is rare, and told at once"
    )]
    fn measured(
        &self,
        kind: KindId,
        short: &Short,
        numbers: &[&Number],
        value: &Value,
    ) -> Result<Vec<Said>, Refused> {
        let fits = |fact: &Fact| numbers.iter().all(|n| self.measures(fact, n));
        let mut found = short
            .unkeyed
            .iter()
            .filter(|u| fits(self.v.fact(kind, u.fact)))
            .filter(|u| {
                u.ranges.is_empty()
                    || numbers.iter().all(|n| {
                        let unit = n.unit.as_ref().map_or("", |w| w.text.as_str());
                        let si = Unit::parse(unit)
                            .ok()
                            .and_then(|u| parse_quantity(&n.digits, &u));
                        let inside = |lo, hi| si.is_some_and(|x| (lo..=hi).contains(&x));
                        u.ranges
                            .iter()
                            .any(|r| r.unit == unit && inside(r.lo, r.hi))
                    })
            });
        match (found.next(), found.next()) {
            (Some(one), None) => Ok(vec![Said {
                key: self.v.fact(kind, one.fact).name.clone(),
                value: value.clone(),
                text: None,
            }]),
            _ => Err(self.unplaced_quantity(kind, numbers, value)),
        }
    }

    fn measures(&self, fact: &Fact, number: &Number) -> bool {
        let named = fact
            .series
            .is_some_and(|s| self.v.series(s).named(&spelled(number)).is_some());
        let unit = number.unit.as_ref().and_then(|u| Unit::parse(&u.text).ok());
        named
            || fact
                .unit()
                .zip(unit)
                .is_some_and(|(a, b)| a.dim() == b.dim())
    }

    fn unplaced_quantity(&self, kind: KindId, numbers: &[&Number], value: &Value) -> Refused {
        let declared = self.v.kind(kind);
        let text = shown(value);
        let fits = |f: &&Fact| f.writable && numbers.iter().all(|n| self.measures(f, n));
        let keys: Vec<&str> = declared
            .facts
            .iter()
            .filter(fits)
            .map(|f| f.name.as_str())
            .collect();
        let of = with_article(&declared.name);
        let why = format!("`{text}` does not say which fact of {of} it is");
        let problem = Problem::wrong("no-key", value.span, why);
        let square = |f: &Fact| {
            f.unit()
                .zip(numbers.first().and_then(|n| n.unit.as_ref()))
                .is_some_and(|(a, b)| a.text() == format!("{}²", b.text))
        };
        let unkeyed = self.short(kind).into_iter().flat_map(|s| &s.unkeyed);
        let area = unkeyed
            .into_iter()
            .map(|u| declared.fact(u.fact))
            .find(|f| square(f));
        let problem = match area {
            Some(fact) => problem.help(format!("`{}` is an area: write `{text}²`", fact.name)),
            None => problem,
        };
        let bare = numbers.iter().find(|n| {
            let unit = n.unit.as_ref();
            unit.is_none_or(|u| Unit::parse(&u.text).is_err())
        });
        let problem = match keys.as_slice() {
            [] if bare.is_some() => {
                let digits = bare.map_or("", |n| n.digits.as_str());
                let facts = self.short(kind).into_iter().flat_map(|s| &s.unkeyed);
                let units = facts.filter_map(|u| declared.fact(u.fact).unit());
                let mut all: Vec<String> =
                    units.map(|u| format!("`{digits} {}`", u.text())).collect();
                all.dedup();
                problem.help(format!(
                    "write the unit behind the number: {}",
                    all.join(" or ")
                ))
            }
            [] => {
                let facts = self.short(kind).into_iter().flat_map(|s| &s.unkeyed);
                let facts = facts.map(|u| declared.fact(u.fact));
                let other =
                    facts.filter_map(|f| Some(format!("`{}` in {}", f.name, f.unit()?.text())));
                let problem = problem.help(format!("no fact of {of} is measured so"));
                match other.collect::<Vec<_>>().as_slice() {
                    [] => problem,
                    other => problem.help(format!("write {}", other.join(" or "))),
                }
            }
            [only] => problem.help(format!("write `{only}: {text}`")),
            [first, ..] => problem.help(format!(
                "write {} before it, as in `{first}: {text}`",
                some(&keys)
            )),
        };
        let keys = area.map(|f| f.name.as_str()).into_iter().chain(keys);
        (problem, keys.map(str::to_owned).collect())
    }

    fn unplaced_word(&self, kind: KindId, word: &str, at: Span, block: bool) -> Refused {
        let declared = self.v.kind(kind);
        let of = with_article(&declared.name);
        if let Some(what) = self.v.asked(word) {
            return (ambiguous(word, what, at), Vec::new());
        }
        let problem = |why: String| Problem::wrong("no-key", at, why);
        let alone = |p: Problem| (p, Vec::new());
        if opens(self.v, word).is_some_and(|(k, _)| self.v.fits(k, kind))
            || short_opens(self.v, kind, word)
        {
            return alone(
                problem(format!(
                    "`{word}` opens {of}, and stands behind a value of it"
                ))
                .help(format!("write `{word}` first")),
            );
        }
        if matches!(word, "yes" | "no" | "none") {
            return alone(
                problem(format!("`{word}` does not say which fact of {of} it is")).help(format!(
                    "write its key, as in `{}: {word}`",
                    self.yes_no(kind)
                )),
            );
        }
        if declared.fact_named(word).is_some() {
            let p = problem(format!(
                "`{word}` is a fact of {of}, and stands without `:`"
            ));
            return (p.help(format!("write `{word}: …`")), vec![word.to_owned()]);
        }
        let takes =
            |f: &&Fact| f.writable && f.words().is_some_and(|w| w.iter().any(|w| w == word));
        let keys: Vec<&str> = declared
            .facts
            .iter()
            .filter(takes)
            .map(|f| f.name.as_str())
            .collect();
        if let Some(first) = keys.first() {
            let p = problem(format!("`{word}` needs its key in {of}"));
            return (
                p.help(format!("write `{first}: {word}`")),
                vec![(*first).to_owned()],
            );
        }
        if self.v.kind_named(word).is_some() {
            return alone(
                problem(format!("`{word}` is a block of its own"))
                    .help("begin it on a new line, or two blanks on"),
            );
        }
        if self.names.contains(word) || self.parameters.contains(word) {
            return alone(
                problem(format!(
                    "`{word}` is a name, and no key says what it is for"
                ))
                .help("write its key before it"),
            );
        }
        let short = self.short(kind);
        let unkeyed = short.iter().flat_map(|s| &s.unkeyed).flat_map(|u| &u.words);
        let also = short.iter().flat_map(|s| s.also.iter().map(|(w, _)| w));
        let known: Vec<&str> = unkeyed.chain(also).map(String::as_str).collect();
        let mut p = problem(format!("`{word}` says nothing of {of}"));
        if let Some(meant) = nearest(word, &known) {
            p = p.meant(word, meant);
        }
        if p.help.is_empty() {
            let facts = short.iter().flat_map(|s| &s.unkeyed);
            let facts = facts.map(|u| declared.fact(u.fact).name.as_str());
            let marks = short.iter().flat_map(|s| &s.marks);
            let may: Vec<&str> = facts.chain(marks.map(|m| m.text.as_str())).collect();
            p = match may.as_slice() {
                [] => p.help("write its key before it, as in `key: value`"),
                may => p.help(format!(
                    "without a key may stand {}: `amperule rules words {}` shows what each takes",
                    some(may),
                    declared.name
                )),
            };
        }
        if block {
            p = p.help(format!(
                "a name is one word and stands first: `{} NAME {{`",
                declared.name
            ));
        }
        alone(p)
    }

    fn yes_no(&self, kind: KindId) -> &str {
        let facts = &self.v.kind(kind).facts;
        let found = facts
            .iter()
            .find(|f| f.writable && matches!(f.ty, FactType::YesNo));
        found.map_or("present", |f| f.name.as_str())
    }

    /// What never stands without its key.
    fn no_key(&self, kind: KindId, value: &Value, what: &str) -> Refused {
        let declared = self.v.kind(kind);
        let keys: Vec<&str> = self
            .short(kind)
            .iter()
            .flat_map(|s| &s.unkeyed)
            .map(|u| declared.fact(u.fact).name.as_str())
            .collect();
        let problem = Problem::wrong("no-key", value.span, format!("{what} needs its key"));
        let problem = match keys.first() {
            Some(first) => {
                problem.help(format!("write `{first}: {}`, if it is that", shown(value)))
            }
            None => problem.help("write `key: value`"),
        };
        (problem, Vec::new())
    }
}

/// Whether another word opens a part of this kind.
fn short_opens(v: &Vocabulary, kind: KindId, word: &str) -> bool {
    let short = v.short.get(&kind);
    short.is_some_and(|s| matches!(s.meaning(word), Some(Meaning::Opens(_))))
}

/// A value for a message.
pub(super) fn shown(value: &Value) -> String {
    match &value.kind {
        ValueKind::Tolerance { base, .. } => format!("{} ± …", shown(base)),
        ValueKind::Range { low, high } => format!("{} .. {}", shown(low), shown(high)),
        _ => as_written(value).unwrap_or_else(|| "…".to_owned()),
    }
}
