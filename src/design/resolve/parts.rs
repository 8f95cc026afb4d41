//! Parts written in place: opened by a word, copied from a define, or chosen among several.

use super::expected::opening_words;
use super::resolver::{Resolver, Site, listed, written};
use crate::design::model::{Object, ObjectId, Possible};
use crate::design::tree::{Define, Entry, Value, ValueKind, Word, blocks_in};
use crate::source::{Problem, Span, closest};
use crate::vocabulary::{FactType, KindId, Vocabulary, WordSet, with_article};

/// How many defines may stand in one another.
const MOST_NESTED_DEFINES: usize = 16;

/// The most alternatives of one value: which of them holds is kept as one set.
pub(super) const MOST_ALTERNATIVES: usize = WordSet::MOST;

/// Where a part stands.
#[derive(Clone, Copy)]
pub(super) struct Role<'s> {
    pub site: &'s Site<'s>,
    /// The kind that is asked for.
    pub kind: KindId,
    /// What it is called there: `device`, `cables 2`.
    pub name: &'s str,
}

impl<'a> Resolver<'a> {
    /// One part; alternatives were taken apart before.
    pub(super) fn part(&mut self, role: Role<'_>, value: &'a Value) -> Option<Possible> {
        let Role { site, kind, .. } = role;
        match &value.kind {
            ValueKind::Part { head, entries } => {
                let (real, sets) = self.opened(site, kind, head)?;
                self.build(role, real, sets, entries, head.span, value.span)
            }
            ValueKind::Word(word) => self.part_named(role, word, value.span),
            ValueKind::Indexed { word, index } => {
                let name = self.indexed_name(site, word, index)?;
                self.named(&name, value.span, Some(kind))
            }
            ValueKind::List(_) => {
                let declared = &self.vocabulary.kind(kind).name;
                let fact = &site.fact.name;
                let what = with_article(declared);
                let why = format!("`{fact}` takes {what}, and this is a list");
                Problem::wrong("one-part", value.span, why)
                    .help("write one of them, or alternatives with `|`")
                    .fail(self)
            }
            _ => self.wrong_type(site, value),
        }
    }

    /// Parts in order.
    pub(super) fn parts(
        &mut self,
        site: &Site<'_>,
        kind: KindId,
        value: &'a Value,
    ) -> Option<Possible> {
        let values = value.listed();
        let mut parts = Vec::with_capacity(values.len());
        for (place, value) in values.iter().enumerate() {
            let name = format!("{} {}", site.fact.name, place + 1);
            let name = name.as_str();
            let one = |this: &mut Self, v| this.part(Role { site, kind, name }, v);
            parts.push(self.member(value, "parts", &one));
        }
        if parts.contains(&Possible::Poison) {
            return None;
        }
        Some(Possible::List(parts))
    }

    /// A member of a list, a choice of members, or unknown; poison, where it is written wrongly.
    /// `one` reads a single member.
    pub(super) fn member(
        &mut self,
        value: &'a Value,
        members: &str,
        one: &dyn Fn(&mut Self, &'a Value) -> Option<Possible>,
    ) -> Possible {
        let read = match &value.kind {
            ValueKind::Unknown => Some(Possible::Unknown),
            ValueKind::Bad => None,
            ValueKind::OneOf(values) if values.len() > MOST_ALTERNATIVES => {
                self.too_many_alternatives(value.span, values.len())
            }
            ValueKind::OneOf(values) => {
                let read = values.iter().map(|v| self.member(v, members, one));
                let read = read.collect();
                Some(self.one_of(read, value.span))
            }
            ValueKind::List(_) => Problem::wrong(
                "alternatives-of-rows",
                value.span,
                "alternatives of whole lists cannot be written",
            )
            .help("write the alternatives inside the list, as in `(a | b), c`")
            .fail(self),
            ValueKind::Absent => Problem::wrong(
                "none-in-list",
                value.span,
                format!("`none` stands in a list of {members}"),
            )
            .help("leave it out of the list")
            .fail(self),
            _ => one(self, value),
        };
        read.unwrap_or(Possible::Poison)
    }

    /// The kind that a word opens, and which of its heads the word is. None: it was reported.
    fn opened(
        &mut self,
        site: &Site<'_>,
        kind: KindId,
        head: &Word,
    ) -> Option<(KindId, Option<usize>)> {
        let word = head.text.as_str();
        if let Some(define) = self.defines.get(word).copied() {
            // A define of what is none: with all others their own word stands here by now.
            return self.unknown_part(site, kind, &define.head.text, define.head.span);
        }
        let Some((real, sets)) = opens(self.vocabulary, word) else {
            return self.unknown_part(site, kind, word, head.span);
        };
        self.fits_part(site, kind, real, (word, head.span))?;
        Some((real, sets))
    }

    /// Sees that a part of one kind can stand where another is asked for. None: it cannot, which
    /// was reported.
    fn fits_part(
        &mut self,
        site: &Site<'_>,
        wanted: KindId,
        real: KindId,
        (text, span): (&str, Span),
    ) -> Option<()> {
        let vocabulary = self.vocabulary;
        if vocabulary.fits(real, wanted) && !vocabulary.kind(real).is_abstract() {
            return Some(());
        }
        let words = opening_words(vocabulary, wanted);
        let name = &site.fact.name;
        let what = with_article(&vocabulary.kind(wanted).name);
        let other = with_article(&vocabulary.kind(real).name);
        let why = format!("`{name}` takes {what}, and `{text}` opens {other}");
        Problem::wrong("wrong-part", span, why)
            .help(format!("open it with {}", listed(&words, "or")))
            .fail(self)
    }

    fn part_named(&mut self, role: Role<'_>, word: &'a str, span: Span) -> Option<Possible> {
        let Role { site, kind, .. } = role;
        if let Some(define) = self.defines.get(word).copied() {
            return self.copy(role, define, span);
        }
        if self.parameters.contains_key(word) {
            let name = &site.fact.name;
            let why = format!("`{name}` takes a part, and `{word}` is a parameter");
            return Problem::wrong("wrong-type", span, why)
                .help("write alternatives of parts in place, as in `a { … } | b { … }`")
                .fail(self);
        }
        let opened = opens(self.vocabulary, word);
        let named = self.objects_named(word, Some(kind));
        if let (Some((real, sets)), true) = (opened, named.is_empty()) {
            self.fits_part(site, kind, real, (word, span))?;
            return self.build(role, real, sets, &[], span, span);
        }
        if named.is_empty() && !self.lost.contains(word) {
            return self.unknown_part(site, kind, word, span);
        }
        self.named(word, span, Some(kind))
    }

    fn unknown_part<T>(
        &mut self,
        site: &Site<'_>,
        kind: KindId,
        word: &str,
        span: Span,
    ) -> Option<T> {
        if self.is_reported("unknown-part", span) || self.asked(word, span) {
            return None;
        }
        let declared = &self.vocabulary.kind(kind).name;
        let opening = opening_words(self.vocabulary, kind);
        let vocabulary = self.vocabulary;
        let fits =
            |head: &str| opens(vocabulary, head).is_some_and(|(k, _)| vocabulary.fits(k, kind));
        let defined = self.defines_written.iter().filter(|d| fits(&d.head.text));
        let shipped = vocabulary.products.iter().filter(|p| fits(&p.is));
        let objects = self.names_fitting(Some(kind));
        let names = defined
            .map(|d| d.name.text.as_str())
            .chain(shipped.map(|p| p.name.as_str()))
            .chain(opening.iter().copied())
            .chain(objects.iter().map(String::as_str));
        let fact = &site.fact.name;
        let what = with_article(declared);
        let why = format!("`{fact}` takes {what}, and `{word}` is none");
        let mut problem = Problem::wrong("unknown-part", span, why);
        problem = match closest(word, names) {
            Some(name) => problem.meant(word, name),
            None if opening.is_empty() => problem,
            None => problem.help(format!("open it with {}", listed(&opening, "or"))),
        };
        let help = format!(
            "or define it once, as in `define {word} as {} {{ … }}`",
            opening.first().unwrap_or(&"")
        );
        problem.help(help).fail(self)
    }

    /// A copy of a define: an object of its own at each use.
    fn copy(&mut self, role: Role<'_>, define: &'a Define, span: Span) -> Option<Possible> {
        let Role { site, kind, .. } = role;
        let name = define.name.text.as_str();
        if self.copying.contains(&name) {
            let mut loop_names: Vec<_> = self
                .copying
                .iter()
                .copied()
                .skip_while(|n| *n != name)
                .collect();
            loop_names.push(name);
            let why = format!(
                "the define `{name}` holds itself: {}",
                listed(&loop_names, "and")
            );
            return Problem::wrong("circular-define", span, why)
                .at(define.name.span, "defined here")
                .help("write one of the parts out in place")
                .fail(self);
        }
        if self.copying.len() >= MOST_NESTED_DEFINES {
            let why = "defines stand in one another too deeply";
            return Problem::wrong("nested-defines", span, why)
                .help("write one of the parts out in place")
                .fail(self);
        }
        let Some((real, sets)) = opens(self.vocabulary, &define.head.text) else {
            // Reported once for the define, however often it is used.
            return self.unknown_part(site, kind, &define.head.text, define.head.span);
        };
        self.fits_part(site, kind, real, (name, span))?;
        self.copying.push(name);
        let built = self.build(role, real, sets, &define.entries, span, span);
        self.copying.pop();
        built
    }

    /// Makes the object of a part and reads its facts.
    fn build(
        &mut self,
        role: Role<'_>,
        kind: KindId,
        sets: Option<usize>,
        entries: &'a [Entry],
        head: Span,
        span: Span,
    ) -> Option<Possible> {
        if !self.room_for(1, span) {
            return None;
        }
        let declared = self.vocabulary.kind(kind);
        let inherited = self
            .design
            .objects
            .get(role.site.object.0 as usize)
            .map(|o| o.status);
        let silent = Object::silent(kind, declared.facts.len(), role.name.to_owned(), span, head);
        let object = Object {
            owner: Some(role.site.object),
            status: self.status(entries, inherited.unwrap_or_default()),
            ..silent
        };
        let id = self.add_object(object);
        self.read_closed(id, entries);
        let head_sets = sets.and_then(|place| declared.heads.get(place));
        for (fact, word) in head_sets.iter().flat_map(|h| &h.sets) {
            let value = match declared.facts.get(fact.0 as usize).map(|f| &f.ty) {
                Some(FactType::Some { .. }) => Possible::Members(WordSet::one(usize::from(*word))),
                _ => Possible::Words(WordSet::one(usize::from(*word))),
            };
            self.set_fact(id, *fact, written(value, head, head));
        }
        for block in blocks_in(entries) {
            self.block_in_part(id, &block.kind);
        }
        self.facts(id, entries, role.site.turn);
        Some(Possible::Object(id))
    }

    fn block_in_part(&mut self, id: ObjectId, word: &Word) {
        let kind = self.design.object(id).kind;
        let opened = opens(self.vocabulary, &word.text);
        let facts = opened.map_or(Vec::new(), |(part, _)| self.part_facts(kind, part));
        let what = with_article(&self.vocabulary.kind(kind).name);
        let why = format!("a block stands inside {what}, which is a part");
        let mut problem = Problem::wrong("misplaced-block", word.span, why);
        problem = match facts.first() {
            Some(ix) => {
                let name = &self.vocabulary.fact(kind, *ix).name;
                problem.help(format!("write `{name}: {} {{ … }}`", word.text))
            }
            None => problem.help("move it out, to the outermost level of the file"),
        };
        problem.report(self);
        if let [only] = facts.as_slice() {
            self.spoil(id, *only, word.span);
        }
    }
}

/// The kind that a word opens as a part, and which of its heads the word is.
pub(super) fn opens(vocabulary: &Vocabulary, word: &str) -> Option<(KindId, Option<usize>)> {
    match vocabulary.head_words.get(word) {
        Some((kind, place)) => Some((*kind, Some(*place))),
        None => vocabulary.kind_named(word).map(|kind| (kind, None)),
    }
}
