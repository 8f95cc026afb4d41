//! What stands where an entry or a value should: told, with as much kept as is certain.

use pest::iterators::Pair;

use super::fold::fold_word;
use super::grammar::Rule;
use super::lower::{Before, Built, Lower};
use super::syntax_errors as mistakes;
use super::tree::{Entry, Value, ValueKind, Word};
use crate::source::{Problem, Span};

impl<'a> Lower<'a> {
    /// Whether no line ends between two places of this piece.
    pub(super) fn on_one_line(&self, from: usize, to: usize) -> bool {
        let between = self.slice(Span::new(self.file, from, to));
        !between.contains(['\n', '\r'])
    }

    /// Junk: after a fact on the same line it takes the fact's value with it, unless the value is
    /// certain all the same.
    pub(super) fn junk(&mut self, span: Span, entries: &mut [Entry], before: Option<&Before>) {
        let same_line = before.filter(|b| self.on_one_line(b.end, span.from()));
        let fact = same_line.and_then(|b| entries.get_mut(b.index));
        if let Some(Entry::Fact(fact)) = fact {
            let problem = mistakes::after_value(self, span, Some(&fact.value), Some(&fact.key));
            let harmless = matches!(problem.code, "semicolon" | "comma-between-entries")
                || matches!(fact.value.kind, ValueKind::Part { .. });
            problem.report(self);
            if !harmless {
                fact.value.kind = ValueKind::Bad;
                fact.value.span = fact.value.span.to(span);
            }
        } else {
            mistakes::on_its_own(self, span).report(self);
        }
    }

    /// `service fuse: …`: a key in two words; right behind a value the first is junk of that.
    pub(super) fn split_fact(
        &mut self,
        pair: Pair<'a, Rule>,
        span: Span,
        entries: &mut [Entry],
        before: Option<&Before>,
    ) -> Option<Built> {
        let mut fact = self.fact(pair, span)?;
        let text = fact.key.text.clone();
        let at = fact.key.span;
        // As it is written: a letter that is written in two ways may be read as one of another length.
        let (first, second) = self.slice(at).split_once([' ', '+', '&', '/'])?;
        let values_missing = first == mistakes::BY_TURN;
        if values_missing || before.is_some_and(|b| b.end + 1 == span.from()) {
            let junk = at.first(first.len());
            if values_missing {
                mistakes::after_value(self, junk, None, None).report(self);
            } else {
                self.junk(junk, entries, before);
            }
            let rest = Span::new(at.file, junk.until() + 1, at.until());
            fact.key = Word::new(fold_word(second), rest);
        } else {
            fact.key.text = text.replace(' ', "-").replace(['+', '&', '/'], "");
            Problem::wrong(
                "key-in-two-words",
                at,
                format!("`{text}` is more than one word"),
            )
            .help(format!("write `{}:`", fact.key.text))
            .report(self);
        }
        Some(Built::Entry(Entry::Fact(fact)))
    }

    /// A value that goes on where it had ended: the fact before has lost a part of what was meant.
    pub(super) fn late_more(
        &mut self,
        pair: Pair<'a, Rule>,
        entries: &mut [Entry],
        before: Option<&Before>,
    ) {
        let whole = self.span(&pair);
        let mut inner: Vec<_> = pair.into_inner().collect();
        if inner.is_empty() {
            return;
        }
        let sign = self.span(&inner.remove(0));
        let fact = before.and_then(|b| match entries.get_mut(b.index) {
            Some(Entry::Fact(fact)) => Some((fact, b.end)),
            _ => None,
        });
        let new_line = fact
            .as_ref()
            .is_none_or(|(_, end)| !self.on_one_line(*end, whole.from()));
        let problem = if new_line {
            mistakes::line_begins_with_sign(self, sign)
        } else {
            let value = fact.as_ref().map(|(f, _)| &f.value);
            let key = fact.as_ref().map(|(f, _)| &f.key);
            mistakes::after_value(self, whole, value, key)
        };
        problem.report(self);
        if let Some((fact, _)) = fact {
            fact.value.kind = ValueKind::Bad;
        }
        self.value(inner);
    }

    /// Reports `key:` without a value, unless junk follows on the line: that is reported instead.
    pub(super) fn missing_value(&mut self, key: &Word, end: usize) -> Value {
        let after = self.text.get(end..).unwrap_or("");
        let line = after.split(['\n', '\r']).next().unwrap_or("");
        let next = line.trim_start();
        let end = self.text.get(..end).map_or(end, |t| t.trim_end().len());
        let at = self.within(end, end);
        let clean = next.is_empty() || next.starts_with(['}', '#']) || mistakes::begins_entry(next);
        if clean {
            let why = format!("`{}:` has no value on its line", key.text);
            let mut problem = Problem::wrong("missing-value", key.span.to(at), why);
            let comment = next.strip_prefix('#').map(str::trim_end).unwrap_or("");
            problem = if comment.starts_with(|c: char| c.is_ascii_digit()) {
                problem.help(format!(
                    "`#` begins a comment: write `{}: {comment}`",
                    key.text
                ))
            } else {
                problem.help(format!(
                    "write the value on the same line, or `{}: ?` if it is not known",
                    key.text
                ))
            };
            problem.report(self);
        }
        Value::plain(ValueKind::Bad, key.span.to(at))
    }
}
