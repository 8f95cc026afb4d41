//! A compiled ruleset.

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use std::sync::Arc;

use super::{Edition, Template};
use crate::expression::{Compiled, Data, Limits, Tables};
use crate::source::{SourceFile, Span, words};
use crate::vocabulary::{FactIx, KindId, Later, Settler, Vocabulary, WordSet};

words! {
    /// When in the job a rule is due.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
    pub enum Stage {
        /// What is found on site.
        Survey = "survey",
        /// What is designed.
        Design = "design",
        /// What is measured.
        Verify = "verify",
        /// What is handed over.
        Handover = "handover",
    }
}

words! {
    /// How heavily a failure weighs.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
    pub enum Severity {
        /// The requirement binds.
        Breach = "breach",
        /// Good practice says otherwise, or it works only under conditions.
        Caution = "caution",
        /// Worth knowing.
        Advice = "advice",
    }
}

words! {
    /// How sure its encoder is of a rule.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
    pub enum Confidence {
        /// A published text states it.
        Published = "published",
        /// From memory, not compared with a text.
        FromMemory = "from-memory",
        /// Common practice; no text states it.
        CommonPractice = "common-practice",
    }
}

/// Where an item of a ruleset comes from.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Origin {
    /// Standard, edition, clause.
    pub clause: Option<String>,
    /// Where it was seen.
    pub source: Option<String>,
    /// The layer that states it.
    pub layer: String,
}

/// A value the ruleset assumes where nothing is written.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Assumed {
    /// A number in SI units.
    Number(f64),
    /// A word of a choice.
    Word(WordSet),
    /// The words in a set of words.
    Members(WordSet),
    /// Yes or no.
    Truth(bool),
    /// `none`
    Absent,
    /// The only object of a kind.
    TheOnly(KindId),
}

/// An assumption.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Assumption {
    /// The value.
    pub value: Assumed,
    /// It holds only for the one block of the kind, or the one of several that is left.
    pub only: bool,
    /// Its text.
    pub text: String,
    /// Where it comes from.
    pub origin: Origin,
    /// Where it stands.
    pub span: Span,
}

/// A formula for a fact.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Derivation {
    /// The formula.
    pub formula: Compiled,
    /// A written value wins.
    pub unless_written: bool,
    /// Where it comes from.
    pub origin: Later<Origin>,
    /// What it replaced: the layer.
    pub replaced: Option<String>,
}

/// A named alternative of a rule.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Way {
    /// Its name.
    pub name: String,
    /// The condition.
    pub condition: Later<Compiled>,
}

/// What a rule asks for.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub enum Requirement {
    /// A condition.
    One(Later<Compiled>),
    /// One of several.
    Ways(Vec<Way>),
    /// Something that these rules do not judge: where it applies, nobody can say here whether it is
    /// kept.
    LeftOut,
}

/// What people read of a rule, whatever came of it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct RuleTexts {
    /// One line.
    pub title: String,
    /// What it is about.
    pub topic: String,
    /// Where it comes from.
    pub origin: Origin,
    /// Why it is asked.
    pub because: Option<String>,
    /// The layer that amended it, and why.
    pub amended: Option<(String, String)>,
    /// The editions it holds in, as written; none for all.
    pub editions: Option<String>,
    /// What to say where it fails.
    pub message: Template,
    /// What to say where it is undecided.
    pub open: Option<Template>,
    /// What would help.
    pub help: Option<Template>,
    /// Facts to point at first.
    pub point_at: Vec<Compiled>,
    /// Rules whose failure explains that of this one, the first that fails before the others.
    pub follows_from: Vec<Cause>,
}

/// A rule.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Rule {
    /// Its id.
    pub id: String,
    /// What people read of it.
    pub texts: Later<RuleTexts>,
    /// When it is due.
    pub stage: Stage,
    /// How a failure weighs.
    pub severity: Severity,
    /// The kind of its subjects.
    pub each: KindId,
    /// Where it applies.
    pub where_: Option<Later<Compiled>>,
    /// What it asks for.
    pub require: Requirement,
    /// How sure its encoder is.
    pub confidence: Confidence,
    /// Whether a departure may cover it.
    pub departable: bool,
    /// Where it stands: its id.
    pub span: Span,
}

impl Rule {
    /// Whether it only tells that something is not judged.
    #[must_use]
    pub const fn is_left_out(&self) -> bool {
        matches!(self.require, Requirement::LeftOut)
    }

    /// Its title and, in brackets, its clause: how reports tell what is left out.
    #[must_use]
    pub fn told_as(&self) -> String {
        let clause = self.texts.origin.clause.as_deref().unwrap_or_default();
        format!("{} ({clause})", self.texts.title)
    }

    /// The conditions of which one must hold.
    #[must_use]
    pub fn conditions(&self) -> Vec<&Compiled> {
        match &self.require {
            Requirement::One(c) => vec![c],
            Requirement::Ways(ways) => ways.iter().map(|w| &*w.condition).collect(),
            Requirement::LeftOut => Vec::new(),
        }
    }
}

/// A figure that every report shows.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Figure {
    /// The kind.
    pub kind: KindId,
    /// The fact.
    pub fact: FactIx,
    /// What it may be at most.
    pub at_most: Option<FactIx>,
    /// What it must be at least.
    pub at_least: Option<FactIx>,
    /// Shown only where this holds.
    pub where_: Option<Later<Compiled>>,
}

/// What a reading is expected to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Expectation {
    /// The kind that holds readings.
    pub record: KindId,
    /// The reading.
    pub reads: FactIx,
    /// The reference of `record` to what was read.
    pub of: FactIx,
    /// The kind of what is read.
    pub kind: KindId,
    /// The figure of it that the reading should come out as.
    pub fact: FactIx,
    /// The figure it may rise to, where that is another.
    pub up_to: Option<FactIx>,
    /// It is read even of what the works leave as it is.
    pub always: bool,
}

/// A fact that somebody outside is told.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Telling {
    /// Who is told.
    pub to: Settler,
    /// The kind.
    pub kind: KindId,
    /// The fact.
    pub fact: FactIx,
    /// What it does on a list of many things.
    pub part: Listed,
}

/// What a fact does on a list that puts like things together.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Listed {
    /// Things that differ in it are not alike.
    Tells,
    /// So many of the thing are meant.
    Times,
    /// It is added up, with a share to spare.
    Sum {
        /// What is added for waste, as a share of the sum.
        spare: f64,
    },
    /// So many further things go with it, called by the fact's name.
    Extra,
}

/// A part that may be put in where a breach is mended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stock {
    /// The kind of the object it is put into.
    pub kind: KindId,
    /// The fact it becomes.
    pub fact: FactIx,
    /// The part as a design writes it.
    pub text: String,
    /// What it costs, in the units of the other costs.
    pub cost: f64,
    /// Where it stands.
    pub span: Span,
}

/// A block that may be added where a breach is mended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StockBlock {
    /// What it is.
    pub kind: KindId,
    /// It is added for a thing of this kind.
    pub beside: KindId,
    /// The block as a design writes it. `{{name}}` stands for the name of that thing, `{{every KIND}}`
    /// for the names of all of a kind, `{{FACT}}` and `{{PART.FACT}}` for what it says of itself.
    pub text: String,
    /// What it costs, in the units of the other costs.
    pub cost: f64,
    /// Where it stands.
    pub span: Span,
}

/// What a change of one fact costs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChangeCost {
    /// The kind.
    pub kind: KindId,
    /// Its fact.
    pub fact: FactIx,
    /// The words this is about; all, if none.
    pub words: Option<WordSet>,
    /// The values that are usual and so may be chosen, in SI units; all, if none.
    pub among: Vec<f64>,
    /// Which way a written number may be changed.
    pub toward: Toward,
    /// The cost; none where it is never changed so.
    pub cost: Option<f64>,
}

/// Which way a number may be changed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Toward {
    /// To less or to more.
    #[default]
    Either,
    /// To less only: a route may be shortened, never drawn out.
    Less,
    /// To more only.
    More,
}

/// What changes cost where a breach is mended.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Mending {
    /// Costs of changing facts; what is said of single words stands besides what is said of all.
    pub costs: Vec<ChangeCost>,
    /// Parts that may be put in.
    pub stock: Vec<Stock>,
    /// Blocks that may be added.
    pub blocks: Vec<StockBlock>,
}

impl Mending {
    /// The cost of a change of which no layer says anything.
    pub const USUAL: f64 = 10.0;

    /// What is said of a fact in general.
    #[must_use]
    pub fn of(&self, kind: KindId, fact: FactIx) -> Option<&ChangeCost> {
        self.costs
            .iter()
            .find(|c| (c.kind, c.fact) == (kind, fact) && c.words.is_none())
    }

    /// The cost of changing a fact; none if it is never changed.
    #[must_use]
    pub fn cost(&self, kind: KindId, fact: FactIx) -> Option<f64> {
        self.of(kind, fact).map_or(Some(Self::USUAL), |c| c.cost)
    }

    /// The cost of changing a choice to one word; none if it is never chosen.
    #[must_use]
    pub fn cost_of_word(&self, kind: KindId, fact: FactIx, bits: u64) -> Option<f64> {
        self.costs
            .iter()
            .find(|c| {
                (c.kind, c.fact) == (kind, fact) && c.words.is_some_and(|w| w.bits() & bits == bits)
            })
            .map_or_else(|| self.cost(kind, fact), |c| c.cost)
    }
}

/// A rule whose failure explains that of another.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Cause {
    /// The rule.
    pub rule: String,
    /// How its subject is found; without one it is the same.
    pub path: Option<Path>,
}

/// The way between the subject of a rule and that of its cause.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub enum Path {
    /// From the subject to that of the cause.
    At(Later<Compiled>),
    /// From the subject of the cause to the subject.
    To(Later<Compiled>),
}

/// Something that a layer does not encode.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftOut {
    /// What it is, in one line.
    pub what: String,
    /// Standard and clause, law or practice it comes from.
    pub clause: String,
    /// Why it is not encoded.
    pub why: String,
    /// The layer that leaves it out.
    pub layer: String,
    /// The id under which it is told where it matters.
    pub id: Option<String>,
}

/// A compiled ruleset: one base, its patches, one edition.
#[derive(Debug, Default, Serialize, Deserialize)]
pub struct Ruleset {
    /// The base.
    pub id: String,
    /// Its title.
    pub title: String,
    /// The patches, in the order named.
    pub patches: Vec<String>,
    /// The edition.
    pub edition: Edition,
    /// Other editions usable on the same day.
    pub other_editions: Vec<String>,
    /// How the edition was chosen, if there is something to say.
    pub edition_note: Option<String>,
    /// Hash of the content of all layers.
    pub hash: String,
    /// Lines for the head of every report.
    pub notes: Vec<String>,
    /// What those are called who run the supply network.
    pub network_operator: String,
    /// Kinds, facts, series.
    pub vocabulary: Vocabulary,
    /// Tables and members of series.
    pub data: Data,
    /// Table names.
    pub tables: Tables,
    /// Limits.
    pub limits: Limits,
    /// Assumptions, by kind and fact.
    pub assumptions: Vec<Vec<Option<Later<Assumption>>>>,
    /// Derivations, by kind and fact.
    pub derivations: Vec<Vec<Option<Later<Derivation>>>>,
    /// Rules, and what is left out where it is told, in order of their ids.
    pub rules: Vec<Rule>,
    /// Rules that a child or patch withdrew: id, layer, why.
    pub withdrawn: Later<Vec<(String, String, String)>>,
    /// What the layers leave out knowingly.
    pub left_out: Later<Vec<LeftOut>>,
    /// Figures for every report.
    pub figures: Vec<Figure>,
    /// What changes cost where a breach is mended.
    pub mending: Later<Mending>,
    /// What readings are expected to be.
    pub expectations: Vec<Expectation>,
    /// What is told to somebody outside.
    pub tellings: Vec<Telling>,
    /// Texts that rules compare with.
    pub texts: Vec<String>,
    /// The files it was read from.
    #[serde(skip)]
    pub files: Arc<Vec<Arc<SourceFile>>>,
}

impl Ruleset {
    /// What those are called who run the supply network, where no layer says it.
    pub const NETWORK_OPERATOR: &str = "network operator";

    /// What papers call it: the edition of the base, and its patches.
    #[must_use]
    pub fn title(&self) -> String {
        let patches = self.patches.iter().map(|p| format!(" + {p}"));
        self.edition.title.clone() + &patches.collect::<String>()
    }

    /// The derivation of a fact.
    #[must_use]
    pub fn derivation(&self, kind: KindId, fact: FactIx) -> Option<&Derivation> {
        of_fact(&self.derivations, kind, fact)
    }

    /// The assumption for a fact.
    #[must_use]
    pub fn assumption(&self, kind: KindId, fact: FactIx) -> Option<&Assumption> {
        of_fact(&self.assumptions, kind, fact)
    }

    /// The rules that judge something: all but what is left out.
    pub fn judging(&self) -> impl Iterator<Item = &Rule> {
        self.rules.iter().filter(|r| !r.is_left_out())
    }

    /// A rule by its id.
    #[must_use]
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rules.iter().find(|r| r.id == id)
    }
}

/// What stands for a fact, where each kind has a list by its facts.
pub(super) fn of_fact<T: DeserializeOwned>(
    all: &[Vec<Option<Later<T>>>],
    kind: KindId,
    fact: FactIx,
) -> Option<&T> {
    let kind = all.get(kind.0 as usize)?;
    kind.get(fact.0 as usize)?.as_deref()
}
