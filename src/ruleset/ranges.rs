//! Where the facts of a ruleset lie whatever a design says, and which sums can only grow by members
//! that are not listed.

use super::model::{Assumed, Assumption, Derivation, Figure, Rule, of_fact};
use crate::expression::{Aggregate, Compiled, Limits, Ranges, Table, TermKind, hull};
use crate::quantity::Interval;
use crate::source::Problem;
use crate::vocabulary::{Fact, FactIx, FactType, KindId, Later, Vocabulary};

/// After so many rounds what still moves is taken to move without end: formulas that read facts
/// further along the feed do.
const ROUNDS: usize = 40;

type Facts = Vec<Vec<Option<Interval>>>;

/// What a ruleset's expressions read.
#[derive(Clone, Copy)]
pub(super) struct Read<'a> {
    pub(super) vocabulary: &'a Vocabulary,
    pub(super) limits: &'a Limits,
    pub(super) tables: &'a [Table],
    pub(super) assumptions: &'a [Vec<Option<Later<Assumption>>>],
}

/// Marks each sum and `largest-two` whose body is shown never to be below zero. Without that a
/// `largest-two` means nothing and is refused.
pub(super) fn mark(
    read: Read<'_>,
    derivations: &mut [Vec<Option<Later<Derivation>>>],
    rules: &mut [Rule],
    figures: &mut [Figure],
    problems: &mut Vec<Problem>,
) {
    let facts = read.facts(derivations);
    let ranges = read.ranges(&facts);
    let derived = derivations.iter_mut().flatten().flatten();
    let formulas = derived.map(|d| &mut d.formula);
    let shown = figures.iter_mut().filter_map(|f| f.where_.as_deref_mut());
    let stated = rules.iter_mut().flat_map(Rule::expressions_mut);
    for c in formulas.chain(shown).chain(stated) {
        aggregates(ranges, c, problems);
    }
}

impl<'r> Read<'r> {
    fn ranges<'a>(&self, facts: &'a Facts) -> Ranges<'a>
    where
        'r: 'a,
    {
        Ranges {
            vocabulary: self.vocabulary,
            limits: self.limits,
            tables: self.tables,
            facts,
        }
    }

    /// Where what is written, assumed or unknown of a fact lies; nothing, if it is only derived.
    fn stated(&self, kind: KindId, ix: FactIx, fact: &Fact) -> Option<Interval> {
        if !matches!(fact.ty, FactType::Quantity { .. }) {
            return Some(Interval::ALL);
        }
        let domain = Interval::new(fact.domain.lo, fact.domain.hi);
        let series = fact.series.and_then(|s| self.vocabulary.series(s).range());
        let written = match series {
            Some(s) => s.intersect(domain),
            None => Some(domain),
        };
        let assumed = of_fact(self.assumptions, kind, ix);
        let assumed = assumed.and_then(|a| match a.value {
            Assumed::Number(x) => Some(Interval::point(x)),
            _ => None,
        });
        hull(written, assumed)
    }

    /// Where all facts lie. Each starts from what can be written of it and is widened by what its
    /// formula gives for what is found so far, until nothing moves: then every formula stays inside.
    fn facts(&self, derivations: &[Vec<Option<Later<Derivation>>>]) -> Facts {
        let v = self.vocabulary;
        let formula = |k: KindId, f: FactIx| of_fact(derivations, k, f).map(|d| &d.formula);
        let each = || {
            v.kind_ids()
                .flat_map(|k| v.kind(k).fact_ids().map(move |f| (k, f)))
        };
        let mut facts: Facts = v
            .kind_ids()
            .map(|k| {
                let kind = v.kind(k);
                kind.fact_ids()
                    .map(|f| {
                        let fact = kind.fact(f);
                        let only_derived = formula(k, f).is_some() && !fact.writable;
                        if only_derived {
                            None
                        } else {
                            self.stated(k, f, fact)
                        }
                    })
                    .collect()
            })
            .collect();
        for round in 0.. {
            let mut moved = Vec::new();
            let ranges = self.ranges(&facts);
            for (k, f) in each() {
                let fact = v.fact(k, f);
                let before = ranges.fact(k, f);
                let mut range = before;
                if let Some(c) = formula(k, f) {
                    let root = c.root.0 as usize;
                    range = hull(range, ranges.of(c).get(root).copied().flatten());
                }
                if fact.inherits.is_some() {
                    // It is read by its name, of whatever the reference leads to.
                    for other in v.kind_ids() {
                        if let Some(same) = v.kind(other).fact_named(&fact.name) {
                            range = hull(range, ranges.fact(other, same));
                        }
                    }
                }
                if range != before {
                    if round >= ROUNDS {
                        range = range.map(Interval::without_end);
                    }
                    moved.push((k, f, range));
                }
            }
            if moved.is_empty() {
                break;
            }
            for (k, f, range) in moved {
                facts[usize::from(k.0)][usize::from(f.0)] = range;
            }
        }
        facts
    }
}

fn aggregates(ranges: Ranges<'_>, c: &mut Compiled, problems: &mut Vec<Problem>) {
    let summed = |kind: &TermKind| match kind {
        TermKind::Aggregate {
            op: Aggregate::Sum | Aggregate::LargestTwo,
            body,
            ..
        } => *body,
        _ => None,
    };
    if !c.terms.iter().any(|t| summed(&t.kind).is_some()) {
        return;
    }
    let known = ranges.of(c);
    for i in 0..c.terms.len() {
        let Some(body) = c.terms.get(i).and_then(|t| summed(&t.kind)) else {
            continue;
        };
        let range = known.get(body.0 as usize).copied().flatten();
        let shown = range.is_none_or(|r| r.lo >= 0.0);
        let text = c.slice(body).to_owned();
        let Some(TermKind::Aggregate {
            op, never_negative, ..
        }) = c.terms.get_mut(i).map(|t| &mut t.kind)
        else {
            continue;
        };
        *never_negative = shown;
        if *op == Aggregate::LargestTwo && !shown {
            let why = format!("`largest-two` adds what is never below zero, and `{text}` may be");
            Problem::wrong("may-be-negative", c.wording.span, why)
                .help("write `max(0 A, …)` with its unit, or give the facts it reads a `domain` from 0 up")
                .report(problems);
        }
    }
}
