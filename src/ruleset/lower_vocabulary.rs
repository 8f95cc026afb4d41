//! Kinds, facts and series from their YAML.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use super::layers::{Item, Merged, stated_twice};
use super::reader::{Fields, next_number, texts};
use super::replacing;
use super::yaml::{Node, Yaml};
use crate::expression::SetWords;
use crate::quantity::{Dim, Unit, parse_quantity};
use crate::source::{Problem, Span};
use crate::vocabulary::{
    Bounds, Fact, FactIx, FactType, Head, Kind, KindId, Member, NameRole, Openness, Series,
    SeriesId, Settler, Vocabulary, Within, WordSet,
};

const KIND_KEYS: [&str; 10] = [
    "means",
    "at-least",
    "within",
    "heads",
    "any-of",
    "part-only",
    "built",
    "name",
    "facts",
    "in",
];
const FACT_KEYS: [&str; 16] = [
    "is",
    "means",
    "ask",
    "by",
    "domain",
    "plausible",
    "series",
    "exact",
    "optional",
    "always",
    "open",
    "inherits",
    "also",
    "never-assumed",
    "replaces",
    "in",
];

/// Kinds and series of all layers.
pub(super) fn vocabulary(merged: &Merged<'_>, problems: &mut Vec<Problem>) -> Vocabulary {
    let mut v = Vocabulary::default();
    for item in &merged.series {
        if let Some(s) = series(item, problems)
            && let Some(next) = next_number(v.series.len(), "series", item.at, problems)
        {
            v.series_names.insert(s.name.clone(), SeriesId(next));
            v.series.push(s);
        }
    }
    // Names first, so that facts may refer to any kind.
    for item in &merged.kinds {
        if v.kind_named(item.name).is_none()
            && let Some(next) = next_number(v.kinds.len(), "kinds", item.at, problems)
        {
            v.kind_names.insert(item.name.to_owned(), KindId(next));
            v.kinds.push(Kind {
                name: item.name.to_owned(),
                means: String::new(),
                at_least: 0,
                within: Vec::new(),
                heads: Vec::new(),
                any_of: Vec::new(),
                part_only: false,
                built: false,
                name_role: NameRole::Free,
                facts: Vec::new(),
                by_name: FxHashMap::default(),
                span: item.at,
            });
        }
    }
    let mut reverses: Vec<(KindId, FactIx, String, Span)> = Vec::new();
    let mut stated = Stated::default();
    for item in &merged.kinds {
        let Some(id) = v.kind_named(item.name) else {
            continue;
        };
        facts(
            merged,
            item,
            id,
            &mut v,
            &mut stated,
            &mut reverses,
            problems,
        );
    }
    for item in &merged.kinds {
        let Some(id) = v.kind_named(item.name) else {
            continue;
        };
        shape(item, id, &mut v, problems);
    }
    resolve_reverses(&mut v, reverses, problems);
    resolve_inherits(merged, &mut v, problems);
    v
}

fn series(item: &Item<'_>, problems: &mut Vec<Problem>) -> Option<Series> {
    let keys = [
        "is", "members", "means", "clause", "source", "in", "replaces",
    ];
    let f = Fields::new(item.node, item.at, "a series", &keys, problems)?;
    let unit_text = f.needed("is", "a series", problems)?;
    let unit_text = if matches!(unit_text, "number" | "whole") {
        ""
    } else {
        unit_text
    };
    let unit = unit_of(unit_text, f.get("is").map_or(item.at, |n| n.span), problems)?;
    let node = f.get("members")?;
    let mut members = Vec::new();
    let mut read =
        |text: &str, name: Option<String>, at: Span| match parse_quantity(text.trim(), &unit) {
            Some(value) => members.push(Member { value, name }),
            None => problems
                .push(Problem::error("bad-number", format!("`{text}` is not a number")).at(at, "")),
        };
    match &node.value {
        Yaml::List(list) => {
            for n in list {
                read(n.text().unwrap_or(""), None, n.span);
            }
        }
        Yaml::Map(map) => {
            for (k, n) in map {
                read(n.text().unwrap_or(""), Some(k.text.clone()), n.span);
            }
        }
        _ => {}
    }
    members.sort_by(|a, b| a.value.total_cmp(&b.value));
    if members.is_empty() || members.len() > Series::MOST {
        problems.push(
            Problem::error(
                "bad-series",
                format!(
                    "a series has 1 to {} members, not {}",
                    Series::MOST,
                    members.len()
                ),
            )
            .at(item.at, ""),
        );
        return None;
    }
    Some(Series {
        name: item.name.to_owned(),
        unit,
        members,
    })
}

pub(super) fn unit_of(text: &str, at: Span, problems: &mut Vec<Problem>) -> Option<Unit> {
    match Unit::parse(text) {
        Ok(u) => Some(u),
        Err(e) => {
            let mut p =
                Problem::error("unknown-unit", format!("`{text}` is not a known unit")).at(at, "");
            if let Some(help) = e.help() {
                p = p.help(help);
            }
            problems.push(p);
            None
        }
    }
}

/// What a type says before kinds and facts are known.
pub(super) enum Said {
    Type(FactType),
    Reverse(String),
}

/// Whether a design can write this word of a choice: as one word, or as a number with at most
/// letters glued to it (`100`, `4a`).
fn can_be_written(word: &str) -> bool {
    if word.starts_with(|c: char| c.is_ascii_digit()) {
        let letters = word.trim_start_matches(|c: char| c.is_ascii_digit());
        return letters.chars().all(char::is_alphabetic);
    }
    let piece = |p: &str| {
        let mut chars = p.chars().peekable();
        chars.peek().is_some() && chars.all(|c| c.is_alphanumeric() || c == '_')
    };
    word.starts_with(char::is_alphabetic) && word.split('-').all(piece)
}

/// Reads the type of a fact: `A per line`, `one of A B C`, `part device` …
pub(super) fn fact_type(
    text: &str,
    at: Span,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Option<Said> {
    let text = text.trim();
    let (base, per_line) = match text.strip_suffix("per line") {
        Some(base) => (base.trim(), true),
        None => (text, false),
    };
    let words = |list: &str, problems: &mut Vec<Problem>, most: usize| {
        let all: Vec<String> = list
            .split([' ', ','])
            .filter(|w| !w.is_empty())
            .map(str::to_owned)
            .collect();
        if all.is_empty() || all.len() > most {
            problems.push(
                Problem::error(
                    "bad-words",
                    format!("give 1 to {most} words, not {}", all.len()),
                )
                .at(at, ""),
            );
        }
        for word in all.iter().filter(|w| !can_be_written(w)) {
            problems.push(
                Problem::error(
                    "bad-words",
                    format!("no design can write the word `{word}` of a choice"),
                )
                .at(at, "")
                .help("a word begins with a letter and has letters, digits, `_` and single hyphens, or it is a number, perhaps with letters right behind it"),
            );
        }
        Arc::new(all)
    };
    let quantity = |unit: Unit, whole: bool| {
        Some(Said::Type(FactType::Quantity {
            unit,
            per_line,
            whole,
        }))
    };
    if per_line
        && matches!(
            base.split(' ').next(),
            Some("one" | "ordered" | "some" | "part" | "reference")
        )
    {
        problems.push(
            Problem::error("bad-type", "only a quantity has a value for each line").at(at, ""),
        );
        return None;
    }
    match base.split_once(' ') {
        Some(("one", rest)) => {
            let list = rest.strip_prefix("of ").unwrap_or(rest);
            return Some(Said::Type(FactType::Choice {
                words: words(list, problems, WordSet::MOST),
                ordered: false,
            }));
        }
        Some(("ordered", rest)) => {
            return Some(Said::Type(FactType::Choice {
                words: words(rest, problems, WordSet::MOST),
                ordered: true,
            }));
        }
        Some(("some", rest)) => {
            let list = rest.strip_prefix("of ").unwrap_or(rest);
            return Some(Said::Type(FactType::Some {
                words: words(list, problems, SetWords::MOST),
            }));
        }
        Some((form @ ("part" | "parts" | "reference" | "references"), kind)) => {
            let Some(id) = v.kind_named(kind.trim()) else {
                problems.push(
                    Problem::error(
                        "unknown-kind",
                        format!("there is no kind `{}`", kind.trim()),
                    )
                    .at(at, "")
                    .did_you_mean(kind.trim(), v.kinds.iter().map(|k| k.name.as_str())),
                );
                return None;
            };
            return Some(Said::Type(match form {
                "part" => FactType::Part(id),
                "parts" => FactType::Parts(id),
                "reference" => FactType::Reference(id),
                _ => FactType::References(id),
            }));
        }
        Some(("reverse", path)) => return Some(Said::Reverse(path.trim().to_owned())),
        _ => {}
    }
    match base {
        "number" => quantity(unit_of("", at, problems)?, false),
        "whole" => quantity(unit_of("", at, problems)?, true),
        "yes-no" => Some(Said::Type(FactType::YesNo)),
        "text" => Some(Said::Type(FactType::Text)),
        "date" => Some(Said::Type(FactType::Date)),
        unit => match Unit::parse(unit) {
            Ok(u) => quantity(u, false),
            Err(_) => {
                problems.push(
                    Problem::error("bad-type", format!("`{text}` is not the type of a fact"))
                        .at(at, "")
                        .help("write a unit, or one of: number, whole, yes-no, text, date, one of …, ordered …, some of …, part K, parts K, reference K, references K, reverse K.F"),
                );
                None
            }
        },
    }
}

/// Reads `> 0 A`, `0 m .. 500 m`, `>= 1`.
pub(super) fn bounds(
    text: &str,
    unit: Option<&Unit>,
    at: Span,
    problems: &mut Vec<Problem>,
) -> Option<Bounds> {
    let number = |part: &str, fallback: Option<&str>| -> Option<(f64, Dim, String)> {
        let part = part.trim();
        let split = part
            .char_indices()
            .find(|(i, c)| {
                !(c.is_ascii_digit() || *c == '.' || (*i == 0 && (*c == '-' || *c == '+')))
            })
            .map_or(part.len(), |(i, _)| i);
        let (digits, rest) = part.split_at(split);
        let written = rest.trim();
        let own = unit.map(|u| u.text().to_owned()).unwrap_or_default();
        let unit_text = if written.is_empty() {
            fallback.map_or(own, str::to_owned)
        } else {
            written.to_owned()
        };
        let u = Unit::parse(&unit_text).ok()?;
        Some((parse_quantity(digits, &u)?, u.dim(), unit_text))
    };
    let mut b = Bounds::ALL;
    let text = text.trim();
    let mut dims: Vec<Dim> = Vec::new();
    let parsed = if let Some((low, high)) = text.split_once("..") {
        match number(high, None) {
            Some((hi, d, unit_text)) => number(low, Some(&unit_text)).map(|(lo, e, _)| {
                (b.lo, b.hi) = (lo, hi);
                dims.extend([d, e]);
            }),
            None => None,
        }
    } else if let Some(rest) = text.strip_prefix(">=") {
        number(rest, None).map(|(x, d, _)| {
            b.lo = x;
            dims.push(d);
        })
    } else if let Some(rest) = text.strip_prefix('>') {
        number(rest, None).map(|(x, d, _)| {
            (b.lo, b.lo_open) = (x, true);
            dims.push(d);
        })
    } else if let Some(rest) = text.strip_prefix("<=") {
        number(rest, None).map(|(x, d, _)| {
            b.hi = x;
            dims.push(d);
        })
    } else if let Some(rest) = text.strip_prefix('<') {
        number(rest, None).map(|(x, d, _)| {
            (b.hi, b.hi_open) = (x, true);
            dims.push(d);
        })
    } else {
        None
    };
    let fits = unit.is_none_or(|u| dims.iter().all(|d| *d == u.dim()));
    if parsed.is_none() || !fits || b.lo > b.hi {
        problems.push(
            Problem::error("bad-range", format!("`{text}` is not a range of this fact"))
                .at(at, "")
                .help("write it like `> 0 A` or `0 m .. 500 m`"),
        );
        return None;
    }
    Some(b)
}

/// The statements of facts so far, by kind and name.
type Stated<'a> = FxHashMap<(KindId, &'a str), Item<'a>>;

fn facts<'a>(
    merged: &Merged<'_>,
    item: &Item<'a>,
    id: KindId,
    v: &mut Vocabulary,
    stated: &mut Stated<'a>,
    reverses: &mut Vec<(KindId, FactIx, String, Span)>,
    problems: &mut Vec<Problem>,
) {
    let Some(f) = Fields::new(item.node, item.at, "a kind", &KIND_KEYS, problems) else {
        return;
    };
    let Some(list) = f.get("facts").and_then(Node::map) else {
        return;
    };
    for (key, node) in list {
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
}

/// Adds a fact to a kind, or replaces one of the same name.
pub(super) fn add_fact(
    v: &mut Vocabulary,
    id: KindId,
    fact: Fact,
    problems: &mut Vec<Problem>,
) -> Option<FactIx> {
    let kind = &mut v.kinds[id.0 as usize];
    if let Some(ix) = kind.by_name.get(&fact.name).copied() {
        for other in &fact.also {
            kind.by_name.insert(other.clone(), ix);
        }
        kind.facts[ix.0 as usize] = fact;
        return Some(ix);
    }
    let what = format!("facts of `{}`", kind.name);
    let ix = FactIx(next_number(kind.facts.len(), &what, fact.span, problems)?);
    for name in std::iter::once(&fact.name).chain(&fact.also) {
        if kind.by_name.insert(name.clone(), ix).is_some() {
            problems.push(
                Problem::error(
                    "fact-twice",
                    format!("`{}` has two facts called `{name}`", kind.name),
                )
                .at(fact.span, ""),
            );
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
    let f = Fields::new(node, at, "a fact", &FACT_KEYS, problems)?;
    let is = f.needed("is", "a fact", problems)?;
    let is_at = f.get("is").map_or(at, |n| n.span);
    let means = f.needed("means", "a fact", problems).unwrap_or("");
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
    let unit = match &ty {
        FactType::Quantity { unit, .. } => Some(unit.clone()),
        _ => None,
    };
    let settled_by = match f.text("by", problems) {
        None => Settler::Designer,
        Some(word) => Settler::from_word(word).unwrap_or_else(|| {
            problems.push(
                Problem::error("unknown-settler", format!("`{word}` settles nothing"))
                    .at(f.get("by").map_or(at, |n| n.span), "")
                    .did_you_mean(word, Settler::ALL.iter().map(|s| s.word()))
                    .help(format!(
                        "one of {}",
                        Settler::ALL.map(Settler::word).join(", ")
                    )),
            );
            Settler::Designer
        }),
    };
    if f.get("by").is_none() && reverse.is_none() {
        problems.push(
            Problem::error(
                "missing-key",
                format!("the fact `{name}` needs `by`: who settles it"),
            )
            .at(at, ""),
        );
    }
    let range = |key: &str, problems: &mut Vec<Problem>| {
        let n = f.get(key)?;
        bounds(n.text().unwrap_or(""), unit.as_ref(), n.span, problems)
    };
    let domain = range("domain", problems).unwrap_or(Bounds::ALL);
    let plausible = range("plausible", problems);
    let series = f.text("series", problems).and_then(|s| {
        let found = v.series_names.get(s).copied();
        if found.is_none() {
            problems.push(
                Problem::error("unknown-series", format!("there is no series `{s}`"))
                    .at(f.get("series").map_or(at, |n| n.span), "")
                    .did_you_mean(s, v.series_names.keys().map(String::as_str)),
            );
        }
        found
    });
    let always = f.flag("always", problems);
    let optional = f.flag("optional", problems) && can_be_absent(&ty, &f, problems)
        // A list may be known to be empty.
        || matches!(ty, FactType::Parts(_) | FactType::References(_))
        || (matches!(ty, FactType::Part(_) | FactType::Reference(_)) && !always);
    Some((
        Fact {
            name: name.to_owned(),
            also: f
                .get("also")
                .map(|n| {
                    texts(n)
                        .into_iter()
                        .flat_map(|(t, _)| {
                            t.split([' ', ',']).map(str::to_owned).collect::<Vec<_>>()
                        })
                        .filter(|t| !t.is_empty())
                        .collect()
                })
                .unwrap_or_default(),
            means: means.to_owned(),
            ask: f.text("ask", problems).map(str::to_owned),
            writable: reverse.is_none(),
            ty,
            settled_by,
            domain,
            plausible,
            series,
            exact: f.flag("exact", problems),
            optional,
            open: match f.text("open", problems) {
                None | Some("no") => Openness::Closed,
                Some("existing") => Openness::Existing,
                Some("yes") => Openness::Always,
                Some(other) => {
                    problems.push(
                        Problem::error(
                            "bad-open",
                            format!("`open` is yes, no or existing, not `{other}`"),
                        )
                        .at(f.get("open").map_or(at, |n| n.span), ""),
                    );
                    Openness::Closed
                }
            },
            inherits: None,
            never_assumed: f.flag("never-assumed", problems),
            span: at,
        },
        reverse,
    ))
}

/// Whether `optional: yes` fits a type; a value that is absent is none of the two of yes and no,
/// and no set of words.
pub(super) fn can_be_absent(ty: &FactType, f: &Fields<'_>, problems: &mut Vec<Problem>) -> bool {
    let (what, instead) = match ty {
        FactType::YesNo => (
            "yes or no",
            "make it `one of` some words, one of them for what is absent",
        ),
        FactType::Some { .. } => ("a set of words", "give it the word `none`"),
        _ => return true,
    };
    if let Some(node) = f.get("optional") {
        problems.push(
            Problem::error(
                "bad-optional",
                format!("what is {what} cannot be absent, so it cannot be optional"),
            )
            .at(node.span, "")
            .help(instead),
        );
    }
    false
}

fn shape(item: &Item<'_>, id: KindId, v: &mut Vocabulary, problems: &mut Vec<Problem>) {
    let node = item.node;
    let text = |key: &str| node.get(key).and_then(Node::text);
    let place = |key: &str| node.get(key).map_or(item.at, |n| n.span);
    if let Some(means) = text("means") {
        v.kinds[id.0 as usize].means = means.to_owned();
    }
    if let Some(n) = text("at-least") {
        match n.parse() {
            Ok(n) => v.kinds[id.0 as usize].at_least = n,
            Err(_) => problems.push(
                Problem::error("bad-number", format!("`{n}` is not a whole number"))
                    .at(place("at-least"), ""),
            ),
        }
    }
    for key in ["built", "part-only"] {
        let kind = &mut v.kinds[id.0 as usize];
        match (key, text(key)) {
            (_, None | Some("no")) => {}
            ("built", Some("yes")) => kind.built = true,
            (_, Some("yes")) => kind.part_only = true,
            (_, Some(word)) => problems.push(
                Problem::error("unknown-word", format!("`{word}` is neither yes nor no"))
                    .at(place(key), "")
                    .help(format!("write `{key}: yes`, or leave it out")),
            ),
        }
    }
    if let Some(list) = node.get("any-of") {
        for (name, at) in texts(list) {
            match v.kind_named(&name) {
                Some(k) => {
                    let any_of = &mut v.kinds[id.0 as usize].any_of;
                    if !any_of.contains(&k) {
                        any_of.push(k);
                    }
                }
                None => problems.push(
                    Problem::error("unknown-kind", format!("there is no kind `{name}`")).at(at, ""),
                ),
            }
        }
    }
    if let Some(map) = node.get("within").and_then(Node::map) {
        for (key, n) in map {
            let sets = n.text().and_then(|t| v.kind(id).fact_named(t));
            match (v.kind_named(&key.text), sets) {
                (Some(kind), Some(sets)) => {
                    let within = &mut v.kinds[id.0 as usize].within;
                    within.retain(|w| w.kind != kind);
                    within.push(Within { kind, sets });
                }
                (None, _) => problems.push(
                    Problem::error("unknown-kind", format!("there is no kind `{}`", key.text))
                        .at(key.span, ""),
                ),
                (_, None) => problems.push(
                    Problem::error("unknown-fact", format!("`{}` has no such fact", item.name))
                        .at(n.span, ""),
                ),
            }
        }
    }
    if let Some(map) = node.get("heads").and_then(Node::map) {
        for (key, n) in map {
            let mut sets = Vec::new();
            for (fact, word) in n.map().unwrap_or(&[]) {
                let ix = v.kind(id).fact_named(&fact.text);
                let found = ix.and_then(|ix| {
                    let words = v.fact(id, ix).words()?;
                    let w = words.iter().position(|w| Some(w.as_str()) == word.text())?;
                    Some((ix, u8::try_from(w).ok()?))
                });
                match found {
                    Some(pair) => sets.push(pair),
                    None => problems.push(
                        Problem::error(
                            "bad-head",
                            format!(
                                "the word `{}` sets `{}`, which is no word of a choice of `{}`",
                                key.text, fact.text, item.name
                            ),
                        )
                        .at(key.span, ""),
                    ),
                }
            }
            let heads = &mut v.kinds[id.0 as usize].heads;
            heads.retain(|h| h.word != key.text);
            heads.push(Head {
                word: key.text.clone(),
                sets,
            });
        }
        let words: Vec<String> = v.kind(id).heads.iter().map(|h| h.word.clone()).collect();
        for (i, word) in words.into_iter().enumerate() {
            v.head_words.insert(word, (id, i));
        }
    }
    if let Some(role) = text("name") {
        let role = match role.split_once(' ') {
            Some(("choice", fact)) => v.kind(id).fact_named(fact.trim()).map(NameRole::Choice),
            Some(("reference", _)) => v.kind(id).fact_named("of").map(NameRole::Reference),
            _ => None,
        };
        match role {
            Some(r) => v.kinds[id.0 as usize].name_role = r,
            None => problems.push(
                Problem::error(
                    "bad-name-role",
                    "the name of a block is `choice FACT` or `reference KIND` (with a fact `of`)",
                )
                .at(place("name"), ""),
            ),
        }
    }
}

fn resolve_reverses(
    v: &mut Vocabulary,
    reverses: Vec<(KindId, FactIx, String, Span)>,
    problems: &mut Vec<Problem>,
) {
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
            None => problems.push(
                Problem::error("bad-reverse", format!("`{path}` is no reference of a kind"))
                    .at(at, "")
                    .help("write `reverse KIND.FACT`, where FACT is a reference or a part of KIND"),
            ),
        }
    }
}

fn resolve_inherits(merged: &Merged<'_>, v: &mut Vocabulary, problems: &mut Vec<Problem>) {
    for item in &merged.kinds {
        let Some(id) = v.kind_named(item.name) else {
            continue;
        };
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
                _ => problems.push(
                    Problem::error(
                        "bad-inherits",
                        format!("`{name}` is no reference of `{}`", item.name),
                    )
                    .at(key.span, ""),
                ),
            }
        }
    }
}
