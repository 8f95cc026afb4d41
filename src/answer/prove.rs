//! Which part of a template's parameter ranges passes, which breaks and by which rule, which stays
//! open.
//!
//! One tree of boxes for each verdict, over the parameters that it depends on; a box is split until
//! set evaluation decides it for every value of everything else, or it is too small, or the budget
//! is spent. So nothing that is called passing can break, whatever else is open.

use std::collections::BTreeMap;

use super::residual::{Engine, Residual, each_bit};
use crate::check::{Departures, Standing, Subject, What};
use crate::design::model::Possible;
use crate::expression::{Budget, Flags, Fuel, LeafId, LeafKind, Val};
use crate::quantity::{TruthSet, Unit};
use crate::ruleset::Severity;
use crate::source::{Problem, words};

/// Boxes of one verdict's tree, unless another number is asked for.
pub const BOXES: u32 = 4096;
/// Halvings of one range for one, two and more parameters: 1 part in a million, 512, 32.
const HALVINGS: [u32; 3] = [20, 9, 5];
/// What all proofs of a template may take together: enough for a small one, of a large one so many
/// times what it takes to work it out once.
const WORK: (u64, u64) = (200_000_000, 400);
/// Boxes for what else is open inside one box.
const INSIDE: Budget = Budget(16);

/// A parameter that varies.
#[derive(Clone, Debug)]
pub struct Parameter {
    /// Its leaf.
    pub leaf: LeafId,
    /// Its name.
    pub name: String,
    /// Its unit, for a quantity.
    pub unit: Option<Unit>,
    /// The declared alternatives, where it is a choice.
    pub words: Vec<String>,
    /// All its values.
    pub set: Val,
}

words! {
    /// What is known of a box.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
    pub enum State {
        /// Met for everything in it.
        Passes = "passes",
        /// Not met, whatever else is so.
        Breaks = "breaks",
        /// Depends on what else is open, or could not be told.
        Open = "open",
    }
}

impl State {
    fn of(truth: TruthSet) -> Self {
        match truth {
            TruthSet::T => Self::Passes,
            TruthSet::F => Self::Breaks,
            _ => Self::Open,
        }
    }
}

/// A part of the parameter ranges.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// The values of each of the verdict's parameters.
    pub ranges: Vec<Val>,
    /// What is known.
    pub state: State,
}

/// What was proved of one verdict.
#[derive(Clone, Debug)]
pub struct Proof {
    /// Index of the verdict.
    pub verdict: usize,
    /// The rule.
    pub rule: String,
    /// Its subject.
    pub subject: Subject,
    /// How its failure weighs.
    pub severity: Severity,
    /// The parameters it depends on, as indices.
    pub parameters: Vec<usize>,
    /// The parts, in order.
    pub parts: Vec<Part>,
    /// The budget of boxes was spent before all was told.
    pub exhausted: bool,
    /// A departure covers this verdict where it breaks.
    pub departed: bool,
    /// It covers what is open, too: nothing but the parameters is, so that each of their values
    /// passes or breaks.
    pub open_departed: bool,
}

impl Proof {
    /// The share of the parameter ranges that is in a state.
    #[must_use]
    pub fn share(&self, state: State, all: &[Parameter]) -> f64 {
        self.parts
            .iter()
            .filter(|p| p.state == state)
            .map(|p| {
                p.ranges
                    .iter()
                    .zip(&self.parameters)
                    .map(|(r, i)| share(r, &all[*i].set))
                    .product::<f64>()
            })
            .sum()
    }

    /// What a state counts as: what breaks under a departure is agreed on.
    #[must_use]
    pub fn counts(&self, state: State) -> State {
        match state {
            State::Breaks if self.departed => State::Passes,
            State::Open if self.open_departed => State::Passes,
            state => state,
        }
    }

    /// What is known at a point of the parameters this verdict depends on; open between boxes.
    #[must_use]
    pub fn at(&self, point: &[Val]) -> State {
        self.parts
            .iter()
            .find(|p| p.ranges.iter().zip(point).all(|(r, x)| holds(r, x)))
            .map_or(State::Open, |p| p.state)
    }
}

fn holds(range: &Val, x: &Val) -> bool {
    if x.lo == 0.0 && x.hi == 0.0 && range.lo == 0.0 && range.hi == 0.0 {
        x.bits & !range.bits == 0
    } else {
        range.lo <= x.lo && x.hi <= range.hi
    }
}

fn share(part: &Val, whole: &Val) -> f64 {
    let width = whole.hi - whole.lo;
    if width > 0.0 {
        (part.hi - part.lo) / width
    } else {
        f64::from(part.bits.count_ones()) / f64::from(whole.bits.count_ones().max(1))
    }
}

/// What was proved of a template.
#[derive(Clone, Debug, Default)]
pub struct Proved {
    /// The parameters.
    pub parameters: Vec<Parameter>,
    /// Verdicts that depend on a parameter and are not met everywhere.
    pub proofs: Vec<Proof>,
    /// Verdicts that depend on a parameter and are met everywhere.
    pub met: usize,
    /// Breaches and cautions that no parameter has a part in: rule, subject, severity.
    pub always_broken: Vec<(String, Subject, Severity)>,
    /// Breaches that no parameter has a part in and that a departure covers: rule, subject.
    pub always_departed: Vec<(String, Subject)>,
    /// Verdicts that are open and have no parameter in them, by severity.
    pub always_open: Vec<(Severity, usize)>,
    /// What matters whatever the parameters and these rules do not judge: id, subject, what it is.
    pub left_out: Vec<(String, Subject, String)>,
    /// Whether some of it could be a breach.
    pub breach_left_out: bool,
    /// Departures that are not in force, as cautions.
    pub problems: Vec<Problem>,
    /// Operations that were worked out.
    pub work: u64,
}

impl Proved {
    /// What it comes to for the worst values of the parameters.
    #[must_use]
    pub fn standing(&self) -> Standing {
        let breach = |s: Severity| s == Severity::Breach;
        let some = |state: State| {
            let mut parts = self.proofs.iter().filter(|p| breach(p.severity));
            parts.any(|p| p.parts.iter().any(|x| p.counts(x.state) == state))
        };
        if some(State::Breaks) || self.always_broken.iter().any(|(_, _, s)| breach(*s)) {
            Standing::Breach
        } else if some(State::Open)
            || self.always_open.iter().any(|(s, _)| breach(*s))
            || self.breach_left_out
        {
            Standing::Undecided
        } else {
            Standing::Clean
        }
    }
}

/// The parameters of a linked design that vary.
#[must_use]
pub fn parameters(residual: &Residual) -> Vec<Parameter> {
    let mut all = Vec::new();
    for (ix, info) in (0_u32..).zip(&residual.infos) {
        let What::Parameter(p) = info.what else {
            continue;
        };
        let leaf = LeafId(ix);
        let set = residual.written[ix as usize];
        if residual.leaf(leaf).is_point(&set) {
            continue;
        }
        let Some(parameter) = residual.design.parameters.get(p as usize) else {
            continue;
        };
        let words = match &parameter.value {
            Possible::OneOf(list) => list.iter().map(|p| shown(p, &parameter.unit)).collect(),
            _ => Vec::new(),
        };
        all.push(Parameter {
            leaf,
            name: parameter.name.clone(),
            unit: Unit::parse(&parameter.unit).ok(),
            words,
            set,
        });
    }
    all
}

fn shown(p: &Possible, unit: &str) -> String {
    match p {
        Possible::Number(i) => Unit::parse(unit).map_or_else(
            |_| format!("{} .. {}", i.lo, i.hi),
            |u| crate::quantity::format_interval(i.lo, i.hi, &u),
        ),
        Possible::Text(t) => t.clone(),
        Possible::Truth(t) => (if *t { "yes" } else { "no" }).to_owned(),
        _ => "?".to_owned(),
    }
}

/// Proves what can be proved of a template.
#[must_use]
pub fn prove(residual: &Residual, departures: &Departures<'_>, boxes: u32) -> Proved {
    let mut engine = residual.engine();
    let parameters = parameters(residual);
    let mut out = Proved {
        problems: departures.problems.clone(),
        ..Proved::default()
    };
    let mut depends: Vec<Vec<usize>> = vec![Vec::new(); residual.verdicts.len()];
    for (i, p) in parameters.iter().enumerate() {
        for v in engine.by_leaf(p.leaf) {
            depends[v].push(i);
        }
    }
    let mut open: BTreeMap<Severity, usize> = BTreeMap::new();
    let fuel = Fuel::share(&residual.program, WORK);
    engine.share_out(fuel, residual.verdicts.len());
    for (v, mine) in depends.into_iter().enumerate() {
        engine.next_share();
        let rule = residual.rule(v);
        let departed = departures.covers(rule, residual.verdicts[v].subject);
        if mine.is_empty() {
            let (id, subject) = (rule.id.clone(), residual.subject(v));
            match engine.truth(v, &[]) {
                TruthSet::F if departed => out.always_departed.push((id, subject)),
                TruthSet::F => out.always_broken.push((id, subject, rule.severity)),
                TruthSet::U if rule.is_left_out() && departed => {}
                TruthSet::U if rule.is_left_out() && engine.applies(v, &[]) == TruthSet::T => {
                    out.breach_left_out |= rule.severity == Severity::Breach;
                    out.left_out.push((id, subject, rule.told_as()));
                }
                TruthSet::U => *open.entry(rule.severity).or_insert(0) += 1,
                _ => {}
            }
            continue;
        }
        let (parts, exhausted) = tree(&mut engine, v, &mine, &parameters, boxes);
        if parts.iter().all(|p| p.state == State::Passes) {
            out.met += 1;
            continue;
        }
        out.proofs.push(Proof {
            verdict: v,
            rule: rule.id.clone(),
            subject: residual.subject(v),
            severity: rule.severity,
            parameters: mine,
            parts,
            exhausted,
            departed,
            open_departed: departed
                && (rule.is_left_out() || only_parameters_open(&mut engine, v, &parameters)),
        });
    }
    out.always_open = open.into_iter().collect();
    out.proofs.sort_by(|a, b| {
        (a.severity, &a.rule, &a.subject.label).cmp(&(b.severity, &b.rule, &b.subject.label))
    });
    out.parameters = parameters;
    out.work = engine.work();
    out
}

/// Whether a verdict is decided once the parameters are.
fn only_parameters_open(engine: &mut Engine<'_>, v: usize, all: &[Parameter]) -> bool {
    let mut live = engine.live(v).into_iter();
    live.all(|leaf| all.iter().any(|p| p.leaf == leaf))
        && !engine.told(v, &[]).flags.any(Flags::UNSOUND)
}

/// Splits until each part is decided, too small, or the budget is spent.
fn tree(
    engine: &mut Engine<'_>,
    v: usize,
    mine: &[usize],
    all: &[Parameter],
    boxes: u32,
) -> (Vec<Part>, bool) {
    let left_out = engine.residual.rule(v).is_left_out();
    let halvings = HALVINGS[mine.len().min(3) - 1];
    let whole: Vec<Val> = mine.iter().map(|i| all[*i].set).collect();
    let budget = engine.budget;
    engine.budget = INSIDE;
    let mut queue = std::collections::VecDeque::from([whole.clone()]);
    let mut parts = Vec::new();
    let mut spent = 0;
    let mut exhausted = false;
    // Breadth first, so that what is left when the budget ends is small.
    while let Some(ranges) = queue.pop_front() {
        let with: Vec<(LeafId, Val)> = mine
            .iter()
            .map(|i| all[*i].leaf)
            .zip(ranges.clone())
            .collect();
        spent += 1;
        let state = State::of(engine.truth(v, &with));
        // Where it matters what the rules leave out, no smaller part settles it.
        let stays = left_out && engine.applies(v, &with) == TruthSet::T;
        if state != State::Open || stays {
            parts.push(Part { ranges, state });
            continue;
        }
        let split = halve(engine, mine, all, &whole, &ranges, halvings);
        match split {
            Some(halves) if spent + 2 <= boxes && !engine.is_spent() => queue.extend(halves),
            other => {
                exhausted |= other.is_some();
                parts.push(Part { ranges, state });
            }
        }
    }
    engine.budget = budget;
    parts.sort_by(|a, b| {
        let key = |p: &Part| p.ranges.iter().map(|r| (r.lo, r.bits)).collect::<Vec<_>>();
        let (x, y) = (key(a), key(b));
        x.iter()
            .zip(&y)
            .map(|((p, q), (r, s))| p.total_cmp(r).then(q.cmp(s)))
            .find(|o| o.is_ne())
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    (join(parts), exhausted)
}

/// Two halves along the parameter that is widest, as a share of its whole range.
fn halve(
    engine: &Engine<'_>,
    mine: &[usize],
    all: &[Parameter],
    whole: &[Val],
    ranges: &[Val],
    halvings: u32,
) -> Option<Vec<Vec<Val>>> {
    let smallest = libm::exp2(-f64::from(halvings));
    let mut best: Option<(usize, f64)> = None;
    let is_discrete = |i: usize| engine.residual.leaf(all[mine[i]].leaf).kind != LeafKind::Number;
    for (i, r) in ranges.iter().enumerate() {
        let width = if is_discrete(i) {
            if r.bits.count_ones() > 1 { 2.0 } else { 0.0 }
        } else {
            share(r, &whole[i])
        };
        if width > smallest && best.is_none_or(|(_, w)| width > w) {
            best = Some((i, width));
        }
    }
    let (i, _) = best?;
    let r = ranges[i];
    let with = |val: Val| {
        let mut x = ranges.to_vec();
        x[i] = val;
        x
    };
    if is_discrete(i) {
        let low = r.bits & r.bits.wrapping_neg();
        return Some(vec![
            with(Val { bits: low, ..r }),
            with(Val {
                bits: r.bits & !low,
                ..r
            }),
        ]);
    }
    let middle = r.lo + (r.hi - r.lo) / 2.0;
    (r.lo < middle && middle < r.hi)
        .then(|| vec![with(Val { hi: middle, ..r }), with(Val { lo: middle, ..r })])
}

/// Joins neighbours in a line that are in one state.
fn join(parts: Vec<Part>) -> Vec<Part> {
    let mut out: Vec<Part> = Vec::new();
    for p in parts {
        if let [range] = p.ranges.as_slice()
            && let Some(last) = out.last_mut()
            && last.state == p.state
            && let [before] = last.ranges.as_mut_slice()
            && before.hi == range.lo
            && before.bits == range.bits
            && range.lo < range.hi
        {
            before.hi = range.hi;
            continue;
        }
        out.push(p);
    }
    out
}

/// One stretch of a single parameter, for all requirements together.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// Its values.
    pub range: Val,
    /// What is known.
    pub state: State,
    /// The verdicts that break or are open, as indices of [`Proved::proofs`].
    pub by: Vec<usize>,
}

/// Stretches of a template with one parameter, over the verdicts that `wanted` picks.
#[must_use]
pub fn stretches(proved: &Proved, wanted: impl Fn(&Proof) -> bool) -> Vec<Stretch> {
    let [parameter] = proved.parameters.as_slice() else {
        return Vec::new();
    };
    if parameter.set.lo >= parameter.set.hi {
        let all = each_bit(parameter.set.bits);
        let all = all.map(|bit| whole_state(proved, &wanted, Val::bits(bit)));
        return all.collect();
    }
    let mut cuts = vec![parameter.set.lo, parameter.set.hi];
    for p in proved.proofs.iter().filter(|p| wanted(p)) {
        for part in &p.parts {
            cuts.extend(part.ranges.iter().flat_map(|r| [r.lo, r.hi]));
        }
    }
    cuts.sort_by(f64::total_cmp);
    cuts.dedup();
    let mut all: Vec<Stretch> = Vec::new();
    for w in cuts.windows(2) {
        let (lo, hi) = (w[0], w[1]);
        let range = Val {
            lo,
            hi,
            ..parameter.set
        };
        let s = whole_state(proved, &wanted, range);
        match all.last_mut() {
            Some(last) if last.state == s.state && last.by == s.by => last.range.hi = hi,
            _ => all.push(s),
        }
    }
    all
}

fn whole_state(proved: &Proved, wanted: &impl Fn(&Proof) -> bool, range: Val) -> Stretch {
    let proofs = proved.proofs.iter().enumerate().filter(|(_, p)| wanted(p));
    let told: Vec<(usize, State)> = proofs.map(|(i, p)| (i, p.counts(p.at(&[range])))).collect();
    let among = |state: State| -> Vec<usize> {
        let some = told.iter().filter(|(_, s)| *s == state);
        some.map(|(i, _)| *i).collect()
    };
    let (breaks, open) = (among(State::Breaks), among(State::Open));
    // What is open does not count where something breaks.
    let (state, by) = if !breaks.is_empty() {
        (State::Breaks, breaks)
    } else if !open.is_empty() {
        (State::Open, open)
    } else {
        (State::Passes, Vec::new())
    };
    Stretch { range, state, by }
}

/// A map over two parameters: a state for each cell, with the rule that breaks or is open there.
#[derive(Clone, Debug)]
pub struct Map {
    /// Indices of the parameters, across and up.
    pub across: usize,
    /// See above.
    pub up: usize,
    /// Cells across.
    pub columns: usize,
    /// Cells up.
    pub rows: usize,
    /// The cells, row by row from the lowest: what is known, and by which proof.
    pub cells: Vec<(State, Option<usize>)>,
    /// Other parameters vary too: passing means for all their values, open for some.
    pub others: bool,
}

/// A map of the verdicts that are no mere advice, over two parameters. Each cell is judged as a
/// box, so a passing cell passes at every point of it.
#[must_use]
pub fn map(
    residual: &Residual,
    proved: &Proved,
    (across, up): (usize, usize),
    (columns, rows): (usize, usize),
) -> Map {
    let mut engine = residual.engine();
    engine.budget = INSIDE;
    let mut cells = Vec::with_capacity(columns * rows);
    let cell = |p: &Parameter, i: usize, of: usize| {
        let at = |k: usize| {
            if k == of {
                p.set.hi
            } else {
                p.set.lo + (p.set.hi - p.set.lo) * k as f64 / of as f64
            }
        };
        Val {
            lo: at(i),
            hi: at(i + 1),
            ..p.set
        }
    };
    let (x, y) = (&proved.parameters[across], &proved.parameters[up]);
    for row in 0..rows {
        for column in 0..columns {
            let with = [
                (x.leaf, cell(x, column, columns)),
                (y.leaf, cell(y, row, rows)),
            ];
            let mut state = (State::Passes, None);
            for (i, p) in proved.proofs.iter().enumerate() {
                if p.severity != Severity::Breach {
                    continue;
                }
                match p.counts(State::of(engine.truth(p.verdict, &with))) {
                    State::Breaks => {
                        state = (State::Breaks, Some(i));
                        break;
                    }
                    State::Open if state.0 == State::Passes => state = (State::Open, Some(i)),
                    State::Open | State::Passes => {}
                }
            }
            cells.push(state);
        }
    }
    Map {
        across,
        up,
        columns,
        rows,
        cells,
        others: proved.parameters.len() > 2,
    }
}
