//! Derivations may meet themselves only along one tree in one direction: up `fed-from`, or down
//! its reverse. Anything else would never end.

use super::model::Derivation;
use crate::expression::{Compiled, ObjectTerm, Over, Range, TermKind};
use crate::source::Problem;
use crate::vocabulary::{FactIx, FactType, KindId, Later, Vocabulary};

/// The reference that makes the tree of feeds.
const TREE: &str = "fed-from";

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    /// The same object.
    Here,
    /// Towards the supply.
    Up,
    /// Away from it.
    Down,
    /// To some other object.
    Elsewhere,
}

impl Way {
    fn then(self, next: Self) -> Self {
        match (self, next) {
            (Self::Here, w) | (w, Self::Here) => w,
            (a, b) if a == b => a,
            _ => Self::Elsewhere,
        }
    }
}

type Node = (KindId, FactIx);

/// Reports derivations that need their own value.
pub(super) fn check(
    v: &Vocabulary,
    derivations: &[Vec<Option<Later<Derivation>>>],
    problems: &mut Vec<Problem>,
) {
    let mut nodes: Vec<(Node, &Derivation)> = Vec::new();
    for (k, facts) in v.kind_ids().zip(derivations) {
        let facts = v.kind(k).fact_ids().zip(facts);
        nodes.extend(facts.filter_map(|(f, d)| Some(((k, f), d.as_deref()?))));
    }
    let mut edges: Vec<Vec<(usize, Way)>> = vec![Vec::new(); nodes.len()];
    for (own, (_, d)) in edges.iter_mut().zip(&nodes) {
        reads(v, &d.formula, &mut |n, w| {
            if let Ok(j) = nodes.binary_search_by_key(&n, |(n, _)| *n) {
                own.push((j, w));
            }
        });
    }
    for component in components(&edges) {
        let inside = |j: &usize| component.contains(j);
        let mut ways: Vec<Way> = Vec::new();
        for i in &component {
            for (j, w) in &edges[*i] {
                if inside(j) && *w != Way::Here && !ways.contains(w) {
                    ways.push(*w);
                }
            }
        }
        // Steps on one object must not close a loop among themselves.
        let mut here = vec![Vec::new(); nodes.len()];
        for i in &component {
            here[*i] = edges[*i].clone();
            here[*i].retain(|(j, w)| inside(j) && *w == Way::Here);
        }
        let stuck = !components(&here).is_empty();
        let fine = !stuck && (ways == [Way::Up] || ways == [Way::Down]);
        if fine {
            continue;
        }
        let members = component.iter().map(|i| &nodes[*i]);
        let names = members.clone().map(|((k, f), _)| {
            let (kind, fact) = (&v.kind(*k).name, &v.fact(*k, *f).name);
            format!("{kind}.{fact}")
        });
        let names: Vec<String> = names.collect();
        let why = format!("these derivations need each other: {}", names.join(", "));
        let mut p = Problem::error("cycle", why);
        for (_, d) in members.take(4) {
            p = p.at(d.formula.wording.span, "");
        }
        p.help("a derivation may meet itself only up `fed-from`, or only down its reverse")
            .report(problems);
    }
}

/// Where an object term leads, seen from the subject; `at` is where the term stands.
fn object(v: &Vocabulary, c: &Compiled, o: &ObjectTerm, at: &Range) -> Way {
    match o {
        ObjectTerm::Subject => Way::Here,
        ObjectTerm::Var(slot) => member(v, c, *slot, at),
        ObjectTerm::Step(before, fact) => {
            let tree = fact
                .by_kind
                .iter()
                .all(|(k, f)| v.fact(*k, *f).name == TREE);
            // A part belongs to its owner; only a way back could close a loop, and there is none.
            object(v, c, before, at).then(if tree { Way::Up } else { Way::Elsewhere })
        }
    }
}

/// Where the member of an aggregate stands: a slot serves several aggregates, the innermost one
/// around the term is meant.
fn member(v: &Vocabulary, c: &Compiled, slot: u8, at: &Range) -> Way {
    let around = c
        .terms
        .iter()
        .zip(&c.wording.ranges)
        .filter_map(|(t, range)| match &t.kind {
            TermKind::Aggregate { var, over, .. }
                if *var == slot && range.start <= at.start && at.end <= range.end =>
            {
                Some((range, over))
            }
            _ => None,
        })
        .min_by_key(|(range, _)| range.len());
    match around {
        Some((range, Over::Collection(o, fact))) => {
            let tree = fact.by_kind.iter().all(|(k, f)| match v.fact(*k, *f).ty {
                FactType::Reverse { kind, fact } => v.fact(kind, fact).name == TREE,
                _ => false,
            });
            object(v, c, o, range).then(if tree { Way::Down } else { Way::Elsewhere })
        }
        _ => Way::Here,
    }
}

fn reads(v: &Vocabulary, c: &Compiled, each: &mut impl FnMut(Node, Way)) {
    for (term, range) in c.terms.iter().zip(&c.wording.ranges) {
        let (o, fact) = match &term.kind {
            TermKind::Read { object, fact, .. } => (object, fact),
            TermKind::Aggregate {
                over: Over::Collection(o, fact),
                ..
            } => (o, fact),
            _ => continue,
        };
        let way = object(v, c, o, range);
        for n in &fact.by_kind {
            each(*n, way);
        }
    }
}

/// Strongly connected components of more than one node, or with a loop on one (Tarjan, without
/// recursion).
fn components(edges: &[Vec<(usize, Way)>]) -> Vec<Vec<usize>> {
    const NONE: usize = usize::MAX;
    let n = edges.len();
    let (mut index, mut low) = (vec![NONE; n], vec![0; n]);
    let mut on = vec![false; n];
    let (mut stack, mut out) = (Vec::new(), Vec::new());
    let mut count = 0;
    for start in 0..n {
        if index[start] != NONE {
            continue;
        }
        let mut work = vec![(start, 0)];
        while let Some((i, at)) = work.pop() {
            if at == 0 {
                index[i] = count;
                low[i] = count;
                count += 1;
                stack.push(i);
                on[i] = true;
            }
            if let Some((j, _)) = edges[i].get(at) {
                work.push((i, at + 1));
                if index[*j] == NONE {
                    work.push((*j, 0));
                } else if on[*j] {
                    low[i] = low[i].min(index[*j]);
                }
                continue;
            }
            if low[i] == index[i] {
                let mut group = Vec::new();
                while let Some(j) = stack.pop() {
                    on[j] = false;
                    group.push(j);
                    if j == i {
                        break;
                    }
                }
                let looped = group.len() > 1 || edges[i].iter().any(|(j, _)| *j == i);
                if looped {
                    group.sort_unstable();
                    out.push(group);
                }
            }
            if let Some((parent, _)) = work.last() {
                low[*parent] = low[*parent].min(low[i]);
            }
        }
    }
    out
}
