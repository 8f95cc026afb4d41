//! Departures: recorded exceptions to one rule.

use super::resolver::{Resolver, Site, Turn};
use super::words::{day_of, plain_text};
use crate::design::model::{Departure, ObjectId, Possible};
use crate::design::tree::{Block, Entry, FactEntry, Value, ValueKind};
use crate::source::{Problem, Span, Spanned};
use crate::vocabulary::{Fact, FactType};

/// What a departure may say.
const KEYS: [&str; 4] = ["for", "reason", "agreed-by", "until"];

impl<'a> Resolver<'a> {
    /// Reads all departures. One whose subject or last day is written wrongly is left out: it
    /// must not cover more than was agreed.
    pub(super) fn read_departures(&mut self) {
        for block in std::mem::take(&mut self.departures) {
            if let Some(departure) = self.departure(block) {
                self.design.departures.push(departure);
            }
        }
    }

    fn departure(&mut self, block: &'a Block) -> Option<Departure> {
        let rule = block.from.as_ref()?;
        let mut departure = Departure {
            rule: Spanned::new(rule.text.clone(), rule.span),
            subject: None,
            reason: None,
            agreed_by: None,
            until: None,
            span: block.span,
        };
        let mut sound = true;
        let mut seen: Vec<(&str, Span)> = Vec::new();
        for entry in &block.entries {
            let fact = match entry {
                Entry::Fact(fact) => fact,
                Entry::Block(inner) => {
                    self.in_departure(inner.kind.span);
                    continue;
                }
                Entry::No(no) => {
                    self.in_departure(no.span);
                    continue;
                }
            };
            let key = fact.key.text.as_str();
            if let Some((_, first)) = seen.iter().find(|(k, _)| *k == key) {
                self.report(
                    Problem::error("duplicate-fact", format!("`{key}` is written twice"))
                        .at(fact.key.span, "again")
                        .at(*first, "first here")
                        .help("leave one of them out"),
                );
                sound = false;
                continue;
            }
            seen.push((key, fact.key.span));
            let value = &fact.value;
            match key {
                "for" => match self.subject(value) {
                    Some(id) => departure.subject = Some(Spanned::new(id, value.span)),
                    None => sound = false,
                },
                "reason" => departure.reason = self.text_in_departure(fact),
                "agreed-by" => departure.agreed_by = self.text_in_departure(fact),
                "until" => match day_of(value) {
                    Some(day) => departure.until = Some(Spanned::new(day, value.span)),
                    None => {
                        sound = false;
                        if !value.is_bad() {
                            self.report(
                                Problem::error("wrong-type", "`until` takes a date")
                                    .at(value.span, "")
                                    .help("write the last day, as in `until: 2027-03-31`"),
                            );
                        }
                    }
                },
                _ => {
                    sound = false;
                    self.report(
                        Problem::error(
                            "unknown-fact",
                            format!("a departure has no fact called `{key}`"),
                        )
                        .at(
                            fact.key.span,
                            "expected `for`, `reason`, `agreed-by` or `until`",
                        )
                        .did_you_mean(key, KEYS),
                    );
                }
            }
        }
        for (key, what) in [
            ("reason", "does not give its reason"),
            ("agreed-by", "does not say who agreed"),
        ] {
            if !seen.iter().any(|(k, _)| *k == key) {
                self.report(
                    Problem::error(
                        "incomplete-departure",
                        format!("this departure from `{}` {what}", rule.text),
                    )
                    .at(
                        if key == "reason" {
                            rule.span
                        } else {
                            block.kind.span
                        },
                        "",
                    )
                    .help(format!("add `{key}: \"…\"`")),
                );
            }
        }
        sound.then_some(departure)
    }

    fn in_departure(&mut self, span: Span) {
        self.report(
            Problem::error("misplaced-block", "this cannot stand inside a departure")
                .at(span, "")
                .help("move it out, to the outermost level of the file"),
        );
    }

    fn text_in_departure(&mut self, fact: &FactEntry) -> Option<Spanned<String>> {
        let value = &fact.value;
        let text = plain_text(value).filter(|t| !t.trim().is_empty());
        if text.is_none() && !value.is_bad() {
            let key = &fact.key.text;
            self.report(
                Problem::error("wrong-type", format!("`{key}` takes a text"))
                    .at(value.span, "")
                    .help(format!("write it in quotes, as in `{key}: \"…\"`")),
            );
        }
        text.map(|text| Spanned::new(text, value.span))
    }

    fn subject(&mut self, value: &'a Value) -> Option<ObjectId> {
        let read = match &value.kind {
            ValueKind::Bad => return None,
            ValueKind::Word(word) => self.named(word, value.span, None),
            ValueKind::Text(text) if text.contains('.') => self.named(text, value.span, None),
            ValueKind::Indexed { word, index } => {
                let fact = nameless_fact(value.span);
                let site = Site {
                    object: ObjectId(u32::MAX),
                    fact: &fact,
                    turn: None::<Turn>,
                };
                let name = self.indexed_name(&site, word, index)?;
                self.named(&name, value.span, None)
            }
            _ => self.poison(
                Problem::error("wrong-type", "`for` takes the name of one block")
                    .at(value.span, "")
                    .help("leave it out, if the departure is about all of them"),
            ),
        };
        match read {
            Possible::Object(id) => Some(id),
            _ => None,
        }
    }
}

/// Stands for the fact where a value is read that belongs to none.
fn nameless_fact(span: Span) -> Fact {
    Fact::plain("for", FactType::Text, span)
}
