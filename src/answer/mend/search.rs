//! The search: values of one change after which a breach is gone and nothing else suffers; then
//! as few such changes as possible.

use rustc_hash::{FxHashMap, FxHashSet};

use super::super::residual::{Engine, Place, Residual};
use super::graft::Graft;
use super::knobs::{Group, Knob, Options};
use crate::design::model::ObjectId;
use crate::expression::{Fuel, LeafId, Val};
use crate::quantity::{Rounding, TruthSet, Unit, format_toward, parse_quantity};
use crate::ruleset::Severity;

/// Combinations of values that are tried to show that some groups cannot mend all.
const MOST_COMBINATIONS: usize = 6000;

/// What is asked of a verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Need {
    /// A breach as written: it must be met.
    Mend,
    /// Met as written: it must stay met.
    Keep,
    /// Undecided as written: it must not fail, and some answer must still meet it.
    NotFail,
    /// Advice, or a caution that fails already.
    Nothing,
    /// Belongs to a part that may be put in: must be met if the part is, by a knob and its value.
    Of(usize, u64),
}

/// The values of the knobs that were turned.
pub(super) type Turned = Vec<(usize, Val)>;

/// What was turned, with one knob turned to another value.
pub(super) fn with(turned: &[(usize, Val)], k: usize, val: Val) -> Turned {
    let mut all: Turned = turned.iter().filter(|(i, _)| *i != k).copied().collect();
    all.push((k, val));
    all
}

/// One way to mend by one change.
#[derive(Clone, Debug)]
pub(super) struct Way {
    pub(super) group: usize,
    pub(super) turned: Turned,
    pub(super) cost: f64,
    /// How many of the breaches that were left it mends.
    pub(super) gain: usize,
}

pub(super) struct Search<'a> {
    pub(super) engine: Engine<'a>,
    pub(super) residual: &'a Residual,
    pub(super) knobs: Vec<Knob>,
    pub(super) groups: Vec<Group>,
    pub(super) needs: Vec<Need>,
    /// Verdicts that depend on each knob.
    reach: Vec<Vec<usize>>,
    /// Groups that each breach depends on.
    pub(super) deps: Vec<Vec<usize>>,
    /// What was turned for good.
    settled: Turned,
    fuel: Fuel,
}

impl<'a> Search<'a> {
    pub(super) fn new(
        residual: &'a Residual,
        knobs: Vec<Knob>,
        groups: Vec<Group>,
        grafts: &[Graft],
        departed: &[usize],
        fuel: Fuel,
    ) -> Self {
        let mut engine = residual.engine();
        let now = engine.as_written(Fuel(fuel.0 / 2));
        engine.limit(fuel);
        let mut search = Self {
            engine,
            residual,
            needs: Vec::new(),
            reach: Vec::new(),
            deps: Vec::new(),
            knobs,
            groups,
            settled: Vec::new(),
            fuel,
        };
        let by_place: FxHashMap<Place, &Graft> = grafts.iter().map(|g| (g.place, g)).collect();
        let mut parts: FxHashMap<ObjectId, Need> = FxHashMap::default();
        for (k, knob) in search.knobs.iter().enumerate() {
            let Some(graft) = by_place.get(&knob.place) else {
                continue;
            };
            for (i, objects) in graft.objects.iter().enumerate() {
                parts.extend(objects.iter().map(|o| (*o, Need::Of(k, 1 << (i + 1)))));
            }
        }
        for (v, now) in now.into_iter().enumerate() {
            let severity = residual.rule(v).severity;
            let may_fail = severity != Severity::Breach || departed.contains(&v);
            let need = match (parts.get(&residual.verdicts[v].subject), now) {
                _ if severity == Severity::Advice => Need::Nothing,
                (Some(of_part), _) => *of_part,
                (None, TruthSet::F) if !may_fail => Need::Mend,
                (None, TruthSet::T) => Need::Keep,
                (None, TruthSet::U) => Need::NotFail,
                (None, _) => Need::Nothing,
            };
            search.needs.push(need);
        }
        search.deps = vec![Vec::new(); residual.verdicts.len()];
        for knob in &search.knobs {
            let mut all = search.engine.by_leaves(&knob.leaves);
            all.retain(|v| search.needs[*v] != Need::Nothing);
            for v in &all {
                search.deps[*v].push(knob.group);
            }
            search.reach.push(all);
        }
        for groups in &mut search.deps {
            groups.sort_unstable();
            groups.dedup();
        }
        search
    }

    /// The leaves of the knobs that are turned otherwise than what is settled. No knob is turned
    /// twice.
    pub(super) fn assignment(&self, turned: &[(usize, Val)]) -> Vec<(LeafId, Val)> {
        let mut known = 0;
        let mut all: Vec<(usize, Val)> = Vec::new();
        for (k, val) in turned {
            let before = self.settled.binary_search_by_key(k, |(i, _)| *i);
            known += usize::from(before.is_ok());
            let now = before.map_or(self.knobs[*k].now, |i| self.settled[i].1);
            if *val != now {
                all.push((*k, *val));
            }
        }
        if known < self.settled.len() {
            let kept: FxHashSet<usize> = turned.iter().map(|(k, _)| *k).collect();
            let back = self.settled.iter().filter(|(k, _)| !kept.contains(k));
            all.extend(back.map(|(k, _)| (*k, self.knobs[*k].now)));
        }
        all.iter()
            .flat_map(|(k, val)| self.knobs[*k].leaves.iter().map(|l| (*l, *val)))
            .collect()
    }

    /// Makes these values those from which others depart: what they alone move is not worked out
    /// again with each try.
    pub(super) fn settle(&mut self, turned: &[(usize, Val)]) {
        let with = self.assignment(turned);
        self.engine.settle(&with);
        self.settled = turned.to_vec();
        self.settled.sort_unstable_by_key(|(k, _)| *k);
    }

    /// The whole domain for every knob of some groups.
    fn relaxed(&self, groups: &[usize]) -> Vec<(LeafId, Val)> {
        let mut all = self.assignment(&[]);
        for g in groups {
            self.open(&self.groups[*g].knobs, &mut all);
        }
        all
    }

    /// Gives the leaves of some knobs their whole domain.
    fn open(&self, knobs: &[usize], with: &mut Vec<(LeafId, Val)>) {
        let leaves = knobs.iter().flat_map(|k| &self.knobs[*k].leaves);
        with.extend(leaves.map(|l| (*l, self.residual.leaf(*l).set)));
    }

    pub(super) fn spent(&self) -> bool {
        self.work() >= self.fuel.0
    }

    /// The work after which one part of so many of all that may be done is spent from now on.
    pub(super) const fn part(&self, of: u64) -> u64 {
        self.work() + self.fuel.0 / of
    }

    /// Operations worked out so far.
    pub(super) const fn work(&self) -> u64 {
        self.engine.work()
    }

    /// Whether a breach could go at all, if every value of some groups were free.
    pub(super) fn could_go(&mut self, v: usize, groups: &[usize]) -> bool {
        let with = self.relaxed(groups);
        // Plain evaluation is enough to prune, and never prunes wrongly.
        self.engine.plain(v, &with) != TruthSet::F
    }

    /// The breaches among some that are not met.
    pub(super) fn left(&mut self, breaches: &[usize], turned: &[(usize, Val)]) -> Vec<usize> {
        let with = self.assignment(turned);
        breaches
            .iter()
            .copied()
            .filter(|v| !self.engine.holds(*v, &with))
            .collect()
    }

    /// The first verdict that suffers from what was turned.
    pub(super) fn suffers(&mut self, turned: &[(usize, Val)], mended: &[usize]) -> Option<usize> {
        let with = self.assignment(turned);
        self.engine.assign(&with);
        let mut seen: FxHashSet<usize> = FxHashSet::default();
        for (k, _) in turned {
            for i in 0..self.reach[*k].len() {
                let v = self.reach[*k][i];
                // What is settled was seen to be well.
                if !self.engine.moves(v) || !seen.insert(v) {
                    continue;
                }
                let holds = match self.needs[v] {
                    Need::Nothing => true,
                    Need::Mend => !mended.contains(&v) || self.engine.holds(v, &with),
                    Need::Keep => self.engine.holds(v, &with),
                    Need::NotFail if self.spent() => !self.engine.fails(v, &with),
                    Need::NotFail => {
                        self.engine.may_hold(v, &with) || {
                            let before = self.engine.may_hold(v, &Vec::new());
                            self.engine.assign(&with);
                            !before
                        }
                    }
                    Need::Of(part, bit) => {
                        let chosen = turned.iter().any(|(i, val)| *i == part && val.bits == bit);
                        !chosen || self.engine.holds(v, &with)
                    }
                };
                if !holds {
                    return Some(v);
                }
            }
        }
        None
    }

    /// Whether a breach among some, which stays one, gets worse by what was turned.
    pub(super) fn worsens(&mut self, turned: &[(usize, Val)], breaches: &[usize]) -> bool {
        let with = self.assignment(turned);
        breaches.iter().any(|v| self.engine.worsens(*v, &with))
    }

    /// Values a knob may take so that a verdict is met, the others as turned.
    fn values(&mut self, k: usize, v: usize, turned: &[(usize, Val)]) -> Vec<Val> {
        let (lo, hi, unit) = match &self.knobs[k].options {
            Options::Number { lo, hi, unit } => (*lo, *hi, unit.clone()),
            few => return few.each().unwrap_or_default(),
        };
        let mut before = turned.iter().rev();
        let now = before.find(|(i, _)| *i == k);
        let now = now.map_or(self.knobs[k].now, |(_, x)| *x);
        let start = if now.lo.is_finite() { now.lo } else { lo };
        let ways = [(lo, Rounding::Down), (hi, Rounding::Up)].into_iter();
        ways.filter_map(|way| self.nearest((k, v), turned, start, way, &unit))
            .map(Val::number)
            .collect()
    }

    /// The nearest number in one direction for which a verdict is met, rounded to three digits on
    /// the side that holds.
    fn nearest(
        &mut self,
        (k, v): (usize, usize),
        turned: &[(usize, Val)],
        start: f64,
        (end, rounding): (f64, Rounding),
        unit: &Unit,
    ) -> Option<f64> {
        if !end.is_finite() || start == end {
            return None;
        }
        let mut all = with(turned, k, Val::number(start));
        let at = all.len() - 1;
        let mut met = |x: f64, this: &mut Self| {
            all[at].1 = Val::number(x);
            let with = this.assignment(&all);
            this.engine.holds(v, &with)
        };
        let mut bad = start;
        let mut good = None;
        for i in 1..=16 {
            let x = start + (end - start) * f64::from(i) / 16.0;
            if met(x, self) {
                good = Some(x);
                break;
            }
            bad = x;
        }
        let mut good = good?;
        for _ in 0..30 {
            let middle = bad + (good - bad) / 2.0;
            if met(middle, self) {
                good = middle;
            } else {
                bad = middle;
            }
        }
        let text = format_toward(good, unit, 3, rounding);
        let digits: String = text
            .chars()
            .take_while(|c| c.is_ascii_digit() || *c == '.')
            .collect();
        let x = parse_quantity(&digits, unit)?;
        met(x, self).then_some(x)
    }

    /// What one turned knob costs.
    pub(super) fn price_of(&self, k: usize, val: &Val) -> f64 {
        let knob = &self.knobs[k];
        match &knob.options {
            Options::Parts(parts) => parts
                .iter()
                .find(|(bit, ..)| *bit == val.bits)
                .map_or(0.0, |(_, _, c)| *c),
            _ => {
                let kind = self.residual.design.object(knob.place.object).kind;
                let mending = &self.residual.ruleset.mending;
                let word = val.lo == 0.0 && val.hi == 0.0 && val.bits.count_ones() == 1;
                word.then(|| mending.cost_of_word(kind, knob.place.fact, val.bits))
                    .flatten()
                    .unwrap_or(knob.cost)
            }
        }
    }

    fn price(&self, turned: &[(usize, Val)]) -> f64 {
        turned.iter().map(|(k, v)| self.price_of(*k, v)).sum()
    }

    /// Each turned knob nearer to what is written, as far as nothing is lost by it.
    pub(super) fn trim(&mut self, turned: &mut Turned, mended: &[usize]) {
        for i in 0..turned.len() {
            let (k, val) = turned[i];
            let Options::Fixed(all) = self.knobs[k].options.clone() else {
                continue;
            };
            for nearer in all {
                if nearer == val || self.spent() {
                    break;
                }
                turned[i].1 = nearer;
                let holds = self.price_of(k, &nearer) <= self.price_of(k, &val)
                    && self.left(mended, turned).is_empty()
                    && self.suffers(&turned.clone(), mended).is_none();
                if holds {
                    break;
                }
                turned[i].1 = val;
            }
        }
    }

    /// Whether some values of a few groups could mend all breaches: every combination of the
    /// values they may take is tried, numbers as the whole of what they may be. Nothing, if there
    /// are too many.
    pub(super) fn could_mend(&mut self, groups: &[usize], breaches: &[usize]) -> Option<bool> {
        let mut fixed: Vec<(usize, Vec<Val>)> = Vec::new();
        let mut loose: Vec<usize> = Vec::new();
        let mut count = 1_usize;
        for g in groups {
            for k in self.groups[*g].knobs.clone() {
                if !breaches.iter().any(|v| self.reach[k].contains(v)) {
                    continue;
                }
                let Some(mut all) = self.knobs[k].options.each() else {
                    loose.push(k);
                    continue;
                };
                all.push(self.knobs[k].now);
                count = count.saturating_mul(all.len());
                fixed.push((k, all));
            }
        }
        if count > MOST_COMBINATIONS {
            return None;
        }
        for n in 0..count {
            let mut rest = n;
            let mut turned: Turned = Vec::new();
            for (k, all) in &fixed {
                turned.push((*k, all[rest % all.len()]));
                rest /= all.len();
            }
            let mut with = self.assignment(&turned);
            self.open(&loose, &mut with);
            let mut stay = breaches.iter();
            let stays = stay.any(|v| self.engine.plain(*v, &with) == TruthSet::F);
            if !stays {
                return Some(true);
            }
        }
        Some(false)
    }

    /// Ways to meet one verdict by changing one group, on top of what was turned.
    pub(super) fn ways(
        &mut self,
        group: usize,
        v: usize,
        turned: &[(usize, Val)],
        breaches: &[usize],
    ) -> Vec<Way> {
        let mut found: Vec<Way> = Vec::new();
        let members = self.groups[group].knobs.clone();
        let left = self.left(breaches, turned);
        let mended: Vec<usize> = breaches
            .iter()
            .copied()
            .filter(|b| !left.contains(b))
            .chain([v])
            .collect();
        // What does not mend it alone.
        let mut alone: Vec<(usize, Turned)> = Vec::new();
        for k in &members {
            if !self.reach[*k].contains(&v) {
                continue;
            }
            for val in self.values(*k, v, turned) {
                if self.spent() {
                    return found;
                }
                let now = with(turned, *k, val);
                let with = self.assignment(&now);
                let met = self.engine.truth(v, &with);
                if met == TruthSet::F {
                    alone.push((*k, now));
                    continue;
                }
                let trouble = if met == TruthSet::T {
                    self.suffers(&now, &mended)
                } else {
                    Some(v)
                };
                let well = match trouble {
                    None => Some(now),
                    // Another fact of the same part may put it right.
                    Some(w) => self.second(group, (v, w), (*k, &now), &mended),
                };
                found.extend(well.map(|now| self.way(group, now, turned, &left)));
            }
        }
        if found.is_empty() {
            // Two facts of one part that only together say the same thing, as poles and whether
            // the neutral is switched.
            for (k, now) in &alone {
                let both = self.second(group, (v, v), (*k, now), &mended);
                found.extend(both.map(|both| self.way(group, both, turned, &left)));
            }
        }
        found.sort_by(|a, b| b.gain.cmp(&a.gain).then(a.cost.total_cmp(&b.cost)));
        found.truncate(4);
        found
    }

    /// Another fact of a group turned besides the first, so that a verdict is met, and so is what the
    /// first alone is in trouble with.
    fn second(
        &mut self,
        group: usize,
        (v, trouble): (usize, usize),
        (first, now): (usize, &Turned),
        mended: &[usize],
    ) -> Option<Turned> {
        for k in self.groups[group].knobs.clone() {
            if k == first || !self.reach[k].contains(&trouble) {
                continue;
            }
            for val in self.values(k, trouble, now) {
                if self.spent() {
                    return None;
                }
                let both = with(now, k, val);
                let with = self.assignment(&both);
                if self.engine.holds(trouble, &with)
                    && self.engine.holds(v, &with)
                    && self.suffers(&both, mended).is_none()
                {
                    return Some(both);
                }
            }
        }
        None
    }

    /// What turning more than before comes to, with the breaches that were left.
    fn way(
        &mut self,
        group: usize,
        turned: Turned,
        before: &[(usize, Val)],
        left: &[usize],
    ) -> Way {
        let still = self.left(left, &turned).len();
        let added: Turned = turned
            .iter()
            .filter(|t| !before.contains(t))
            .copied()
            .collect();
        Way {
            group,
            cost: self.price(&added),
            gain: left.len() - still,
            turned,
        }
    }
}
