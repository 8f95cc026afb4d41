//! Departures: recorded exceptions to one rule, and records of what was judged elsewhere.

use super::resolver::{Resolver, Site};
use super::words::{day_of, plain_text};
use crate::design::model::{AsFound, Departure, Object, ObjectId, Possible};
use crate::design::tree::{Block, Entry, FactEntry, Value, ValueKind, Word};
use crate::source::{Problem, Span, Spanned};
use crate::vocabulary::{Fact, FactType, with_article};

/// How a record of an exception is written.
struct Form {
    /// What messages call it.
    name: &'static str,
    /// What it may say: whom it is for, why, who agreed, and so on.
    keys: &'static [&'static str],
    /// What it must say, and what is said where it does not.
    needed: &'static [(&'static str, &'static str, &'static str)],
}

const DEPARTURE: Form = Form {
    name: "departure from",
    keys: &["for", "reason", "agreed-by", "until", "as-found"],
    needed: &[
        ("reason", "does not give its reason", "\"…\""),
        ("agreed-by", "does not say who agreed", "\"…\""),
    ],
};

const ELSEWHERE: Form = Form {
    name: "judged-elsewhere",
    keys: &["for", "why", "by", "on", "until", "as-found"],
    needed: &[
        ("why", "does not say what came of it", "\"…\""),
        ("by", "does not say who judged", "\"…\""),
        ("on", "does not say when", "2026-01-31"),
    ],
};

/// What every block may say, and what is no fact that could be pinned.
const NO_FACTS: [&str; 4] = ["status", "all-listed", "present", "evidence"];

/// What stands in the block of a record: its keys, the block `as-found`, and whether all of it
/// could be read.
struct Read<'a> {
    sound: bool,
    seen: Vec<(&'a str, Span)>,
    pinned: Option<&'a Block>,
}

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
        let elsewhere = block.from.is_none();
        let form = if elsewhere { &ELSEWHERE } else { &DEPARTURE };
        let Some(rule) = block.from.as_ref().or(block.name.as_ref().map(|n| &n.word)) else {
            let why = "`judged-elsewhere` does not say what was judged";
            return Problem::wrong("no-name", block.kind.span, why)
                .help("write the id that the report names: `judged-elsewhere ID { … }`")
                .fail(self);
        };
        let mut departure = Departure {
            rule: Spanned::new(rule.text.clone(), rule.span),
            elsewhere,
            on: None,
            subject: None,
            reason: None,
            agreed_by: None,
            until: None,
            as_found: None,
        };
        let Read {
            mut sound,
            seen,
            pinned,
        } = self.facts_of_departure(block, form, &mut departure);
        let said = |key: &str| seen.iter().any(|(k, _)| *k == key);
        self.lacking(block, rule, form, said);
        if let Some(day) = &departure.on {
            self.note_date(day.value);
        }
        if let Some(repeat) = block.name.as_ref().and_then(|n| n.repeat.as_ref()) {
            sound = false;
            let why = "this record stands for itself, not for many";
            Problem::wrong("wrong-form", repeat.span, why)
                .help("take the brackets out; without `for:` it is about all of them")
                .report(self);
        }
        if let Some(block) = pinned {
            departure.as_found = match &departure.subject {
                Some(subject) => self.as_found(block, subject.value),
                // A `for` that cannot be read was reported.
                None if said("for") => None,
                None => {
                    let why = "`as-found` pins facts of one subject, and none is named";
                    Problem::wrong("incomplete-departure", block.kind.span, why)
                        .help("add `for:` with the name of the block whose facts these are")
                        .fail(self)
                }
            };
            sound &= departure.as_found.is_some();
        }
        sound.then_some(departure)
    }

    /// Reads what stands in the block into the departure.
    fn facts_of_departure(
        &mut self,
        block: &'a Block,
        form: &Form,
        departure: &mut Departure,
    ) -> Read<'a> {
        let (mut sound, mut pinned) = (true, None);
        let mut seen: Vec<(&'a str, Span)> = Vec::new();
        for entry in &block.entries {
            let Entry::Fact(fact) = entry else {
                sound &= self.block_in_departure(entry, &mut pinned);
                continue;
            };
            let key = fact.key.text.as_str();
            if !self.once(&mut seen, key, fact.key.span) {
                sound = false;
                continue;
            }
            let value = &fact.value;
            match key {
                _ if !form.keys.contains(&key) => {
                    sound = false;
                    self.unknown_in(form, fact);
                }
                "for" => match self.subject(value) {
                    Some(id) => departure.subject = Some(Spanned::new(id, value.span)),
                    None => sound = false,
                },
                "reason" | "why" => departure.reason = self.text_in_departure(fact),
                "agreed-by" | "by" => departure.agreed_by = self.text_in_departure(fact),
                "on" => {
                    departure.on = self.day_in_departure(fact, "day");
                    sound &= departure.on.is_some();
                }
                "until" => {
                    departure.until = self.day_in_departure(fact, "last day");
                    sound &= departure.until.is_some();
                }
                _ => {
                    sound = false;
                    Problem::wrong("wrong-form", fact.key.span, "`as-found` is a block, not a fact")
                        .help("write the facts of the subject in it, without a colon before the brace, as in `as-found { length: 18 m }`")
                        .report(self);
                }
            }
        }
        Read {
            sound,
            seen,
            pinned,
        }
    }

    /// Reports what such a block needs and does not say.
    fn lacking(&mut self, block: &Block, rule: &Word, form: &Form, said: impl Fn(&str) -> bool) {
        for (i, (key, what, example)) in form.needed.iter().enumerate() {
            if !said(key) {
                // Each has a place of its own: of one place a mistake is told once.
                let at = match i {
                    0 => rule.span,
                    1 => block.kind.span,
                    _ => block.kind.span.to(rule.span),
                };
                let why = format!("this {} `{}` {what}", form.name, rule.text);
                Problem::wrong("incomplete-departure", at, why)
                    .help(format!("add `{key}: {example}`"))
                    .report(self);
            }
        }
    }

    /// The block `as-found`, and what stands inside a departure and must not: both are no facts.
    /// False: it is there twice.
    fn block_in_departure(&mut self, entry: &'a Entry, pinned: &mut Option<&'a Block>) -> bool {
        match entry {
            Entry::Block(inner) if inner.kind.text == "as-found" => {
                if let Some(first) = pinned {
                    Problem::error("duplicate-fact", "`as-found` is written twice")
                        .at(inner.kind.span, "again")
                        .at(first.kind.span, "first here")
                        .help("put all that is pinned into one of them")
                        .report(self);
                    return false;
                }
                *pinned = Some(inner);
            }
            Entry::Block(inner) => self.in_departure(inner.kind.span),
            Entry::No(no) => self.in_departure(no.span),
            Entry::Fact(_) => {}
        }
        true
    }

    /// A date of a departure. None: it was reported.
    fn day_in_departure(&mut self, fact: &FactEntry, day: &str) -> Option<Spanned<i32>> {
        let (key, value) = (&fact.key.text, &fact.value);
        if let Some(day) = day_of(value) {
            return Some(Spanned::new(day, value.span));
        }
        if value.is_bad() {
            return None;
        }
        Problem::wrong("wrong-type", value.span, format!("`{key}` takes a date"))
            .help(format!("write the {day}, as in `{key}: 2027-03-31`"))
            .fail(self)
    }

    /// The facts that `as-found { … }` pins, read as they are in the subject itself. None: it
    /// was reported.
    fn as_found(&mut self, block: &'a Block, subject: ObjectId) -> Option<AsFound> {
        let mut sound = true;
        let mut refuse = |this: &mut Self, span: Span, help: &str| {
            sound = false;
            Problem::wrong("wrong-form", span, "this cannot be pinned by `as-found`")
                .help(help)
                .report(this);
        };
        if let Some(name) = &block.name {
            refuse(
                self,
                name.word.span,
                "leave it out: `for:` names the subject",
            );
        }
        for entry in &block.entries {
            let help = "write facts of the subject, as they stand in it";
            match entry {
                Entry::Fact(fact) if NO_FACTS.contains(&fact.key.text.as_str()) => {
                    refuse(self, fact.key.span, help);
                }
                Entry::Fact(_) => {}
                Entry::Block(inner) => refuse(self, inner.kind.span, help),
                Entry::No(no) => refuse(self, no.span, help),
            }
        }
        if block.entries.is_empty() {
            refuse(
                self,
                block.kind.span,
                "write the facts that were agreed on, or leave it out",
            );
        }
        if !sound || !self.room_for(1, block.kind.span) {
            return None;
        }
        // The facts are read into objects of their own, which are then taken out of the design:
        // nothing judges them.
        let base = self.design.objects.len();
        let like = self.design.object(subject);
        let object = Object {
            facts: vec![None; like.facts.len()],
            closed: Vec::new(),
            absent: false,
            evidence: None,
            owner: None,
            scope: None,
            span: block.span,
            head: block.kind.span,
            ..like.clone()
        };
        let id = self.add_object(object);
        self.facts(id, &block.entries, None);
        let objects = self.design.objects.split_off(base);
        let mut worked_out = Vec::new();
        for written in objects.iter().flat_map(|o| &o.facts).flatten() {
            sound &= !written.value.any(&|v| matches!(v, Possible::Poison));
            if written.value.any(&|v| matches!(v, Possible::Formula(_))) {
                worked_out.push(written.span);
            }
        }
        for span in worked_out {
            sound = false;
            let why = "a value worked out from parameters cannot be pinned by `as-found`";
            Problem::wrong("wrong-form", span, why)
                .help("write the value that was agreed on")
                .report(self);
        }
        let base = u32::try_from(base).ok()?;
        sound.then_some(AsFound { objects, base })
    }

    fn in_departure(&mut self, span: Span) {
        let why = "this cannot stand inside a departure";
        Problem::wrong("misplaced-block", span, why)
            .help("move it out, to the outermost level of the file")
            .report(self);
    }

    fn unknown_in(&mut self, form: &Form, fact: &FactEntry) {
        let key = &fact.key.text;
        let keys: Vec<String> = form.keys.iter().map(|k| format!("`{k}`")).collect();
        let keys = keys
            .join(", ")
            .replace("`, `as-found`", "` or `as-found { … }`");
        let what = form.name.trim_end_matches(" from");
        let why = format!("{} has no fact called `{key}`", with_article(what));
        Problem::error("unknown-fact", why)
            .at(fact.key.span, format!("expected {keys}"))
            .did_you_mean(key, form.keys.iter().copied())
            .report(self);
    }

    fn text_in_departure(&mut self, fact: &FactEntry) -> Option<Spanned<String>> {
        let value = &fact.value;
        let text = plain_text(value).filter(|t| !t.trim().is_empty());
        if text.is_none() && !value.is_bad() {
            let key = &fact.key.text;
            Problem::wrong("wrong-type", value.span, format!("`{key}` takes a text"))
                .help(format!("write it in quotes, as in `{key}: \"…\"`"))
                .report(self);
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
                let site = Site::nowhere(&fact);
                let name = self.indexed_name(&site, word, index)?;
                self.named(&name, value.span, None)
            }
            _ => Problem::error("wrong-type", "`for` takes the name of one block")
                .at(value.span, "")
                .help("leave it out, if the departure is about all of them")
                .fail(self),
        };
        match read? {
            Possible::Object(id) => Some(id),
            _ => None,
        }
    }
}

/// Stands for the fact where a value is read that belongs to none.
fn nameless_fact(span: Span) -> Fact {
    Fact::plain("for", FactType::Text, span)
}
