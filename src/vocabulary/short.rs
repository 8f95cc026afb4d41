//! How a design may say things of a kind shortly: values without their keys, marks as the trade
//! prints them, and other words for its facts and values.

use serde::{Deserialize, Serialize};

use super::FactIx;

/// What may be said shortly of one kind.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Short {
    /// Values stand first in the head of its blocks, where others have a name.
    pub values_first: bool,
    /// Facts whose values may stand in a head without their key.
    pub unkeyed: Vec<Unkeyed>,
    /// Texts that hold values of several facts, or say which fact one is of.
    pub marks: Vec<Mark>,
    /// Other words, and what each stands for.
    pub also: Vec<(String, Meaning)>,
    /// Words that open the part of a fact where none is written.
    pub opened_by: Vec<(FactIx, String)>,
}

/// A fact whose values may stand in a head without their key.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Unkeyed {
    /// The fact.
    pub fact: FactIx,
    /// The words of a choice that may.
    pub words: Vec<String>,
    /// The ranges of a quantity that may; all of its dimension, if there are none.
    pub ranges: Vec<Usual>,
}

/// A range of a quantity, in the unit in which it is usually written.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Usual {
    /// The unit.
    pub unit: String,
    /// The least, in SI units.
    pub lo: f64,
    /// The greatest, in SI units.
    pub hi: f64,
}

/// What another word stands for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Meaning {
    /// The word that opens such a block or part.
    Opens(String),
    /// A fact of the kind.
    Fact(FactIx),
    /// A word of a fact of the kind.
    Word(FactIx, String),
    /// A mark of the kind.
    Mark(String),
}

/// A text such as `{curve}{In}`, and what it is made of.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Mark {
    /// As the ruleset writes it, without its unit.
    pub text: String,
    /// Its pieces in order.
    pub pieces: Vec<Piece>,
    /// The unit that stands behind it.
    pub unit: Option<String>,
}

/// A piece of a mark.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub enum Piece {
    /// A value of this fact: one of these words, or a number if there are none.
    Fact(FactIx, Vec<String>),
    /// This text.
    Text(String),
}

impl Mark {
    /// The values in a text that is such a mark as a whole: fact, first and last byte.
    #[must_use]
    pub fn read(&self, text: &str) -> Option<Vec<(FactIx, usize, usize)>> {
        fn from(pieces: &[Piece], text: &str, at: usize) -> Option<Vec<(FactIx, usize, usize)>> {
            let rest = text.get(at..)?;
            let Some((first, others)) = pieces.split_first() else {
                return rest.is_empty().then(Vec::new);
            };
            match first {
                Piece::Text(t) => from(
                    others,
                    text,
                    at + rest.strip_prefix(t.as_str()).map(|_| t.len())?,
                ),
                Piece::Fact(fact, words) if words.is_empty() => {
                    let number = |c: char| c.is_ascii_digit() || c == '.';
                    let end = at + rest.find(|c| !number(c)).unwrap_or(rest.len());
                    let whole = rest.starts_with(|c: char| c.is_ascii_digit());
                    let mut all = from(others, text, end).filter(|_| whole)?;
                    all.insert(0, (*fact, at, end));
                    Some(all)
                }
                Piece::Fact(fact, words) => words.iter().find_map(|word| {
                    let end = at + rest.strip_prefix(word.as_str()).map(|_| word.len())?;
                    let mut all = from(others, text, end)?;
                    all.insert(0, (*fact, at, end));
                    Some(all)
                }),
            }
        }
        from(&self.pieces, text, 0)
    }
}

impl Short {
    /// What another word stands for; the case of its letters does not matter in one of three or more.
    #[must_use]
    pub fn meaning(&self, word: &str) -> Option<&Meaning> {
        let same = |w: &str| w == word || w.len() > 2 && w.eq_ignore_ascii_case(word);
        let found = self.also.iter().find(|(w, _)| same(w));
        found.map(|(_, meaning)| meaning)
    }

    /// A text as the mark that it is, or that it is another word for.
    #[must_use]
    pub fn as_mark<'t>(&'t self, word: &'t str) -> &'t str {
        match self.meaning(word) {
            Some(Meaning::Mark(mark)) => mark,
            _ => word,
        }
    }

    /// The fact that a word without a key is a value of, and the value.
    #[must_use]
    pub fn word(&self, word: &str) -> Option<(FactIx, String)> {
        let holds = |u: &&Unkeyed| u.words.iter().any(|w| w == word);
        match (self.unkeyed.iter().find(holds), self.meaning(word)) {
            (Some(found), _) => Some((found.fact, word.to_owned())),
            (None, Some(Meaning::Word(fact, meant))) => Some((*fact, meant.clone())),
            _ => None,
        }
    }

    /// Whether a word of a fact can be said without its key, alone or in a mark; of a fact of
    /// which none can the answer is yes.
    #[must_use]
    pub fn may_be_unkeyed(&self, fact: FactIx, word: &str) -> bool {
        let alone = self
            .unkeyed
            .iter()
            .filter(|u| u.fact == fact)
            .flat_map(|u| &u.words);
        let marked = self
            .marks
            .iter()
            .flat_map(|m| &m.pieces)
            .filter_map(|p| match p {
                Piece::Fact(ix, words) if *ix == fact => Some(words),
                _ => None,
            });
        let also = self
            .also
            .iter()
            .any(|(_, m)| matches!(m, Meaning::Word(ix, _) if *ix == fact));
        let mut all = alone.chain(marked.flatten()).peekable();
        let none = all.peek().is_none() && !also;
        none || all.any(|w| w == word)
    }

    /// The values of a text that is one of the marks.
    #[must_use]
    pub fn mark(&self, text: &str, unit: Option<&str>) -> Option<Vec<(FactIx, usize, usize)>> {
        let same = self.marks.iter().filter(|m| m.unit.as_deref() == unit);
        same.into_iter().find_map(|m| m.read(text))
    }

    /// Whether a word can stand for a value without its key.
    #[must_use]
    pub fn takes(&self, word: &str) -> bool {
        self.word(word).is_some() || self.mark(self.as_mark(word), None).is_some()
    }
}
