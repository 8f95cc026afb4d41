//! What a layer leaves out knowingly: facts of the trade that no rule, limit, table or derivation
//! states, each with the reason. One with an id is told where it matters, as a rule of which nobody
//! can say here whether it is kept.

use rustc_hash::FxHashMap;

use super::context::{Amendments, Context};
use super::lower_rules::{amended, field, subject_kind};
use super::merged::{Item, stated_twice};
use super::model::{Confidence, LeftOut, Origin, Requirement, Rule, RuleTexts, Severity, Stage};
use super::reader::{Fields, choice};
use super::schema;
use super::template::Template;
use crate::expression::{Scope, Ty};
use crate::source::{Problem, Span};
use crate::vocabulary::Later;

/// Reads the entries of all layers that hold in the chosen edition, in the order of the layers; those
/// that are told are added to the rules.
pub(super) fn read<'a>(
    context: &Context<'a, '_>,
    amendments: &Amendments<'a, '_>,
    rules: &mut Vec<Rule>,
    problems: &mut Vec<Problem>,
) -> Vec<LeftOut> {
    let merged = context.merged;
    let mut all = Vec::new();
    let mut stated: FxHashMap<(usize, &str), Span> = FxHashMap::default();
    for item in merged.of("left-out") {
        let Some(f) = Fields::new(item.node, item.at, &schema::LEFT_OUT, problems) else {
            continue;
        };
        let mut needed = |key: &str| {
            let text = f.needed(key, problems)?;
            if text.trim().is_empty() {
                let at = f.at(key);
                let message = format!("`{key}` of {} says nothing", schema::LEFT_OUT.what);
                return Problem::wrong("empty-text", at, message).fail(problems);
            }
            Some(text)
        };
        let (what, clause, why) = (needed("what"), needed("clause"), needed("why"));
        let (Some(what), Some(clause), Some(why)) = (what, clause, why) else {
            continue;
        };
        if let Some(first) = stated.insert((item.layer, what), item.at) {
            Problem::error("stated-twice", format!("`{what}` is left out twice"))
                .at(item.at, "the second time")
                .at(first, "the first time")
                .help("take one out")
                .report(problems);
        }
        let mut left_out = LeftOut {
            what: what.to_owned(),
            clause: clause.to_owned(),
            why: why.to_owned(),
            layer: merged.layer_name(item).to_owned(),
            id: None,
        };
        if let Some(rule) = told(context, item, &left_out, amendments.of(item), problems) {
            if let Some(first) = rules.iter().find(|r| r.id == rule.id) {
                problems.push(stated_twice(item, first.span));
            }
            left_out.id = Some(rule.id.clone());
            rules.push(rule);
        }
        all.push(left_out);
    }
    all
}

/// What is left out as a rule: where it has an id, and a `where` that says of which designs it is
/// told.
fn told<'a>(
    context: &Context<'a, '_>,
    item: &Item<'a>,
    left_out: &LeftOut,
    changes: &[&Item<'a>],
    problems: &mut Vec<Problem>,
) -> Option<Rule> {
    let get = |key: &str| field(item, changes, key);
    let text = |key: &str| get(key).and_then(super::yaml::Node::text);
    let given = |key: &&str| item.node.get(key).is_some();
    let (id, condition) = (item.node.get("id"), get("where"));
    let (Some(id), Some(condition)) = (id, condition) else {
        if let Some(key) = ["id", "where", "each", "severity", "topic", "confidence"]
            .into_iter()
            .find(given)
        {
            let lacking = if id.is_none() { "id" } else { "where" };
            let said = format!("an entry of `left-out` with `{key}` needs `{lacking}`");
            Problem::wrong("missing-key", item.at, said)
                .help("give both, so that a report can tell of which designs it is not judged, or neither")
                .report(problems);
        }
        return None;
    };
    let at = |key: &str| get(key).map_or(item.at, |n| n.span);
    let mut one_of = |key: &str, default: &'static str, words: &[&str]| {
        choice(text(key).unwrap_or(default), at(key), words, problems)
    };
    let severity = one_of("severity", "advice", &Severity::ALL.map(Severity::word))
        .and_then(Severity::from_word)?;
    let confidence = one_of(
        "confidence",
        "from-memory",
        &Confidence::ALL.map(Confidence::word),
    )
    .and_then(Confidence::from_word)?;
    let kind = text("each").unwrap_or("installation");
    let each = subject_kind(context.vocabulary, kind, at("each"), problems)?;
    let scope = Scope::of(each);
    let (where_, _) = context.compile(condition, &scope, Some(&Ty::Truth), problems)?;
    let LeftOut { what, clause, .. } = left_out;
    let id = id.text()?;
    let or = text("help").map_or_else(String::new, |h| format!("{h}; or "));
    Some(Rule {
        id: id.to_owned(),
        texts: Later::from(RuleTexts {
            title: what.clone(),
            topic: text("topic").unwrap_or("left-out").to_owned(),
            origin: Origin {
                clause: Some(clause.clone()),
                source: None,
                layer: left_out.layer.clone(),
            },
            because: Some(left_out.why.clone()),
            amended: amended(context, changes),
            editions: text("in").map(str::to_owned),
            message: Template::plain(&format!("not judged by these rules: {what} ({clause})")),
            open: Some(Template::plain(&format!(
                "not judged by these rules, and whether it matters here is not known: {what} ({clause})"
            ))),
            help: Some(Template::plain(&format!(
                "{or}have it judged elsewhere and record it: `judged-elsewhere {id} {{ by: \"…\"  on: 2026-01-31  why: \"…\" }}`"
            ))),
            point_at: Vec::new(),
            follows_from: Vec::new(),
        }),
        stage: Stage::Design,
        severity,
        each,
        where_: Some(where_.into()),
        require: Requirement::LeftOut,
        confidence,
        departable: false,
        span: item.at,
    })
}
