//! Labels for objects that share a name: the shortest by which a reader, and the language itself,
//! tells them apart.

use std::collections::BTreeMap;

use rustc_hash::{FxHashMap, FxHashSet};

use crate::design::model::{Design, ObjectId};
use crate::vocabulary::{KindId, Vocabulary};

/// Gives each object whose name is also that of another of its kind a label of its own.
pub(super) fn name_apart(design: &mut Design, vocabulary: &Vocabulary) {
    count_alternatives(design);
    let mut alike: FxHashMap<&str, Vec<ObjectId>> = FxHashMap::default();
    for id in design.ids() {
        let object = design.object(id);
        if object.owner.is_none() {
            alike.entry(&object.name).or_default().push(id);
        }
    }
    let mut shared: Vec<Vec<ObjectId>> = alike.into_values().filter(|ids| ids.len() > 1).collect();
    shared.sort();
    let mut labels: FxHashMap<ObjectId, String> = FxHashMap::default();
    // Owners of one name and several kinds.
    let mut mixed: FxHashSet<ObjectId> = FxHashSet::default();
    for ids in &shared {
        let mut by_kind: FxHashMap<KindId, Vec<ObjectId>> = FxHashMap::default();
        for id in ids {
            let kind = design.object(*id).kind;
            by_kind.entry(kind).or_default().push(*id);
        }
        if by_kind.len() > 1 {
            mixed.extend(ids);
        }
        for same in by_kind.values().filter(|same| same.len() > 1) {
            labels.extend(same.iter().copied().zip(with_scope(design, same)));
        }
    }
    design.labels = labels;
    let parts = with_kind(design, vocabulary, &mixed);
    design.labels.extend(parts);
}

/// Names with as much of the blocks around them as it takes.
fn with_scope(design: &Design, ids: &[ObjectId]) -> Vec<String> {
    let once = |names: &[String]| {
        let all: FxHashSet<&String> = names.iter().collect();
        all.len() == names.len()
    };
    let near = ids.iter().map(|id| {
        let object = design.object(*id);
        match object.scope {
            Some(scope) => format!("{}.{}", design.object(scope).name, object.name),
            None => object.name.clone(),
        }
    });
    let near: Vec<String> = near.collect();
    if once(&near) {
        return near;
    }
    let full: Vec<String> = ids.iter().map(|id| design.full_name(*id)).collect();
    if once(&full) {
        return full;
    }
    // Written twice by mistake, which is reported: counted.
    let count = |(number, name)| format!("{name} ({number})");
    (1..).zip(full).map(count).collect()
}

/// Labels for parts of one kind and role whose owners are called alike: the kinds of the owners
/// tell them apart, `device of circuit.ev`.
fn with_kind(
    design: &Design,
    vocabulary: &Vocabulary,
    owners: &FxHashSet<ObjectId>,
) -> Vec<(ObjectId, String)> {
    let mut alike: BTreeMap<(KindId, String), Vec<ObjectId>> = BTreeMap::new();
    for id in design.ids().filter(|_| !owners.is_empty()) {
        let object = design.object(id);
        if object.owner.is_some() && owners.contains(&design.nearest_named(id)) {
            let key = (object.kind, design.label(id));
            alike.entry(key).or_default().push(id);
        }
    }
    let mut all = Vec::new();
    for ((_, label), ids) in alike {
        let owner = design.nearest_named(ids[0]);
        if ids.iter().all(|id| design.nearest_named(*id) == owner) {
            continue;
        }
        for id in ids {
            let owner = design.nearest_named(id);
            let kind = &vocabulary.kind(design.object(owner).kind).name;
            let name = design.label(owner);
            let role = label.strip_suffix(&name).unwrap_or(&label);
            all.push((id, format!("{role}{kind}.{name}")));
        }
    }
    all
}

/// Alternatives for one part (`device: rcbo {..} | mcb {..}`) have one role: they are counted.
fn count_alternatives(design: &mut Design) {
    let mut alike: FxHashMap<(ObjectId, &str), Vec<ObjectId>> = FxHashMap::default();
    for id in design.ids() {
        let object = design.object(id);
        if let Some(owner) = object.owner {
            alike.entry((owner, &object.name)).or_default().push(id);
        }
    }
    let several = alike.into_values().filter(|ids| ids.len() > 1);
    let counted: Vec<(usize, ObjectId)> = several.flat_map(|ids| (1..).zip(ids)).collect();
    for (number, id) in counted {
        if let Some(object) = design.objects.get_mut(id.0 as usize) {
            object.name = format!("{} (alternative {number})", object.name);
        }
    }
}
