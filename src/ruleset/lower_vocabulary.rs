//! Kinds and their facts from their YAML.

use rustc_hash::FxHashMap;

use super::lower_fact_type::{Said, bounds, can_be_absent, fact_type};
use super::lower_series::series;
use super::merged::{Item, Merged, stated_twice};
use super::reader::{Fields, fact_of, kind_of, next_number};
use super::replacing;
use super::schema;
use super::yaml::{Key, Node};
use crate::quantity::Unit;
use crate::source::{Problem, Span};
use crate::vocabulary::{
    Bounds, Fact, FactIx, FactTexts, FactType, Head, Kind, KindId, Later, NameRole, Openness,
    SeriesId, Settler, Vocabulary, Within,
};

/// Kinds and series of all layers.
pub(super) fn vocabulary(merged: &Merged<'_>, problems: &mut Vec<Problem>) -> Vocabulary {
    let mut v = Vocabulary::default();
    for item in merged.of("series") {
        if let Some(s) = series(item, problems)
            && let Some(next) = next_number(v.series.len(), "series", item.at, problems)
        {
            v.series_names.insert(s.name.clone(), SeriesId(next));
            v.series.push(s);
        }
    }
    // Names first, so that facts may refer to any kind.
    for item in merged.of("kinds") {
        if v.kind_named(item.name).is_none()
            && let Some(next) = next_number(v.kinds.len(), "kinds", item.at, problems)
        {
            v.kind_names.insert(item.name.to_owned(), KindId(next));
            v.kinds.push(Kind {
                name: item.name.to_owned(),
                label: item.name.to_owned(),
                means: String::new(),
                at_least: 0,
                within: Vec::new(),
                heads: Vec::new(),
                any_of: Vec::new(),
                part_only: false,
                built: false,
                bought: false,
                name_role: NameRole::Free,
                facts: Later::default(),
                span: item.at,
            });
        }
    }
    let items = merged.of("kinds").iter();
    let kinds: Vec<(&Item<'_>, KindId)> = items
        .filter_map(|item| Some((item, v.kind_named(item.name)?)))
        .collect();
    let (mut reverses, mut stated) = (Vec::new(), Stated::default());
    for (item, id) in &kinds {
        reverses.extend(facts(merged, item, *id, &mut v, &mut stated, problems));
    }
    for (item, id) in &kinds {
        shape(item, *id, &mut v, problems);
    }
    resolve_reverses(&mut v, reverses, problems);
    resolve_inherits(&kinds, &mut v, problems);
    v
}

/// A fact that is the reverse of another, which its path names, and where it is declared.
type Reverse = (KindId, FactIx, String, Span);

/// The statements of facts so far, by kind and name.
type Stated<'a> = FxHashMap<(KindId, &'a str), Item<'a>>;

fn facts<'a>(
    merged: &Merged<'_>,
    item: &Item<'a>,
    id: KindId,
    v: &mut Vocabulary,
    stated: &mut Stated<'a>,
    problems: &mut Vec<Problem>,
) -> Vec<Reverse> {
    let mut reverses = Vec::new();
    let Some(f) = Fields::new(item.node, item.at, &schema::KIND, problems) else {
        return reverses;
    };
    for (key, node) in f.map("facts") {
        let span = node.get("in");
        if span.is_some_and(|n| !merged.in_edition(item.layer, n, problems)) {
            continue;
        }
        let own = Item {
            name: &key.text,
            at: key.span,
            node,
            ..*item
        };
        match stated.insert((id, own.name), own) {
            Some(first) if first.layer == own.layer => problems.push(stated_twice(&own, first.at)),
            before => {
                let names = v.kind(id).facts.iter().map(|f| f.name.as_str());
                replacing::check(
                    "kinds",
                    before.as_ref(),
                    &own,
                    names,
                    merged.bases,
                    problems,
                );
            }
        }
        let Some((fact, reverse)) = fact(&key.text, key.span, node, v, problems) else {
            continue;
        };
        if let (Some(ix), Some(path)) = (add_fact(v, id, fact, problems), reverse) {
            reverses.push((id, ix, path, key.span));
        }
    }
    reverses
}

/// Adds a fact to a kind, or replaces one of the same name.
pub(super) fn add_fact(
    v: &mut Vocabulary,
    id: KindId,
    fact: Fact,
    problems: &mut Vec<Problem>,
) -> Option<FactIx> {
    let kind = &mut v.kinds[id.0 as usize];
    let same = |ix: &FactIx| kind.fact(*ix).name == fact.name;
    if let Some(ix) = kind.fact_named(&fact.name).filter(same) {
        let mut replaced = std::mem::replace(&mut kind.facts[ix.0 as usize], fact);
        // What could be written before still can.
        let now = &mut kind.facts[ix.0 as usize].also;
        replaced.also.retain(|name| !now.contains(name));
        now.append(&mut replaced.also);
        return Some(ix);
    }
    let what = format!("facts of `{}`", kind.name);
    let ix = FactIx(next_number(kind.facts.len(), &what, fact.span, problems)?);
    let names = || std::iter::once(&fact.name).chain(&fact.also);
    for (i, name) in names().enumerate() {
        if kind.fact_named(name).is_some() || names().take(i).any(|before| before == name) {
            let why = format!("`{}` has two facts called `{name}`", kind.name);
            Problem::wrong("fact-twice", fact.span, why).report(problems);
        }
    }
    kind.facts.push(fact);
    Some(ix)
}

fn fact(
    name: &str,
    at: Span,
    node: &Node,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Option<(Fact, Option<String>)> {
    let f = Fields::new(node, at, &schema::FACT, problems)?;
    let is = f.needed("is", problems)?;
    let is_at = f.at("is");
    let means = f.needed("means", problems).unwrap_or("");
    let said = fact_type(is, is_at, v, problems)?;
    let (ty, reverse) = match said {
        Said::Type(t) => (t, None),
        // Filled in when all facts are known.
        Said::Reverse(path) => (
            FactType::Reverse {
                kind: KindId(0),
                fact: FactIx(0),
            },
            Some(path),
        ),
    };
    let unit = ty.unit().cloned();
    let settled_by = settler(&f, name, reverse.is_some(), problems);
    let range = |key: &str, problems: &mut Vec<Problem>| {
        let n = f.get(key)?;
        bounds(n.text().unwrap_or(""), unit.as_ref(), n.span, problems)
    };
    let domain = range("domain", problems).unwrap_or(Bounds::ALL);
    let plausible = range("plausible", problems);
    let series = series_of(v, &f, unit.as_ref(), problems);
    let always = f.flag("always", problems);
    let optional = f.flag("optional", problems) && can_be_absent(&ty, &f, problems)
        // A list may be known to be empty.
        || matches!(ty, FactType::Parts(_) | FactType::References(_))
        || (matches!(ty, FactType::Part(_) | FactType::Reference(_)) && !always);
    let mut also = Vec::new();
    for (text, _) in f.texts("also") {
        let words = text.split([' ', ',']).filter(|w| !w.is_empty());
        also.extend(words.map(str::to_owned));
    }
    Some((
        Fact {
            name: name.to_owned(),
            also,
            texts: Later::from(FactTexts {
                label: f.text("label", problems).unwrap_or(name).to_owned(),
                means: means.to_owned(),
                ask: f.owned("ask", problems),
            }),
            writable: reverse.is_none(),
            ty,
            settled_by,
            domain,
            plausible,
            series,
            exact: f.flag("exact", problems),
            optional,
            open: openness(&f, problems),
            inherits: None,
            never_assumed: f.flag("never-assumed", problems),
            requirable: f.flag("requirable", problems),
            later: f.flag("later", problems),
            span: at,
        },
        reverse,
    ))
}

/// Who settles a fact; of one that follows from others nobody need be named.
fn settler(f: &Fields<'_>, name: &str, follows: bool, problems: &mut Vec<Problem>) -> Settler {
    let said = f.text("by", problems).and_then(|word| {
        Settler::from_word(word).or_else(|| {
            let words = Settler::ALL.map(Settler::word);
            let why = format!("`{word}` settles nothing");
            Problem::wrong("unknown-settler", f.at("by"), why)
                .did_you_mean(word, words)
                .help(format!("one of {}", words.join(", ")))
                .fail(problems)
        })
    });
    if f.get("by").is_none() && !follows {
        let why = format!("the fact `{name}` needs `by`: who settles it");
        Problem::wrong("missing-key", f.at("by"), why).report(problems);
    }
    said.unwrap_or(Settler::Designer)
}

/// Whether a list may be longer than what is written.
fn openness(f: &Fields<'_>, problems: &mut Vec<Problem>) -> Openness {
    match f.text("open", problems) {
        None | Some("no") => Openness::Closed,
        Some("existing") => Openness::Existing,
        Some("yes") => Openness::Always,
        Some(other) => {
            let why = format!("`open` is yes, no or existing, not `{other}`");
            Problem::wrong("bad-open", f.at("open"), why).report(problems);
            Openness::Closed
        }
    }
}

/// What a kind is, its facts being known.
fn shape(item: &Item<'_>, id: KindId, v: &mut Vocabulary, problems: &mut Vec<Problem>) {
    // What is wrong with its keys was reported with its facts.
    let Some(f) = Fields::new(item.node, item.at, &schema::KIND, &mut Vec::new()) else {
        return;
    };
    let any_of: Vec<KindId> = (f.texts("any-of").into_iter())
        .filter_map(|(name, at)| kind_of(&name, at, v, problems))
        .collect();
    let kind = &mut v.kinds[id.0 as usize];
    if let Some(label) = f.text("label", problems) {
        label.clone_into(&mut kind.label);
    }
    if let Some(means) = f.text("means", problems) {
        means.clone_into(&mut kind.means);
    }
    if let Some(n) = f.text("at-least", problems) {
        match n.parse() {
            Ok(n) => kind.at_least = n,
            Err(_) => {
                let why = format!("`{n}` is not a whole number");
                Problem::wrong("bad-number", f.at("at-least"), why).report(problems);
            }
        }
    }
    kind.built |= f.flag("built", problems);
    kind.bought |= f.flag("bought", problems);
    kind.part_only |= f.flag("part-only", problems);
    for other in any_of {
        if !kind.any_of.contains(&other) {
            kind.any_of.push(other);
        }
    }
    for (key, n) in f.map("within") {
        let Some(kind) = kind_of(&key.text, key.span, v, problems) else {
            continue;
        };
        let fact = n.text().unwrap_or_default();
        if let Some(sets) = fact_of(v.kind(id), fact, n.span, problems) {
            let within = &mut v.kinds[id.0 as usize].within;
            within.retain(|w| w.kind != kind);
            within.push(Within { kind, sets });
        }
    }
    for (key, n) in f.map("heads") {
        head(item.name, key, n, id, v, problems);
    }
    if let Some(role) = f.text("name", problems) {
        let role = match role.split_once(' ') {
            Some(("choice", fact)) => v.kind(id).fact_named(fact.trim()).map(NameRole::Choice),
            Some(("reference", _)) => v.kind(id).fact_named("of").map(NameRole::Reference),
            _ => None,
        };
        let why = "the name of a block is `choice FACT` or `reference KIND` (with a fact `of`)";
        match role {
            Some(r) => v.kinds[id.0 as usize].name_role = r,
            None => Problem::wrong("bad-name-role", f.at("name"), why).report(problems),
        }
    }
}

/// A word that opens a kind and settles facts of it.
fn head(
    of: &str,
    key: &Key,
    node: &Node,
    id: KindId,
    v: &mut Vocabulary,
    problems: &mut Vec<Problem>,
) {
    let mut sets = Vec::new();
    for (fact, word) in node.map().unwrap_or(&[]) {
        let found = v.kind(id).fact_named(&fact.text).and_then(|ix| {
            let words = v.fact(id, ix).words()?;
            let w = words.iter().position(|w| Some(w.as_str()) == word.text())?;
            Some((ix, u8::try_from(w).ok()?))
        });
        match found {
            Some(pair) => sets.push(pair),
            None => {
                let (word, fact) = (&key.text, &fact.text);
                let why = format!(
                    "the word `{word}` sets `{fact}`, which is no word of a choice of `{of}`"
                );
                Problem::wrong("bad-head", key.span, why).report(problems);
            }
        }
    }
    let heads = &mut v.kinds[id.0 as usize].heads;
    heads.retain(|h| h.word != key.text);
    heads.push(Head {
        word: key.text.clone(),
        sets,
    });
    for (i, head) in v.kinds[id.0 as usize].heads.iter().enumerate() {
        v.head_words.insert(head.word.clone(), (id, i));
    }
}

fn resolve_reverses(v: &mut Vocabulary, reverses: Vec<Reverse>, problems: &mut Vec<Problem>) {
    for (id, ix, path, at) in reverses {
        let found = path.split_once('.').and_then(|(kind, fact)| {
            let k = v.kind_named(kind)?;
            let f = v.kind(k).fact_named(fact)?;
            matches!(
                v.fact(k, f).ty,
                FactType::Reference(_)
                    | FactType::References(_)
                    | FactType::Part(_)
                    | FactType::Parts(_)
            )
            .then_some((k, f))
        });
        match found {
            Some((kind, fact)) => {
                v.kinds[id.0 as usize].facts[ix.0 as usize].ty = FactType::Reverse { kind, fact };
            }
            None => {
                let why = format!("`{path}` is no reference of a kind");
                Problem::wrong("bad-reverse", at, why)
                    .help("write `reverse KIND.FACT`, where FACT is a reference or a part of KIND")
                    .report(problems);
            }
        }
    }
}

fn resolve_inherits(
    kinds: &[(&Item<'_>, KindId)],
    v: &mut Vocabulary,
    problems: &mut Vec<Problem>,
) {
    for (item, id) in kinds {
        let id = *id;
        for (key, node) in item.node.get("facts").and_then(Node::map).unwrap_or(&[]) {
            let Some(name) = node.get("inherits").and_then(Node::text) else {
                continue;
            };
            let Some(own) = v.kind(id).fact_named(&key.text) else {
                continue;
            };
            // What a later layer replaced says nothing any more.
            if v.fact(id, own).span != key.span {
                continue;
            }
            match v.kind(id).fact_named(name) {
                Some(along) if matches!(v.fact(id, along).ty, FactType::Reference(_)) => {
                    v.kinds[id.0 as usize].facts[own.0 as usize].inherits = Some(along);
                }
                _ => {
                    let why = format!("`{name}` is no reference of `{}`", item.name);
                    Problem::wrong("bad-inherits", key.span, why).report(problems);
                }
            }
        }
    }
}

/// The series whose members a fact takes.
pub(super) fn series_of(
    v: &Vocabulary,
    f: &Fields<'_>,
    unit: Option<&Unit>,
    problems: &mut Vec<Problem>,
) -> Option<SeriesId> {
    let name = f.text("series", problems)?;
    let Some(found) = v.series_names.get(name).copied() else {
        let why = format!("there is no series `{name}`");
        return Problem::wrong("unknown-series", f.at("series"), why)
            .did_you_mean(name, v.series_names.keys().map(String::as_str))
            .fail(problems);
    };
    // A later layer may have replaced it.
    let of = &v.series(found).unit;
    if unit.is_none_or(|unit| unit.dim() != of.dim()) {
        let why = format!("the members of the series `{name}` are in `{of}`, which this is not");
        return Problem::wrong("wrong-series", f.at("series"), why)
            .help("name a series in the unit of the fact, or state one of another name")
            .fail(problems);
    }
    Some(found)
}
