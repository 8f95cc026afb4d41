//! Words, texts, yes or no, dates.

use super::expected::{form, in_quotes};
use super::resolver::{Resolver, Site, nearest};
use super::units::spelled;
use crate::design::model::Possible;
use crate::design::syntax_errors::{BY_TURN, VALUES_BY_TURN};
use crate::design::tree::{Arith, Number, Value, ValueKind};
use crate::quantity::{days_from_civil, parse_date};
use crate::source::{Problem, Span};
use crate::vocabulary::{FactType, WordSet, Words};

impl<'a> Resolver<'a> {
    /// A word of a choice; of an ordered one also a range of words.
    pub(super) fn choice(&mut self, site: &Site<'_>, value: &'a Value) -> Option<Possible> {
        let FactType::Choice { words, ordered } = &site.fact.ty else {
            return self.wrong_type(site, value);
        };
        let last = words.len().saturating_sub(1);
        let ends = match &value.kind {
            ValueKind::Range { low, high } if *ordered => {
                let low = self.word_of(site, words, low);
                let high = self.word_of(site, words, high);
                let (low, high) = (low?, high?);
                if low > high {
                    let why = "the range runs backwards";
                    return Problem::wrong("reversed-range", value.span, why)
                        .help(format!(
                            "the order of `{}` is {}",
                            site.fact.name,
                            words.join(", ")
                        ))
                        .fail(self);
                }
                Some((low, high))
            }
            ValueKind::AtMost { value, strict } if *ordered => {
                let high = self.word_of(site, words, value)?;
                let high = high.checked_sub(usize::from(*strict));
                high.map(|high| (0, high))
            }
            ValueKind::AtLeast { value, strict } if *ordered => {
                let low = self.word_of(site, words, value)?;
                let low = low + usize::from(*strict);
                (low <= last).then_some((low, last))
            }
            ValueKind::Word(word) if !words.contains(word) => {
                if let Some(id) = self.parameters.get(word.as_str()) {
                    return self.parameter(site, *id, value.span);
                }
                return self.unknown_word(site, word, words, value.span);
            }
            _ => {
                let place = self.word_of(site, words, value)?;
                Some((place, place))
            }
        };
        match ends {
            Some((low, high)) => Some(Possible::Words((low..=high).collect())),
            None => Problem::wrong(
                "empty-range",
                value.span,
                format!("no word of `{}` lies beyond this one", site.fact.name),
            )
            .help(format!("its order is {}", words.join(", ")))
            .fail(self),
        }
    }

    /// The place of a word among the words of a fact. None: it was reported.
    fn word_of(&mut self, site: &Site<'_>, words: &Words, value: &'a Value) -> Option<usize> {
        let place = match &value.kind {
            ValueKind::Word(word) => words.iter().position(|w| w == word),
            ValueKind::Number(number) => word_spelled(words, number),
            ValueKind::Absent => words.iter().position(|w| w == "none"),
            _ => None,
        };
        if place.is_some() {
            return place;
        }
        match &value.kind {
            ValueKind::Word(word) => self.unknown_word(site, word, words, value.span),
            ValueKind::Number(number) => {
                self.unknown_word(site, &spelled(number), words, value.span)
            }
            ValueKind::Text(text) if words.contains(text) => {
                in_quotes(site, "a word", text, value.span).fail(self)
            }
            _ => self.wrong_type(site, value),
        }
    }

    pub(super) fn unknown_word<T>(
        &mut self,
        site: &Site<'_>,
        word: &str,
        words: &Words,
        span: Span,
    ) -> Option<T> {
        if self.asked(word, span) {
            return None;
        }
        let form = form(self.vocabulary, site.fact);
        let why = format!("`{}` cannot be `{word}`", site.fact.name);
        let mut problem = Problem::error("unknown-word", why).at(span, format!("expected {form}"));
        let all: Vec<_> = words.iter().map(String::as_str).collect();
        if word == BY_TURN {
            problem = problem.help(VALUES_BY_TURN);
        } else if let Some(meant) = nearest(word, &all) {
            problem = problem.meant(word, meant);
        }
        problem.fail(self)
    }

    /// Some words of a set.
    pub(super) fn some_of(&mut self, site: &Site<'_>, value: &'a Value) -> Option<Possible> {
        let FactType::Some { words } = &site.fact.ty else {
            return self.wrong_type(site, value);
        };
        if let ValueKind::Word(word) = &value.kind
            && !words.contains(word)
            && let Some(id) = self.parameters.get(word.as_str())
        {
            return self.parameter(site, *id, value.span);
        }
        let mut set = WordSet::EMPTY;
        let mut wrong = false;
        for member in value.listed() {
            let Some(place) = self.word_of(site, words, member) else {
                wrong = true;
                continue;
            };
            if set.has(place) {
                let word = words.get(place).map_or("", String::as_str);
                let why = format!("`{word}` is listed twice");
                Problem::wrong("word-twice", member.span, why)
                    .help("leave one of them out")
                    .report(self);
                wrong = true;
            }
            set = set.or(WordSet::one(place));
        }
        (!wrong).then_some(Possible::Members(set))
    }

    pub(super) fn yes_no(&mut self, site: &Site<'_>, value: &'a Value) -> Option<Possible> {
        match &value.kind {
            ValueKind::Word(word) if word == "yes" => Some(Possible::Truth(true)),
            ValueKind::Word(word) if word == "no" => Some(Possible::Truth(false)),
            ValueKind::Word(word) => self.parameter_named(site, word, value),
            _ => self.wrong_type(site, value),
        }
    }

    /// The parameter that a word must name, where words are no values.
    fn parameter_named(&mut self, site: &Site<'_>, word: &str, value: &Value) -> Option<Possible> {
        match self.parameters.get(word) {
            Some(id) => self.parameter(site, *id, value.span),
            None => self.wrong_type(site, value),
        }
    }

    /// A text; words, numbers and sums of names are taken as they are written.
    pub(super) fn text(&mut self, site: &Site<'_>, value: &'a Value) -> Option<Possible> {
        if let ValueKind::Word(word) = &value.kind
            && let Some(id) = self.parameters.get(word.as_str())
        {
            return self.parameter(site, *id, value.span);
        }
        match plain_text(value) {
            Some(text) => Some(Possible::Text(text)),
            None => self.wrong_type(site, value),
        }
    }

    pub(super) fn date(&mut self, site: &Site<'_>, value: &'a Value) -> Option<Possible> {
        match &value.kind {
            ValueKind::Word(word) => self.parameter_named(site, word, value),
            ValueKind::Text(text) if parse_date(text).is_ok() => {
                in_quotes(site, "a date", text, value.span).fail(self)
            }
            _ => match day_of(value) {
                Some(day) => {
                    self.note_date(day);
                    Some(Possible::Date(day))
                }
                None => self.wrong_type(site, value),
            },
        }
    }
}

/// The day that a value names.
pub(super) fn day_of(value: &Value) -> Option<i32> {
    match value.kind {
        ValueKind::Date { year, month, day } => {
            days_from_civil(year, u32::from(month), u32::from(day))
        }
        _ => None,
    }
}

/// The text of a value that stands for itself.
pub(super) fn plain_text(value: &Value) -> Option<String> {
    match &value.kind {
        ValueKind::Text(text) | ValueKind::Word(text) => Some(text.clone()),
        ValueKind::Number(number) => Some(spelled(number)),
        ValueKind::Binary {
            op: Arith::Add,
            left,
            right,
        } => Some(format!("{} + {}", plain_text(left)?, plain_text(right)?)),
        _ => None,
    }
}

/// The word that a number spells: `100`, or `60309` written with its unit glued on.
fn word_spelled(words: &Words, number: &Number) -> Option<usize> {
    let glued: String = spelled(number).split(' ').collect();
    words.iter().position(|w| *w == glued)
}

/// The set of words or truths that texts of a parameter name, under the words of a fact.
pub(super) fn texts_of(value: &Possible) -> Vec<&str> {
    match value {
        Possible::Text(text) => vec![text],
        Possible::OneOf(values) => values.iter().flat_map(texts_of).collect(),
        _ => Vec::new(),
    }
}
