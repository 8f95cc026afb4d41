//! Bounds as text and JSON.

use std::collections::HashSet;
use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::{AllBounds, Bound, Cure, End, LEAST_ROOM, MOST_MARGINS, Stop};
use crate::quantity::{Rounding, format_interval, format_quantity, format_toward};
use crate::ruleset::Severity;
use crate::source::{Sources, Span, visible_line};
use crate::vocabulary::{LINES, Series, Settler};

use super::cautions;
use super::json::number;
use super::markup::template;
use super::plural;

fn name(b: &Bound) -> String {
    let line = b.line.map_or(String::new(), |l| {
        format!(" ({})", LINES[(l as usize).min(2)])
    });
    format!("{}{line} of {}", b.fact, b.of)
}

/// The facts that nothing stops, by name, and the others, the tightest first; where facts were
/// `named`, all of them are among the others.
fn by_room(all: &AllBounds, named: bool) -> (Vec<String>, Vec<&Bound>) {
    let is_free =
        |b: &&Bound| !named && b.low == End::Free && b.high == End::Free && b.cures.is_empty();
    let mut bounds: Vec<&Bound> = all.bounds.iter().collect();
    let room = |b: &Bound| b.room().unwrap_or(f64::INFINITY);
    bounds.sort_by(|a, b| room(a).total_cmp(&room(b)));
    let (free, others): (Vec<&Bound>, _) = bounds.into_iter().partition(is_free);
    (free.into_iter().map(name).collect(), others)
}

template! {
    /// Bounds of one design, the tightest first; facts that nothing stops are only named, unless
    /// facts were `named`.
    pub fn text(path: &'a str, all: &'a AllBounds, named: bool, sources: &'a Sources) = "bounds.txt"
    with sorted: (Vec<String>, Vec<&'a Bound>) = by_room(all, named);
}

/// Whether one written value stands for facts of several objects: in a repeated block or a
/// definition.
fn shares_a_line(all: &AllBounds) -> bool {
    let mut seen = HashSet::new();
    all.bounds
        .iter()
        .map(|b| (b.span, b.line))
        .chain(all.choices.iter().map(|c| (c.span, None)))
        .any(|at| !seen.insert(at))
}

/// The value as it is written.
fn written(b: &Bound) -> String {
    let (low, high) = b.written;
    match member(b, low) {
        Some(one) if low == high => one,
        _ => format_interval(low, high, &b.unit),
    }
}

/// A member of the fact's series, as the trade calls it.
fn member(b: &Bound, value: f64) -> Option<String> {
    Some(Series::among(&b.series, value)?.shown(&b.unit))
}

/// A value up to which, or from which on, something holds.
fn reached(b: &Bound, value: f64, up: bool) -> String {
    member(b, value).unwrap_or_else(|| format_toward(value, &b.unit, 4, rounding(up)))
}

/// A value that is rounded toward where the rule holds.
const fn rounding(up: bool) -> Rounding {
    if up { Rounding::Down } else { Rounding::Up }
}

/// What stops it downward and upward, in lines.
fn stops(b: &Bound) -> Vec<String> {
    let mut lines = Vec::new();
    for (end, up) in [(&b.low, false), (&b.high, true)] {
        let End::Stopped(s) = end else { continue };
        let last = reached(b, s.last, up);
        let word = if up { "at most " } else { "at least" };
        lines.push(format!("{word} {last}: {}", why(s, up)));
        if let Some(x) = s.again_from {
            let further = if up { "up" } else { "down" };
            let from = member(b, x).unwrap_or_else(|| format_quantity(x, &b.unit, 4));
            lines.push(format!(
                "  further {further}, this rule holds again from {from} on"
            ));
        }
    }
    lines
}

/// The first value with which a broken rule would hold.
fn cure(b: &Bound, c: &Cure) -> String {
    reached(b, c.from, !c.upward)
}

/// How far a fact can go, in one line; none where no rule stops it.
#[must_use]
pub fn line(b: &Bound) -> Option<String> {
    let end = |e: &End, word: &str, up: bool| match e {
        End::Free => None,
        End::Stopped(s) => Some(format!("{word} {}", reached(b, s.last, up))),
    };
    let ends = [
        end(&b.low, "at least", false),
        end(&b.high, "at most", true),
    ];
    let ends: Vec<String> = ends.into_iter().flatten().collect();
    (!ends.is_empty()).then(|| format!("{}: {}", name(b), ends.join(", ")))
}

fn why(s: &Stop, up: bool) -> String {
    let side = if up { "above" } else { "below" };
    let mut out = format!("{side}, {} for {} ", s.rule, s.subject);
    out.push_str(if s.breaks {
        "breaks"
    } else {
        "is no longer certain"
    });
    let _ = write!(out, " ({}", s.severity);
    if let Some(c) = &s.clause {
        let _ = write!(out, "; {c}");
    }
    out.push(')');
    out
}

/// Where a value is written, and who settles it, at the end of its line.
fn settled(span: &Span, by: &Settler, sources: &Sources) -> String {
    let place = sources.place(*span);
    place.map_or(String::new(), |at| {
        format!("  [{}; settled by {by}]", visible_line(&at))
    })
}

/// The facts that can move least before a requirement or a caution breaks, for a report.
#[must_use]
pub fn tightest(all: &AllBounds) -> String {
    let mut rows: Vec<(f64, Vec<String>)> = Vec::new();
    for b in &all.bounds {
        for (end, up, from) in [(&b.low, false, b.written.0), (&b.high, true, b.written.1)] {
            let End::Stopped(s) = end else { continue };
            if s.severity == Severity::Advice || from == 0.0 {
                continue;
            }
            let room = ((s.last - from) / from).abs();
            if room < LEAST_ROOM {
                continue;
            }
            let word = if up { "to at most" } else { "to at least" };
            rows.push((
                room,
                vec![
                    name(b),
                    member(b, from).unwrap_or_else(|| format_quantity(from, &b.unit, 6)),
                    format!("{word} {}", reached(b, s.last, up)),
                    format!("{:.0} %", room * 100.0),
                    format!("{} for {}", s.rule, s.subject),
                ],
            ));
        }
    }
    rows.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
    rows.truncate(MOST_MARGINS);
    if rows.is_empty() {
        return String::new();
    }
    let rows: Vec<Vec<String>> = rows.into_iter().map(|(_, r)| r).collect();
    format!(
        "Least room, each fact alone (`amperule bounds` has all):\n{}\n",
        super::columns(&rows, 2)
    )
}

/// Bounds of one design, schema `amperule-bounds-1`.
#[must_use]
pub fn json(path: &str, all: &AllBounds, sources: &Sources) -> Value {
    let end = |b: &Bound, e: &End| match e {
        End::Free => Value::Null,
        End::Stopped(s) => json!({
            "last": number(b.unit.from_si(s.last)),
            "rule": s.rule,
            "title": s.title,
            "severity": s.severity.word(),
            "subject": s.subject.label,
            "clause": s.clause,
            "breaks": s.breaks,
            "again-from": s.again_from.map(|x| number(b.unit.from_si(x))),
        }),
    };
    json!({
        "schema": "amperule-bounds-1",
        "path": path,
        "undecided": all.undecided,
        "left": all.left,
        "bounds": all.bounds.iter().map(|b| json!({
            "fact": b.fact,
            "subject": b.of,
            "line": b.line.map(|l| LINES[(l as usize).min(2)]),
            "settled-by": b.settled_by.word(),
            "unit": b.unit.text(),
            "low": number(b.unit.from_si(b.written.0)),
            "high": number(b.unit.from_si(b.written.1)),
            "at": sources.place(b.span),
            "series": !b.series.is_empty(),
            "at-least": end(b, &b.low),
            "at-most": end(b, &b.high),
            "cures": b.cures.iter().map(|c| json!({
                "rule": c.rule,
                "subject": c.subject.label,
                "from": number(b.unit.from_si(c.from)),
                "upward": c.upward,
            })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "choices": all.choices.iter().map(|c| json!({
            "fact": c.fact,
            "subject": c.of,
            "settled-by": c.settled_by.word(),
            "written": c.written,
            "at": sources.place(c.span),
            "fine": c.fine,
            "breaking": c.breaking.iter().map(|(w, r, s)| json!({"word": w, "rule": r, "subject": s.label})).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
    })
}
