//! What is wrong with the parts and blocks of a ruleset's stock: what cannot be read would never be
//! offered, and nobody would know why.

use std::collections::BTreeMap;

use super::blocks::{Asked, filled_in};
use super::graft::around;
use crate::check::show_val;
use crate::design::parse::parse;
use crate::design::resolve::{self, resolve};
use crate::expression::Val;
use crate::ruleset::Ruleset;
use crate::source::{FileId, Problem, Span};
use crate::vocabulary::{Bounds, Fact, FactType, KindId};

/// Mistakes in the stock, each at its entry.
#[must_use]
pub fn stock_mistakes(ruleset: &Ruleset) -> Vec<Problem> {
    let v = &ruleset.vocabulary;
    let mut all = Vec::new();
    for part in &ruleset.mending.stock {
        let fact = &v.fact(part.kind, part.fact).name;
        let kind = &v.kind(part.kind).name;
        let (before, after) = around(ruleset, part);
        let what = format!("the part for `{kind}.{fact}`");
        all.extend(read(
            ruleset,
            (&before, &part.text, after),
            &what,
            part.span,
        ));
    }
    for block in &ruleset.mending.blocks {
        let what = format!("the block `{}`", v.kind(block.kind).name);
        // Each thing that the block names, by its kind.
        let mut named = BTreeMap::from([(block.beside, "scratch".to_owned())]);
        let mut unknown = Vec::new();
        let text = filled_in(&block.text, |asked| {
            let said = match asked {
                Asked::Name => Some("scratch".to_owned()),
                Asked::Every(kind) => v.kind_named(kind).map(|k| {
                    let next = format!("scratch-{}", named.len());
                    named.entry(k).or_insert(next).clone()
                }),
                Asked::Said(path) => like(ruleset, block.beside, path),
            };
            Some(said.unwrap_or_else(|| {
                unknown.push(asked.to_string());
                "?".to_owned()
            }))
        });
        for asked in unknown {
            let beside = &v.kind(block.beside).name;
            let why = format!("{what} says {{{{{asked}}}}}, and a `{beside}` has no such thing");
            all.push(Problem::wrong("bad-stock", block.span, why).help(format!(
                "write {{{{name}}}}, {{{{every KIND}}}}, or a quantity of the `{beside}` or of a part of it"
            )));
        }
        let others = named
            .iter()
            .map(|(kind, name)| format!("{} {name} {{ }}\n", v.kind(*kind).name));
        let (before, text) = (others.collect::<String>(), text.unwrap_or_default());
        all.extend(read(ruleset, (&before, &text, ""), &what, block.span));
    }
    all
}

/// Mistakes that stand in the middle one of three pieces of a design.
fn read(
    ruleset: &Ruleset,
    (before, piece, after): (&str, &str, &str),
    what: &str,
    at: Span,
) -> Vec<Problem> {
    let parsed = parse(FileId(0), &format!("{before}{piece}{after}"));
    let settings = resolve::Settings::default();
    let resolved = resolve(&[&parsed.tree], &ruleset.vocabulary, &settings);
    let inside = before.len()..=before.len() + piece.len();
    let problems = parsed.problems.into_iter().chain(resolved.problems);
    problems
        .filter(|p| p.is_error())
        .filter(|p| {
            p.labels
                .first()
                .is_some_and(|l| inside.contains(&l.span.from()))
        })
        .map(|p| Problem {
            help: p.help,
            ..Problem::wrong(
                "bad-stock",
                at,
                format!("{what} cannot be read: {}", p.message),
            )
        })
        .collect()
}

/// A value that a quantity of a kind, or of a part of it, may have.
fn like(ruleset: &Ruleset, kind: KindId, path: &str) -> Option<String> {
    let v = &ruleset.vocabulary;
    let (name, further) = path
        .split_once('.')
        .map_or((path, None), |(n, f)| (n, Some(f)));
    let fact = v.fact(kind, v.kind(kind).fact_named(name)?);
    match (&fact.ty, further) {
        (FactType::Part(part), Some(further)) => like(ruleset, *part, further),
        (FactType::Quantity { unit, .. }, None) => {
            let x = fact.series.and_then(|s| v.series(s).members.first());
            let x = x.map_or_else(|| usual(fact, unit.to_si(1.0)), |m| m.value);
            Some(show_val(&Val::number(x), fact, v))
        }
        _ => None,
    }
}

/// A figure that is usual for a quantity, or one of its unit where nothing is.
fn usual(fact: &Fact, one: f64) -> f64 {
    let Bounds { lo, hi, .. } = fact.plausible.unwrap_or(fact.domain);
    match (lo.is_finite(), hi.is_finite()) {
        (true, true) => f64::midpoint(lo, hi),
        (true, false) => lo + one,
        (false, true) => hi - one,
        (false, false) => one,
    }
}
