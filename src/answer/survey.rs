//! What is still unknown and matters: each open fact once, with the rules that wait for it and the
//! answers that would pass.
//!
//! Asked is every leaf that can still matter for a verdict that is undecided: answering all of
//! them leaves nothing undecided, since a point decides every operation. It is asked in two rounds.
//! What the vocabulary marks `later`, what a maker states, and where a known value is from, may
//! follow, if what else the same verdict waits for is open, or if no breach waits for it; so may what
//! only advice waits for. Each breach that is undecided has its question in the first round, and when
//! that is answered the second is asked. What is inside a part that is not known is asked with the
//! part, and of things that one text stands for once.

mod asked;

use std::collections::BTreeMap;

use rustc_hash::FxHashMap;

use super::passing::{Passing, passing};
use super::residual::{Engine, Place, Residual, all_written};
use crate::check::{Departures, Subject, What, show_val, tame};
use crate::design::model::{Design, ObjectId, Status};
use crate::design::tree::Origin;
use crate::expression::{Budget, Fuel, LeafId, Named, Val};
use crate::quantity::{TruthSet, Unit, format_within};
use crate::ruleset::{Ruleset, Severity};
use crate::source::Span;
use crate::source::limits::WORK;
use crate::vocabulary::{Fact, FactIx, FactType, KindId, Member, Settler, WordSet};

use asked::{is_asked_itself, question};
pub(super) use asked::{unit_to_write, words};

/// Boxes for trying which facts decide a rule.
const TRIES: Budget = Budget(24);

/// A rule that waits for a fact.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiting {
    /// The rule.
    pub rule: String,
    /// Its title.
    pub title: String,
    /// Its subject.
    pub subject: Subject,
    /// How its failure would weigh.
    pub severity: Severity,
    /// This fact alone can decide it.
    pub alone: bool,
    /// What is said while it is undecided, where no values stand in it.
    pub open: Option<String>,
}

/// One open fact.
#[derive(Clone, Debug)]
pub struct Question {
    /// The object it is written in; for what is inside an unknown part, the object that has it.
    pub object: ObjectId,
    /// The fact, or the reference to the unknown part.
    pub fact: FactIx,
    /// The kind and fact inside an unknown part.
    pub inner: Option<(KindId, FactIx)>,
    /// Of an unknown part: what matters inside it, told with the part.
    pub inside: Vec<Question>,
    /// It may follow: it is asked once what is asked first is answered.
    pub later: bool,
    /// What stands for whether all of a collection is written.
    pub rest: bool,
    /// It is a parameter of a template.
    pub parameter: bool,
    /// The line conductors that it is about, of a fact with a value for each: 0, 1, 2.
    pub lines: Vec<u8>,
    /// The leaves that stand for it.
    pub leaves: Vec<LeafId>,
    /// The object, as messages name it.
    pub of: String,
    /// Others that the same text stands for, and that get the same answer.
    pub also: Vec<String>,
    /// What is asked: `Ze`, `all-listed: circuit`.
    pub asked: String,
    /// What people call that: `External loop impedance (Ze)`.
    pub label: String,
    /// Its meaning.
    pub means: String,
    /// How to find it out, where the vocabulary says so.
    pub ask: Option<String>,
    /// What an answer looks like: `a value in ohm`, `yes or no`, `one of …`.
    pub answer: String,
    /// Words to choose from, if there are a few.
    pub words: Vec<String>,
    /// Its unit, for a quantity.
    pub unit: Option<String>,
    /// Who settles it.
    pub settled_by: Settler,
    /// What is known so far, where something is.
    pub known: Option<String>,
    /// The rules that wait for it.
    pub waiting: Vec<Waiting>,
    /// Answers that keep every requirement that waits for this fact, where one who designs or buys
    /// can choose among them: what the site or a measurement turns out to be is nobody's choice.
    pub passes: Option<String>,
    /// Where it stands, or should stand.
    pub span: Span,
    /// Where the block or part begins that it stands in.
    block: Span,
}

impl Question {
    /// Sorts what decides most first: rules it decides alone, then rules that wait.
    fn weight(&self) -> (usize, usize, usize) {
        let breaches = |w: &&Waiting| w.severity == Severity::Breach;
        let all = || self.waiting.iter().filter(breaches);
        let alone = all().filter(|w| w.alone).count();
        (alone, all().count(), self.waiting.len())
    }

    /// What it is asked of, as people read it: `bay 1 and 5 more like it`.
    #[must_use]
    pub fn of_all(&self) -> String {
        match self.also.len() {
            0 => self.of.clone(),
            n => format!("{} and {n} more like it", self.of),
        }
    }

    /// What an answer to a part should hold: the facts inside that are asked now.
    #[must_use]
    pub fn holds(&self) -> Vec<&Self> {
        self.inside.iter().filter(|q| !q.later).collect()
    }
}

/// A survey: all open facts that matter, by who settles them.
#[derive(Clone, Debug, Default)]
pub struct Survey {
    /// The questions in the order of a visit: by [`Settler::ALL`], then by the text.
    pub questions: Vec<Question>,
    /// What may follow once these are answered, in the same order; nothing, if these are none.
    pub later: Vec<Question>,
    /// Verdicts that are undecided, of each severity.
    pub undecided: Vec<(Severity, usize)>,
    /// Undecided verdicts that no fact can settle: the ruleset lacks a figure, or nothing can be
    /// computed.
    pub stuck: Vec<(String, Subject)>,
    /// What matters here and these rules do not judge, heaviest first.
    pub left_out: Vec<NotJudged>,
    /// Undecided verdicts that were not looked into: there is a limit to what all may cost.
    pub left: usize,
    /// Operations that were linked, worked out again or looked at: what the survey cost.
    pub work: u64,
    /// What those are called who run the supply network.
    pub network_operator: String,
}

/// Something that the rules leave out and that matters for a design.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotJudged {
    /// Its id.
    pub rule: String,
    /// What it is, with its clause.
    pub what: String,
    /// What it matters for.
    pub subject: Subject,
    /// How its failure would weigh.
    pub severity: Severity,
}

impl Survey {
    /// The questions, what decides most first.
    #[must_use]
    pub fn heaviest(&self) -> Vec<&Question> {
        let mut all: Vec<&Question> = self.questions.iter().collect();
        all.sort_by_key(|q| std::cmp::Reverse(q.weight()));
        all
    }

    /// Every question, those that may follow and those inside parts too.
    pub fn each(&self) -> impl Iterator<Item = &Question> {
        let all = self.questions.iter().chain(&self.later);
        all.flat_map(|q| std::iter::once(q).chain(&q.inside))
    }

    /// The same with what may follow among the questions.
    #[must_use]
    pub fn in_full(mut self) -> Self {
        self.questions.append(&mut self.later);
        in_order(&mut self.questions);
        self
    }
}

/// Surveys a design as it is written; what was judged elsewhere is not asked for.
#[must_use]
pub fn survey(residual: &Residual, departures: &Departures<'_>) -> Survey {
    let mut engine = residual.engine();
    let like = alike(&residual.design);
    let mut found: BTreeMap<Key, Question> = BTreeMap::new();
    let mut counts: BTreeMap<Severity, usize> = BTreeMap::new();
    let (mut stuck, mut left_out) = (Vec::new(), Vec::new());
    let mut alone: BTreeMap<Key, Vec<(LeafId, usize, Named)>> = BTreeMap::new();
    let mut told: FxHashMap<(Key, usize, ObjectId), usize> = FxHashMap::default();
    let now = engine.as_written(Fuel(WORK));
    let undecided: Vec<usize> = (0..now.len()).filter(|v| now[*v] == TruthSet::U).collect();
    engine.share_out(Fuel(WORK), undecided.len());
    let mut left = 0;
    for v in undecided {
        engine.next_share();
        let rule = residual.rule(v);
        if rule.is_left_out() {
            let subject = residual.subject(v);
            if departures.covers(rule, subject.id) {
                continue;
            }
            if engine.applies(v, &[]) == TruthSet::T {
                left_out.push(NotJudged {
                    rule: rule.id.clone(),
                    what: rule.told_as(),
                    subject,
                    severity: rule.severity,
                });
                continue;
            }
        }
        *counts.entry(rule.severity).or_insert(0) += 1;
        let mut live = engine.live(v);
        let to_be_bought = |leaf: &LeafId| is_to_be_bought(residual, *leaf);
        // What the rules ask of an article is no question while the site can still settle it.
        if !live.iter().all(to_be_bought) {
            live.retain(|leaf| !to_be_bought(leaf));
        }
        if live.is_empty() && engine.is_spent() {
            left += 1;
            continue;
        }
        if live.is_empty() {
            stuck.push((rule.id.clone(), residual.subject(v)));
            continue;
        }
        let deciding = engine.deciding(v, TRIES);
        let single =
            deciding.len() != 2 || deciding.iter().all(|n| n.yes.is_some() && n.no.is_some());
        let all_follow = live.iter().all(|l| may_follow(residual, *l));
        let can_wait = !all_follow || rule.severity != Severity::Breach;
        for leaf in live {
            let key = key(residual, &like, leaf);
            let q = found
                .entry(key)
                .or_insert_with(|| question(residual, leaf, key.2));
            q.take(residual, leaf);
            let follows = rule.severity == Severity::Advice || may_follow(residual, leaf);
            q.later &= follows && can_wait;
            let named = deciding.iter().find(|n| n.leaf == leaf && single);
            if let Some(n) = named {
                alone.entry(key).or_default().push((leaf, v, n.clone()));
            }
            let subject = residual.subject(v);
            let waiting = Waiting {
                rule: rule.id.clone(),
                title: rule.texts.title.clone(),
                severity: rule.severity,
                alone: named.is_some(),
                open: rule
                    .texts
                    .open
                    .as_ref()
                    .and_then(|t| t.text(&subject.label)),
                subject,
            };
            let this = (key, residual.verdicts[v].rule, waiting.subject.id);
            let at = *told.entry(this).or_insert(q.waiting.len());
            match q.waiting.get_mut(at) {
                Some(w) => w.alone |= waiting.alone,
                None => q.waiting.push(waiting),
            }
        }
    }
    engine.limit(Fuel(WORK));
    for (key, q) in &mut found {
        let mine = alone.get(key).map_or(&[][..], Vec::as_slice);
        q.passes = passes(&mut engine, q, mine);
    }
    let (mut later, mut questions): (Vec<_>, Vec<_>) =
        folded(residual, found).into_iter().partition(|q| q.later);
    if questions.is_empty() {
        std::mem::swap(&mut later, &mut questions);
    }
    left_out.sort_by(|a, b| (a.severity, &a.rule).cmp(&(b.severity, &b.rule)));
    Survey {
        questions,
        later,
        undecided: counts.into_iter().collect(),
        stuck,
        left_out,
        left,
        work: residual.program.ops.len() as u64 + engine.work(),
        network_operator: residual.ruleset.network_operator.clone(),
    }
}

/// What makes two leaves one question: where they are written, the fact, what is inside.
type Key = (ObjectId, FactIx, Option<(KindId, FactIx)>, u8);

fn key(residual: &Residual, like: &[ObjectId], leaf: LeafId) -> Key {
    let i = residual.info(leaf);
    let what = match i.what {
        What::Rest if !is_asked_itself(residual, leaf) => 2,
        What::Fact | What::Rest => 0,
        What::Alternative => 1,
        What::Parameter(_) => 3,
    };
    let fact = match i.what {
        What::Parameter(p) => FactIx(p),
        _ => i.fact,
    };
    let object = like.get(i.object.0 as usize).copied().unwrap_or(i.object);
    (object, fact, i.asked_inside(&residual.ruleset), what)
}

/// Of each object the first that the same text stands for.
fn alike(design: &Design) -> Vec<ObjectId> {
    let mut first = FxHashMap::default();
    let of = |id| {
        let o = design.object(id);
        let text = (o.phantom, o.span.file, o.span.start, o.kind);
        *first.entry(text).or_insert(id)
    };
    design.ids().map(of).collect()
}

/// Whether a leaf may be asked in the second round.
fn may_follow(residual: &Residual, leaf: LeafId) -> bool {
    let info = residual.info(leaf);
    if let What::Parameter(_) = info.what {
        return false;
    }
    // Of a value that is known what is open is where it is from.
    let written = residual.written_at(Place::of(info));
    let known = written.is_some_and(|w| !w.value.is_open());
    follows(residual.fact(leaf)) || known && info.what == What::Fact && info.inner.is_none()
}

fn follows(fact: &Fact) -> bool {
    fact.later || fact.settled_by == Settler::Maker
}

/// The questions of parts take in those of what is inside; all in the order of a visit.
fn folded(residual: &Residual, found: BTreeMap<Key, Question>) -> Vec<Question> {
    let mut outer: BTreeMap<Key, Question> = BTreeMap::new();
    for ((object, fact, inner, what), mut q) in found {
        q.waiting
            .sort_by(|a, b| (a.severity, !a.alone, &a.rule).cmp(&(b.severity, !b.alone, &b.rule)));
        let Some((k, f)) = inner else {
            outer.insert((object, fact, None, what), q);
            continue;
        };
        let Some(leaf) = q.leaves.first().copied() else {
            continue;
        };
        let part = outer
            .entry((object, fact, None, 0))
            .or_insert_with(|| question(residual, leaf, None));
        part.later &= q.later;
        for w in &q.waiting {
            let same = |o: &Waiting| o.rule == w.rule && o.subject.id == w.subject.id;
            if !part.waiting.iter().any(same) {
                part.waiting.push(w.clone());
            }
        }
        q.later |= follows(residual.ruleset.vocabulary.fact(k, f));
        part.inside.push(q);
    }
    let mut all: Vec<Question> = outer.into_values().collect();
    in_order(&mut all);
    all
}

/// Puts questions in the order of a visit: by who answers, then by the text.
fn in_order(all: &mut [Question]) {
    all.sort_by_key(|q| {
        let block = (q.block.file, q.block.start);
        (q.settled_by, block, q.object, q.fact, q.rest)
    });
}

/// Answers that keep every requirement that waits for a fact, where it is chosen; of several things
/// that get one answer, if they are the same for each. `mine` are the verdicts that it decides.
fn passes(
    engine: &mut Engine<'_>,
    q: &Question,
    mine: &[(LeafId, usize, Named)],
) -> Option<String> {
    let residual = engine.residual;
    let others = |w: &Waiting| w.severity == Severity::Breach && !w.alone;
    let whole = |l: &LeafId| {
        let info = residual.info(*l);
        info.what != What::Rest && info.inner == q.inner && is_chosen(residual, *l)
    };
    if q.waiting.iter().any(others) || !q.leaves.iter().all(whole) {
        return None;
    }
    let mut same: Option<String> = None;
    for leaf in &q.leaves {
        let of = || mine.iter().filter(|(l, ..)| l == leaf);
        let verdicts: Vec<usize> = of().map(|(_, v, _)| *v).collect();
        let seeds: Vec<Val> = of().filter_map(|(_, _, n)| n.yes).collect();
        if verdicts.is_empty() {
            return None;
        }
        let p = passing(engine, *leaf, &verdicts, &seeds);
        let text = shown(residual, *leaf, q, &p)?;
        if *same.get_or_insert_with(|| text.clone()) != text {
            return None;
        }
    }
    same
}

/// Whether a fact of its kind is chosen, in the design or with what is bought; also where a thing is
/// there already, it could be replaced.
fn is_chosen(residual: &Residual, leaf: LeafId) -> bool {
    match residual.info(leaf).what {
        What::Parameter(_) => true,
        _ => inner_fact(residual, leaf)
            .is_some_and(|f| matches!(f.settled_by, Settler::Designer | Settler::Maker)),
    }
}

fn shown(residual: &Residual, leaf: LeafId, q: &Question, p: &Passing) -> Option<String> {
    let info = residual.info(leaf);
    let v = &residual.ruleset.vocabulary;
    match p {
        Passing::Nothing => None,
        Passing::Numbers(lo, hi) => {
            if let What::Parameter(_) = info.what {
                let unit = crate::quantity::Unit::parse(q.unit.as_deref()?).ok()?;
                return Some(format_within(tame(*lo), tame(*hi), &unit));
            }
            let fact = inner_fact(residual, leaf)?;
            let (pl, ph) = residual.leaf(leaf).plausible;
            // What nobody would answer is no advice.
            if *hi < pl || *lo > ph {
                return None;
            }
            let set = residual.leaf(leaf).set;
            let lo = if *lo <= set.lo {
                f64::NEG_INFINITY
            } else {
                *lo
            };
            let hi = if *hi >= set.hi { f64::INFINITY } else { *hi };
            if lo == f64::NEG_INFINITY && hi == f64::INFINITY {
                return None;
            }
            let whole = matches!(fact.ty, FactType::Quantity { whole: true, .. });
            let (lo, hi) = if whole {
                (lo.ceil(), hi.floor())
            } else {
                (lo, hi)
            };
            if lo > hi {
                return None;
            }
            Some(format_within(lo, hi, fact.unit()?))
        }
        Passing::Bits(bits) => {
            let fact = inner_fact(residual, leaf)?;
            if let (FactType::Quantity { unit, .. }, Some(s)) = (&fact.ty, fact.series) {
                let domain = residual.leaf(leaf).set.as_words();
                let all = &v.series(s).members;
                return series_text(all, WordSet::from_bits(*bits), domain, unit);
            }
            if info.what == What::Alternative {
                return None;
            }
            let text = show_val(&Val::bits(*bits), fact, v);
            (text != "?" && text != "not known").then_some(text)
        }
    }
}

fn inner_fact(residual: &Residual, leaf: LeafId) -> Option<&Fact> {
    let info = residual.info(leaf);
    match info.inner {
        Some((k, f)) => Some(residual.ruleset.vocabulary.fact(k, f)),
        None if matches!(info.what, What::Fact) => Some(residual.fact(leaf)),
        None => None,
    }
}

/// Members of a series in words: a stretch to either end, or a few of them.
fn series_text(all: &[Member], passing: WordSet, domain: WordSet, unit: &Unit) -> Option<String> {
    let in_domain: Vec<usize> = (0..all.len()).filter(|i| domain.has(*i)).collect();
    let mut good = in_domain.clone();
    good.retain(|i| passing.has(*i));
    let (first, last) = (*good.first()?, *good.last()?);
    let one = |i: usize| all[i].shown(unit);
    let between = in_domain.iter().filter(|i| first <= **i && **i <= last);
    if good.len() > 3 && between.count() == good.len() {
        let is_least = in_domain.first() == Some(&first);
        let is_most = in_domain.last() == Some(&last);
        return Some(match (is_least, is_most) {
            (true, true) => "any".to_owned(),
            (true, false) => format!("at most {}", one(last)),
            (false, true) => format!("at least {}", one(first)),
            _ => format!("{} .. {}", one(first), one(last)),
        });
    }
    (good.len() <= 6).then(|| good.iter().map(|i| one(*i)).collect::<Vec<_>>().join(" | "))
}

/// Whether a fact is asked of an article that is yet to be bought.
fn is_to_be_bought(residual: &Residual, leaf: LeafId) -> bool {
    let written = residual.written_at(Place::of(residual.info(leaf)));
    written.is_some_and(|w| w.origin == Some(Origin::Required))
}

/// Facts of the site, the network and tests that are written as one value: object, fact, value.
#[must_use]
pub fn known_facts(ruleset: &Ruleset, design: &Design) -> Vec<(String, String, String)> {
    use crate::design::model::Possible;
    let v = &ruleset.vocabulary;
    let mut all = Vec::new();
    for (place, written) in all_written(design) {
        let object = design.object(place.object);
        if object.phantom {
            continue;
        }
        let fact = v.fact(object.kind, place.fact);
        let existing = object.status == Status::Existing;
        let asked = matches!(
            fact.settled_by,
            Settler::Site | Settler::Network | Settler::Test
        ) || existing && fact.settled_by == Settler::Designer;
        if !asked || fact.name == "status" {
            continue;
        }
        let value = match &written.value {
            Possible::Number(i) if i.is_point() => show_val(&Val::number(i.lo), fact, v),
            Possible::Words(set) if set.is_one() => show_val(&Val::words(*set), fact, v),
            Possible::Truth(t) => (if *t { "yes" } else { "no" }).to_owned(),
            Possible::Text(t) => t.clone(),
            Possible::Absent => "none".to_owned(),
            _ => continue,
        };
        all.push((design.label(place.object), fact.name.clone(), value));
    }
    all
}
