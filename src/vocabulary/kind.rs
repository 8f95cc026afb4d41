//! Kinds of things, and the vocabulary that holds them.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use rustc_hash::FxHashMap;

use super::{
    Fact, FactIx, FactType, KindId, Later, Meaning, Product, Series, SeriesId, Settler, Short,
    in_order,
};
use crate::quantity::Unit;
use crate::source::Span;

/// A word that opens a part of a kind, and the choices it makes.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Head {
    /// The word, e.g. `rcbo`.
    pub word: String,
    /// Facts it sets, and the index of the word each gets.
    pub sets: Vec<(FactIx, u8)>,
}

/// A block this kind may stand in, and the reference that standing there sets.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
pub struct Within {
    /// The kind of the outer block.
    pub kind: KindId,
    /// The fact of the inner one that then refers to the outer.
    pub sets: FactIx,
}

/// What the name of a block means.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum NameRole {
    /// A name of its own.
    Free,
    /// A word of this choice fact (`bond water`).
    Choice(FactIx),
    /// The name of another object, to which this reference leads (`readings ev`).
    Reference(FactIx),
}

/// One kind of thing.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Kind {
    /// Its name: the word that opens a block.
    pub name: String,
    /// What people call it, in a few words; its name where nothing is said.
    pub label: String,
    /// One line that says what it is.
    pub means: String,
    /// With fewer written, phantoms with all facts unknown are judged.
    pub at_least: u32,
    /// Blocks it may stand in.
    pub within: Vec<Within>,
    /// Words that open a part of it.
    pub heads: Vec<Head>,
    /// For an abstract kind: the kinds it stands for. Empty for a real one.
    pub any_of: Vec<KindId>,
    /// Only ever written in place, never a block of its own.
    pub part_only: bool,
    /// A thing that is put in, so that it stands on the sheet of those who install.
    pub built: bool,
    /// An article that is bought: what is not written of it may be left to the rules.
    pub bought: bool,
    /// What the name of a block means.
    pub name_role: NameRole,
    /// Its facts, written and derived.
    pub facts: Later<Vec<Fact>>,
    /// Where it is declared.
    pub span: Span,
}

impl Kind {
    /// The words of a fact, if it is a choice.
    #[must_use]
    pub fn words_of(&self, fact: FactIx) -> &[String] {
        self.fact(fact)
            .words()
            .map_or(&[], |words| words.as_slice())
    }

    /// The fact with this name or spelling.
    #[must_use]
    pub fn fact_named(&self, name: &str) -> Option<FactIx> {
        let named = |f: &Fact| f.name == name || f.also.iter().any(|other| other == name);
        let at = self.facts.iter().position(named)?;
        u16::try_from(at).ok().map(FactIx)
    }

    /// A fact by its index.
    #[must_use]
    pub fn fact(&self, ix: FactIx) -> &Fact {
        &self.facts[ix.0 as usize]
    }

    /// The kind of the part, or parts, that the fact with this name takes.
    #[must_use]
    pub fn part_of(&self, fact: &str) -> Option<KindId> {
        match self.fact(self.fact_named(fact)?).ty {
            FactType::Part(part) | FactType::Parts(part) => Some(part),
            _ => None,
        }
    }

    /// The indices of its facts.
    pub fn fact_ids(&self) -> impl Iterator<Item = FactIx> + use<> {
        (0..=u16::MAX).map(FactIx).take(self.facts.len())
    }

    /// Whether it stands for other kinds.
    #[must_use]
    pub fn is_abstract(&self) -> bool {
        !self.any_of.is_empty()
    }

    /// Names of the facts a design may write.
    pub fn writable_names(&self) -> impl Iterator<Item = &str> {
        self.facts
            .iter()
            .filter(|f| f.writable)
            .map(|f| f.name.as_str())
    }
}

/// All kinds and series.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Vocabulary {
    /// The kinds; a [`KindId`] is an index here.
    pub kinds: Vec<Kind>,
    /// The series; a [`SeriesId`] is an index here.
    pub series: Vec<Series>,
    /// Kind names.
    #[serde(serialize_with = "in_order")]
    pub kind_names: FxHashMap<String, KindId>,
    /// Words that open a part: the kind, and which of its heads.
    #[serde(serialize_with = "in_order")]
    pub head_words: FxHashMap<String, (KindId, usize)>,
    /// Series names.
    #[serde(serialize_with = "in_order")]
    pub series_names: FxHashMap<String, SeriesId>,
    /// What may be said shortly of a kind.
    pub short: BTreeMap<KindId, Short>,
    /// Generic products.
    pub products: Later<Vec<Product>>,
    /// Words of the trade that mean several things or none of what there is, and what to write.
    pub asks: Later<Vec<(String, String)>>,
}

impl Vocabulary {
    /// A kind by its id.
    #[must_use]
    pub fn kind(&self, id: KindId) -> &Kind {
        &self.kinds[id.0 as usize]
    }

    /// Who knows whether a list is complete: of readings and papers those who take them; of what else
    /// belongs to a thing those who found it, or who design it where it is not there yet.
    #[must_use]
    pub fn completes(&self, list: &Fact, found: bool) -> Settler {
        let by = match list.ty {
            FactType::Reverse { kind, fact } => Some(self.fact(kind, fact).settled_by),
            _ => None,
        };
        match by {
            Some(by @ (Settler::Test | Settler::Installer)) => by,
            _ if found => Settler::Site,
            _ => Settler::Designer,
        }
    }

    /// The kind with this name.
    #[must_use]
    pub fn kind_named(&self, name: &str) -> Option<KindId> {
        self.kind_names.get(name).copied()
    }

    /// A series by its id.
    #[must_use]
    pub fn series(&self, id: SeriesId) -> &Series {
        &self.series[id.0 as usize]
    }

    /// What the trade calls a value in place of its figure, `6 AWG`, where it does.
    #[must_use]
    pub fn name_of(&self, value: f64, unit: &Unit) -> Option<&str> {
        let mut all = self.series.iter().filter(|s| s.unit.dim() == unit.dim());
        all.find_map(|s| s.at(value)?.name.as_deref())
    }

    /// A fact of a kind.
    #[must_use]
    pub fn fact(&self, kind: KindId, ix: FactIx) -> &Fact {
        self.kind(kind).fact(ix)
    }

    /// The ids of all kinds.
    pub fn kind_ids(&self) -> impl Iterator<Item = KindId> + use<> {
        (0..=u16::MAX).map(KindId).take(self.kinds.len())
    }

    /// The word of the ruleset that opens what another word opens.
    #[must_use]
    pub fn opened_by(&self, word: &str) -> Option<&str> {
        self.short.values().find_map(|s| match s.meaning(word) {
            Some(Meaning::Opens(meant)) => Some(meant.as_str()),
            _ => None,
        })
    }

    /// What to write for a word that means several things, or none of what there is.
    #[must_use]
    pub fn asked(&self, word: &str) -> Option<&str> {
        let found = self.asks.iter().find(|(w, _)| w.eq_ignore_ascii_case(word));
        found.map(|(_, what)| what.as_str())
    }

    /// Where a block of one kind stands in one of another; none, if it may not.
    #[must_use]
    pub fn within(&self, inner: KindId, outer: KindId) -> Option<&Within> {
        let mut homes = self.kind(inner).within.iter();
        homes.find(|w| self.fits(outer, w.kind))
    }

    /// Whether an object of kind `real` may stand where `wanted` is asked for.
    #[must_use]
    pub fn fits(&self, real: KindId, wanted: KindId) -> bool {
        real == wanted || self.kind(wanted).any_of.contains(&real)
    }
}

/// `a board`, `an electrode`.
#[must_use]
pub fn with_article(word: &str) -> String {
    let vowel = word.starts_with(['a', 'e', 'i', 'o', 'A', 'E', 'I', 'O']);
    format!("{} {word}", if vowel { "an" } else { "a" })
}
