//! One cause, one finding: which rules explain the failure of another.

use super::context::{Amendments, Context};
use super::lower_rules::stated;
use super::model::{Cause, Path, Rule};
use super::reader::Fields;
use super::schema;
use super::yaml::{Node, Yaml};
use crate::expression::{Compiled, Scope, Ty};
use crate::source::{Problem, Span};
use crate::vocabulary::{KindId, with_article};

/// Reads the causes of all rules, once each rule is known.
pub(super) fn read<'a>(
    context: &Context<'a, '_>,
    amendments: &Amendments<'a, '_>,
    rules: &mut [Rule],
    problems: &mut Vec<Problem>,
) {
    let known: Vec<(String, KindId)> = rules.iter().map(|r| (r.id.clone(), r.each)).collect();
    for item in context.merged.of("rules") {
        let changes = amendments.of(item);
        let Some((node, layer)) = stated(item, changes, "follows-from") else {
            continue;
        };
        let Some(rule) = rules.iter_mut().find(|r| r.id == item.name) else {
            continue;
        };
        let entries: &[Node] = match &node.value {
            Yaml::List(all) => all,
            _ => std::slice::from_ref(node),
        };
        for entry in entries {
            let cause = cause(context, (layer, rule.each), entry, &known, problems);
            rule.texts.follows_from.extend(cause);
        }
    }
    circles(rules, problems);
}

fn cause(
    context: &Context<'_, '_>,
    (layer, each): (usize, KindId),
    node: &Node,
    known: &[(String, KindId)],
    problems: &mut Vec<Problem>,
) -> Option<Cause> {
    let (name, at, path) = match node.text() {
        Some(name) => (name, node.span, None),
        None => {
            let f = Fields::new(node, node.span, &schema::CAUSE, problems)?;
            if let Some(editions) = f.get("in")
                && !context.merged.in_edition(layer, editions, problems)
            {
                return None;
            }
            let name = f.needed("rule", problems)?;
            let at = f.at("rule");
            if let (Some(_), Some(second)) = (f.get("at"), f.get("to")) {
                let why = "a cause is found by `at` or by `to`, not by both";
                Problem::wrong("both-ways", second.span, why)
                    .help("`at` leads from the subject to that of the cause, `to` the other way")
                    .report(problems);
            }
            let path = f
                .get("at")
                .map(|n| (n, true))
                .or_else(|| f.get("to").map(|n| (n, false)));
            (name, at, path)
        }
    };
    let Some((_, kind)) = known.iter().find(|(id, _)| id == name) else {
        let why = format!("there is no rule `{name}` to follow from");
        return Problem::wrong("unknown-rule", at, why)
            .did_you_mean(name, known.iter().map(|(id, _)| id.as_str()))
            .fail(problems);
    };
    let path = match path {
        None if *kind == each => None,
        None => {
            let v = context.vocabulary;
            let (here, there) = (&v.kind(each).name, &v.kind(*kind).name);
            let why = format!("`{name}` judges each {there}, and this rule each {here}");
            return Problem::wrong("missing-key", at, why)
                .help(format!("write how they are found: `{{rule: {name}, at: …}}` with a path from the {here} to the {there}, or `to: …` with one from the {there} to the {here}"))
                .fail(problems);
        }
        Some((n, onward)) => {
            let (from, to) = if onward { (each, *kind) } else { (*kind, each) };
            let compiled = leads(context, n, from, to, problems)?;
            Some(if onward {
                Path::At(compiled.into())
            } else {
                Path::To(compiled.into())
            })
        }
    };
    Some(Cause {
        rule: name.to_owned(),
        path,
    })
}

/// A path from one kind to another.
fn leads(
    context: &Context<'_, '_>,
    node: &Node,
    from: KindId,
    to: KindId,
    problems: &mut Vec<Problem>,
) -> Option<Compiled> {
    let scope = Scope::of(from);
    let (path, _) = context.compile(node, &scope, None, problems)?;
    let v = context.vocabulary;
    let fits = matches!(path.root_term().ty, Ty::Object(k) if v.fits(to, k) || v.fits(k, to));
    if !fits {
        let why = format!("this does not lead to {}", with_article(&v.kind(to).name));
        Problem::wrong("wrong-type", node.span, why).report(problems);
    }
    fits.then_some(path)
}

/// Rules that explain each other in a circle.
fn circles(rules: &[Rule], problems: &mut Vec<Problem>) {
    let of = |id: &str| rules.iter().find(|r| r.id == id);
    for rule in rules.iter().filter(|r| !r.texts.follows_from.is_empty()) {
        let mut seen: Vec<&str> = Vec::new();
        let mut open: Vec<&Rule> = vec![rule];
        while let Some(next) = open.pop() {
            for cause in &next.texts.follows_from {
                if cause.rule == rule.id {
                    problems.push(circle(rule, next.span));
                    return;
                }
                if !seen.contains(&cause.rule.as_str()) {
                    seen.push(&cause.rule);
                    open.extend(of(&cause.rule));
                }
            }
        }
    }
}

fn circle(rule: &Rule, by: Span) -> Problem {
    let why = format!("`{}` follows from what follows from it", rule.id);
    Problem::error("circular-cause", why)
        .at(rule.span, "this rule")
        .at(by, "follows from it")
        .help("take one of them out: a cause comes before what follows from it")
}
