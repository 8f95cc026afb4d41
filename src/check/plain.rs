//! Values that a person would write: the refiner finds *some* value that decides, often an end of
//! a domain that nobody meets; here it is exchanged for a round and plausible one that decides, too.

use crate::expression::{
    Budget, Cone, ConeLeaf, Fuel, Leaf, LeafId, LeafKind, Named, Presence, Program, Refiner, Val,
    Witness,
};
use crate::quantity::{TruthSet, Unit, one_digit};

/// What exchanging the values of one verdict may cost.
const WORK: Fuel = Fuel(80_000);

/// The most values of one leaf that are tried.
const MOST: usize = 24;

/// What is known of a leaf besides its set.
#[derive(Default)]
pub(super) struct About {
    /// The unit it is written in; none for what is no quantity.
    pub unit: Option<Unit>,
    /// Whole numbers only.
    pub whole: bool,
    /// Values of its series, where a choice among them is behind it.
    pub series: Option<Vec<f64>>,
    /// It is a date; the day near which others are chosen, in seconds.
    pub day: Option<f64>,
}

/// Round values of a number inside its set and inside what is plausible, ascending.
fn round_values(leaf: &Leaf, about: &About) -> Vec<f64> {
    let (pl, ph) = leaf.plausible;
    let (lo, hi) = (leaf.set.lo.max(pl), leaf.set.hi.min(ph));
    let inside = |x: &f64| lo <= *x && *x <= hi;
    if let Some(day) = about.day {
        let days = [-3650.0, -365.0, -30.0, -1.0, 0.0, 1.0, 30.0, 365.0, 3650.0];
        return days
            .iter()
            .map(|d| day + d * 86_400.0)
            .filter(inside)
            .collect();
    }
    let Some(unit) = &about.unit else {
        return Vec::new();
    };
    let mut all: Vec<f64> = Vec::new();
    let (a, b) = (unit.from_si(lo), unit.from_si(hi));
    if about.whole {
        let from = if a.is_finite() {
            a.ceil().max(0.0)
        } else {
            0.0
        };
        all.extend((0..12).map(|i| unit.to_si(from + f64::from(i))));
        all.retain(inside);
        return all;
    }
    // 1, 2, 5, 10 … over the decades of the range; steps of it where it is narrow.
    let top = if b.is_finite() { b } else { 1e4 };
    let bottom = if a > 0.0 { a } else { top * 1e-4 };
    if a.is_finite() && b.is_finite() && (a <= 0.0 || b / a < 8.0) {
        let step = one_digit((b - a) / 8.0);
        if step > 0.0 && step.is_finite() {
            let first = (a / step).ceil();
            all.extend((0..10).map(|i| unit.to_si((first + f64::from(i)) * step)));
        }
    }
    let mut decade = libm::pow(10.0, libm::floor(libm::log10(bottom.max(1e-12))));
    while decade <= top && all.len() < 60 {
        for m in [1.0, 2.0, 5.0] {
            all.push(unit.to_si(decade * m));
        }
        decade *= 10.0;
    }
    all.retain(inside);
    all.sort_by(f64::total_cmp);
    all.dedup();
    if all.len() > MOST {
        let skip = all.len().div_ceil(MOST);
        all = all.into_iter().step_by(skip).collect();
    }
    all
}

/// Values of a leaf worth saying, in ascending order, and whether they have that order.
pub(super) fn candidates(leaf: &Leaf, about: &About) -> Vec<Val> {
    match leaf.kind {
        LeafKind::Number => round_values(leaf, about)
            .into_iter()
            .map(|x| leaf.set.at(x))
            .collect(),
        LeafKind::Choice => {
            let Some(series) = &about.series else {
                return Vec::new();
            };
            let (pl, ph) = leaf.plausible;
            series
                .iter()
                .take(64)
                .enumerate()
                .filter(|(i, x)| leaf.set.bits >> i & 1 != 0 && pl <= **x && **x <= ph)
                .map(|(i, _)| Val {
                    bits: 1 << i,
                    ..leaf.set
                })
                .collect()
        }
        _ => Vec::new(),
    }
}

/// Whether a value lies in what is plausible.
fn is_plausible(leaf: &Leaf, about: &About, val: &Val) -> bool {
    if let Some(day) = about.day {
        return (val.lo - day).abs() <= 20.0 * 366.0 * 86_400.0;
    }
    let open_end = 0.0 < val.lo.abs() && val.lo.abs() < 1e-290;
    leaf.kind != LeafKind::Number
        || val.bits == Presence::ABSENT
        || (leaf.plausible.0 <= val.lo && val.lo <= leaf.plausible.1 && !open_end)
}

/// Exchanges the values of the leaves that decide; what decides only by a value that nobody
/// meets is left out, unless nothing else does.
pub(super) fn deciding(
    program: &Program,
    refiner: &mut Refiner<'_>,
    cone: &Cone,
    named: Vec<Named>,
    about: &dyn Fn(LeafId) -> About,
) -> Vec<Named> {
    let mut fuel = WORK.tries(cone, MOST as u32);
    let alone = |refiner: &mut Refiner<'_>, n: &Named| {
        n.yes.or(n.no).is_none_or(|v| {
            let values = refiner.with(cone, &[(n.leaf, v)]);
            refiner
                .decide_within(cone, values, Budget(24))
                .truth
                .is_decided()
        })
    };
    if let [a, b] = named.as_slice()
        && !alone(refiner, a)
    {
        return pair(program, refiner, cone, (a, b), about);
    }
    let mut out: Vec<Named> = Vec::new();
    for n in named {
        let Some(leaf) = program.leaves.get(n.leaf.0 as usize) else {
            continue;
        };
        let about = about(n.leaf);
        let mut better = n.clone();
        let (mut yes, mut no) = (Vec::new(), Vec::new());
        for val in candidates(leaf, &about) {
            if fuel == 0 || refiner.is_spent() {
                break;
            }
            let values = refiner.with(cone, &[(n.leaf, val)]);
            let d = refiner.decide_within(cone, values, Budget(24.min(fuel)));
            fuel = fuel.saturating_sub(d.boxes.max(1));
            match d.truth {
                TruthSet::T => yes.push(val),
                TruthSet::F => no.push(val),
                _ => {}
            }
        }
        let discrete = about.series.is_some() || about.whole || about.day.is_some();
        let (passes, breaks) = (pick(&yes, &no, discrete), pick(&no, &yes, discrete));
        better.yes = passes.or(n.yes.filter(|v| is_plausible(leaf, &about, v)));
        better.no = breaks.or(n.no.filter(|v| is_plausible(leaf, &about, v)));
        out.push(better);
    }
    let some = |n: &Named| n.yes.is_some() || n.no.is_some();
    if out.iter().any(some) {
        out.retain(some);
    }
    out
}

/// Two leaves that decide together only: values of both, from the middle outward.
fn pair(
    program: &Program,
    refiner: &mut Refiner<'_>,
    cone: &Cone,
    (a, b): (&Named, &Named),
    about: &dyn Fn(LeafId) -> About,
) -> Vec<Named> {
    let holds = a.yes.is_some();
    let wanted = TruthSet::of(holds);
    let some = |n: &Named| -> Vec<Val> {
        let Some(leaf) = program.leaves.get(n.leaf.0 as usize) else {
            return Vec::new();
        };
        let mut all = candidates(leaf, &about(n.leaf));
        if all.is_empty() {
            all.extend(n.yes.or(n.no));
        }
        from_middle(all).take(6).collect()
    };
    let with = |n: &Named, v: Option<Val>| Named {
        leaf: n.leaf,
        yes: v.filter(|_| holds),
        no: v.filter(|_| !holds),
    };
    let others = some(b);
    let both = some(a);
    let both = both
        .iter()
        .flat_map(|x| others.iter().map(move |y| (*x, *y)));
    for (x, y) in both {
        if refiner.is_spent() {
            break;
        }
        let values = refiner.with(cone, &[(a.leaf, x), (b.leaf, y)]);
        if refiner.decide_within(cone, values, Budget(24)).truth == wanted {
            return vec![with(a, Some(x)), with(b, Some(y))];
        }
    }
    // They decide together, by values that nobody meets: the facts are named without them.
    let kept = |n: &Named| {
        let leaf = program.leaves.get(n.leaf.0 as usize);
        let val = n.yes.or(n.no);
        val.filter(|v| leaf.is_some_and(|l| is_plausible(l, &about(n.leaf), v)))
    };
    vec![with(a, kept(a)), with(b, kept(b))]
}

/// The middle of some values first, then outward.
fn from_middle(all: Vec<Val>) -> impl Iterator<Item = Val> {
    let middle = all.len() / 2;
    let mut order: Vec<(usize, Val)> = all.into_iter().enumerate().collect();
    order.sort_by_key(|(k, _)| k.abs_diff(middle));
    order.into_iter().map(|(_, v)| v)
}

/// One of the values that give a verdict: of steps the one next to those of the other verdict, of
/// a scale the one in the middle, well away from where the verdict turns.
fn pick(these: &[Val], others: &[Val], discrete: bool) -> Option<Val> {
    let key = |v: &Val| (v.bits, v.lo);
    if !discrete {
        return these.get(these.len() / 2).copied();
    }
    let (first, last) = (these.first()?, these.last()?);
    match others.first() {
        // Those of the other verdict lie above.
        Some(o) if key(o) > key(first) => Some(*last),
        Some(_) => Some(*first),
        None => these.get(these.len() / 2).copied(),
    }
}

/// Exchanges the values of a witness, one after the other, as long as it stays one.
pub(super) fn witness(
    program: &Program,
    refiner: &mut Refiner<'_>,
    cone: &Cone,
    witness: &Witness,
    holds: bool,
    about: &dyn Fn(LeafId) -> About,
) -> Witness {
    let wanted = TruthSet::of(holds);
    let mut fuel = WORK.tries(cone, MOST as u32);
    // A witness has the leaves of its cone, in their order.
    let same = |(l, (id, _)): (&ConeLeaf, &(LeafId, Val))| l.id == *id;
    if witness.0.len() != cone.leaves.len() || !cone.leaves.iter().zip(&witness.0).all(same) {
        return witness.clone();
    }
    let mut values: Vec<Val> = witness.0.iter().map(|(_, v)| *v).collect();
    for (i, l) in cone.leaves.iter().enumerate() {
        let Some(leaf) = program.leaves.get(l.id.0 as usize) else {
            continue;
        };
        if leaf.kind != LeafKind::Number || leaf.is_point(&leaf.set) {
            continue;
        }
        let Some(now) = values.get(i).copied() else {
            continue;
        };
        if now.bits == Presence::ABSENT {
            continue;
        }
        // A few for each, so that something is left for the last.
        for candidate in from_middle(candidates(leaf, &about(l.id))).take(8) {
            if fuel == 0 || refiner.is_spent() {
                break;
            }
            fuel -= 1;
            if let Some(slot) = values.get_mut(i) {
                *slot = candidate;
            }
            if refiner.run(cone, &values).as_truth() == wanted {
                break;
            }
            if let Some(slot) = values.get_mut(i) {
                *slot = now;
            }
        }
    }
    refiner.restore(cone);
    Witness::of(cone, values)
}
