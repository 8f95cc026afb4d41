//! What expressions and texts of a ruleset are compiled with.

use rustc_hash::FxHashMap;

use super::merged::{Item, Merged};
use super::yaml::Node;
use super::{replacing, template};
use crate::expression::{Compiled, Expr, Limits, Scope, Ty, Typer, TypingError, parse};
use crate::source::Problem;
use crate::vocabulary::Vocabulary;

/// Everything needed to compile an expression of a ruleset.
pub(super) struct Context<'a, 'm> {
    pub(super) merged: &'m Merged<'a>,
    pub(super) vocabulary: &'m Vocabulary,
    pub(super) limits: &'m Limits,
    pub(super) typer: Typer<'m>,
}

impl Context<'_, '_> {
    fn report(&self, node: &Node, errors: Vec<TypingError>, problems: &mut Vec<Problem>) {
        let source = self.merged.source(node.span);
        for e in errors {
            let at = source.map_or(node.span, |s| node.place(s, e.range.clone()));
            let mut p = Problem::wrong("bad-expression", at, e.message);
            p.help = e.help;
            problems.push(p);
        }
    }

    fn parse(&self, node: &Node, problems: &mut Vec<Problem>) -> Option<Expr> {
        let Some(text) = node.text() else {
            return Problem::wrong("not-an-expression", node.span, "an expression is one text")
                .help("put it in single quotes")
                .fail(problems);
        };
        self.reject_cut(node, problems);
        match parse(text) {
            Ok(e) => Some(e),
            Err(e) => {
                self.report(node, vec![e], problems);
                None
            }
        }
    }

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
        let expr = self.parse(node, problems)?;
        let text = node.text().unwrap_or("");
        match self.typer.compile(text, node.span, &expr, scope, expected) {
            Ok(c) => Some((c, expr)),
            Err(errors) => {
                self.report(node, errors, problems);
                None
            }
        }
    }

    pub(super) fn text(
        &self,
        node: &Node,
        scope: &Scope,
        problems: &mut Vec<Problem>,
    ) -> template::Template {
        template::read(
            node,
            self.merged.source(node.span),
            &self.typer,
            scope,
            self.vocabulary,
            self.limits,
            problems,
        )
    }
}

pub(super) fn by_id<'a, 'i>(
    merged: &'i Merged<'a>,
    problems: &mut Vec<Problem>,
) -> FxHashMap<&'a str, Vec<&'i Item<'a>>> {
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
    all
}
