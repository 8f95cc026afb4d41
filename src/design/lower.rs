//! What reads one piece of a file: where its matches stand, and what they say.

use pest::iterators::Pair;

use super::fold::{fold_unit, fold_word};
use super::grammar::{Problems, Rule};
use super::tree::{Entry, Item, Word};
use crate::source::{FileId, Problem, Reports, Span};

/// Tree building over one piece of a file.
pub(super) struct Lower<'a> {
    pub(super) file: FileId,
    /// The piece.
    pub(super) text: &'a str,
    /// Where the piece begins.
    base: usize,
    problems: &'a mut Problems,
}

/// What an entry of the text becomes; items may turn out to stand where they may not.
pub(super) enum Built {
    Entry(Entry),
    Item(Item),
}

/// The fact last read, to which junk on the same line belongs.
pub(super) struct Before {
    /// Index among the entries.
    pub(super) index: usize,
    /// Where the fact ends.
    pub(super) end: usize,
}

impl Reports for Lower<'_> {
    fn report(&mut self, problem: Problem) {
        self.problems.report(problem);
    }
}

impl<'a> Lower<'a> {
    pub(super) fn new(
        file: FileId,
        text: &'a str,
        base: usize,
        problems: &'a mut Problems,
    ) -> Self {
        Self {
            file,
            text,
            base,
            problems,
        }
    }

    pub(super) fn span(&self, pair: &Pair<'_, Rule>) -> Span {
        let span = pair.as_span();
        Span::new(self.file, self.base + span.start(), self.base + span.end())
    }

    /// A span of this piece, given by bytes of it.
    pub(super) fn within(&self, start: usize, end: usize) -> Span {
        Span::new(self.file, self.base + start, self.base + end)
    }

    /// The text under a span of this piece.
    pub(super) fn slice(&self, span: Span) -> &'a str {
        self.text
            .get(span.from().saturating_sub(self.base)..span.until().saturating_sub(self.base))
            .unwrap_or("")
    }

    pub(super) fn word(&self, pair: &Pair<'_, Rule>) -> Word {
        Word::new(fold_word(pair.as_str()), self.span(pair))
    }

    pub(super) fn unit(&self, pair: &Pair<'_, Rule>) -> Word {
        Word::new(fold_unit(pair.as_str()), self.span(pair))
    }
}
