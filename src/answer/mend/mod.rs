//! The fewest changes to what the designer may choose after which nothing is in breach.
//!
//! A way is found by repairing breach after breach; that none is fewer is shown by setting whole
//! groups of facts to everything they could be: a breach that stays a breach then needs another
//! change. Every mend is checked again on the edited text by the caller.

mod blocks;
mod editable;
mod fill;
mod graft;
mod helps;
mod knobs;
mod search;
mod stock;

use std::collections::BTreeSet;
use std::sync::Arc;

use rustc_hash::FxHashSet;

use super::residual::{Place, Residual, with_all};
use crate::check::{Departures, Subject};
use crate::design::model::Design;
use crate::expression::{Fuel, LeafSource};
use crate::ruleset::{Ruleset, Stage};
use crate::source::Span;

pub use blocks::blocks;
pub use helps::{Help, helps};
pub use stock::stock_mistakes;

use editable::shared;
use fill::fill;
use graft::graft;
use knobs::{changeable, knobs, untaken, value_text};
use search::{Need, Search, Turned, Way, with};

/// What the search may take before it is given up: enough for a small design, of a large one so
/// many times what it takes to work it out once.
const WORK: (u64, u64) = (100_000_000, 400);
/// Of it, one part of so many may go into showing that fewer changes do not suffice.
const PROOF: u64 = 6;
/// Alternatives to one change that are told.
const MOST_INSTEAD: usize = 3;

/// One replaced value in the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Edit {
    /// The value as it stands.
    pub span: Span,
    /// What it becomes.
    pub new: String,
}

/// One change: a cable, a device, another part, or one fact.
#[derive(Clone, Debug)]
pub struct Change {
    /// What is changed, `cables 1 of ev`, `open-pen of drive`.
    pub what: String,
    /// Each fact: name, value before, value after.
    pub facts: Vec<(String, String, String)>,
    /// The edits of the text.
    pub edits: Vec<Edit>,
    /// What it costs, by the ruleset's measure.
    pub cost: f64,
    /// The breaches that it mends.
    pub mends: Vec<(String, Subject)>,
    /// Other single changes that would do in its place.
    pub instead: Vec<Change>,
}

impl Change {
    /// It in words: `cables 1 of ev: size 2.5 mm² → 4 mm²`.
    #[must_use]
    pub fn words(&self) -> String {
        let facts = self.facts.iter();
        let facts: Vec<String> = facts
            .map(|(f, from, to)| format!("{f} {from} → {to}"))
            .collect();
        if facts.is_empty() {
            return self.what.clone();
        }
        format!("{}: {}", self.what, facts.join(", "))
    }
}

/// What can be done about a design.
#[derive(Clone, Debug, Default)]
pub struct Mended {
    /// Breaches as written: rule and subject.
    pub breaches: Vec<(String, Subject)>,
    /// Of these, what no choice of the designer mends, and the facts that would have to be other:
    /// who settles them.
    pub beyond: Vec<(String, Subject, Vec<String>)>,
    /// Of these, what was not mended within the work limit.
    pub left: Vec<(String, Subject)>,
    /// The changes that mend the rest.
    pub changes: Vec<Change>,
    /// No fewer changes do.
    pub fewest: bool,
    /// Facts that were `?` and the designer's, and a value each after which a rule that was
    /// undecided is met.
    pub filled: Vec<Change>,
    /// Operations that were linked, worked out again or looked at: what the search cost.
    pub work: u64,
}

impl Mended {
    /// Takes in a change of which it is known what it mends: as a change of its own where it mends
    /// what nothing else does, else beside each change that does no more than it.
    pub fn offer(&mut self, change: &Change, mends: impl Fn(&(String, Subject)) -> bool) {
        let beyond = self.beyond.iter();
        let beyond = beyond.map(|(rule, of, _)| (rule.clone(), of.clone()));
        let unmended = beyond.chain(self.left.iter().cloned());
        let new: Vec<(String, Subject)> = unmended.filter(&mends).collect();
        if new.is_empty() {
            for c in &mut self.changes {
                if !c.mends.is_empty() && c.mends.iter().all(&mends) {
                    c.instead.push(change.clone());
                }
            }
            return;
        }
        self.beyond
            .retain(|(rule, of, _)| !mends(&(rule.clone(), of.clone())));
        self.left.retain(|breach| !mends(breach));
        // What it mends besides may make another change needless.
        let besides = self.changes.iter().flat_map(|c| &c.mends).any(&mends);
        self.fewest = self.left.is_empty() && self.fewest && !besides;
        self.changes.push(Change {
            mends: new,
            ..change.clone()
        });
    }

    /// All edits, in the order of the text.
    #[must_use]
    pub fn edits(&self) -> Vec<Edit> {
        let mut all: Vec<Edit> = self
            .changes
            .iter()
            .chain(&self.filled)
            .flat_map(|c| c.edits.iter().cloned())
            .collect();
        all.sort_by_key(|e| (e.span.file.0, e.span.start));
        all.dedup();
        all
    }
}

/// Looks for the fewest changes that mend a design. `on` is the day by which departures are judged;
/// `text` gives the text of a place.
#[must_use]
pub fn mend(
    ruleset: &Arc<Ruleset>,
    design: &Design,
    stage: Stage,
    on: Option<i32>,
    text: &dyn Fn(Span) -> String,
) -> Mended {
    let shared = shared(ruleset, design);
    let (opened, grafts) = graft(ruleset, design, &shared);
    let places: Vec<Place> = changeable(ruleset, design, &shared);
    let mut residual = Residual::opened(ruleset, opened, &places, stage);
    let (knobs, groups) = knobs(&residual, &grafts);
    residual.rewrite(&untaken(&knobs));
    let departed = departed(design, &residual, on);
    let fuel = Fuel::share(&residual.program, WORK);
    let mut search = Search::new(&residual, knobs, groups, &grafts, &departed, fuel);
    let breaches: Vec<usize> = (0..residual.verdicts.len())
        .filter(|v| search.needs[*v] == Need::Mend)
        .collect();
    let name = |v: usize| (residual.rule(v).id.clone(), residual.subject(v));
    let mut out = Mended {
        breaches: breaches.iter().map(|v| name(*v)).collect(),
        fewest: true,
        ..Mended::default()
    };
    let mut able = Vec::new();
    for v in breaches {
        // A bad reading is not mended by another design: the fault is found, and it is read again.
        let readings = readings(&residual, v);
        if !readings.is_empty() {
            let (rule, subject) = name(v);
            out.beyond.push((rule, subject, readings));
            continue;
        }
        let groups = search.deps[v].clone();
        if !groups.is_empty() && search.could_go(v, &groups) {
            able.push(v);
        } else {
            let (rule, subject) = name(v);
            out.beyond.push((rule, subject, rests_on(&residual, v)));
        }
    }
    let (mut turned, mut changed, left) = repair(&mut search, &able);
    out.left = left.iter().map(|v| name(*v)).collect();
    let done: Vec<usize> = able.iter().copied().filter(|v| !left.contains(v)).collect();
    drop_idle(&mut search, &mut turned, &mut changed, &done);
    search.settle(&[]);
    out.fewest = left.is_empty() && none_fewer(&mut search, &done, changed.len());
    search.settle(&turned);
    search.trim(&mut turned, &done);
    let mends = shared_out(&mut search, &turned, &changed, &done);
    for (group, mends) in changed.iter().zip(mends) {
        let without = outside(&search, &turned, *group);
        let instead = instead(&mut search, &without, &mends, &done, &changed);
        let mut change = change(&search, *group, &turned, text);
        change.mends = mends.iter().map(|v| name(*v)).collect();
        change.instead = instead
            .iter()
            .map(|w| self::change(&search, w.group, &w.turned, text))
            .collect();
        out.changes.push(change);
    }
    fill(&mut search, &done, &mut turned, text, &mut out);
    out.work = residual.program.ops.len() as u64 + search.work();
    out
}

/// Takes back changes that nothing needs any more, now that all others are made.
fn drop_idle(
    search: &mut Search<'_>,
    turned: &mut Turned,
    changed: &mut Vec<usize>,
    done: &[usize],
) {
    for group in changed.clone() {
        let without = outside(search, turned, group);
        let idle = !search.spent()
            && search.left(done, &without).is_empty()
            && search.suffers(&without, done).is_none();
        if idle {
            *turned = without;
            changed.retain(|g| *g != group);
        }
    }
}

/// What each change mends: what is broken again without it. What two of them mend, each alone, is
/// said of the first that it depends on.
fn shared_out(
    search: &mut Search<'_>,
    turned: &Turned,
    changed: &[usize],
    done: &[usize],
) -> Vec<Vec<usize>> {
    let mut all: Vec<Vec<usize>> = Vec::new();
    for group in changed {
        let without = outside(search, turned, *group);
        all.push(search.left(done, &without));
    }
    for v in done {
        if all.iter().any(|mends| mends.contains(v)) {
            continue;
        }
        let of = |group: &usize| search.deps[*v].contains(group);
        let first = changed.iter().position(of).unwrap_or(0);
        if let Some(mends) = all.get_mut(first) {
            mends.push(*v);
        }
    }
    all
}

/// Verdicts of which a departure covers a breach.
fn departed(design: &Design, residual: &Residual, on: Option<i32>) -> Vec<usize> {
    let departures = Departures::new(&residual.ruleset, design, on);
    let covers = |v: &usize| departures.covers(residual.rule(*v), residual.verdicts[*v].subject);
    (0..residual.verdicts.len()).filter(covers).collect()
}

/// The readings that a verdict rests on: `Zs of readings (test)`.
fn readings(residual: &Residual, v: usize) -> Vec<String> {
    let (ruleset, rule) = (&residual.ruleset, residual.rule(v));
    let named = |(kind, fact)| {
        let kind = ruleset.vocabulary.kind(kind);
        let fact = kind.fact(fact);
        format!("{} of {} ({})", fact.name, kind.name, fact.settled_by)
    };
    ruleset.readings_in(rule).map(named).collect()
}

/// The facts a breach rests on that are not the designer's: what would have to be other.
fn rests_on(residual: &Residual, v: usize) -> Vec<String> {
    let mut all: BTreeSet<String> = BTreeSet::new();
    let mut seen = FxHashSet::default();
    let mut stack = vec![residual.verdicts[v].root];
    while let Some(r) = stack.pop() {
        if !seen.insert(r) {
            continue;
        }
        match residual.program.ops[r.ix()] {
            crate::expression::Op::Leaf(id) => {
                let place = Place::of(residual.info(id));
                let settler = super::bounds::settler(residual, place);
                let object = residual.design.object(place.object);
                if residual.leaf(id).source != LeafSource::Assumed && !object.phantom {
                    all.insert(format!("{} ({settler})", residual.label(place)));
                }
            }
            op => op.operands(&residual.program.args, |o| stack.push(o)),
        }
    }
    all.into_iter().take(6).collect()
}

/// Mends breach after breach, each time by the change that mends most for its cost.
fn repair(search: &mut Search<'_>, breaches: &[usize]) -> (Turned, Vec<usize>, Vec<usize>) {
    let mut turned: Turned = Vec::new();
    let mut changed: Vec<usize> = Vec::new();
    let mut given_up: Vec<usize> = Vec::new();
    loop {
        let left: Vec<usize> = search
            .left(breaches, &turned)
            .into_iter()
            .filter(|v| !given_up.contains(v))
            .collect();
        let Some(first) = left.first().copied() else {
            break;
        };
        let mut best: Option<Way> = None;
        for v in &left {
            for g in search.deps[*v].clone() {
                if search.spent() {
                    break;
                }
                for way in search.ways(g, *v, &turned, breaches) {
                    let weigh = |w: &Way| {
                        // A part that is changed anyway costs no further change.
                        let again = changed.contains(&w.group);
                        (again, w.gain)
                    };
                    let better = best.as_ref().is_none_or(|b| {
                        weigh(&way) > weigh(b) || weigh(&way) == weigh(b) && way.cost < b.cost
                    });
                    if way.gain > 0 && better {
                        best = Some(way);
                    }
                }
            }
        }
        match best.or_else(|| pair(search, first, &turned, breaches)) {
            Some(way) => {
                turned = way.turned;
                search.settle(&turned);
                let groups = turned.iter().map(|(k, _)| search.knobs[*k].group);
                let mut new: BTreeSet<usize> = groups.collect();
                new.retain(|g| !changed.contains(g));
                changed.extend(new);
            }
            None => given_up.push(first),
        }
        if search.spent() {
            break;
        }
    }
    let left = search.left(breaches, &turned);
    (turned, changed, left)
}

/// Two changes together, where no single one mends a breach.
fn pair(search: &mut Search<'_>, v: usize, turned: &Turned, breaches: &[usize]) -> Option<Way> {
    let groups = search.deps[v].clone();
    for a in &groups {
        for b in &groups {
            if a == b || search.spent() || !search.could_go(v, &[*a, *b]) {
                continue;
            }
            for k in search.groups[*a].knobs.clone() {
                let options = search.knobs[k].options.each().unwrap_or_default();
                for val in options.into_iter().take(8) {
                    let now = with(turned, k, val);
                    if let Some(way) = search.ways(*b, v, &now, breaches).into_iter().next() {
                        return Some(way);
                    }
                }
            }
        }
    }
    None
}

fn outside(search: &Search<'_>, turned: &Turned, group: usize) -> Turned {
    turned
        .iter()
        .filter(|(k, _)| search.knobs[*k].group != group)
        .copied()
        .collect()
}

/// Other single changes that mend all that one change mends.
fn instead(
    search: &mut Search<'_>,
    without: &Turned,
    mends: &[usize],
    breaches: &[usize],
    changed: &[usize],
) -> Vec<Way> {
    let Some(first) = mends.first().copied() else {
        return Vec::new();
    };
    let mut all: Vec<Way> = Vec::new();
    for g in search.deps[first].clone() {
        if changed.contains(&g) || search.spent() {
            continue;
        }
        let best = search
            .ways(g, first, without, breaches)
            .into_iter()
            .find(|w| w.gain >= mends.len());
        all.extend(best);
    }
    all.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    all.truncate(MOST_INSTEAD);
    all
}

/// Whether no set of fewer groups could mend all: each is tried with every value free.
fn none_fewer(search: &mut Search<'_>, breaches: &[usize], count: usize) -> bool {
    if count == 0 {
        return true;
    }
    // Breaches that share no group need a change each.
    let mut taken: FxHashSet<usize> = FxHashSet::default();
    let mut apart = 0;
    let mut order: Vec<usize> = breaches.to_vec();
    order.sort_by_key(|v| search.deps[*v].len());
    for v in &order {
        if search.deps[*v].iter().all(|g| !taken.contains(g)) {
            taken.extend(search.deps[*v].iter().copied());
            apart += 1;
        }
    }
    if apart >= count {
        return true;
    }
    let until = search.part(PROOF);
    fewer_fail(search, &order, &mut Vec::new(), count - 1, until) == Some(true)
}

/// Whether every extension of `chosen` by at most `more` groups leaves a breach; nothing if the
/// work limit was met.
fn fewer_fail(
    search: &mut Search<'_>,
    order: &[usize],
    chosen: &mut Vec<usize>,
    more: usize,
    until: u64,
) -> Option<bool> {
    if search.work() > until {
        return None;
    }
    let open = order.iter().copied().find(|v| !search.could_go(*v, chosen));
    let groups = match open {
        Some(v) => search.deps[v].clone(),
        // Set evaluation leaves it open; the values themselves may tell, if they are few.
        None if search.could_mend(chosen, order)? => return Some(false),
        // None of these values does. Would it with further groups?
        None => {
            let deps = order.iter().flat_map(|v| search.deps[*v].iter().copied());
            let all: BTreeSet<usize> = deps.collect();
            all.into_iter().collect()
        }
    };
    if more == 0 {
        return Some(true);
    }
    for g in groups {
        if chosen.contains(&g) {
            continue;
        }
        chosen.push(g);
        let failed = fewer_fail(search, order, chosen, more - 1, until);
        chosen.pop();
        if failed != Some(true) {
            return failed;
        }
    }
    Some(true)
}

/// What of a group changes: a line of a `define` or a repetition stands for several things.
fn named(search: &Search<'_>, group: usize, turned: &Turned) -> String {
    let residual = search.residual;
    let of = &search.groups[group];
    let knobs = turned.iter().map(|(k, _)| &search.knobs[*k]);
    let leaves = knobs.filter(|k| k.group == group).flat_map(|k| &k.leaves);
    let places: BTreeSet<Place> = leaves.map(|l| Place::of(residual.info(*l))).collect();
    let Some(first) = places.first() else {
        return of.name.clone();
    };
    let things: BTreeSet<_> = places.iter().map(|p| p.object).collect();
    // It is named after the thing, or after the one fact of it.
    let one = of.knobs.first().map(|k| search.knobs[*k].place);
    let by_fact = one.is_some_and(|place| residual.label(place) == of.name);
    let name = match by_fact {
        true => residual.label(*first),
        false => residual.design.label(first.object),
    };
    with_all(name, things.len())
}

/// One group's change as facts and edits.
fn change(
    search: &Search<'_>,
    group: usize,
    turned: &Turned,
    text: &dyn Fn(Span) -> String,
) -> Change {
    let residual = search.residual;
    let (mut facts, mut edits, mut cost) = (Vec::new(), Vec::new(), 0.0);
    for (k, val) in turned {
        let knob = &search.knobs[*k];
        if knob.group != group {
            continue;
        }
        let fact = residual.fact_at(knob.place);
        let (mut old, told) = (text(knob.span), value_text(residual, knob, val));
        let mut new = told.clone();
        // In a mark a number stands without its unit: `B32`.
        if let (Some(unit), Some((digits, _))) = (fact.unit(), told.split_once(' '))
            && old.chars().all(|c| c.is_ascii_digit() || c == '.')
        {
            new = digits.to_owned();
            old = format!("{old} {unit}");
        }
        let said = (fact.name.clone(), old, told);
        if !facts.contains(&said) {
            facts.push(said);
        }
        cost += search.price_of(*k, val);
        edits.push(Edit {
            span: knob.span,
            new,
        });
    }
    edits.sort_by_key(|e| (e.span.file.0, e.span.start));
    let what = named(search, group, turned);
    Change {
        what,
        facts,
        edits,
        cost,
        mends: Vec::new(),
        instead: Vec::new(),
    }
}
