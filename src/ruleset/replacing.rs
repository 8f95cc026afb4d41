//! What a layer may replace of the layers below it: what it says that it replaces, and nothing
//! else. What it says that it replaces must be there.

use rustc_hash::FxHashMap;

use super::merged::{Item, Merged};
use super::reader::{texts, yes_no};
use super::yaml::{Key, Node};
use crate::source::{Problem, Span};

/// How messages call one of what a section holds, and the code of one that is stated again.
fn called(section: &str) -> (&'static str, &'static str) {
    match section {
        "limits" => ("limit", "limit-restated"),
        "series" => ("series", "series-restated"),
        "tables" => ("table", "table-restated"),
        "assume" => ("assumption", "assumption-restated"),
        "derive" => ("derivation", "derivation-restated"),
        "kinds" => ("fact", "fact-restated"),
        _ => ("rule", "rule-restated"),
    }
}

/// The value of a limit as written: `name: 0.95` is short for `name: {is: 0.95}`.
fn value<'a>(item: &Item<'a>) -> &'a str {
    let is = item.node.get("is").unwrap_or(item.node);
    is.text().unwrap_or("")
}

/// Whether an item leaves its place open for a layer above.
fn left_open(section: &str, item: &Item<'_>) -> bool {
    match section {
        "limits" => value(item) == "required",
        // On an abstract kind: a type only.
        "derive" => item.node.get("formula").is_none(),
        _ => false,
    }
}

/// Reports an item that replaces one of a lower layer without saying so, that says so where there
/// is none, or that replaces what another patch states (patches may be named in any order).
/// `names` are those that lower layers state in its section; layers from `bases` on are patches.
pub(super) fn check<'n>(
    section: &str,
    before: Option<&Item<'_>>,
    after: &Item<'_>,
    names: impl IntoIterator<Item = &'n str>,
    bases: usize,
    problems: &mut Vec<Problem>,
) {
    let (what, restated) = called(section);
    let name = after.name;
    let was = after.node.get("was").filter(|_| section == "limits");
    let replaces = after.node.get("replaces");
    let replaces = replaces.filter(|n| yes_no(n, "replaces", problems) == Some(true));
    let Some(before) = before else {
        if let Some(said) = was.or(replaces) {
            let why = format!("no layer below states a {what} `{name}` in this edition");
            Problem::wrong("nothing-to-replace", after.at, why)
                .at(said.span, "said to replace one")
                .did_you_mean(name, names)
                .help("take this out if it is new, or say with `in:` in which editions it holds")
                .report(problems);
        }
        return;
    };
    let both = |p: Problem, now: &str, then: &str| p.at(after.at, now).at(before.at, then);
    if section == "rules" {
        // A rule is amended, not restated: its cases and its reason belong to it.
        let p = Problem::error(restated, format!("the rule `{name}` exists already"));
        problems.push(
            both(p, "stated again", "the first time")
                .help("change it with `amend:` or take it away with `withdraw:`"),
        );
        return;
    }
    let old = value(before);
    match was.and_then(Node::text) {
        Some(was) if was == old => {}
        Some(was) => {
            let why = format!("`{name}` is said to replace `{was}`, but it is `{old}`");
            let p = Problem::error("conflict", why);
            problems.push(both(p, "replaces", "what stands there"));
        }
        None if left_open(section, before) => {}
        None if before.layer >= bases => {
            let p = Problem::error("conflict", format!("two patches set the {what} `{name}`"));
            problems.push(both(p, "the later one", "the earlier one").help(
                if section == "limits" {
                    "say with `was:` which value it replaces"
                } else {
                    "state it in one of them only"
                },
            ));
        }
        None if replaces.is_none() => {
            let p = Problem::error(restated, format!("the {what} `{name}` is stated already"));
            let claim = if section == "limits" {
                format!("was: {old}")
            } else {
                "replaces: yes".to_owned()
            };
            problems.push(
                both(p, "stated again", "the first time")
                    .help(format!("write `{claim}` if it is meant to replace it")),
            );
        }
        None => {}
    }
}

/// Reports a field of a rule that one layer amends twice, or that patches do: they may be named in any
/// order, so that neither is above the other.
pub(super) fn check_amended(
    before: &Item<'_>,
    after: &Item<'_>,
    bases: usize,
    problems: &mut Vec<Problem>,
) {
    if before.layer < bases && before.layer != after.layer {
        return;
    }
    for (key, node) in after.node.map().unwrap_or(&[]) {
        let about = matches!(key.text.as_str(), "id" | "because" | "in");
        let Some(other) = before.node.get(&key.text).filter(|_| !about) else {
            continue;
        };
        let text = &key.text;
        let name = &after.name;
        let why = format!("`{text}` of the rule `{name}` is amended twice");
        Problem::error("conflict", why)
            .at(node.span, "the later amendment")
            .at(other.span, "the earlier one")
            .help("amend it once; a ruleset that has the other as its parent may amend it again")
            .report(problems);
    }
}

/// Reports what two patches say differently of one thing, where the later one would be taken.
pub(super) fn check_patches(merged: &Merged<'_>, problems: &mut Vec<Problem>) {
    let mut seen: FxHashMap<String, (usize, &Node, Span)> = FxHashMap::default();
    for section in ["kinds", "products", "expect", "mend"] {
        let all = merged.of(section).iter();
        for item in all.filter(|i| i.layer >= merged.bases) {
            for (what, node, at) in said(section, item) {
                let before = seen.get(&what).filter(|(layer, ..)| *layer != item.layer);
                let alike = |other: &Node| node.text().is_some() && node.text() == other.text();
                if let Some((_, other, first)) = before
                    && !alike(other)
                {
                    Problem::error("conflict", format!("two patches set {what}"))
                        .at(at, "the later one")
                        .at(*first, "the earlier one")
                        .help("state it in one of them only")
                        .report(problems);
                }
                seen.entry(what).or_insert((item.layer, node, at));
            }
        }
    }
}

/// What an item says of which a later one would take the place.
fn said<'a>(section: &str, item: &Item<'a>) -> Vec<(String, &'a Node, Span)> {
    let (name, node) = (item.name, item.node);
    let of = |key: &str| node.get(key).and_then(Node::text).unwrap_or("");
    let whole = |what: String| vec![(what, node, item.at)];
    match section {
        "products" => whole(format!("the product `{}`", of("name"))),
        "expect" => {
            let kind = of("is").split_once('.').map_or("", |(kind, _)| kind);
            whole(format!("what `{name}` is read as of a {kind}"))
        }
        "mend" => match node.get("to") {
            Some(to) => {
                let words = texts(to).into_iter();
                let one = |(word, at)| (format!("the change of `{name}` to `{word}`"), node, at);
                words.map(one).collect()
            }
            None => whole(format!("the change of `{name}` {}", of("part"))),
        },
        _ => {
            let keys = node.map().unwrap_or(&[]).iter();
            keys.filter(|(key, _)| key.text != "facts")
                .flat_map(|(key, n)| {
                    let one =
                        |k: &Key, n| (format!("`{}` of the kind `{name}`", k.text), n, k.span);
                    match n.map() {
                        Some(entries) => entries.iter().map(|(k, n)| one(k, n)).collect(),
                        None => vec![one(key, n)],
                    }
                })
                .collect()
        }
    }
}
