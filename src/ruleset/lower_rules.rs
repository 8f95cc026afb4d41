//! A rule with its amendments → a compiled rule.

use super::context::Context;
use super::merged::Item;
use super::model::{Confidence, Origin, Requirement, Rule, RuleTexts, Severity, Stage, Way};
use super::reader::{Fields, choice, texts, yes_no};
use super::schema;
use super::template;
use super::yaml::{Node, Yaml};
use crate::expression::{Compiled, Scope, Ty, parse, present_when};
use crate::source::{Problem, Span};
use crate::vocabulary::{KindId, Later, Vocabulary};

/// A field of a rule: an amendment's, else the rule's own.
pub(super) fn field<'a>(item: &Item<'a>, changes: &[&Item<'a>], key: &str) -> Option<&'a Node> {
    stated(item, changes, key).map(|(node, _)| node)
}

/// The same, with the layer that states it last: an edition that is named there is one of that layer.
pub(super) fn stated<'a>(
    item: &Item<'a>,
    changes: &[&Item<'a>],
    key: &str,
) -> Option<(&'a Node, usize)> {
    let all = changes.iter().rev().map(|c| &**c);
    all.chain([item])
        .find_map(|i| Some((i.node.get(key)?, i.layer)))
}

pub(super) fn rule<'a>(
    context: &Context<'a, '_>,
    item: &Item<'a>,
    changes: &[&Item<'a>],
    problems: &mut Vec<Problem>,
) -> Option<Rule> {
    let f = Fields::new(item.node, item.at, &schema::RULE, problems)?;
    f.needed("id", problems)?;
    for c in changes {
        Fields::new(c.node, c.at, &schema::AMENDMENT, problems)?;
    }
    let get = |key: &str| field(item, changes, key);
    let text = |key: &str| get(key).and_then(Node::text);
    needed(item, get, problems);
    let at = |key: &str| get(key).map_or(item.at, |n| n.span);
    let mut one_of = |key: &str, default: Option<&'static str>, words: &[&str]| {
        choice(text(key).or(default)?, at(key), words, problems)
    };
    // Each field is looked at, whatever is wrong with the others.
    let stage = one_of("stage", None, &Stage::ALL.map(Stage::word)).and_then(Stage::from_word);
    let severity = one_of(
        "severity",
        Some("breach"),
        &Severity::ALL.map(Severity::word),
    )
    .and_then(Severity::from_word);
    let confidence = one_of("confidence", None, &Confidence::ALL.map(Confidence::word))
        .and_then(Confidence::from_word);
    let departable = match get("departable") {
        Some(n) => yes_no(n, "departable", problems),
        None => Some(true),
    };
    let kind_name = text("each")?;
    let v = context.vocabulary;
    let each = subject_kind(v, kind_name, at("each"), problems)?;
    let mut scope = Scope::of(each);
    let where_ = match get("where") {
        None => Some(None),
        Some(n) => {
            let guards = n.text().and_then(|text| parse(text).ok());
            let compiled = context.compile(n, &scope, Some(&Ty::Truth), problems);
            scope.guards = guards.map_or_else(Vec::new, |expr| present_when(&expr, true));
            compiled.map(|(c, _)| Some(c.into()))
        }
    };
    let require = requirement(context, item, changes, &scope, problems);
    let mut template = |key: &str| get(key).map(|n| template::read(context, n, &scope, problems));
    let (message, open, help) = (template("message"), template("open"), template("help"));
    let point_at = pointed_at(context, get("point-at"), scope, problems);
    Some(Rule {
        id: item.name.to_owned(),
        texts: Later::from(RuleTexts {
            title: text("title").unwrap_or("").to_owned(),
            topic: text("topic").unwrap_or("").to_owned(),
            origin: Origin {
                clause: text("clause").map(str::to_owned),
                source: text("source").map(str::to_owned),
                layer: context.merged.layer_name(item).to_owned(),
            },
            because: text("because").map(str::to_owned),
            amended: amended(context, changes),
            // An amendment's `in:` says when it holds, not the rule.
            editions: item.node.get("in").and_then(Node::text).map(str::to_owned),
            message: message?,
            open,
            help,
            point_at,
            follows_from: Vec::new(),
        }),
        stage: stage?,
        severity: severity?,
        each,
        where_: where_?,
        require: require?,
        confidence: confidence?,
        departable: departable?,
        span: item.at,
    })
}

/// Reports what a rule needs and neither it nor an amendment says.
fn needed<'a>(
    item: &Item<'a>,
    get: impl Fn(&str) -> Option<&'a Node>,
    problems: &mut Vec<Problem>,
) {
    for key in ["title", "stage", "each", "message", "topic", "confidence"] {
        if get(key).is_none() {
            let why = format!("the rule `{}` needs `{key}`", item.name);
            Problem::wrong("missing-key", item.at, why).report(problems);
        }
    }
    if get("clause").is_none() && get("source").is_none() {
        let said = format!("the rule `{}` needs `clause` or `source`", item.name);
        Problem::wrong("missing-key", item.at, said).report(problems);
    }
}

/// What a rule requires: one condition, or ways of which each will do.
fn requirement<'a>(
    context: &Context<'a, '_>,
    item: &Item<'a>,
    changes: &[&Item<'a>],
    scope: &Scope,
    problems: &mut Vec<Problem>,
) -> Option<Requirement> {
    // Of both the one that a layer above states takes the place of the other.
    let above = |layer: usize, other: Option<(&Node, usize)>| other.is_none_or(|(_, l)| l < layer);
    match (
        stated(item, changes, "require"),
        stated(item, changes, "ways"),
    ) {
        (Some((n, layer)), other) if above(layer, other) => {
            let compiled = context.compile(n, scope, Some(&Ty::Truth), problems)?;
            Some(Requirement::One(compiled.0.into()))
        }
        (other, Some((n, layer))) if above(layer, other) => {
            ways(context, (n, layer), scope, problems)
        }
        _ => {
            let item_name = &item.name;
            let why = format!("the rule `{item_name}` needs `require` or `ways`, one of them");
            Problem::wrong("missing-key", item.at, why).fail(problems)
        }
    }
}

/// What a report of a rule points at.
fn pointed_at(
    context: &Context<'_, '_>,
    names: Option<&Node>,
    scope: Scope,
    problems: &mut Vec<Problem>,
) -> Vec<Compiled> {
    // A per-line fact is pointed at as a whole.
    let scope = Scope {
        per_line: true,
        ..scope
    };
    let mut point_at = Vec::new();
    for (name, place) in names.map(texts).unwrap_or_default() {
        let node = Node {
            value: Yaml::Scalar(name),
            span: place,
        };
        if let Some((c, _)) = context.compile(&node, &scope, None, problems) {
            point_at.push(c);
        }
    }
    point_at
}

/// The layer that made the last amendment, and why.
pub(super) fn amended(
    context: &Context<'_, '_>,
    changes: &[&Item<'_>],
) -> Option<(String, String)> {
    let last = changes.last()?;
    let because = last.node.get("because").and_then(Node::text);
    let layer = context.merged.layer_name(last).to_owned();
    Some((layer, because.unwrap_or("").to_owned()))
}

/// The kind that a rule is about.
pub(super) fn subject_kind(
    v: &Vocabulary,
    name: &str,
    at: Span,
    problems: &mut Vec<Problem>,
) -> Option<KindId> {
    let found = v.kind_named(name).filter(|k| !v.kind(*k).is_abstract());
    if found.is_none() {
        let why = format!("there is no kind `{name}` to judge");
        Problem::wrong("unknown-kind", at, why)
            .did_you_mean(name, v.kinds.iter().map(|k| k.name.as_str()))
            .report(problems);
    }
    found
}

fn ways(
    context: &Context<'_, '_>,
    (node, layer): (&Node, usize),
    scope: &Scope,
    problems: &mut Vec<Problem>,
) -> Option<Requirement> {
    let Some(map) = node.map() else {
        let why = "`ways` is a map of named conditions";
        return Problem::wrong("not-a-map", node.span, why).fail(problems);
    };
    let mut all = Vec::new();
    for (key, n) in map {
        let condition = match n.get("is") {
            Some(inner) => {
                // A way may hold in some editions only.
                if let Some(span) = n.get("in")
                    && !context.merged.in_edition(layer, span, problems)
                {
                    continue;
                }
                inner
            }
            None => n,
        };
        if let Some((c, _)) = context.compile(condition, scope, Some(&Ty::Truth), problems) {
            all.push(Way {
                name: key.text.clone(),
                condition: c.into(),
            });
        }
    }
    if all.is_empty() {
        return Problem::wrong("no-ways", node.span, "no way holds in this edition").fail(problems);
    }
    Some(Requirement::Ways(all))
}
