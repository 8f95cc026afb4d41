//! Written, derived, inherited, assumed or unknown: the register of one fact.

use super::link::{FactKey, LeafInfo, Linker, Obj, What};
use super::link_term::Env;
use crate::design::model::{Formula, ObjectId, Possible};
use crate::design::tree::Arith;
use crate::expression::{Flags, LeafKind, LeafSource, Op, Presence, Reg, SetWords, Val};
use crate::quantity::{Interval, TruthSet};
use crate::ruleset::Assumed;
use crate::vocabulary::{Fact, FactIx, FactType, KindId, PRESENT, SeriesId, WordSet};

const SECONDS: f64 = 86_400.0;

impl Linker<'_> {
    pub(super) fn link_fact(&mut self, key: FactKey, line: Option<u8>) -> Reg {
        let (object, ix, _) = key;
        let design = self.design;
        let ruleset = self.ruleset;
        let o = design.object(object);
        let fact = ruleset.vocabulary.fact(o.kind, ix);
        if fact.name == PRESENT {
            return self.link_presence(object, ix, fact);
        }
        if let Some(w) = o.written(ix) {
            return self.possible(object, ix, line, &w.value, fact);
        }
        if fact.name == "status" {
            // A phantom is what these works would put in.
            return self.program.constant(Val::bits(1));
        }
        if let Some(d) = ruleset.derivation(o.kind, ix) {
            let mut env = Env::of(Obj::One(object), line);
            self.stack.push(key);
            let reg = self.term(&d.formula, d.formula.root, &mut env);
            self.stack.pop();
            return reg;
        }
        if let Some(along) = fact.inherits {
            let from = self.object_fact(object, along);
            return self.read_named(&from, &fact.name, line, fact);
        }
        if let Some(a) = self.assumption(object, ix) {
            let val = match a.value {
                Assumed::Number(x) => Val::number(x),
                Assumed::Word(set) => Val::words(set),
                Assumed::Members(set) => Val::bits(SetWords::known(set.bits(), drawn_from(fact))),
                Assumed::Truth(t) => Val::truth(TruthSet::of(t)),
                Assumed::Absent => absent(fact),
                Assumed::TheOnly(_) => Val::any(Flags::NOT_COMPUTABLE),
            };
            self.note_assumed(object, ix);
            let val = val.flagged(Flags::ASSUMED);
            let (kind, at) = (leaf_kind(fact), info(object, ix, line, What::Fact));
            return self.leaf(kind, (val, val), plausible(fact), LeafSource::Assumed, at);
        }
        self.unknown_fact(info(object, ix, line, What::Fact), fact)
    }

    /// A thing is there if what it stands in is, unless it says otherwise.
    fn link_presence(&mut self, object: ObjectId, ix: FactIx, fact: &Fact) -> Reg {
        let o = self.design.object(object);
        let said = o
            .written(ix)
            .map(|w| self.possible(object, ix, None, &w.value, fact));
        let around = o.owner.or(o.scope).and_then(|whole| self.presence(whole));
        let there = self.both(said, around);
        there.unwrap_or_else(|| self.truth(true))
    }

    /// A fact by name on whatever an inherited fact comes from.
    fn read_named(&mut self, from: &Obj, name: &str, line: Option<u8>, fact: &Fact) -> Reg {
        match from {
            Obj::One(id) => {
                let kind = self.kind(*id);
                match self.ruleset.vocabulary.kind(kind).fact_named(name) {
                    Some(ix) => self.fact(*id, ix, line),
                    None => self.not_computable(),
                }
            }
            Obj::Pick(selector, all) => self.each(*selector, all, |this, o| {
                this.read_named(o, name, line, fact)
            }),
            Obj::Unknown(frame) => {
                let f = self.frames[*frame as usize].clone();
                self.unknown_fact(info(f.owner, f.fact, line, What::Fact), fact)
            }
            Obj::Absent => self.program.constant(absent(fact)),
            Obj::Poison => self.program.constant(poison(fact)),
        }
    }

    /// A leaf for a fact of which nothing is known.
    pub(super) fn unknown_fact(&mut self, at: LeafInfo, fact: &Fact) -> Reg {
        let set = match &fact.ty {
            FactType::Quantity { .. } => {
                if let Some(series) = fact.series {
                    let bits = self.series_bits(series.0, domain(fact), fact.optional);
                    return self.series_leaf(series, bits, bits, LeafSource::Unknown, at, fact);
                }
                let mut val = Val::interval(domain(fact));
                if fact.optional {
                    val.bits = Presence::EITHER;
                }
                val
            }
            FactType::Date => Val::interval(Interval::ALL),
            FactType::Choice { words, .. } => {
                Val::words(or_none(WordSet::first(words.len()), fact.optional))
            }
            FactType::Some { .. } => Val::bits(SetWords::unknown(drawn_from(fact))),
            FactType::YesNo => Val::truth(TruthSet::U),
            FactType::Text => {
                // Those that rules compare with, and the others.
                let all = WordSet::first(self.ruleset.texts.len()).or(WordSet::OTHER);
                Val::words(or_none(all, fact.optional))
            }
            _ => Val::any(Flags::NOT_COMPUTABLE),
        };
        let (kind, ends) = (leaf_kind(fact), plausible(fact));
        self.leaf(kind, (set, set), ends, LeafSource::Unknown, at)
    }

    fn series_bits(&self, series: u16, within: Interval, optional: bool) -> WordSet {
        let members = self
            .ruleset
            .data
            .series
            .get(series as usize)
            .map_or(&[][..], |m| m);
        let inside = |m: f64| {
            let slack = 1e-9 * m.abs();
            within.lo - slack <= m && m <= within.hi + slack
        };
        let places = members.iter().enumerate().filter(|(_, m)| inside(**m));
        or_none(places.map(|(i, _)| i).collect(), optional)
    }

    fn possible(
        &mut self,
        object: ObjectId,
        ix: FactIx,
        line: Option<u8>,
        value: &Possible,
        fact: &Fact,
    ) -> Reg {
        let at = info(object, ix, line, What::Fact);
        match value {
            Possible::Unknown => self.unknown_fact(at, fact),
            Possible::Absent => self.program.constant(absent(fact)),
            Possible::Poison => self.program.constant(poison(fact)),
            Possible::Number(i) => {
                if let Some(series) = fact.series
                    && !i.is_point()
                {
                    let bits = self.series_bits(series.0, *i, false);
                    let all = self.series_bits(series.0, domain(fact), false);
                    return self.series_leaf(series, bits, all, LeafSource::Range, at, fact);
                }
                self.number_leaf(*i, at, fact)
            }
            Possible::Formula(f) => self.formula(f, fact),
            Possible::Words(set) => {
                let all = fact.words().map_or(*set, |w| WordSet::first(w.len()));
                self.words_leaf(*set, all, set.is_one(), at, fact)
            }
            Possible::Members(set) => {
                let n = drawn_from(fact);
                let known = SetWords::known(set.bits(), n);
                self.bits_leaf(leaf_kind(fact), known, SetWords::unknown(n), true, at, fact)
            }
            Possible::Truth(t) => {
                let bits = u64::from(TruthSet::of(*t).bits());
                self.bits_leaf(LeafKind::Truth, bits, 3, true, at, fact)
            }
            Possible::Text(t) => {
                // The value of a parameter may be a word of a choice.
                if let Some(i) = fact.words().and_then(|w| w.iter().position(|w| w == t)) {
                    return self.program.constant(word(fact, i));
                }
                let set = self.text(t);
                self.words_leaf(set, set, true, at, fact)
            }
            Possible::Date(d) => {
                self.number_leaf(Interval::point(f64::from(*d) * SECONDS), at, fact)
            }
            Possible::PerLine(lines) => match line.and_then(|l| lines.get(l as usize)) {
                Some(Some(v)) => self.possible(object, ix, line, v, fact),
                _ => self.unknown_fact(at, fact),
            },
            Possible::OneOf(list) => self.one_of(object, ix, line, list, fact),
            Possible::Object(_) | Possible::List(_) => self.not_computable(),
        }
    }

    /// A choice among members of a series, and the number behind it.
    fn series_leaf(
        &mut self,
        series: SeriesId,
        set: WordSet,
        all: WordSet,
        source: LeafSource,
        at: LeafInfo,
        fact: &Fact,
    ) -> Reg {
        let sets = (Val::words(set), Val::words(all));
        let selector = self.leaf(LeafKind::Choice, sets, plausible(fact), source, at);
        self.push(Op::Member(selector, series))
    }

    /// A leaf among words or texts.
    fn words_leaf(
        &mut self,
        set: WordSet,
        all: WordSet,
        exact: bool,
        at: LeafInfo,
        fact: &Fact,
    ) -> Reg {
        self.bits_leaf(LeafKind::Choice, set.bits(), all.bits(), exact, at, fact)
    }

    fn bits_leaf(
        &mut self,
        kind: LeafKind,
        bits: u64,
        all: u64,
        exact: bool,
        at: LeafInfo,
        fact: &Fact,
    ) -> Reg {
        let source = if exact {
            LeafSource::Exact
        } else {
            LeafSource::Range
        };
        let sets = (Val::bits(bits), Val::bits(all));
        self.leaf(kind, sets, plausible(fact), source, at)
    }

    fn number_leaf(&mut self, i: Interval, at: LeafInfo, fact: &Fact) -> Reg {
        let source = if i.is_point() {
            LeafSource::Exact
        } else if i.is_bounded() && i.hi - i.lo <= 0.25 * i.hi.abs().max(i.lo.abs()) {
            LeafSource::Tolerance
        } else {
            LeafSource::Range
        };
        // One-sided values end where the fact's domain does.
        let set = i.intersect(domain(fact)).unwrap_or(i);
        let sets = (Val::interval(set), Val::interval(domain(fact)));
        self.leaf(LeafKind::Number, sets, plausible(fact), source, at)
    }

    fn one_of(
        &mut self,
        object: ObjectId,
        ix: FactIx,
        line: Option<u8>,
        list: &[Possible],
        fact: &Fact,
    ) -> Reg {
        let at = info(object, ix, line, What::Fact);
        // Words of a choice are one set.
        let words = list.iter().try_fold(WordSet::EMPTY, |all, p| match p {
            Possible::Words(set) => Some(all.or(*set)),
            Possible::Absent if fact.words().is_some() => Some(all.or(WordSet::NONE)),
            _ => None,
        });
        if let Some(set) = words {
            let all = fact.words().map_or(set, |w| WordSet::first(w.len()));
            return self.words_leaf(set, all.or(set), false, at, fact);
        }
        // Members of a series are one set, too.
        if let Some(series) = fact.series
            && list
                .iter()
                .all(|p| matches!(p, Possible::Number(i) if i.is_point()))
        {
            let bits = list.iter().fold(WordSet::EMPTY, |all, p| match p {
                Possible::Number(i) => all.or(self.series_bits(series.0, *i, false)),
                _ => all,
            });
            let all = self.series_bits(series.0, domain(fact), false);
            return self.series_leaf(series, bits, all, LeafSource::Range, at, fact);
        }
        let selector = self.selector(object, ix, line, list.len());
        let regs: Vec<Reg> = list
            .iter()
            .map(|p| match p {
                Possible::Number(i) if i.is_point() => self.program.constant(Val::interval(*i)),
                p => self.possible(object, ix, line, p, fact),
            })
            .collect();
        self.pick(selector, &regs)
    }

    /// A leaf that chooses among `count` alternatives of a fact.
    pub(super) fn selector(
        &mut self,
        object: ObjectId,
        ix: FactIx,
        line: Option<u8>,
        count: usize,
    ) -> Reg {
        let at = info(object, ix, line, What::Alternative);
        self.choice_of(count, LeafSource::Range, at)
    }

    /// A leaf with one of `count` alternatives.
    pub(super) fn choice_of(&mut self, count: usize, source: LeafSource, at: LeafInfo) -> Reg {
        let all = Val::words(WordSet::first(count));
        let ends = (f64::NEG_INFINITY, f64::INFINITY);
        self.leaf(LeafKind::Choice, (all, all), ends, source, at)
    }

    /// The alternative that a selector chooses.
    pub(super) fn pick(&mut self, selector: Reg, regs: &[Reg]) -> Reg {
        let bits = self.program.val(selector).bits;
        if bits.count_ones() == 1
            && let Some(r) = regs.get(bits.trailing_zeros() as usize)
        {
            return *r;
        }
        let (first, count) = self.program.counted(regs);
        self.push(Op::Pick(selector, first, count))
    }

    fn formula(&mut self, f: &Formula, fact: &Fact) -> Reg {
        match f {
            Formula::Number(x) => self.program.constant(Val::number(*x)),
            Formula::Parameter(id) => self.parameter(id.0, fact),
            Formula::Binary(op, a, b) => {
                let (a, b) = (self.formula(a, fact), self.formula(b, fact));
                let op = match op {
                    Arith::Add => Op::Add(a, b),
                    Arith::Sub => Op::Sub(a, b),
                    Arith::Mul => Op::Mul(a, b),
                    Arith::Div => Op::Div(a, b),
                };
                self.push(op)
            }
        }
    }

    /// What one of several values of a parameter is to a fact.
    fn alternative(&self, p: &Possible, fact: &Fact) -> Val {
        match p {
            Possible::Number(i) => Val::interval(*i),
            Possible::Truth(t) => Val::truth(TruthSet::of(*t)),
            Possible::Date(d) => Val::number(f64::from(*d) * SECONDS),
            Possible::Text(t) => match (&fact.ty, fact.words()) {
                (FactType::Text, _) => Val::words(self.text(t)),
                (_, Some(words)) => (words.iter().position(|w| w == t))
                    .map_or_else(|| poison(fact), |i| word(fact, i)),
                _ => poison(fact),
            },
            _ => poison(fact),
        }
    }

    /// A text among those that rules compare with.
    fn text(&self, text: &str) -> WordSet {
        let place = self.ruleset.texts.iter().position(|x| x == text);
        place.map_or(WordSet::OTHER, WordSet::one)
    }

    /// A parameter is one leaf, shared by all that use it.
    fn parameter(&mut self, id: u16, fact: &Fact) -> Reg {
        let design = self.design;
        let Some(p) = design.parameters.get(id as usize) else {
            return self.program.constant(poison(fact));
        };
        let at = info(ObjectId(0), FactIx(0), None, What::Parameter(id));
        if let Possible::OneOf(list) = &p.value {
            // A choice is shared through its selector: each fact makes of its alternatives what they are
            // to it.
            let selector = match self.parameters.get(&id) {
                Some(selector) => *selector,
                None => {
                    let selector = self.choice_of(list.len(), LeafSource::Range, at);
                    self.parameters.insert(id, selector);
                    selector
                }
            };
            let regs: Vec<Reg> = (list.iter())
                .map(|p| {
                    let value = self.alternative(p, fact);
                    self.program.constant(value)
                })
                .collect();
            return self.pick(selector, &regs);
        }
        if let Some(reg) = self.parameters.get(&id) {
            return *reg;
        }
        match &p.value {
            Possible::Number(i) => {
                let source = if i.is_point() {
                    LeafSource::Exact
                } else {
                    LeafSource::Range
                };
                let declared = match &p.declared {
                    Possible::Number(d) => *d,
                    _ => *i,
                };
                // What no design could write there is no value of it: an open end.
                let inside = |set: Interval| set.intersect(domain(fact)).unwrap_or(set);
                let domain = inside(declared);
                let (sets, ends) = (
                    (Val::interval(inside(*i)), Val::interval(domain)),
                    (domain.lo, domain.hi),
                );
                let reg = self.leaf(LeafKind::Number, sets, ends, source, at);
                self.parameters.insert(id, reg);
                reg
            }
            Possible::Unknown => {
                let reg = self.unknown_fact(at, fact);
                self.parameters.insert(id, reg);
                reg
            }
            value => self.possible(ObjectId(0), FactIx(0), None, value, fact),
        }
    }
}

pub(super) fn info(object: ObjectId, fact: FactIx, line: Option<u8>, what: What) -> LeafInfo {
    LeafInfo {
        object,
        fact,
        inner: None,
        line,
        what,
    }
}

/// Some words, or none of them where that may be.
fn or_none(words: WordSet, optional: bool) -> WordSet {
    if optional {
        words.or(WordSet::NONE)
    } else {
        words
    }
}

/// What a fact is that one word is written of: a set holds that word and no other.
fn word(fact: &Fact, i: usize) -> Val {
    match fact.ty {
        FactType::Some { .. } => Val::bits(SetWords::known(1 << i, drawn_from(fact))),
        _ => Val::words(WordSet::one(i)),
    }
}

/// How many words a set of words is drawn from.
fn drawn_from(fact: &Fact) -> u32 {
    let count = fact.words().map_or(0, |w| w.len());
    // Rulesets with more are refused.
    count.min(SetWords::MOST) as u32
}

/// The hard limits of a fact, as an interval.
fn domain(fact: &Fact) -> Interval {
    let b = fact.domain;
    let lo = if b.lo_open { b.lo.next_up() } else { b.lo };
    let hi = if b.hi_open { b.hi.next_down() } else { b.hi };
    Interval { lo, hi }
}

fn plausible(fact: &Fact) -> (f64, f64) {
    let d = domain(fact);
    fact.plausible
        .map_or((d.lo, d.hi), |p| (p.lo.max(d.lo), p.hi.min(d.hi)))
}

fn leaf_kind(fact: &Fact) -> LeafKind {
    match &fact.ty {
        FactType::Choice { .. } | FactType::Text => LeafKind::Choice,
        FactType::Some { .. } => LeafKind::Members(drawn_from(fact) as u8),
        FactType::YesNo => LeafKind::Truth,
        _ => LeafKind::Number,
    }
}

/// What a fact reads as where it is known to be absent.
pub(super) fn absent(fact: &Fact) -> Val {
    match &fact.ty {
        FactType::Choice { .. } | FactType::Text => Val::words(WordSet::NONE),
        FactType::Some { .. } => Val::bits(SetWords::known(0, drawn_from(fact))),
        FactType::YesNo => Val::truth(TruthSet::U).flagged(Flags::NOT_COMPUTABLE),
        _ => Val::ABSENT,
    }
}

/// What a fact reads as where it is written wrongly.
pub(super) fn poison(fact: &Fact) -> Val {
    let val = match &fact.ty {
        FactType::Choice { words, .. } => Val::words(WordSet::first(words.len())),
        FactType::Some { .. } => Val::bits(SetWords::unknown(drawn_from(fact))),
        FactType::YesNo => Val::truth(TruthSet::U),
        FactType::Text => Val::words(WordSet::OTHER),
        _ => Val::any(Flags::NONE),
    };
    val.flagged(Flags::POISON)
}

/// Names a kind's fact for reading through an unknown object.
pub(super) fn inner(at: LeafInfo, kind: KindId, fact: FactIx) -> LeafInfo {
    LeafInfo {
        inner: Some((kind, fact)),
        ..at
    }
}
