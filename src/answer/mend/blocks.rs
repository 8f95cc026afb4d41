//! Blocks from the ruleset's stock that a mend may add to a design: a load limiter, where there is
//! none.

use super::{Change, Edit};
use crate::check::show_val;
use crate::design::model::{Design, ObjectId, Possible};
use crate::expression::Val;
use crate::ruleset::{Ruleset, StockBlock};
use crate::source::Span;

/// A change for each block of the stock, for each thing that it may be added for. What there is one of
/// already is not added again.
#[must_use]
pub fn blocks(ruleset: &Ruleset, design: &Design) -> Vec<Change> {
    let mut all = Vec::new();
    for block in &ruleset.mending.blocks {
        if design
            .of_kind(block.kind)
            .any(|id| design.object(id).stays())
        {
            continue;
        }
        for id in design.of_kind(block.beside) {
            if design.object(id).stays() {
                all.extend(added(ruleset, design, block, id));
            }
        }
    }
    all
}

/// The block put after the one that it is for; nothing, where that does not say what the block needs.
fn added(ruleset: &Ruleset, design: &Design, block: &StockBlock, id: ObjectId) -> Option<Change> {
    let text = filled_in(&block.text, |asked| match asked {
        Asked::Name => Some(design.label(id)),
        Asked::Every(kind) => every(ruleset, design, kind),
        Asked::Said(path) => said(ruleset, design, path, id),
    })?;
    let after = design.object(id).span;
    let kind = &ruleset.vocabulary.kind(block.kind).name;
    Some(Change {
        what: format!("{kind} added for {}", design.label(id)),
        facts: Vec::new(),
        edits: vec![Edit {
            span: Span {
                start: after.end,
                ..after
            },
            new: format!("\n\n{text}"),
        }],
        cost: block.cost,
        mends: Vec::new(),
        instead: Vec::new(),
    })
}

/// What a block's text asks in braces.
#[derive(Clone, Copy, Debug)]
pub(super) enum Asked<'a> {
    /// `{{name}}`: the name of the thing that it is for.
    Name,
    /// `{{every KIND}}`: the names of all of a kind.
    Every(&'a str),
    /// `{{FACT}}`, `{{PART.FACT}}`: what that thing says.
    Said(&'a str),
}

/// As it is written, without the braces.
impl std::fmt::Display for Asked<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Name => f.write_str("name"),
            Self::Every(kind) => write!(f, "every {kind}"),
            Self::Said(path) => f.write_str(path),
        }
    }
}

/// A block's text with what stands in braces filled in; nothing, where one cannot be.
pub(super) fn filled_in(
    text: &str,
    mut answer: impl FnMut(Asked<'_>) -> Option<String>,
) -> Option<String> {
    let mut out = String::new();
    let mut rest = text;
    while let Some((before, (inside, after))) = rest
        .split_once("{{")
        .and_then(|(before, on)| Some((before, on.split_once("}}")?)))
    {
        out.push_str(before);
        out.push_str(&answer(match inside.split_once(' ') {
            Some(("every", kind)) => Asked::Every(kind),
            _ if inside == "name" => Asked::Name,
            _ => Asked::Said(inside),
        })?);
        rest = after;
    }
    out.push_str(rest);
    Some(out)
}

/// The names of all things of a kind that the works put in or change: the rest is left as it is.
fn every(ruleset: &Ruleset, design: &Design, kind: &str) -> Option<String> {
    let kind = ruleset.vocabulary.kind_named(kind)?;
    let all = design.of_kind(kind);
    let all = all.filter(|id| design.object(*id).is_of_works());
    let names: Vec<String> = all.map(|id| design.label(id)).collect();
    (!names.is_empty()).then(|| names.join(", "))
}

/// What a thing, or a part of it, says of a quantity.
fn said(ruleset: &Ruleset, design: &Design, path: &str, id: ObjectId) -> Option<String> {
    let v = &ruleset.vocabulary;
    let kind = design.object(id).kind;
    let (name, further) = path
        .split_once('.')
        .map_or((path, None), |(n, f)| (n, Some(f)));
    let ix = v.kind(kind).fact_named(name)?;
    match (&design.object(id).written(ix)?.value, further) {
        (Possible::Object(part), Some(further)) => said(ruleset, design, further, *part),
        (Possible::Number(i), None) if i.is_point() => {
            Some(show_val(&Val::number(i.lo), v.fact(kind, ix), v))
        }
        _ => None,
    }
}
