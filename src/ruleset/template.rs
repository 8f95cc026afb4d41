//! Texts of rules with values in braces.

use serde::{Deserialize, Serialize};

use crate::expression::{Compiled, Limits, Range, Scope, TermKind, Ty, parse};
use crate::quantity::Unit;
use crate::source::Problem;
use crate::vocabulary::Vocabulary;

use super::context::{Context, bad_expression};
use super::yaml::Node;

/// A part of a text.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub enum Piece {
    /// As it stands.
    Text(String),
    /// The name of the subject.
    Subject,
    /// A value, and the unit it is shown in.
    Value(Box<Compiled>, Option<Unit>),
}

/// A text with values in it.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Template {
    /// Its parts in order.
    pub pieces: Vec<Piece>,
}

impl Template {
    /// A text without values.
    #[must_use]
    pub fn plain(text: &str) -> Self {
        Self {
            pieces: vec![Piece::Text(text.to_owned())],
        }
    }

    /// The text about a subject of this name, if no values stand in it.
    #[must_use]
    pub fn text(&self, subject: &str) -> Option<String> {
        let mut text = String::new();
        for p in &self.pieces {
            match p {
                Piece::Text(part) => text.push_str(part),
                Piece::Subject => text.push_str(subject),
                Piece::Value(..) => return None,
            }
        }
        Some(text)
    }
}

/// The unit a figure of some dimension is shown in where nothing better is known.
#[must_use]
pub fn default_unit(ty: &Ty) -> Option<Unit> {
    [
        "", "A", "V", "ohm", "m", "mm²", "s", "W", "A²·s", "ohm/m", "°C", "K", "N·m", "lx",
        "K·m/W", "ohm·m", "Hz", "kg", "1/K", "V·A", "m²",
    ]
    .into_iter()
    .filter_map(|u| Unit::parse(u).ok())
    .find(|u| Ty::in_unit(u) == *ty)
}

/// The unit in which the value of an expression is shown.
pub(super) fn shown_in(c: &Compiled, v: &Vocabulary, limits: &Limits) -> Option<Unit> {
    fn of(
        c: &Compiled,
        id: crate::expression::TermId,
        v: &Vocabulary,
        limits: &Limits,
    ) -> Option<Unit> {
        match &c.term(id).kind {
            TermKind::Read { fact, .. } => fact
                .by_kind
                .first()
                .and_then(|(k, f)| v.fact(*k, *f).unit().cloned()),
            TermKind::Limit(l) => limits.all.get(l.0 as usize).map(|l| l.unit.clone()),
            TermKind::Otherwise(a, _) | TermKind::Round(a, ..) | TermKind::Neg(a) => {
                of(c, *a, v, limits)
            }
            TermKind::If(_, a, b) | TermKind::Add(a, b) | TermKind::Sub(a, b) => {
                of(c, *a, v, limits).or_else(|| of(c, *b, v, limits))
            }
            TermKind::Call(crate::expression::Call::Min | crate::expression::Call::Max, list) => {
                list.iter().find_map(|a| of(c, *a, v, limits))
            }
            TermKind::Aggregate { body: Some(b), .. } => of(c, *b, v, limits),
            TermKind::Next(s, ..) => Some(v.series(*s).unit.clone()),
            _ => None,
        }
    }
    let ty = &c.root_term().ty;
    of(c, c.root, v, limits)
        .filter(|u| Ty::in_unit(u) == *ty)
        .or_else(|| default_unit(ty))
}

/// Reads a text with values in braces; mistakes inside the braces are pointed at there.
pub(super) fn read(
    context: &Context<'_, '_>,
    node: &Node,
    scope: &Scope,
    problems: &mut Vec<Problem>,
) -> Template {
    let source = context.merged.source(node.span);
    let Some(text) = node.text() else {
        Problem::wrong("not-a-text", node.span, "this is one text").report(problems);
        return Template::default();
    };
    let mut pieces = Vec::new();
    let mut at = 0;
    while let Some(open) = text.get(at..).and_then(|t| t.find('{')) {
        let open = at + open;
        if open > at {
            pieces.push(Piece::Text(text.get(at..open).unwrap_or("").to_owned()));
        }
        // Doubled, it is the brace of a block that the reader is to write.
        if text.get(open..).is_some_and(|t| t.starts_with("{{")) {
            pieces.push(Piece::Text("{".to_owned()));
            at = open + 2;
            continue;
        }
        let Some(len) = text.get(open..).and_then(|t| t.find('}')) else {
            let place = source.map_or(node.span, |s| node.place(s, open..open + 1));
            Problem::wrong("open-brace", place, "this brace is not closed").report(problems);
            return Template { pieces };
        };
        let inside = text.get(open + 1..open + len).unwrap_or("");
        at = open + len + 1;
        if inside.trim() == "subject" {
            pieces.push(Piece::Subject);
            continue;
        }
        let place = |r: Range| {
            source.map_or(node.span, |s| {
                node.place(s, open + 1 + r.start..open + 1 + r.end)
            })
        };
        let compiled = parse(inside).map_err(|e| vec![e]).and_then(|e| {
            let whole = place(0..inside.len());
            context.typer.compile(inside, whole, &e, scope, None)
        });
        match compiled {
            Ok(c) => {
                let unit = shown_in(&c, context.vocabulary, context.limits);
                pieces.push(Piece::Value(Box::new(c), unit));
            }
            Err(errors) => bad_expression(errors, place, problems),
        }
    }
    if let Some(rest) = text.get(at..).filter(|r| !r.is_empty()) {
        pieces.push(Piece::Text(rest.to_owned()));
    }
    Template { pieces }
}
