//! What expressions and texts of a ruleset are compiled with.

use rustc_hash::FxHashMap;

use super::merged::{Item, Merged};
use super::replacing;
use super::yaml::Node;
use crate::expression::{Compiled, Expr, Limits, Range, Scope, Ty, Typer, TypingError, parse};
use crate::source::{Problem, Span};
use crate::vocabulary::Vocabulary;

/// Everything needed to compile an expression of a ruleset.
pub(super) struct Context<'a, 'm> {
    pub(super) merged: &'m Merged<'a>,
    pub(super) vocabulary: &'m Vocabulary,
    pub(super) limits: &'m Limits,
    pub(super) typer: Typer<'m>,
}

impl Context<'_, '_> {
    /// YAML cuts an unquoted text at ` #` without a word.
    fn reject_cut(&self, node: &Node, problems: &mut Vec<Problem>) {
        let Some(source) = self.merged.source(node.span) else {
            return;
        };
        let text = source.text();
        let quoted = text
            .get(node.span.from()..)
            .is_some_and(|t| t.starts_with(['\'', '"', '|', '>']));
        let rest = text
            .get(node.span.until()..)
            .and_then(|t| t.lines().next())
            .unwrap_or("");
        if !quoted && rest.trim_start().starts_with('#') {
            let why = "what follows `#` is cut off this expression";
            Problem::wrong("comment-in-expression", node.span, why)
                .help("put the comment on a line of its own, or the expression in single quotes")
                .report(problems);
        }
    }

    pub(super) fn compile(
        &self,
        node: &Node,
        scope: &Scope,
        expected: Option<&Ty>,
        problems: &mut Vec<Problem>,
    ) -> Option<(Compiled, Expr)> {
        let Some(text) = node.text() else {
            return Problem::wrong("not-an-expression", node.span, "an expression is one text")
                .help("put it in single quotes")
                .fail(problems);
        };
        self.reject_cut(node, problems);
        let typed = |expr: &Expr| self.typer.compile(text, node.span, expr, scope, expected);
        let parsed = parse(text).map_err(|e| vec![e]);
        match parsed.and_then(|expr| Ok((typed(&expr)?, expr))) {
            Ok(both) => Some(both),
            Err(errors) => {
                let source = self.merged.source(node.span);
                let place = |range| source.map_or(node.span, |s| node.place(s, range));
                bad_expression(errors, place, problems);
                None
            }
        }
    }
}

/// Reports what is wrong with an expression; `place` tells where a stretch of its text stands.
pub(super) fn bad_expression(
    errors: Vec<TypingError>,
    place: impl Fn(Range) -> Span,
    problems: &mut Vec<Problem>,
) {
    for e in errors {
        let mut p = Problem::wrong("bad-expression", place(e.range), e.message);
        p.help = e.help;
        problems.push(p);
    }
}

/// What layers change of rules, by the id of the rule.
pub(super) struct Amendments<'a, 'i>(FxHashMap<&'a str, Vec<&'i Item<'a>>>);

impl<'a, 'i> Amendments<'a, 'i> {
    /// What is changed of an item.
    pub(super) fn of(&self, item: &Item<'_>) -> &[&'i Item<'a>] {
        self.0.get(item.name).map_or(&[], Vec::as_slice)
    }
}

/// The amendments of all layers, in their order.
pub(super) fn amendments<'a, 'i>(
    merged: &'i Merged<'a>,
    problems: &mut Vec<Problem>,
) -> Amendments<'a, 'i> {
    let mut all: FxHashMap<&str, Vec<&Item<'_>>> = FxHashMap::default();
    for item in merged.of("amend") {
        if item.name.is_empty() {
            let why = "an amendment needs `id`: the rule it changes";
            Problem::wrong("missing-key", item.at, why).report(problems);
            continue;
        }
        if item.node.get("because").is_none() {
            let why = "an amendment needs `because`: a reason";
            Problem::wrong("missing-key", item.at, why).report(problems);
        }
        let others = all.entry(item.name).or_default();
        for before in others.iter() {
            replacing::check_amended(before, item, merged.bases, problems);
        }
        others.push(item);
    }
    Amendments(all)
}
