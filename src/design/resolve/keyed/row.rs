//! Each value of a row to its fact.

use super::super::completeness::facts_called;
use super::super::expected::as_written;
use super::super::parts::opens;
use super::super::resolver::{ambiguous, nearest};
use super::super::units::spelled;
use super::{Long, Rewrite, some};
use crate::design::model::Status;
use crate::design::tree::{Entry, FactEntry, Number, Value, ValueKind, Word};
use crate::quantity::{Unit, parse_quantity};
use crate::source::{Problem, Span};
use crate::vocabulary::{
    Fact, FactIx, FactType, Kind, KindId, Mark, Meaning, Piece, Short, Vocabulary, with_article,
};

/// The most words that are joined to one.
const MOST_JOINED: usize = 4;

/// One fact that a value of a row says: its key, its value, and the value as text if it is not
/// the one written.
struct Said {
    key: String,
    value: Value,
    text: Option<String>,
}

/// Why a value has no place, and the facts that it may have been meant for.
type Refused = (Problem, Vec<String>);

impl<'v> Long<'v> {
    /// The facts that values without keys say of a thing of a kind.
    pub(super) fn row(
        &mut self,
        kind: KindId,
        values: Vec<Value>,
        body: &[Entry],
        (end, opened_by): (usize, Option<String>),
        name: Option<&Word>,
    ) -> Vec<Entry> {
        let mut facts: Vec<FactEntry> = Vec::new();
        let mut texts = Vec::new();
        let mut meant: Vec<FactEntry> = Vec::new();
        let values = self.joined(kind, values);
        let items: Vec<Span> = values.iter().map(|v| v.span).collect();
        let mut values = values.into_iter().peekable();
        while let Some(mut value) = values.next() {
            if value.is_bad() {
                continue;
            }
            // Words side by side that say nothing are one mistake.
            if let (true, ValueKind::Word(words)) = (self.is_alien(kind, &value), &mut value.kind) {
                let bare = |v: &Value| matches!(&v.kind, ValueKind::Number(n) if n.unit.is_none());
                while let Some(v) = values.next_if(|v| bare(v) || self.is_alien(kind, v)) {
                    *words = format!("{words} {}", shown(&v));
                    value.span = value.span.to(v.span);
                }
            }
            let said = match self.said(kind, &value, name) {
                Ok(said) => said,
                Err((problem, keys)) => {
                    self.problems.push(problem);
                    // What it may have been meant for is not silent, but written wrongly.
                    for text in keys {
                        let span = value.span;
                        let value = Value::plain(ValueKind::Bad, span);
                        let key = Word::new(text, span);
                        meant.push(FactEntry::new(key, value, span));
                    }
                    continue;
                }
            };
            for Said { key, value, text } in said {
                let span = value.span;
                let here = facts.iter().find(|f| f.key.text == key);
                let first = here.or_else(|| facts_called(body, &key).next());
                if let Some(first) = first.map(|f| f.span) {
                    Problem::error("duplicate-fact", format!("`{key}` is written twice"))
                        .at(span, format!("this is `{key}`"))
                        .at(first, "and this")
                        .help("leave one of them out")
                        .report(&mut self.problems);
                    continue;
                }
                texts.push((key.clone(), text.map_or(Ok(span), Err)));
                let key = Word::new(key, span);
                facts.push(FactEntry::new(key, value, span));
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
        meant.retain(|m| facts.iter().all(|f| f.key.text != m.key.text));
        facts.extend(meant);
        facts.into_iter().map(Entry::Fact).collect()
    }

    #[expect(
        clippy::result_large_err,
        reason = "a mistake is rare, and told at once"
    )]
    fn said(
        &mut self,
        kind: KindId,
        value: &Value,
        name: Option<&Word>,
    ) -> Result<Vec<Said>, Refused> {
        let empty = Short::default();
        let short = self.short(kind).unwrap_or(&empty);
        match &value.kind {
            ValueKind::Word(word) => {
                let mark = short.as_mark(word);
                if let Some(marked) = short.mark(mark, None) {
                    if mark != word {
                        self.replace(value.span, mark);
                    }
                    return Ok(self.marked(kind, mark, value, &marked));
                }
                if let Some((fact, meant)) = short.word(word) {
                    let own = short.unkeyed.iter().any(|u| u.words.contains(&meant));
                    if meant != *word && own {
                        self.rewrites.push(Rewrite::Word(value.span, meant.clone()));
                    }
                    let text = Some(meant.clone());
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
                Err(self.unplaced_word(kind, word, value.span, name))
            }
            // `circuit bay 1 new {`
            ValueKind::Number(number)
                if number.unit.is_none()
                    && name.is_some_and(|n| n.span.until() + 1 == value.span.from()) =>
            {
                Err(self.unplaced_word(kind, &number.digits, value.span, name))
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

    /// Values side by side that are one word when a hyphen joins them: `3 core`, `twin and earth`,
    /// `BS 88-3`. What could be something else by itself is left to be asked: `type B`.
    pub(super) fn joined(&mut self, kind: KindId, mut values: Vec<Value>) -> Vec<Value> {
        let mut at = 0;
        while at < values.len() {
            let most = values.len().min(at + MOST_JOINED);
            let found = (at + 1..=most).rev().find_map(|end| {
                let some = values.get(at..end)?;
                Some((end, self.as_one(kind, some)?))
            });
            if let Some((end, text)) = found {
                let span = values[at].span.to(values[end - 1].span);
                self.replace(span, &text);
                values.splice(at..end, [Value::plain(ValueKind::Word(text), span)]);
            }
            at += 1;
        }
        values
    }

    /// The word of the ruleset that some values side by side are.
    fn as_one(&self, kind: KindId, values: &[Value]) -> Option<String> {
        let apart = |pair: &[Value]| pair[0].span.until() + 1 == pair[1].span.from();
        let pieces: Vec<String> = values.iter().map(piece).collect::<Option<_>>()?;
        let text = pieces.join(" ");
        if !text.contains(' ') || !values.windows(2).all(apart) {
            return None;
        }
        let joined = text.replace(' ', "-");
        let opened = || {
            let opens = opens(self.v, &joined).map(|_| joined.as_str());
            opens.or_else(|| self.v.opened_by(&joined))
        };
        let Some(short) = self.short(kind).filter(|s| s.takes(&joined)) else {
            // A mark with a blank in it: `C 32`, `2 P`.
            let tight = text.replace(' ', "");
            let number = |p: &str| p.bytes().all(|b| b.is_ascii_digit());
            let halves = text.split_once(' ').filter(|(_, b)| !b.contains(' '));
            let mark = halves.is_some_and(|(a, b)| number(a) != number(b))
                && self
                    .short(kind)
                    .is_some_and(|s| s.mark(&tight, None).is_some());
            return opened().map(str::to_owned).or(mark.then_some(tight));
        };
        let facts = |text: &str| -> Vec<FactIx> {
            let marked = short.mark(short.as_mark(text), None).into_iter().flatten();
            let marked = marked.map(|(fact, ..)| fact);
            marked
                .chain(short.word(text).map(|(fact, _)| fact))
                .collect()
        };
        let asked = text.split(' ').any(|p| self.v.asked(p).is_some());
        let other = |p: &str| facts(p).iter().any(|f| !facts(&joined).contains(f));
        if asked && text.split(' ').any(other) {
            return None;
        }
        let alone = |meant: &String| short.unkeyed.iter().any(|u| u.words.contains(meant));
        let word = short.word(&joined).map(|(_, meant)| meant).filter(alone);
        Some(word.unwrap_or_else(|| short.as_mark(&joined).to_owned()))
    }

    /// Whether a word says nothing of a thing of a kind, and nothing else.
    pub(super) fn is_alien(&self, kind: KindId, value: &Value) -> bool {
        let ValueKind::Word(word) = &value.kind else {
            return false;
        };
        let takes = self.short(kind).is_some_and(|s| s.takes(word));
        !takes
            && Status::from_word(word).is_none()
            && self.misplaced(kind, word, value.span).is_none()
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
            let span = match text.len() == at.span.until() - start {
                true => Span::new(at.span.file, start + from, start + until),
                false => at.span,
            };
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
        let text = shown(value);
        let fits = |f: &Fact| numbers.iter().all(|n| self.measures(f, n));
        let keys = self.keys(kind, fits);
        let of = with_article(&self.v.kind(kind).name);
        let why = format!("`{text}` does not say which fact of {of} it is");
        let problem = Problem::wrong("no-key", value.span, why);
        let square = |f: &Fact| {
            f.unit()
                .zip(numbers.first().and_then(|n| n.unit.as_ref()))
                .is_some_and(|(a, b)| a.text() == format!("{}²", b.text))
        };
        let area = self.unkeyed(kind).find(|f| square(f));
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
                let units = self.unkeyed(kind).filter_map(Fact::unit);
                let mut all: Vec<String> =
                    units.map(|u| format!("`{digits} {}`", u.text())).collect();
                all.dedup();
                problem.help(format!(
                    "write the unit behind the number: {}",
                    all.join(" or ")
                ))
            }
            [] => {
                let in_unit = |f: &Fact| Some(format!("`{}` in {}", f.name, f.unit()?.text()));
                let other = self.unkeyed(kind).filter_map(in_unit);
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

    /// Why a word that has a meaning cannot stand without its key.
    fn misplaced(&self, kind: KindId, word: &str, at: Span) -> Option<Refused> {
        let declared = self.v.kind(kind);
        let of = with_article(&declared.name);
        let first = word.split(' ').next().unwrap_or(word);
        if let Some(what) = self.v.asked(first) {
            return Some((ambiguous(word, what, at), Vec::new()));
        }
        let takes = |f: &Fact| f.words().is_some_and(|w| w.iter().any(|w| w == word));
        let mut meant = None;
        let (why, help) = if opens(self.v, word).is_some_and(|(k, _)| self.v.fits(k, kind))
            || short_opens(self.v, kind, word)
        {
            (
                format!("`{word}` opens {of}, and stands behind a value of it"),
                format!("write `{word}` first"),
            )
        } else if matches!(word, "yes" | "no" | "none") {
            let keys = self.keys(kind, |f| matches!(f.ty, FactType::YesNo));
            let key = keys.first().unwrap_or(&"present");
            (
                format!("`{word}` does not say which fact of {of} it is"),
                format!("write its key, as in `{key}: {word}`"),
            )
        } else if declared.fact_named(word).is_some() {
            meant = Some(word.to_owned());
            (
                format!("`{word}` is a fact of {of}, and stands without `:`"),
                format!("write `{word}: …`"),
            )
        } else if let Some(key) = self.keys(kind, takes).first() {
            meant = Some((*key).to_owned());
            (
                format!("`{word}` needs its key in {of}"),
                format!("write `{key}: {word}`"),
            )
        } else if self.v.kind_named(word).is_some() {
            (
                format!("`{word}` is a block of its own"),
                "begin it on a new line, or two blanks on".to_owned(),
            )
        } else if self.names.contains(word) || self.parameters.contains(word) {
            (
                format!("`{word}` is a name, and no key says what it is for"),
                "write its key before it".to_owned(),
            )
        } else {
            return None;
        };
        let problem = Problem::wrong("no-key", at, why).help(help);
        Some((problem, meant.into_iter().collect()))
    }

    fn unplaced_word(&self, kind: KindId, word: &str, at: Span, name: Option<&Word>) -> Refused {
        if let Some(refused) = self.misplaced(kind, word, at) {
            return refused;
        }
        let declared = self.v.kind(kind);
        let of = with_article(&declared.name);
        let short = self.short(kind);
        let unkeyed = short.iter().flat_map(|s| &s.unkeyed).flat_map(|u| &u.words);
        let also = short.iter().flat_map(|s| s.also.iter().map(|(w, _)| w));
        let known: Vec<&str> = unkeyed.chain(also).map(String::as_str).collect();
        let has_status = declared.fact_named("status").is_some();
        let status = Status::ALL.map(Status::word).into_iter();
        let near: Vec<&str> = known
            .iter()
            .copied()
            .chain(status.filter(|_| has_status))
            .collect();
        let mut p = Problem::wrong("no-key", at, format!("`{word}` says nothing of {of}"));
        let joined = word.replace(' ', "-");
        let begun: Vec<&str> = known
            .iter()
            .copied()
            .filter(|k| k.starts_with(&joined))
            .collect();
        if !begun.is_empty() {
            p = p.help(format!("write {}", some(&begun)));
        } else if let Some(meant) = nearest(&joined, &near) {
            p = p.meant(word, meant);
        }
        if p.help.is_empty() {
            let facts = self.unkeyed(kind).map(|f| f.name.clone());
            let marks = short.iter().flat_map(|s| &s.marks);
            let may: Vec<String> = facts.chain(marks.map(|m| in_one(m, declared))).collect();
            let may: Vec<&str> = may.iter().map(String::as_str).collect();
            p = match may.as_slice() {
                [] => p.help("write its key before it, as in `key: value`"),
                [only] if !known.is_empty() && short.is_some_and(|s| s.marks.is_empty()) => {
                    p.help(format!(
                        "without a key may stand `{only}`, one of {}: `amperule rules words {}` shows all",
                        known.join(", "),
                        declared.name
                    ))
                }
                may => p.help(format!(
                    "without a key may stand {}: `amperule rules words {}` shows what each takes",
                    some(may),
                    declared.name
                )),
            };
        }
        let behind = |n: &&Word| n.span.until() + 1 == at.from();
        if let Some(name) = name.filter(behind) {
            let kind = &declared.name;
            p = p.help(match name.text.as_str() {
                "" => format!("a name stands before the label: `{kind} {joined} \"…\" {{`"),
                name => format!("a name is one word: `{kind} {name}-{joined} {{`"),
            });
        }
        // It may be the status, which else is that of what stands around.
        let meant = has_status.then(|| "status".to_owned());
        (p, meant.into_iter().collect())
    }

    /// The facts of a kind whose values may stand without their key.
    fn unkeyed(&self, kind: KindId) -> impl Iterator<Item = &'v Fact> {
        let declared = self.v.kind(kind);
        let unkeyed = self.short(kind).into_iter().flat_map(|s| &s.unkeyed);
        unkeyed.map(|u| declared.fact(u.fact))
    }

    /// The names of such facts of a kind as a design may write.
    fn keys(&self, kind: KindId, such: impl Fn(&Fact) -> bool) -> Vec<&'v str> {
        let facts = self.v.kind(kind).facts.iter();
        let such = facts.filter(|f| f.writable && such(f));
        such.map(|f| f.name.as_str()).collect()
    }

    /// What never stands without its key.
    fn no_key(&self, kind: KindId, value: &Value, what: &str) -> Refused {
        let problem = Problem::wrong("no-key", value.span, format!("{what} needs its key"));
        let problem = match self.unkeyed(kind).next() {
            Some(Fact { name, .. }) => {
                problem.help(format!("write `{name}: {}`, if it is that", shown(value)))
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

/// A value as a piece of a word.
pub(super) fn piece(value: &Value) -> Option<String> {
    match &value.kind {
        ValueKind::Word(word) => Some(word.clone()),
        ValueKind::Number(n) if n.more.is_empty() => {
            let unit = n.unit.iter().map(|u| format!(" {}", u.text));
            Some(unit.fold(n.digits.clone(), |all, u| all + &u))
        }
        _ => None,
    }
}

/// What a mark says, by its facts: `curve and In in one word`.
fn in_one(mark: &Mark, kind: &Kind) -> String {
    let facts = mark.pieces.iter().filter_map(|p| match p {
        Piece::Fact(ix, _) => Some(kind.fact(*ix).name.as_str()),
        Piece::Text(_) => None,
    });
    let facts: Vec<&str> = facts.collect();
    match facts.as_slice() {
        [only] if mark.pieces.len() == 1 => (*only).to_owned(),
        [_, _, ..] => format!("{} in one word", facts.join(" and ")),
        _ => mark.text.clone(),
    }
}
