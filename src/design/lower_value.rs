//! Groups the flat row of tokens of a value.

use std::iter::Peekable;
use std::vec::IntoIter;

use pest::iterators::Pair;

use super::fold::fold_word;
use super::grammar::Rule;
use super::lower::Lower;
use super::syntax_errors as mistakes;
use super::tree::{Arith, Number, Origin, Value, ValueKind, Word};
use crate::quantity::{civil_from_days, parse_date};
use crate::source::limits::OPERATORS;
use crate::source::{Problem, Span, Spanned};

type Tokens<'a> = Peekable<IntoIter<Pair<'a, Rule>>>;

/// One element of alternatives or of a list, perhaps for one line conductor.
struct Element {
    line: Option<Word>,
    value: Value,
}

impl<'a> Lower<'a> {
    /// A value from its tokens, of which there is at least one. Comments among them are skipped.
    pub(super) fn value(&mut self, mut tokens: Vec<Pair<'a, Rule>>) -> Value {
        tokens.retain(|t| t.as_rule() != Rule::comment);
        let mut tokens = tokens.into_iter().peekable();
        let by_turn = tokens
            .next_if(|t| t.as_rule() == Rule::by_turn)
            .map(|t| self.span(&t));
        let first = self.element(&mut tokens);
        let mut elements = vec![first];
        let mut separator: Option<Pair<'a, Rule>> = None;
        let mut mixed: Option<Span> = None;
        while let Some(sign) = tokens.next_if(|t| matches!(t.as_rule(), Rule::pipe | Rule::comma)) {
            match &separator {
                None => separator = Some(sign),
                Some(first) if first.as_rule() != sign.as_rule() => {
                    mixed = mixed.or(Some(self.span(&sign)));
                }
                Some(_) => {}
            }
            elements.push(self.element(&mut tokens));
        }
        let whole = by_turn.into_iter().chain(elements.iter().map(|e| {
            e.line
                .as_ref()
                .map_or(e.value.span, |l| l.span.to(e.value.span))
        }));
        let whole = whole.reduce(Span::to).unwrap_or_else(|| self.within(0, 0));
        if let (Some(mixed), Some(first)) = (mixed, &separator) {
            Problem::wrong("mixed-separators", mixed, "`|` and `,` are mixed in one value")
                .at(self.span(first), "the other one")
                .help("`a | b` is one of, `a, b` is both in order: put one of them in brackets, as in `(a | b), c`")
                .report(self);
            return bad(whole);
        }
        // Only a bracket over several lines lets tokens follow that no value can take.
        if let Some(rest) = tokens.next() {
            let end = tokens.last().map_or(self.span(&rest), |t| self.span(&t));
            let rest = self.span(&rest).to(end);
            let why = format!("`{}` cannot follow a value", self.slice(rest).trim());
            Problem::error("trailing-text", why)
                .at(rest, "expected `)`")
                .help("put brackets round what belongs together")
                .report(self);
            return bad(whole.to(rest));
        }
        let comma = separator.is_some_and(|s| s.as_rule() == Rule::comma);
        self.collect(elements, by_turn.is_some(), comma, whole)
    }

    fn collect(
        &mut self,
        mut elements: Vec<Element>,
        by_turn: bool,
        comma: bool,
        whole: Span,
    ) -> Value {
        let with_line = elements.iter().filter(|e| e.line.is_some()).count();
        // Both are rows of values separated by commas.
        if (by_turn || with_line > 0) && !comma && elements.len() > 1 {
            let what = if by_turn {
                "`by-turn`"
            } else {
                "values per line conductor"
            };
            let why = format!("{what} and `|` stand in one value");
            Problem::wrong("alternatives-of-rows", whole, why)
                .help("put the alternatives in brackets, as in `L1 (5 A | 6 A), L2 3 A`")
                .report(self);
            return bad(whole);
        }
        if with_line > 0 {
            let odd = elements
                .iter()
                .find(|e| e.line.is_none())
                .map(|e| e.value.span);
            if odd.is_some() || by_turn {
                let why = "some values name their line conductor and some do not";
                Problem::error("line-missing", why)
                    .at(odd.unwrap_or(whole), "for which one?")
                    .help("write `L1`, `L2`, `L3` or `N` before each value")
                    .report(self);
                return bad(whole);
            }
        }
        let origin = lift_origin(&mut elements);
        let kind = if with_line > 0 {
            let mut lines: Vec<(Word, Value)> = Vec::with_capacity(elements.len());
            for element in elements {
                let Some(line) = element.line else { continue };
                if let Some((first, _)) = lines.iter().find(|(l, _)| l.text == line.text) {
                    let first = first.span;
                    Problem::error("line-twice", format!("`{}` has two values", line.text))
                        .at(line.span, "again")
                        .at(first, "first here")
                        .help("name each line conductor once")
                        .report(self);
                    return bad(whole);
                }
                lines.push((line, element.value));
            }
            ValueKind::PerLine(lines)
        } else if by_turn {
            ValueKind::ByTurn(elements.into_iter().map(|e| e.value).collect())
        } else if elements.len() > 1 {
            let values = elements.into_iter().map(|e| e.value);
            if comma {
                // `post[1..3], gate` is one list.
                let flat = values.flat_map(|v| match v.kind {
                    ValueKind::List(inner) if inner.iter().all(|i| i.span == v.span) => inner,
                    _ => vec![v],
                });
                ValueKind::List(flat.collect())
            } else {
                ValueKind::OneOf(values.collect())
            }
        } else if let Some(only) = elements.pop() {
            return only.value;
        } else {
            ValueKind::Bad
        };
        Value {
            kind,
            origin,
            span: whole,
        }
    }

    fn element(&mut self, tokens: &mut Tokens<'a>) -> Element {
        let line = tokens
            .next_if(|t| t.as_rule() == Rule::line)
            .map(|t| self.word(&t));
        let value = self.single(tokens);
        Element { line, value }
    }

    fn single(&mut self, tokens: &mut Tokens<'a>) -> Value {
        let bound = tokens.next_if(|t| {
            matches!(
                t.as_rule(),
                Rule::le | Rule::ge | Rule::lt | Rule::gt | Rule::at_most | Rule::at_least
            )
        });
        let mut value = if let Some(bound) = bound {
            let inner = self.sum(tokens);
            let span = self.span(&bound).to(inner.span);
            let strict = matches!(bound.as_rule(), Rule::lt | Rule::gt);
            let value = Box::new(inner);
            let kind = if matches!(bound.as_rule(), Rule::le | Rule::lt | Rule::at_most) {
                ValueKind::AtMost { value, strict }
            } else {
                ValueKind::AtLeast { value, strict }
            };
            Value::plain(kind, span)
        } else {
            let base = self.sum(tokens);
            match tokens.peek().map(Pair::as_rule) {
                Some(Rule::pm) => self.tolerance(base, tokens),
                Some(Rule::dots) => {
                    tokens.next();
                    let high = self.sum(tokens);
                    range(base, high)
                }
                _ => base,
            }
        };
        if let Some(origin) = tokens.next_if(|t| t.as_rule() == Rule::origin) {
            let word = origin
                .as_str()
                .trim_matches(|c: char| "() \t".contains(c) || c == '\u{A0}');
            let span = self.span(&origin);
            value.origin = Origin::from_word(word.trim()).map(|o| Spanned::new(o, span));
            value.span = value.span.to(span);
        }
        if value.is_bad() && !matches!(value.kind, ValueKind::Bad) && !is_row(&value.kind) {
            value.kind = ValueKind::Bad;
        }
        value
    }

    fn tolerance(&mut self, base: Value, tokens: &mut Tokens<'a>) -> Value {
        let mut span = base.span;
        let mut terms = Vec::new();
        let mut sound = true;
        while tokens.next_if(|t| t.as_rule() == Rule::pm).is_some() {
            let Some(term) = tokens.next() else { break };
            span = span.to(self.span(&term));
            if term.as_rule() == Rule::number {
                terms.push(self.number(term));
            } else {
                self.primary(term, tokens);
                sound = false;
            }
        }
        if !sound {
            return bad(span);
        }
        Value::plain(
            ValueKind::Tolerance {
                base: Box::new(base),
                terms,
            },
            span,
        )
    }

    /// Operands and operators; `*` and `/` bind tighter than `+` and `-`.
    fn sum(&mut self, tokens: &mut Tokens<'a>) -> Value {
        let Some(first) = tokens.next() else {
            return bad(self.within(0, 0));
        };
        let mut product = self.primary(first, tokens);
        let mut before: Option<(Arith, Value)> = None;
        let mut count = 0;
        let mut sound = true;
        while let Some(sign) = tokens.next_if(|t| {
            matches!(
                t.as_rule(),
                Rule::plus | Rule::minus | Rule::times | Rule::over | Rule::wrong_minus
            )
        }) {
            let Some(operand) = tokens.next() else { break };
            let left_end = product.span;
            let right = self.primary(operand, tokens);
            count += 1;
            let op = match sign.as_rule() {
                Rule::plus => Arith::Add,
                Rule::times => Arith::Mul,
                Rule::over => Arith::Div,
                Rule::minus => Arith::Sub,
                _ => {
                    let sign = self.span(&sign);
                    mistakes::wrong_minus(self, left_end, sign, right.span).report(self);
                    sound = false;
                    Arith::Sub
                }
            };
            if count > OPERATORS {
                product.span = product.span.to(right.span);
                continue;
            }
            if matches!(op, Arith::Mul | Arith::Div) {
                product = binary(op, product, right);
            } else {
                let left = match before.take() {
                    Some((op, left)) => binary(op, left, product),
                    None => product,
                };
                before = Some((op, left));
                product = right;
            }
        }
        let value = match before {
            Some((op, left)) => binary(op, left, product),
            None => product,
        };
        if count > OPERATORS {
            let why = format!("one value has {count} operators, more than {OPERATORS}");
            Problem::wrong("too-many-operators", value.span, why)
                .help("work the sum out, or split it over parameters")
                .report(self);
            sound = false;
        }
        if sound { value } else { bad(value.span) }
    }

    fn primary(&mut self, token: Pair<'a, Rule>, tokens: &mut Tokens<'a>) -> Value {
        let span = self.span(&token);
        let kind = match token.as_rule() {
            Rule::word => {
                let word = self.word(&token);
                if let Some(body) = tokens.next_if(|t| t.as_rule() == Rule::body) {
                    let span = word.span.to(self.span(&body));
                    let entries = self.body(body);
                    return Value::plain(
                        ValueKind::Part {
                            head: word,
                            entries,
                        },
                        span,
                    );
                }
                if let Some(pin) = tokens.next_if(|t| t.as_rule() == Rule::pin) {
                    let hash = pin.as_str().trim_start_matches('@').trim();
                    let text = format!("{} @ {hash}", word.text);
                    return Value::plain(ValueKind::Text(text), word.span.to(self.span(&pin)));
                }
                let follows = |t: &Pair<'_, Rule>| matches!(t.as_rule(), Rule::index | Rule::step);
                if tokens.peek().is_some_and(follows) {
                    return self.name_path(word, tokens);
                }
                if word.text == "none" {
                    ValueKind::Absent
                } else {
                    ValueKind::Word(word.text)
                }
            }
            Rule::part_row => return self.part_row(token),
            Rule::counted | Rule::row_word | Rule::placed | Rule::joined | Rule::typed => {
                ValueKind::Word(fold_word(token.as_str()))
            }
            Rule::bare => ValueKind::Number(Number::bare(token.as_str().to_owned(), span)),
            Rule::unknown => ValueKind::Unknown,
            Rule::number => ValueKind::Number(self.number(token)),
            Rule::date => self.date(token.as_str(), span),
            Rule::wrong_date => {
                mistakes::wrong_date(token.as_str(), span).report(self);
                ValueKind::Bad
            }
            Rule::text | Rule::odd_text => ValueKind::Text(self.text_of(&token).value),
            Rule::all_of => token
                .into_inner()
                .next()
                .map_or(ValueKind::Bad, |w| ValueKind::All(self.word(&w))),
            Rule::group => {
                let mut inner: Vec<_> = token.into_inner().collect();
                if inner.last().is_some_and(|t| t.as_rule() == Rule::unclosed) {
                    inner.pop();
                    let end = span.from() + self.slice(span).trim_end().len();
                    Problem::error("unclosed-bracket", "a `(` is not closed")
                        .at(span.first(1), "opened here")
                        .at(Span::new(self.file, end, end), "expected `)`")
                        .report(self);
                    self.value(inner);
                    ValueKind::Bad
                } else {
                    // The brackets are part of what is written, so they are part of its place.
                    let inner = self.value(inner);
                    return Value { span, ..inner };
                }
            }
            Rule::wrong_number => {
                if let Some(digits) = token.into_inner().next() {
                    mistakes::wrong_number(self, &digits).report(self);
                }
                ValueKind::Bad
            }
            _ => ValueKind::Bad,
        };
        Value::plain(kind, span)
    }

    /// `rcbo B32 30 mA { … }`: values without keys, and the facts behind them.
    fn part_row(&mut self, row: Pair<'a, Rule>) -> Value {
        let span = self.span(&row).first(row.as_str().trim_end().len());
        let (mut values, mut entries, mut body) = (Vec::new(), Vec::new(), false);
        let mut product = None;
        for token in row.into_inner() {
            match token.as_rule() {
                Rule::body => {
                    body = true;
                    entries = self.body(token);
                }
                Rule::row_value => values.push(self.value(token.into_inner().collect())),
                Rule::product => product = self.product(token),
                _ => values.push(self.value(vec![token])),
            }
        }
        body |= product.is_some();
        entries.splice(0..0, product);
        match values.pop() {
            Some(only) if values.is_empty() && !body => only,
            last => {
                values.extend(last);
                Value::plain(ValueKind::Row { values, entries }, span)
            }
        }
    }

    /// `bay[n]`, `main.ev`, `bay[2].ev`: a name, perhaps with those of the blocks around it.
    fn name_path(&mut self, first: Word, tokens: &mut Tokens<'a>) -> Value {
        let mut word = first;
        let mut sound = true;
        while let Some(token) = tokens.next_if(|t| matches!(t.as_rule(), Rule::index | Rule::step))
        {
            let span = word.span.to(self.span(&token));
            if token.as_rule() == Rule::step {
                word.text.push_str(&fold_word(token.as_str()));
                word.span = span;
                continue;
            }
            let at = self.span(&token);
            if token
                .clone()
                .into_inner()
                .any(|t| t.as_rule() == Rule::whole)
            {
                let ends_here = tokens.peek().map(Pair::as_rule) != Some(Rule::step);
                if let (true, Some(repeat)) = (sound && ends_here, self.repeat(&token)) {
                    return Value::members(&word, &repeat, span);
                }
                if !ends_here {
                    Problem::wrong("wrong-index", at, "a row of numbers stands before a `.`")
                        .help("write one number, as in `bay[2].ev`")
                        .report(self);
                }
                (sound, word.span) = (false, span);
                continue;
            }
            let mut inner = token
                .into_inner()
                .collect::<Vec<_>>()
                .into_iter()
                .peekable();
            let index = self.sum(&mut inner);
            if tokens.peek().map(Pair::as_rule) != Some(Rule::step) {
                if !sound {
                    return bad(span);
                }
                let index = Box::new(index);
                return Value::plain(ValueKind::Indexed { word, index }, span);
            }
            let number = match &index.kind {
                ValueKind::Number(n) if n.unit.is_none() && n.more.is_empty() => {
                    n.digits.parse::<u32>().ok()
                }
                _ => None,
            };
            match number {
                Some(number) => word.text.push_str(&format!("[{number}]")),
                None => {
                    if !index.is_bad() {
                        let why = "a number in square brackets before a `.` must be written out";
                        Problem::wrong("wrong-index", at, why)
                            .help("write a whole number, as in `bay[2].ev`")
                            .report(self);
                    }
                    sound = false;
                }
            }
            word.span = span;
        }
        if sound {
            Value::plain(ValueKind::Word(word.text), word.span)
        } else {
            bad(word.span)
        }
    }

    fn number(&self, pair: Pair<'a, Rule>) -> Number {
        let span = self.span(&pair);
        let mut inner = pair.into_inner();
        let digits = inner
            .next()
            .map_or(String::new(), |d| d.as_str().to_owned());
        let unit = inner.next().map(|u| self.unit(&u));
        let mut more = Vec::new();
        while let (Some(digits), Some(unit)) = (inner.next(), inner.next()) {
            more.push((digits.as_str().to_owned(), self.unit(&unit)));
        }
        Number {
            digits,
            unit,
            more,
            span,
        }
    }

    fn date(&mut self, raw: &str, span: Span) -> ValueKind {
        if let Ok(days) = parse_date(raw) {
            let (year, month, day) = civil_from_days(days);
            let (month, day) = (month as u8, day as u8);
            return ValueKind::Date { year, month, day };
        }
        let why = format!("`{raw}` is no day of the calendar");
        Problem::wrong("no-such-date", span, why)
            .help("write year, month and day, as in `2026-11-02`")
            .report(self);
        ValueKind::Bad
    }
}

const fn bad(span: Span) -> Value {
    Value::plain(ValueKind::Bad, span)
}

/// Values of which a part may be wrong without spoiling the others.
const fn is_row(kind: &ValueKind) -> bool {
    matches!(
        kind,
        ValueKind::OneOf(_) | ValueKind::List(_) | ValueKind::PerLine(_) | ValueKind::ByTurn(_)
    )
}

fn binary(op: Arith, left: Value, right: Value) -> Value {
    let span = left.span.to(right.span);
    Value::plain(
        ValueKind::Binary {
            op,
            left: Box::new(left),
            right: Box::new(right),
        },
        span,
    )
}

/// `5..40 m`: a unit written once, at the upper end, holds for both.
fn range(mut low: Value, high: Value) -> Value {
    if let (ValueKind::Number(a), ValueKind::Number(b)) = (&mut low.kind, &high.kind)
        && a.unit.is_none()
        && b.more.is_empty()
    {
        a.unit.clone_from(&b.unit);
    }
    let span = low.span.to(high.span);
    Value::plain(
        ValueKind::Range {
            low: Box::new(low),
            high: Box::new(high),
        },
        span,
    )
}

/// An origin that only the last of several elements carries holds for all of them.
fn lift_origin(elements: &mut [Element]) -> Option<Spanned<Origin>> {
    let (last, others) = elements.split_last_mut()?;
    if others.iter().any(|e| e.value.origin.is_some()) || (others.is_empty() && last.line.is_none())
    {
        return None;
    }
    last.value.origin.take()
}
