//! Bounds as text and JSON.

use std::collections::HashSet;
use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::{AllBounds, Bound, Choices, End, LEAST_ROOM, MOST_MARGINS, Stop};
use crate::quantity::{Rounding, format_interval, format_quantity, format_toward};
use crate::ruleset::Severity;
use crate::source::{Sources, Span, visible_line};
use crate::vocabulary::{LINES, Settler};

use super::json::number;

fn name(b: &Bound) -> String {
    let line = b.line.map_or(String::new(), |l| {
        format!(" ({})", LINES[(l as usize).min(2)])
    });
    format!("{}{line} of {}", b.fact, b.of)
}

/// Bounds of one design, the tightest first; facts that nothing stops are only named.
#[must_use]
pub fn text(path: &str, all: &AllBounds, named: bool, sources: &Sources) -> String {
    let mut out = format!(
        "{path}: how far each fact can go while every rule that holds now goes on to hold\n"
    );
    let mut bounds: Vec<&Bound> = all.bounds.iter().collect();
    bounds.sort_by(|a, b| {
        let room = |x: &Bound| x.room().unwrap_or(f64::INFINITY);
        room(a).total_cmp(&room(b))
    });
    let mut free = Vec::new();
    for b in bounds {
        if !named && b.low == End::Free && b.high == End::Free && b.cures.is_empty() {
            free.push(name(b));
            continue;
        }
        bound(&mut out, b, sources);
    }
    for c in &all.choices {
        choices(&mut out, c, sources);
    }
    if !free.is_empty() {
        let _ = writeln!(out, "\nNo rule that holds now stops: {}.", free.join(", "));
    }
    if all.undecided > 0 {
        let _ = writeln!(
            out,
            "\n{} verdicts are undecided as written; they bound nothing here.",
            all.undecided
        );
    }
    if all.left > 0 {
        let _ = writeln!(
            out,
            "\n{} more facts are not looked at, since there is a limit to the work; name those that you\nwant to know of, as in `amperule bounds FILE length`.",
            all.left
        );
    }
    out.push_str("\nEach bound is for its fact alone, the others as written.\n");
    if shares_a_line(all) {
        out.push_str(
            "Where several take their value from one line, a bound moves it in one of them only; changing\nthe line changes all, so check the design afterwards.\n",
        );
    }
    let _ = writeln!(out, "\n{}", super::cautions::ALWAYS);
    out
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

fn bound(out: &mut String, b: &Bound, sources: &Sources) {
    let written = if b.written.0 == b.written.1 {
        format_quantity(b.written.0, &b.unit, 6)
    } else {
        format_interval(b.written.0, b.written.1, &b.unit)
    };
    let _ = write!(out, "\n{} = {written}", name(b));
    settled(out, b.span, b.settled_by, sources);
    let end = |out: &mut String, e: &End, up: bool| {
        let word = if up { "at most " } else { "at least" };
        match e {
            End::Free => {}
            End::Stopped(s) => {
                let rounding = if up { Rounding::Down } else { Rounding::Up };
                let value = if b.series {
                    format_quantity(s.last, &b.unit, 6)
                } else {
                    format_toward(s.last, &b.unit, 4, rounding)
                };
                let _ = writeln!(out, "  {word} {value}: {}", why(s, up));
                if let Some(x) = s.again_from {
                    let _ = writeln!(
                        out,
                        "    further {}, this rule holds again from {} on",
                        if up { "up" } else { "down" },
                        format_quantity(x, &b.unit, 4)
                    );
                }
            }
        }
    };
    end(out, &b.low, false);
    end(out, &b.high, true);
    for c in &b.cures {
        let (word, rounding) = if c.upward {
            ("at least", Rounding::Up)
        } else {
            ("at most", Rounding::Down)
        };
        let _ = writeln!(
            out,
            "  {} is broken now for {}; with {word} {} it would hold",
            c.rule,
            c.subject,
            format_toward(c.from, &b.unit, 4, rounding)
        );
    }
}

/// How far a fact can go, in one line; none where no rule stops it.
#[must_use]
pub fn line(b: &Bound) -> Option<String> {
    let end = |e: &End, word: &str, rounding: Rounding| match e {
        End::Free => None,
        End::Stopped(s) => Some(format!(
            "{word} {}",
            format_toward(s.last, &b.unit, 4, rounding)
        )),
    };
    let ends = [
        end(&b.low, "at least", Rounding::Up),
        end(&b.high, "at most", Rounding::Down),
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
fn settled(out: &mut String, span: Span, by: Settler, sources: &Sources) {
    if let Some(at) = sources.place(span) {
        let _ = write!(out, "  [{}; settled by {by}]", visible_line(&at));
    }
    out.push('\n');
}

fn choices(out: &mut String, c: &Choices, sources: &Sources) {
    let _ = write!(out, "\n{} of {} = {}", c.fact, c.of, c.written);
    settled(out, c.span, c.settled_by, sources);
    if !c.fine.is_empty() {
        let _ = writeln!(out, "  breaks nothing: {}", c.fine.join(", "));
    }
    for (word, rule, subject) in &c.breaking {
        let _ = writeln!(out, "  {word}: {rule} for {subject} would no longer hold");
    }
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
            let (word, rounding) = if up {
                ("to at most", Rounding::Down)
            } else {
                ("to at least", Rounding::Up)
            };
            rows.push((
                room,
                vec![
                    name(b),
                    format_quantity(from, &b.unit, 6),
                    format!("{word} {}", format_toward(s.last, &b.unit, 4, rounding)),
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
    let bounds: Vec<Value> = all
        .bounds
        .iter()
        .map(|b| {
            json!({
                "fact": b.fact,
                "subject": b.of,
                "line": b.line.map(|l| LINES[(l as usize).min(2)]),
                "settled-by": b.settled_by.word(),
                "unit": b.unit.text(),
                "low": number(b.unit.from_si(b.written.0)),
                "high": number(b.unit.from_si(b.written.1)),
                "at": sources.place(b.span),
                "series": b.series,
                "at-least": end(b, &b.low),
                "at-most": end(b, &b.high),
                "cures": b.cures.iter().map(|c| json!({
                    "rule": c.rule,
                    "subject": c.subject.label,
                    "from": number(b.unit.from_si(c.from)),
                    "upward": c.upward,
                })).collect::<Vec<_>>(),
            })
        })
        .collect();
    let choices: Vec<Value> = all
        .choices
        .iter()
        .map(|c| {
            json!({
                "fact": c.fact,
                "subject": c.of,
                "settled-by": c.settled_by.word(),
                "written": c.written,
                "at": sources.place(c.span),
                "fine": c.fine,
                "breaking": c.breaking.iter().map(|(w, r, s)| json!({"word": w, "rule": r, "subject": s.label})).collect::<Vec<_>>(),
            })
        })
        .collect();
    json!({
        "schema": "amperule-bounds-1",
        "path": path,
        "undecided": all.undecided,
        "left": all.left,
        "bounds": bounds,
        "choices": choices,
    })
}
