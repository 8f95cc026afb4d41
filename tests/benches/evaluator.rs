//! Conditions a second when a linked program is evaluated again for other values, one thread.
//!
//! Twenty conditions of four shapes over sixty fields (40 numbers, 10 words, 10 truths) and eight
//! documents in rotation. Each pass refills all leaves and evaluates every operation that is not a
//! leaf or a constant, as the refinement of a verdict does; nothing is cut short. Numbers are
//! exact, or have a tolerance of 5 %, or every other one has. Beside it stand the same conditions
//! written directly in Rust over exact numbers, with the same slack of comparisons.

use std::hint::black_box;

use amperule::expression::{Data, LeafKind, LeafSource, Op, Program, Reg, Val};
use amperule::quantity::{TruthSet, holds_le};
use criterion::{Criterion, Throughput};

const NUMBERS: usize = 40;
const WORDS: usize = 10;
const TRUTHS: usize = 10;
const DOCUMENTS: usize = 8;
const CONDITIONS: usize = 20;
const FLOOR: f64 = 1e-15;

/// One set of values.
struct Document {
    numbers: [f64; NUMBERS],
    /// Each an index below four.
    words: [u8; WORDS],
    truths: [bool; TRUTHS],
}

/// Always the same documents: a linear congruential sequence.
fn documents() -> Vec<Document> {
    let mut state = 1_u64;
    let mut next = move |below: u64| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    (0..DOCUMENTS)
        .map(|_| Document {
            numbers: std::array::from_fn(|_| 1.0 + next(990) as f64 / 10.0),
            words: std::array::from_fn(|_| next(4) as u8),
            truths: std::array::from_fn(|_| next(2) == 1),
        })
        .collect()
}

/// A condition; its parts are indices of fields.
enum Condition {
    /// a · factor <= b
    Product { a: usize, factor: f64, b: usize },
    /// word = is or a < b
    WordOrLess {
        word: usize,
        is: u8,
        a: usize,
        b: usize,
    },
    /// truth and a + b <= c
    TruthAndSum {
        truth: usize,
        a: usize,
        b: usize,
        c: usize,
    },
    /// a <= b and c < d and a != d
    Three {
        a: usize,
        b: usize,
        c: usize,
        d: usize,
    },
}

fn conditions() -> Vec<Condition> {
    (0..CONDITIONS)
        .map(|i| {
            let n = |k: usize| (i * 2 + k * 11) % NUMBERS;
            match i % 4 {
                0 => Condition::Product {
                    a: n(0),
                    factor: 0.5 + 0.05 * i as f64,
                    b: n(1),
                },
                1 => Condition::WordOrLess {
                    word: i % WORDS,
                    is: (i / 4 % 4) as u8,
                    a: n(0),
                    b: n(1),
                },
                2 => Condition::TruthAndSum {
                    truth: i % TRUTHS,
                    a: n(0),
                    b: n(1),
                    c: n(2),
                },
                _ => Condition::Three {
                    a: n(0),
                    b: n(1),
                    c: n(2),
                    d: n(3),
                },
            }
        })
        .collect()
}

/// The condition, written directly.
fn plain(condition: &Condition, d: &Document) -> bool {
    let le = |a: f64, b: f64| holds_le(a, b, FLOOR);
    let n = &d.numbers;
    match *condition {
        Condition::Product { a, factor, b } => le(n[a] * factor, n[b]),
        Condition::WordOrLess { word, is, a, b } => d.words[word] == is || !le(n[b], n[a]),
        Condition::TruthAndSum { truth, a, b, c } => d.truths[truth] && le(n[a] + n[b], n[c]),
        Condition::Three { a, b, c, d } => {
            le(n[a], n[b]) && !le(n[d], n[c]) && !(le(n[a], n[d]) && le(n[d], n[a]))
        }
    }
}

/// Which numbers have a tolerance, by index.
type Tolerant = fn(usize) -> bool;

/// The linked conditions.
struct Linked {
    program: Program,
    data: Data,
    /// Registers of the leaves: numbers, words, truths.
    leaves: Vec<Reg>,
    /// Registers that have to be evaluated, in order.
    work: Vec<Reg>,
    /// The verdicts.
    roots: Vec<Reg>,
}

fn link(conditions: &[Condition]) -> Linked {
    let (mut p, data) = (Program::default(), Data::default());
    let mut leaf = |kind, domain| {
        p.leaf(kind, domain, domain, (1.0, 100.0), LeafSource::Exact)
            .1
    };
    let number = Val {
        lo: 0.0,
        hi: 1000.0,
        ..Val::number(0.0)
    };
    let n: Vec<Reg> = (0..NUMBERS)
        .map(|_| leaf(LeafKind::Number, number))
        .collect();
    let w: Vec<Reg> = (0..WORDS)
        .map(|_| leaf(LeafKind::Choice, Val::bits(0b1111)))
        .collect();
    let t: Vec<Reg> = (0..TRUTHS)
        .map(|_| leaf(LeafKind::Truth, Val::truth(TruthSet::U)))
        .collect();
    let f = p.constant_index(Val::number(FLOOR));
    let roots = conditions
        .iter()
        .map(|condition| match *condition {
            Condition::Product { a, factor, b } => {
                let factor = p.constant(Val::number(factor));
                let product = p.push(Op::Mul(n[a], factor), &data);
                p.push(Op::Le(product, n[b], f), &data)
            }
            Condition::WordOrLess { word, is, a, b } => {
                let is = p.constant(Val::bits(1 << is));
                let same = p.push(Op::Same(w[word], is), &data);
                let less = p.push(Op::Lt(n[a], n[b], f), &data);
                p.push(Op::Or(same, less), &data)
            }
            Condition::TruthAndSum { truth, a, b, c } => {
                let sum = p.push(Op::Add(n[a], n[b]), &data);
                let within = p.push(Op::Le(sum, n[c], f), &data);
                p.push(Op::And(t[truth], within), &data)
            }
            Condition::Three { a, b, c, d } => {
                let first = p.push(Op::Le(n[a], n[b], f), &data);
                let second = p.push(Op::Lt(n[c], n[d], f), &data);
                let equal = p.push(Op::Equal(n[a], n[d], f), &data);
                let third = p.push(Op::Not(equal), &data);
                let both = p.push(Op::And(first, second), &data);
                p.push(Op::And(both, third), &data)
            }
        })
        .collect();
    let work = (0_u32..)
        .zip(&p.ops)
        .filter(|(_, op)| !matches!(op, Op::Leaf(_) | Op::Const(_)))
        .map(|(i, _)| Reg(i))
        .collect();
    Linked {
        program: p,
        data,
        leaves: [n, w, t].concat(),
        work,
        roots,
    }
}

/// The leaves for a document; a number has a tolerance of 5 % if `tolerant` says so.
fn values(d: &Document, tolerant: Tolerant) -> Vec<Val> {
    let numbers = d.numbers.iter().enumerate().map(|(i, x)| {
        let mut val = Val::number(*x);
        if tolerant(i) {
            (val.lo, val.hi) = (x * 0.95, x * 1.05);
        }
        val
    });
    let words = d.words.iter().map(|w| Val::bits(1 << w));
    let truths = d.truths.iter().map(|t| Val::truth(TruthSet::of(*t)));
    numbers.chain(words).chain(truths).collect()
}

/// Refills the leaves and evaluates everything.
fn pass(linked: &Linked, vals: &mut [Val], values: &[Val]) {
    for (reg, val) in linked.leaves.iter().zip(values) {
        vals[reg.ix()] = *val;
    }
    for reg in &linked.work {
        linked.program.refill(*reg, vals, &linked.data);
    }
}

fn main() {
    let (conditions, documents) = (conditions(), documents());
    let linked = link(&conditions);
    let mut vals = linked.program.vals.clone();
    let mut criterion = Criterion::default().configure_from_args();
    let mut group = criterion.benchmark_group("evaluator");
    group.throughput(Throughput::Elements(CONDITIONS as u64));
    let kinds: [(&str, Tolerant); 3] = [
        ("exact", |_| false),
        ("mixed", |i| i % 2 == 1),
        ("tolerant", |_| true),
    ];
    for (name, tolerant) in kinds {
        let sets: Vec<Vec<Val>> = documents.iter().map(|d| values(d, tolerant)).collect();
        // What is timed must be right: the plain truth is always among the possible ones, and for
        // exact values it is the only one.
        let (mut holds, mut open) = (0, 0);
        for (d, set) in documents.iter().zip(&sets) {
            pass(&linked, &mut vals, set);
            for (condition, root) in conditions.iter().zip(&linked.roots) {
                let (truth, found) = (plain(condition, d), vals[root.ix()].as_truth());
                assert!(TruthSet::of(truth).is_within(found), "{name}");
                assert!(found.is_decided() || name != "exact");
                holds += usize::from(found == TruthSet::T);
                open += usize::from(!found.is_decided());
            }
        }
        assert!(holds > 0 && holds < CONDITIONS * DOCUMENTS, "{name}");
        assert_eq!(open > 0, name != "exact", "{name}");
        let mut turn = 0;
        group.bench_function(name, |b| {
            b.iter(|| {
                turn = (turn + 1) % DOCUMENTS;
                pass(&linked, &mut vals, black_box(&sets[turn]));
                black_box(&mut vals);
            });
        });
    }
    let mut turn = 0;
    group.bench_function("plain", |b| {
        b.iter(|| {
            turn = (turn + 1) % DOCUMENTS;
            let d = black_box(&documents[turn]);
            for condition in black_box(&conditions) {
                black_box(plain(condition, d));
            }
        });
    });
    group.finish();
    criterion.final_summary();
}
