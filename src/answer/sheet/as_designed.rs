//! What is put in or changed, as the design says it, and the terminals in it.

use super::super::residual::written_facts;
use crate::check::show_val;
use crate::design::model::{Design, ObjectId, Possible, Status};
use crate::design::tree::Origin;
use crate::expression::{SetWords, Val};
use crate::quantity::{format_interval, format_quantity};
use crate::ruleset::{Ruleset, Telling};
use crate::vocabulary::{Bounds, Fact, FactIx, FactType, KindId, LINES, Settler};

/// A thing that is put in, changed or taken out.
#[derive(Clone, Debug)]
pub struct Thing {
    /// What it is: `circuit`.
    pub kind: String,
    /// Its name.
    pub name: String,
    /// Its label.
    pub label: Option<String>,
    /// It stood there and is changed.
    pub altered: bool,
    /// It stood there and is taken out.
    pub goes: bool,
    /// What the design says of it: fact and value; parts one by one, by their role.
    pub facts: Vec<(String, String)>,
}

/// A terminal, or those of a device, and the torque that its maker asks for.
#[derive(Clone, Debug)]
pub struct Terminal {
    /// Where it is: `device of ev`, or the name of a termination and where it sits.
    pub at: String,
    /// What sits there: `rcbo, In 32 A, curve B`.
    pub what: String,
    /// The torque, from its maker. None, where the design does not say.
    pub torque: Option<String>,
    /// The torque applied, where it is recorded.
    pub done: Option<String>,
    /// The unit in which the country's makers say it.
    pub unit: String,
}

/// Facts that those who build the thing need: what was chosen, what its maker says, and what of the
/// place it was chosen for.
fn for_building(fact: &Fact) -> bool {
    fact.writable
        && fact.name != "status"
        && matches!(
            fact.settled_by,
            Settler::Designer | Settler::Maker | Settler::Installer | Settler::Site
        )
}

/// What is put in, changed or taken out, in the order in which it is written.
pub(super) fn things(ruleset: &Ruleset, design: &Design) -> Vec<Thing> {
    let mut all = Vec::new();
    for id in design.ids() {
        let object = design.object(id);
        let goes = object.goes();
        if object.owner.is_some() || !(goes || object.stays()) {
            continue;
        }
        // Of what stays as it was only the parts are told that are put in.
        let whole = goes || object.is_of_works();
        let kind = ruleset.vocabulary.kind(object.kind);
        if !kind.built {
            continue;
        }
        let mut facts = Vec::new();
        for (ix, w) in written_facts(object) {
            let fact = kind.fact(ix);
            let new_part = |v: &Possible| {
                let Possible::Object(o) = v else { return false };
                let part = design.object(*o);
                part.owner == Some(id) && part.is_of_works()
            };
            let told = whole || w.value.any(&new_part);
            if !told || !for_building(fact) || w.value == Possible::Absent {
                continue;
            }
            let mut add = |name: String, value: &Possible| {
                let text = shown(ruleset, design, fact, value);
                facts.extend(text.map(|text| (name, text)));
            };
            match &w.value {
                Possible::List(parts) if matches!(fact.ty, FactType::Parts(_)) => {
                    for (n, p) in (1..).zip(parts) {
                        add(format!("{} {n}", fact.name), p);
                    }
                }
                value => add(fact.name.clone(), value),
            }
        }
        if facts.is_empty() && !goes {
            continue;
        }
        all.push(Thing {
            kind: kind.name.clone(),
            name: object.name.clone(),
            label: object.label.clone(),
            altered: !goes && object.status != Status::New,
            goes,
            facts,
        });
    }
    all
}

/// Terminals of what is put in or changed, and those that are recorded.
pub(super) fn terminals(
    ruleset: &Ruleset,
    design: &Design,
    bought: &[(KindId, Vec<&Telling>)],
) -> Vec<Terminal> {
    let mut all = Vec::new();
    for id in design.ids() {
        let object = design.object(id);
        let kind = ruleset.vocabulary.kind(object.kind);
        let (Some(torque), false) = (kind.fact_named("torque"), object.phantom) else {
            continue;
        };
        let outer = design.object(design.nearest_named(id));
        if !(outer.is_of_works() || outer.stays() && object.is_of_works())
            || used(design, id).is_none()
            || !stands_apart((ruleset, design), bought, id)
        {
            continue;
        }
        let value = |ix: FactIx| {
            let written = object.written(ix)?;
            shown(ruleset, design, kind.fact(ix), &written.value).filter(|t| t != "?")
        };
        let done = kind.fact_named("done");
        let (at, what) = match kind.fact_named("at").and_then(value) {
            Some(at) => (format!("{} at {at}", object.name), kind.name.clone()),
            None => {
                let brief = part(ruleset, design, id, &BRIEF);
                let form = kind.fact_named("form").is_some();
                let what = match (form, brief == kind.name) {
                    (true, _) | (_, true) => brief,
                    _ => format!("{}, {brief}", kind.name),
                };
                (design.label(id), what)
            }
        };
        all.push(Terminal {
            at,
            what,
            torque: value(torque),
            done: done.and_then(value),
            unit: kind
                .fact(torque)
                .unit()
                .map_or_else(String::new, ToString::to_string),
        });
    }
    all
}

/// Whether a part is in use, and for certain: what it is a part of refers to it, and to nothing in
/// its stead. A part of a `define` that nothing uses is not.
pub(in crate::answer) fn used(design: &Design, id: ObjectId) -> Option<bool> {
    let Some(owner) = design.object(id).owner else {
        return Some(true);
    };
    let facts = &design.object(owner).facts;
    let here = facts.iter().flatten().find_map(|w| holds(&w.value, id))?;
    Some(used(design, owner)? && here)
}

/// Whether a value is or holds an object, and for certain.
fn holds(value: &Possible, id: ObjectId) -> Option<bool> {
    match value {
        Possible::Object(o) => (*o == id).then_some(true),
        Possible::List(all) => all.iter().find_map(|v| holds(v, id)),
        Possible::OneOf(all) => all.iter().find_map(|v| holds(v, id)).map(|_| false),
        _ => None,
    }
}

/// Whether a thing is an article with terminals of its own. A part that its maker puts in, or that
/// is found on site, is none, nor is one by which the thing that holds it is told.
pub(in crate::answer) fn stands_apart(
    (ruleset, design): (&Ruleset, &Design),
    told: &[(KindId, Vec<&Telling>)],
    id: ObjectId,
) -> bool {
    let Some(owner) = design.object(id).owner else {
        return true;
    };
    let holder = design.object(owner);
    let kind = ruleset.vocabulary.kind(holder.kind);
    let mut held = written_facts(holder).filter(|(_, w)| holds(&w.value, id).is_some());
    held.any(|(ix, _)| {
        let own = told.iter().filter(|(k, _)| *k == holder.kind);
        let mut told = own.flat_map(|(_, facts)| facts);
        let chosen = kind.fact(ix).settled_by == Settler::Designer;
        chosen && !told.any(|t| t.fact == ix)
    })
}

/// Facts by which a device is known at a glance.
const BRIEF: [&str; 4] = ["form", "In", "curve", "IΔn"];

/// A part in one line: its form, then fact and value.
fn part(ruleset: &Ruleset, design: &Design, id: ObjectId, only: &[&str]) -> String {
    let object = design.object(id);
    let kind = ruleset.vocabulary.kind(object.kind);
    let mut words: Vec<String> = Vec::new();
    for (ix, w) in written_facts(object) {
        let fact = kind.fact(ix);
        if !for_building(fact)
            || w.value == Possible::Absent
            || !only.is_empty() && !only.contains(&fact.name.as_str())
        {
            continue;
        }
        // Of what is left to the rules, what they do not ask for says nothing.
        if w.origin == Some(Origin::Required) && w.value == Possible::Unknown {
            continue;
        }
        let Some(text) = shown(ruleset, design, fact, &w.value) else {
            continue;
        };
        if fact.name == "form" {
            words.insert(0, text);
        } else if matches!(fact.ty, FactType::YesNo) {
            words.push(match text.as_str() {
                "yes" => fact.name.clone(),
                _ => format!("{}: {text}", fact.name),
            });
        } else {
            words.push(format!("{} {text}", fact.name));
        }
    }
    if words.is_empty() {
        return kind.name.clone();
    }
    words.join(", ")
}

/// A written value in words. None for what says nothing to a reader.
pub(super) fn shown(
    ruleset: &Ruleset,
    design: &Design,
    fact: &Fact,
    value: &Possible,
) -> Option<String> {
    let v = &ruleset.vocabulary;
    let each = |all: &[Possible]| -> Vec<String> {
        let texts = all.iter().map(|p| shown(ruleset, design, fact, p));
        texts.flatten().collect()
    };
    let text = match value {
        Possible::Unknown => "?".to_owned(),
        Possible::Absent => "none".to_owned(),
        Possible::Poison => return None,
        Possible::Number(i) => {
            let unit = fact.unit()?;
            let series = fact.series.filter(|_| i.is_point());
            match series.and_then(|s| v.series(s).at(i.lo)) {
                Some(member) => member.shown(unit),
                None if i.is_point() => format_quantity(i.lo, unit, 6),
                // An end that no value can go beyond is none.
                None => {
                    let Bounds { lo, hi, .. } = fact.domain;
                    let low = if i.lo <= lo { f64::NEG_INFINITY } else { i.lo };
                    let high = if i.hi >= hi { f64::INFINITY } else { i.hi };
                    format_interval(low, high, unit)
                }
            }
        }
        Possible::Formula(_) => "by its parameters".to_owned(),
        Possible::Words(set) => show_val(&Val::words(*set), fact, v),
        Possible::Members(set) => {
            let FactType::Some { words } = &fact.ty else {
                return None;
            };
            let count = u32::try_from(words.len()).ok()?;
            show_val(&Val::bits(SetWords::known(set.bits(), count)), fact, v)
        }
        Possible::Truth(t) => (if *t { "yes" } else { "no" }).to_owned(),
        Possible::Text(t) => t.clone(),
        Possible::Date(d) => crate::quantity::format_date(*d),
        Possible::Object(o) if matches!(fact.ty, FactType::Part(_) | FactType::Parts(_)) => {
            part(ruleset, design, *o, &[])
        }
        Possible::Object(o) => design.label(*o),
        Possible::List(all) => each(all).join(", "),
        Possible::PerLine(lines) => {
            let lines = LINES.iter().zip(lines).filter_map(|(line, p)| {
                let text = shown(ruleset, design, fact, p.as_deref()?)?;
                Some(format!("{line} {text}"))
            });
            lines.collect::<Vec<_>>().join(", ")
        }
        Possible::OneOf(all) => each(all).join(" or "),
    };
    Some(text)
}
