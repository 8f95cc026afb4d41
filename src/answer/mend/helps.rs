//! What would help against a single breach: changes that were tried on the whole design.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::super::residual::{Place, Residual, with_all};
use super::editable::shared;
use super::graft::graft;
use super::knobs::{changeable, knobs, untaken, value_text};
use super::search::{Need, Search, Way};
use super::{Edit, change};
use crate::design::model::{Design, ObjectId};
use crate::expression::{Fuel, LeafId};
use crate::ruleset::{Ruleset, Stage};
use crate::source::Span;

/// At most this many changes are told for one breach.
const MOST: usize = 2;
/// For at most this many breaches a change is looked for.
const MOST_BREACHES: usize = 16;
/// What looking for all of them may take: enough for a small design, of a large one so many times
/// what it takes to work it out once.
const WORK: (u64, u64) = (30_000_000, 40);

/// A change that was tried.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Help {
    /// What it is, and what it does.
    pub text: String,
    /// It in the text of the design.
    pub edits: Vec<Edit>,
}

/// For each of some breaches, a rule and its subject each: single changes after which it is met and
/// nothing else suffers; what mends most other breaches first, then the lightest. `text` gives the
/// text of a place.
#[must_use]
pub fn helps(
    ruleset: &Arc<Ruleset>,
    design: &Design,
    stage: Stage,
    breaches: &[(String, ObjectId)],
    text: &dyn Fn(Span) -> String,
) -> Vec<Vec<Help>> {
    let mut out = vec![Vec::new(); breaches.len()];
    if breaches.is_empty() {
        return out;
    }
    let shared = shared(ruleset, design);
    let (opened, grafts) = graft(ruleset, design, &shared);
    let places = changeable(ruleset, design, &shared);
    let mut residual = Residual::opened(ruleset, opened, &places, stage);
    let (knobs, groups) = knobs(&residual, &grafts);
    residual.rewrite(&untaken(&knobs));
    let fuel = Fuel::share(&residual.program, WORK);
    let mut search = Search::new(&residual, knobs, groups, &grafts, &[], fuel);
    let all: Vec<usize> = (0..residual.verdicts.len())
        .filter(|v| search.needs[*v] == Need::Mend)
        .collect();
    for (slot, (rule, subject)) in out.iter_mut().zip(breaches).take(MOST_BREACHES) {
        let is_this =
            |v: &usize| residual.rule(*v).id == *rule && residual.verdicts[*v].subject == *subject;
        let Some(v) = all.iter().copied().find(is_this) else {
            continue;
        };
        if ruleset.readings_in(residual.rule(v)).next().is_some() {
            continue;
        }
        let mut ways: Vec<Way> = Vec::new();
        for g in search.deps[v].clone() {
            if search.spent() {
                break;
            }
            if search.could_go(v, &[g]) {
                // Of several values the one that mends most comes first; none makes another breach worse.
                let mut found = search.ways(g, v, &Vec::new(), &all).into_iter();
                ways.extend(found.find(|w| !search.worsens(&w.turned, &all)));
            }
        }
        ways.sort_by(|a, b| b.gain.cmp(&a.gain).then(a.cost.total_cmp(&b.cost)));
        ways.truncate(MOST);
        *slot = ways
            .iter()
            .map(|w| {
                let facts: Vec<String> = w
                    .turned
                    .iter()
                    .map(|(k, val)| {
                        let knob = &search.knobs[*k];
                        let fact = &residual.fact_at(knob.place).name;
                        let value = value_text(&residual, knob, val);
                        let subject = residual.verdicts[v].subject;
                        let of = whose(&residual, &knob.leaves, subject);
                        format!("`{fact}: {value}` for {of}")
                    })
                    .collect();
                Help {
                    text: format!(
                        "{} would meet this rule and break no other, if the site allows it",
                        facts.join(" with ")
                    ),
                    edits: change(&search, w.group, &w.turned, text).edits,
                }
            })
            .collect();
    }
    out
}

/// The things that a place in the text stands for: that of the subject, and how many there are.
fn whose(residual: &Residual, leaves: &[LeafId], subject: ObjectId) -> String {
    let design = &residual.design;
    let all: BTreeSet<ObjectId> = leaves
        .iter()
        .map(|l| Place::of(residual.info(*l)).object)
        .collect();
    let is_of = |id: &&ObjectId| **id == subject || design.nearest_named(**id) == subject;
    let one = all.iter().find(is_of).or_else(|| all.first());
    let one = one.map(|id| design.label(*id)).unwrap_or_default();
    with_all(one, all.len())
}
