//! The state that all steps of resolving share.

use rustc_hash::{FxHashMap, FxHashSet};

use super::Resolved;
use super::labels::name_apart;
use crate::design::model::{Design, Object, ObjectId, ParameterId, Possible, Written};
use crate::design::tree::{Block, Define, Entry, Parameter};
use crate::quantity::Unit;
use crate::source::limits::THINGS;
use crate::source::{Problem, Reports, Span, closest};
use crate::vocabulary::{Fact, FactIx, FactType, Kind, KindId, Vocabulary};

/// Problems that are shown for one file.
const MOST_PROBLEMS: usize = 100;

/// Which member of a repeated block is being read.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turn {
    /// The number in its brackets, for which `n` stands.
    pub number: u32,
    /// How many members stand before it.
    pub place: usize,
}

/// An object whose facts are still to be read.
#[derive(Clone, Debug)]
pub(super) struct Pending<'a> {
    pub object: ObjectId,
    pub entries: &'a [Entry],
    pub turn: Option<Turn>,
    /// A name that refers: the fact it sets, the name, and where it stands.
    pub refers: Option<(FactIx, String, Span)>,
}

/// Where a value stands.
#[derive(Clone, Copy, Debug)]
pub(super) struct Site<'a> {
    pub object: ObjectId,
    pub fact: &'a Fact,
    pub turn: Option<Turn>,
}

impl<'a> Site<'a> {
    /// In no object.
    pub(super) const fn nowhere(fact: &'a Fact) -> Self {
        Self {
            object: ObjectId(u32::MAX),
            fact,
            turn: None,
        }
    }
}

/// What sort of value a parameter has.
#[derive(Clone, Debug)]
pub(super) enum Measure {
    /// A number.
    Number {
        /// A fact like itself: its unit, and its series where its values have names.
        like: Box<Fact>,
        /// Whether the command line gave it its value.
        was_set: bool,
    },
    /// Words or texts.
    Words,
    /// Yes or no.
    Truth,
    /// A date.
    Date,
    /// Declared wrongly.
    Wrong,
}

impl Measure {
    /// The unit in which its values are written.
    pub(super) fn unit(&self) -> &Unit {
        match self {
            Self::Number { like, .. } => like.unit().unwrap_or(&Unit::ONE),
            _ => &Unit::ONE,
        }
    }
}

/// See the module.
pub(super) struct Resolver<'a> {
    pub vocabulary: &'a Vocabulary,
    pub design: Design,
    problems: Vec<Problem>,
    pub reported: FxHashSet<(&'static str, Span)>,
    /// Objects by name, unnamed blocks by the name of their kind.
    pub names: FxHashMap<String, Vec<ObjectId>>,
    /// The first object of each kind with each name in each block; unnamed ones have the empty
    /// name and no block.
    pub taken: FxHashMap<(KindId, String, Option<ObjectId>), ObjectId>,
    /// Names of repeated blocks, with their first and last number.
    pub repeated: FxHashMap<&'a str, (u32, u32)>,
    /// Names of blocks that could not be read: a reference to one of them is not reported again.
    pub lost: FxHashSet<&'a str>,
    pub defines: FxHashMap<&'a str, &'a Define>,
    /// The same, in the order written.
    pub defines_written: Vec<&'a Define>,
    /// Defines that are being copied, outermost first.
    pub copying: Vec<&'a str>,
    pub parameters_written: Vec<&'a Parameter>,
    pub parameters: FxHashMap<&'a str, ParameterId>,
    /// What sort of value each parameter has, by its id.
    pub measures: Vec<Measure>,
    pub pending: Vec<Pending<'a>>,
    /// While the name that heads a block is looked up: the fact that it sets.
    pub heading: Option<&'a str>,
    pub departures: Vec<&'a Block>,
    things: usize,
    too_many: bool,
}

impl Reports for Resolver<'_> {
    /// One that was already reported for the same place (by another member of a repeated block, or
    /// another use of a define) is dropped.
    fn report(&mut self, problem: Problem) {
        if let Some(label) = problem.labels.first()
            && !self.reported.insert((problem.code, label.span))
        {
            return;
        }
        self.problems.push(problem);
    }
}

impl<'a> Resolver<'a> {
    pub(super) fn new(vocabulary: &'a Vocabulary) -> Self {
        Self {
            vocabulary,
            design: Design::default(),
            problems: Vec::new(),
            reported: FxHashSet::default(),
            names: FxHashMap::default(),
            taken: FxHashMap::default(),
            repeated: FxHashMap::default(),
            lost: FxHashSet::default(),
            defines: FxHashMap::default(),
            defines_written: Vec::new(),
            copying: Vec::new(),
            parameters_written: Vec::new(),
            parameters: FxHashMap::default(),
            measures: Vec::new(),
            pending: Vec::new(),
            heading: None,
            departures: Vec::new(),
            things: 0,
            too_many: false,
        }
    }

    /// Asks what is meant by a word of the trade that means several things; false, if it is none.
    pub(super) fn asked(&mut self, word: &str, span: Span) -> bool {
        let what = self.vocabulary.asked(word);
        if let Some(what) = what {
            ambiguous(word, what, span).report(self);
        }
        what.is_some()
    }

    /// Whether such a problem was reported for this place: looking for the nearest name again, for
    /// each of a thousand members of a block, would take long.
    pub(super) fn is_reported(&self, code: &'static str, span: Span) -> bool {
        self.reported.contains(&(code, span))
    }

    /// Makes room for so many objects or members of lists; reports it once if there is none.
    pub(super) fn room_for(&mut self, count: usize, span: Span) -> bool {
        self.things = self.things.saturating_add(count);
        if self.things > THINGS && !self.too_many {
            self.are_too_many(
                format!("the design grows beyond {THINGS} blocks, parts and list members"),
                span,
                "given up here",
            );
        }
        !self.too_many
    }

    /// Tells that there is more than may be: no part of the design is judged.
    pub(super) fn are_too_many(&mut self, message: String, span: Span, label: &str) {
        self.too_many = true;
        Problem::error("too-many-objects", message)
            .at(span, label)
            .help("split it into several designs, each an installation of its own")
            .report(self);
    }

    pub(super) fn kind_of(&self, id: ObjectId) -> &'a Kind {
        self.vocabulary.kind(self.design.object(id).kind)
    }

    pub(super) fn object_mut(&mut self, id: ObjectId) -> Option<&mut Object> {
        self.design.objects.get_mut(id.0 as usize)
    }

    pub(super) fn add_object(&mut self, object: Object) -> ObjectId {
        let id = ObjectId(u32::try_from(self.design.objects.len()).unwrap_or(u32::MAX));
        self.design.objects.push(object);
        id
    }

    pub(super) fn fact_of(&self, id: ObjectId, ix: FactIx) -> Option<&Written> {
        self.design.object(id).written(ix)
    }

    pub(super) fn set_fact(&mut self, id: ObjectId, ix: FactIx, written: Written) {
        if let Some(slot) = self
            .object_mut(id)
            .and_then(|o| o.facts.get_mut(ix.0 as usize))
        {
            *slot = Some(Box::new(written));
        }
    }

    /// Marks a fact as written wrongly, unless something is written for it.
    pub(super) fn spoil(&mut self, id: ObjectId, ix: FactIx, span: Span) {
        if self.fact_of(id, ix).is_none() {
            self.set_fact(id, ix, written(Possible::Poison, span, span));
        }
    }

    /// The part facts of a kind that take a part of another kind.
    pub(super) fn part_facts(&self, of: KindId, part: KindId) -> Vec<FactIx> {
        let fits = |f: &Fact| match f.ty {
            FactType::Part(k) | FactType::Parts(k) => self.vocabulary.fits(part, k),
            _ => false,
        };
        indices(self.vocabulary.kind(of))
            .filter(|(_, f)| f.writable && fits(f))
            .map(|(ix, _)| ix)
            .collect()
    }

    pub(super) fn note_date(&mut self, day: i32) {
        self.design.newest_date = self.design.newest_date.max(Some(day));
    }

    pub(super) fn finish(mut self) -> Resolved {
        self.refuse_absent();
        self.problems
            .sort_by_key(|p| p.labels.first().map(|l| l.span));
        name_apart(&mut self.design, self.vocabulary);
        self.design.cautions = self.problems.iter().filter(|p| !p.is_error()).count();
        Resolved {
            design: self.design,
            problems: capped(self.problems),
            things: self.things,
            too_large: self.too_many,
        }
    }
}

/// At most [`MOST_PROBLEMS`] of each file, and a closing one that counts the rest.
fn capped(problems: Vec<Problem>) -> Vec<Problem> {
    if problems.len() <= MOST_PROBLEMS {
        return problems;
    }
    // They are in the order of the files.
    let file = |p: &Problem| p.labels.first().map(|l| l.span.file);
    let (mut kept, mut closing) = (Vec::new(), Vec::new());
    for of_file in problems.chunk_by(|a, b| file(a) == file(b)) {
        let (first, rest) = of_file.split_at(of_file.len().min(MOST_PROBLEMS));
        kept.extend_from_slice(first);
        if rest.is_empty() {
            continue;
        }
        let more = rest.len();
        let text = format!("there are {more} more mistakes and cautions in this file");
        closing.push(if rest.iter().any(Problem::is_error) {
            Problem::error("more-mistakes", text)
        } else {
            Problem::caution("more-mistakes", text)
        });
    }
    kept.append(&mut closing);
    kept
}

/// The facts of a kind with their indices.
pub(super) fn indices(kind: &Kind) -> impl Iterator<Item = (FactIx, &Fact)> {
    (0_u16..).map(FactIx).zip(&kind.facts)
}

pub(super) const fn written(value: Possible, span: Span, key: Span) -> Written {
    Written {
        value,
        origin: None,
        span,
        key,
    }
}

/// The name nearest to what was written; one that differs only in hyphens and case comes first.
pub(super) fn nearest<'n>(written: &str, names: &[&'n str]) -> Option<&'n str> {
    let plain = |s: &str| s.replace(['-', '_'], "").to_lowercase();
    let wanted = plain(written);
    let same = names.iter().copied().find(|name| plain(name) == wanted);
    same.or_else(|| closest(written, names.iter().copied()))
}

/// `a`, `b` and `c`, each in backticks.
pub(super) fn listed<S: AsRef<str>>(words: &[S], joint: &str) -> String {
    let quoted = |w: &S| format!("`{}`", w.as_ref());
    match words {
        [] => String::new(),
        [only] => quoted(only),
        [others @ .., last] => {
            let others: Vec<_> = others.iter().map(quoted).collect();
            format!("{} {joint} {}", others.join(", "), quoted(last))
        }
    }
}

/// A word that means several things, or none of what there is.
pub(super) fn ambiguous(word: &str, what: &str, at: Span) -> Problem {
    let why = format!("`{word}` does not say what is meant here");
    Problem::wrong("which-meaning", at, why).help(what)
}
