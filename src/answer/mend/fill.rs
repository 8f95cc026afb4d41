//! Values for what the designer left as `?`, where that decides an undecided requirement.

use super::search::{Need, Search, Turned, Way};
use super::{Mended, change};
use crate::quantity::TruthSet;
use crate::ruleset::Severity;
use crate::source::Span;

/// Facts of one thing that were `?`, by their knobs, and the verdicts that values of them decide.
struct Filled {
    group: usize,
    knobs: Vec<usize>,
    decides: Vec<usize>,
}

/// Gives values to what the designer left as `?`, where that decides an undecided requirement.
pub(super) fn fill(
    search: &mut Search<'_>,
    done: &[usize],
    turned: &mut Turned,
    text: &dyn Fn(Span) -> String,
    out: &mut Mended,
) {
    let residual = search.residual;
    let repaired: Vec<usize> = turned.iter().map(|(k, _)| *k).collect();
    let undecided: Vec<usize> = (0..residual.verdicts.len())
        .filter(|v| {
            search.needs[*v] == Need::NotFail && residual.rule(*v).severity == Severity::Breach
        })
        .collect();
    let mut filled: Vec<Filled> = Vec::new();
    for v in undecided {
        let with = search.assignment(turned);
        if search.spent() || search.engine.truth(v, &with) != TruthSet::U {
            continue;
        }
        for group in search.deps[v].clone() {
            let open = |k: &usize| search.knobs[*k].unknown && !repaired.contains(k);
            if !search.groups[group].knobs.iter().any(open) {
                continue;
            }
            let ways = search.ways(group, v, turned, done);
            let fresh = |w: &Way| -> Vec<usize> {
                let other = w.turned.iter().filter(|t| !turned.contains(t));
                other.map(|(k, _)| *k).collect()
            };
            let open = |k: &usize| search.knobs[*k].unknown && !repaired.contains(k);
            let Some(way) = ways.into_iter().find(|w| fresh(w).iter().all(open)) else {
                continue;
            };
            let knobs = fresh(&way);
            match filled.iter_mut().find(|f| f.group == group) {
                // What is chosen for two rules is chosen once.
                Some(before) => {
                    before.knobs.extend(knobs);
                    before.decides.push(v);
                }
                None => filled.push(Filled {
                    group,
                    knobs,
                    decides: vec![v],
                }),
            }
            // What is met by now is not given up for the next.
            search.needs[v] = Need::Keep;
            *turned = way.turned;
            break;
        }
    }
    for f in filled {
        let chosen = turned.iter().filter(|(k, _)| f.knobs.contains(k));
        let mut c = change(search, f.group, &chosen.copied().collect(), text);
        let name = |v: &usize| (residual.rule(*v).id.clone(), residual.subject(*v));
        c.mends = f.decides.iter().map(name).collect();
        out.filled.push(c);
    }
}
