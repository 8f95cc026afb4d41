//! Parts from the ruleset's stock, put beside `none` or `?` as alternatives.

use rustc_hash::{FxHashMap, FxHashSet};

use super::super::residual::Place;
use crate::design::model::{Design, ObjectId, Possible, Written};
use crate::design::parse::parse;
use crate::design::resolve::{self, resolve};
use crate::ruleset::{Ruleset, Stock};
use crate::source::{FileId, Span};
use crate::vocabulary::FactType;

/// A fact that is `none` or `?` as written and may become one of some parts.
#[derive(Clone, Debug)]
pub(super) struct Graft {
    /// The fact.
    pub(super) place: Place,
    /// It is written as `?`, not as `none`.
    pub(super) unknown: bool,
    /// The parts, in the order of the alternatives after what is written: text and cost.
    pub(super) parts: Vec<(String, f64)>,
    /// The objects that belong to each part.
    pub(super) objects: Vec<Vec<ObjectId>>,
}

/// A design with the stock's parts beside each `none` or `?` that the designer may fill; `shared` are
/// places that cannot be edited.
pub(super) fn graft(
    ruleset: &Ruleset,
    design: &Design,
    shared: &FxHashSet<Span>,
) -> (Design, Vec<Graft>) {
    let mut out = design.clone();
    let mut grafts: Vec<Graft> = Vec::new();
    let mut spares: FxHashMap<usize, Option<Spare>> = FxHashMap::default();
    for id in design.ids() {
        let object = design.object(id);
        if !object.is_of_works() {
            continue;
        }
        let first = grafts.len();
        for (which, stock) in ruleset.mending.stock.iter().enumerate() {
            if stock.kind != object.kind {
                continue;
            }
            let now = object.written(stock.fact);
            let now = now.filter(|w| !shared.contains(&w.span)).map(|w| &w.value);
            let unknown = now == Some(&Possible::Unknown);
            if now != Some(&Possible::Absent) && !unknown {
                continue;
            }
            // Each part is read once, however many places may take it.
            let spare = spares.entry(which).or_insert_with(|| spare(ruleset, stock));
            let Some(spare) = spare.as_ref() else {
                continue;
            };
            let Some((part, all)) = bring(ruleset, &mut out, id, (stock, spare)) else {
                continue;
            };
            let place = Place {
                object: id,
                fact: stock.fact,
            };
            let mut here = grafts.iter().skip(first);
            let graft = match here.position(|g| g.place == place) {
                Some(i) => &mut grafts[first + i],
                None => {
                    grafts.push(Graft {
                        place,
                        unknown,
                        parts: Vec::new(),
                        objects: Vec::new(),
                    });
                    let last = grafts.len() - 1;
                    &mut grafts[last]
                }
            };
            graft.parts.push((stock.text.clone(), stock.cost));
            graft.objects.push(all);
            if let Some(Some(w)) = out
                .objects
                .get_mut(id.0 as usize)
                .and_then(|o| o.facts.get_mut(stock.fact.0 as usize))
            {
                match &mut w.value {
                    Possible::OneOf(list) => list.push(Possible::Object(part)),
                    before => {
                        let before = before.clone();
                        w.value = Possible::OneOf(vec![before, Possible::Object(part)]);
                    }
                }
            }
        }
    }
    (out, grafts)
}

/// A part from stock, resolved by itself.
struct Spare {
    /// A design that holds the part.
    scratch: Design,
    /// The object it belongs to there.
    root: ObjectId,
    part: ObjectId,
    /// The part and what stands inside it.
    inside: Vec<ObjectId>,
}

/// A design whose one thing has the part: what stands before the part, and behind it.
pub(super) fn around(ruleset: &Ruleset, stock: &Stock) -> (String, &'static str) {
    let kind = ruleset.vocabulary.kind(stock.kind);
    let fact = &kind.fact(stock.fact).name;
    (format!("{} scratch {{ {fact}: ", kind.name), " }")
}

fn spare(ruleset: &Ruleset, stock: &Stock) -> Option<Spare> {
    let v = &ruleset.vocabulary;
    let (before, after) = around(ruleset, stock);
    let text = format!("{before}{}{after}", stock.text);
    let parsed = parse(FileId(0), &text);
    let resolved = resolve(&[&parsed.tree], v, &resolve::Settings::default());
    let scratch = resolved.design;
    let root = scratch
        .ids()
        .find(|id| scratch.object(*id).name == "scratch")?;
    let Possible::Object(part) = scratch.object(root).written(stock.fact)?.value else {
        return None;
    };
    let inside: Vec<ObjectId> = scratch
        .ids()
        .filter(|id| {
            let mut owners = std::iter::successors(Some(*id), |x| scratch.object(*x).owner);
            owners.any(|x| x == part)
        })
        .collect();
    Some(Spare {
        scratch,
        root,
        part,
        inside,
    })
}

/// Appends a part's objects to a design.
fn bring(
    ruleset: &Ruleset,
    design: &mut Design,
    owner: ObjectId,
    (stock, spare): (&Stock, &Spare),
) -> Option<(ObjectId, Vec<ObjectId>)> {
    let v = &ruleset.vocabulary;
    let Spare {
        scratch,
        root,
        part,
        inside,
    } = spare;
    let base = u32::try_from(design.objects.len()).ok()?;
    // What stands around the part there stands for its owner here.
    let renamed: FxHashMap<ObjectId, ObjectId> = inside
        .iter()
        .zip(base..)
        .map(|(old, new)| (*old, ObjectId(new)))
        .chain([(*root, owner)])
        .collect();
    let holder = design.object(owner);
    let written = holder.written(stock.fact);
    let none = written.map_or(holder.head, |w| w.span);
    for id in inside {
        let mut object = scratch.object(*id).clone();
        object.owner = object.owner.and_then(|o| renamed.get(&o).copied());
        object.span = none;
        object.head = none;
        for slot in object.facts.iter_mut().flatten() {
            slot.span = none;
            slot.key = none;
            rename(&mut slot.value, &renamed);
        }
        // An alternative that is not taken is no member of any collection.
        let inside = v.kind(object.kind);
        for (slot, fact) in object.facts.iter_mut().zip(&inside.facts) {
            if slot.is_none()
                && matches!(fact.ty, FactType::Reference(_))
                && fact.inherits.is_none()
                && fact.writable
            {
                *slot = Some(Box::new(Written {
                    value: Possible::Absent,
                    origin: None,
                    span: none,
                    key: none,
                }));
            }
        }
        design.objects.push(object);
    }
    Some((
        *renamed.get(part)?,
        inside
            .iter()
            .filter_map(|o| renamed.get(o).copied())
            .collect(),
    ))
}

fn rename(value: &mut Possible, by: &FxHashMap<ObjectId, ObjectId>) {
    match value {
        Possible::Object(o) => {
            if let Some(new) = by.get(o) {
                *o = *new;
            }
        }
        Possible::List(all) | Possible::OneOf(all) => {
            for v in all {
                rename(v, by);
            }
        }
        _ => {}
    }
}
