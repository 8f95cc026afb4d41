//! What a place of a design means: the kind of thing that is written there, the fact, the object.

use std::ops::Range;

use super::state::View;
use crate::design::cursor::{Cursor, Level, Standing, cursor};
use crate::design::model::{Design, ObjectId, Possible};
use crate::ruleset::Ruleset;
use crate::source::FileId;
use crate::vocabulary::{FactIx, FactType, KindId, Meaning, Vocabulary};

/// What is written around a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Inside {
    /// Nothing: the outermost level.
    Top,
    /// A thing of this kind.
    Of(KindId),
    /// Something that is no thing, or not understood.
    Other,
}

/// See the module.
pub(super) struct Context<'t> {
    text: &'t str,
    pub(super) cursor: Cursor,
    pub(super) inside: Inside,
    /// The fact whose key or value is there.
    pub(super) fact: Option<FactIx>,
}

impl<'t> Context<'t> {
    pub(super) fn new(text: &'t str, v: &Vocabulary, at: usize) -> Self {
        let cursor = cursor(text, at);
        let mut inside = Inside::Top;
        for level in &cursor.levels {
            inside = into(text, v, inside, level);
        }
        let fact = match (inside, &cursor.key) {
            (Inside::Of(kind), Some(key)) => {
                fact_named(v, kind, text.get(key.clone()).unwrap_or(""))
            }
            _ => None,
        };
        Self {
            text,
            cursor,
            inside,
            fact,
        }
    }

    /// The text of a word.
    pub(super) fn word(&self, at: &Range<usize>) -> &'t str {
        self.text.get(at.clone()).unwrap_or("")
    }

    /// The word at the place.
    pub(super) fn token(&self) -> &'t str {
        self.word(&self.cursor.token)
    }

    /// Whether the word is itself the key.
    pub(super) fn is_key(&self) -> bool {
        self.cursor.key.as_ref() == Some(&self.cursor.token)
    }

    /// Kind and fact.
    pub(super) fn of(&self) -> Option<(KindId, FactIx)> {
        match (self.inside, self.fact) {
            (Inside::Of(kind), Some(fact)) => Some((kind, fact)),
            _ => None,
        }
    }

    /// The words of the head that the place is in, itself included.
    pub(super) fn head(&self) -> Vec<&'t str> {
        let before = self.cursor.before.iter().map(|w| self.word(w));
        before.chain([self.token()]).collect()
    }

    /// Whether something can be written at the place at all.
    pub(super) fn is_written(&self) -> bool {
        !matches!(self.cursor.standing, Standing::Quotes | Standing::Comment)
    }
}

/// A fact by its name, another spelling, or another word of the trade.
fn fact_named(v: &Vocabulary, kind: KindId, name: &str) -> Option<FactIx> {
    let short = v.short.get(&kind).and_then(|s| s.meaning(name));
    v.kind(kind).fact_named(name).or(match short {
        Some(Meaning::Fact(fact)) => Some(*fact),
        _ => None,
    })
}

/// The kind of a part that a word opens.
pub(super) fn opened(v: &Vocabulary, word: &str) -> Option<KindId> {
    let word = v.opened_by(word).unwrap_or(word);
    v.head_words.get(word).map(|(kind, _)| *kind)
}

/// What stands inside a bracket.
fn into(text: &str, v: &Vocabulary, around: Inside, level: &Level) -> Inside {
    let word = |r: &Range<usize>| text.get(r.clone()).unwrap_or("");
    let words: Vec<&str> = level.words.iter().map(word).collect();
    if let (Inside::Of(kind), Some(key)) = (around, &level.key)
        && let Some(fact) = fact_named(v, kind, word(key))
        && let FactType::Part(part) | FactType::Parts(part) = v.fact(kind, fact).ty
    {
        let suits = |k: &KindId| v.fits(*k, part);
        let head = words.iter().find_map(|w| opened(v, w).filter(suits));
        return Inside::Of(head.unwrap_or(part));
    }
    if let ["define", _, "as", head, ..] = words.as_slice() {
        return opened(v, head).map_or(Inside::Other, Inside::Of);
    }
    let named = |w: &&str| v.kind_named(v.opened_by(w).unwrap_or(w));
    words
        .iter()
        .find_map(named)
        .map_or(Inside::Other, Inside::Of)
}

/// The innermost thing of a kind around a byte of a file.
pub(super) fn object_at(
    design: &Design,
    file: FileId,
    at: usize,
    kind: KindId,
) -> Option<ObjectId> {
    let around = |id: &ObjectId| {
        let o = design.object(*id);
        let s = o.span;
        !o.phantom && o.kind == kind && s.file == file && s.from() <= at && at <= s.until()
    };
    let size = |id: &ObjectId| design.object(*id).span.until() - design.object(*id).span.from();
    // Of members of one block the first.
    design.ids().filter(around).min_by_key(|id| (size(id), *id))
}

/// What a view's design is judged by, and the design.
pub(super) fn judged(view: &View) -> Option<(&Ruleset, &Design)> {
    let of = view.loaded.installation.as_ref()?;
    Some((of.ruleset(), of.design()))
}

/// The objects that a value names.
pub(super) fn named(value: &Possible, into: &mut Vec<ObjectId>) {
    match value {
        Possible::Object(id) => into.push(*id),
        Possible::List(all) | Possible::OneOf(all) => all.iter().for_each(|v| named(v, into)),
        _ => {}
    }
}
