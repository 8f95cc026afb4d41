//! Proofs of templates as text, JSON and a map.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::{Map, Parameter, Part, Proof, Proved, State, Stretch, stretches};
use crate::expression::Val;
use crate::quantity::{Rounding, format_quantity, format_toward};
use crate::ruleset::Severity;

use super::cautions;
use super::json::number;
use super::markup::template;
use super::plural;

/// The words of a parameter that are in a set.
fn words<'p>(p: &'p Parameter, r: &Val) -> Vec<&'p str> {
    let all = p.words.iter().enumerate();
    let held = all.filter(|(i, _)| r.bits >> i & 1 != 0);
    held.map(|(_, w)| w.as_str()).collect()
}

/// A range of a parameter; of what is proved, rounded inward.
fn range(p: &Parameter, r: &Val, inward: bool) -> String {
    if !p.words.is_empty() {
        return words(p, r).join(" | ");
    }
    let Some(unit) = &p.unit else {
        return format!("{} .. {}", r.lo, r.hi);
    };
    let end = |x: f64, edge: f64, rounding: Rounding| {
        if x == edge {
            format_toward(x, unit, 6, Rounding::Nearest)
        } else {
            format_toward(x, unit, 4, rounding)
        }
    };
    let (down, up) = if inward {
        (Rounding::Up, Rounding::Down)
    } else {
        (Rounding::Down, Rounding::Up)
    };
    format!(
        "{} .. {}",
        end(r.lo, p.set.lo, down),
        end(r.hi, p.set.hi, up)
    )
}

fn percent(x: f64) -> String {
    let p = x * 100.0;
    if p <= 0.0 {
        // An empty sum is minus zero.
        "0 %".to_owned()
    } else if p < 0.05 {
        "under 0.1 %".to_owned()
    } else if p > 99.95 && p < 100.0 {
        // What is not all must not read like all.
        "over 99.9 %".to_owned()
    } else {
        format!("{p:.1} %")
    }
}

fn line(s: &Stretch, proved: &Proved) -> String {
    let parameter = proved.parameters.first();
    let range = parameter.map(|p| range(p, &s.range, s.state != State::Open));
    let proofs = s.by.iter().filter_map(|i| proved.proofs.get(*i));
    let by: Vec<String> = proofs
        .map(|p| format!("{} for {}", p.rule, p.subject))
        .collect();
    let by = if by.is_empty() {
        String::new()
    } else {
        format!(": {}", by.join(", "))
    };
    format!("  {:<28} {}{by}", range.unwrap_or_default(), s.state.word())
}

fn is_breach(p: &Proof) -> bool {
    p.severity == Severity::Breach
}

fn requirements(proved: &Proved) -> Vec<Stretch> {
    stretches(proved, is_breach)
}

/// The stretches of cautions and advice, if one of them does not pass.
fn others(proved: &Proved) -> Vec<Stretch> {
    let mut all = stretches(proved, |p| !is_breach(p));
    if all.iter().all(|s| s.state == State::Passes) {
        all.clear();
    }
    all
}

/// The parameters with their ranges.
fn declared(proved: &Proved) -> String {
    let each = proved.parameters.iter();
    let each = each.map(|p| format!("{} {}", p.name, range(p, &p.set, false)));
    each.collect::<Vec<_>>().join(", ")
}

/// The parameters that a proof is over.
fn over<'p>(p: &'p Proof, proved: &'p Proved) -> impl Iterator<Item = &'p Parameter> {
    p.parameters
        .iter()
        .filter_map(|i| proved.parameters.get(*i))
}

fn names(p: &Proof, proved: &Proved) -> String {
    over(p, proved)
        .map(|q| q.name.as_str())
        .collect::<Vec<_>>()
        .join(", ")
}

fn share(p: &Proof, state: State, proved: &Proved) -> String {
    percent(p.share(state, &proved.parameters))
}

/// The stretches of a proof over one parameter.
fn parts(p: &Proof, proved: &Proved) -> Vec<String> {
    let mut over = over(p, proved);
    let (Some(q), 1) = (over.next(), p.parameters.len()) else {
        return Vec::new();
    };
    let part = |part: &Part| {
        let range = range(q, part.ranges.first()?, part.state != State::Open);
        Some(format!("{} {range}: {}", q.name, part.state.word()))
    };
    p.parts.iter().filter_map(part).collect()
}

template! {
    /// What was proved, on a terminal.
    pub fn text(path: &'a str, proved: &'a Proved, map: Option<&'a Map>) = "prove.txt"
}

/// A value of a parameter, in so many digits.
fn label(p: &Parameter, v: f64, digits: usize) -> String {
    p.unit
        .as_ref()
        .map_or_else(|| v.to_string(), |u| format_quantity(v, u, digits))
}

/// A map in characters: `.` passes, `#` breaks, `?` is open.
fn map_text(proved: &Proved, m: &Map) -> String {
    let (x, y) = (&proved.parameters[m.across], &proved.parameters[m.up]);
    let mut out = format!(
        "Requirements over {} across, {} up; . passes  # breaks  ? open{}\n",
        x.name,
        y.name,
        if m.others {
            ", over all values of the other parameters"
        } else {
            ""
        }
    );
    let ends = |p: &Parameter| (label(p, p.set.lo, 4), label(p, p.set.hi, 4));
    let (bottom, top) = ends(y);
    let side = top.chars().count().max(bottom.chars().count());
    for row in (0..m.rows).rev() {
        let name = match row {
            _ if row + 1 == m.rows => top.as_str(),
            0 => &bottom,
            _ => "",
        };
        let cells: String = m
            .cells
            .iter()
            .skip(row * m.columns)
            .take(m.columns)
            .map(|(s, _)| match s {
                State::Passes => '.',
                State::Breaks => '#',
                State::Open => '?',
            })
            .collect();
        let _ = writeln!(out, "  {name:>side$} |{cells}|");
    }
    let (left, right) = ends(x);
    let taken = left.chars().count() + right.chars().count();
    let gap = m.columns.saturating_sub(taken);
    let _ = write!(out, "  {:side$}  {left}{}{right}", "", " ".repeat(gap));
    for line in rules_of(proved, m) {
        let _ = write!(out, "\n  {line}");
    }
    out
}

/// The rules that break or are open somewhere on a map.
fn rules_of(proved: &Proved, m: &Map) -> Vec<String> {
    let told = |s: &Severity| *s == Severity::Breach;
    let always = proved.always_broken.iter().filter(|(_, _, s)| told(s));
    let always = always
        .map(|(rule, subject, _)| format!("whatever the parameters: {rule} breaks for {subject}"));
    let open = proved.always_open.iter().filter(|(s, _)| told(s));
    let open = open.map(|(_, n)| {
        format!(
            "open whatever the parameters: {}",
            plural(*n, "verdict", "verdicts")
        )
    });
    let whatever: Vec<String> = always.chain(open).collect();
    let mut seen: Vec<(State, usize)> = Vec::new();
    for (s, i) in &m.cells {
        if let Some(i) = i
            && !seen.contains(&(*s, *i))
        {
            seen.push((*s, *i));
        }
    }
    seen.sort_unstable();
    let told = seen.into_iter().filter_map(|(s, i)| {
        let p = proved.proofs.get(i)?;
        Some(format!("{}: {} for {}", s.word(), p.rule, p.subject))
    });
    whatever.into_iter().chain(told).collect()
}

/// Cells of a row with one state.
struct Area {
    x: f64,
    y: f64,
    width: f64,
    height: f64,
    state: State,
}

/// The drawing, from left to right and down.
const LEFT: f64 = 90.0;
const TOP: f64 = 50.0;
const WIDTH: f64 = 560.0;
const HEIGHT: f64 = 360.0;

/// The cells of a map, those alike in a row together.
fn areas(m: &Map) -> Vec<Area> {
    let (width, height) = (WIDTH / m.columns as f64, HEIGHT / m.rows as f64);
    let mut all = Vec::new();
    for (row, cells) in m.cells.chunks(m.columns.max(1)).enumerate() {
        let mut column = 0;
        for alike in cells.chunk_by(|a, b| a.0 == b.0) {
            all.push(Area {
                x: LEFT + width * column as f64,
                y: TOP + HEIGHT - height * (row + 1) as f64,
                width: width * alike.len() as f64 + 0.3,
                height: height + 0.3,
                state: alike[0].0,
            });
            column += alike.len();
        }
    }
    all
}

const fn fill(state: &State) -> &'static str {
    match state {
        State::Passes => "#d6e7dc",
        State::Breaks => "url(#breaks)",
        State::Open => "url(#open)",
    }
}

/// What stands at the marks of both axes: a place across and its value, a place up and its value.
fn scale(x: &Parameter, y: &Parameter) -> Vec<(f64, String, f64, String)> {
    let mark = |k: u8| {
        let f = f64::from(k) / 4.0;
        let at = |p: &Parameter| label(p, p.set.lo + (p.set.hi - p.set.lo) * f, 3);
        (
            LEFT + WIDTH * f,
            at(x),
            TOP + HEIGHT * (1.0 - f) + 5.0,
            at(y),
        )
    };
    (0..=4).map(mark).collect()
}

template! {
    /// A map as a drawing.
    pub fn svg(path: &'a str, proved: &'a Proved, m: &'a Map) = "map.svg"
    with x: &'a Parameter = &proved.parameters[m.across];
    with y: &'a Parameter = &proved.parameters[m.up];
    with rules: Vec<String> = rules_of(proved, m);
}

/// What was proved, schema `amperule-prove-1`.
#[must_use]
pub fn json(path: &str, proved: &Proved) -> Value {
    let val = |p: &Parameter, r: &Val| {
        if p.words.is_empty() {
            let f = |x: f64| number(p.unit.as_ref().map_or(x, |u| u.from_si(x)));
            json!({"low": f(r.lo), "high": f(r.hi)})
        } else {
            json!({"words": words(p, r)})
        }
    };
    let stretch = |s: &Stretch| {
        json!({
            "range": proved.parameters.first().map(|p| val(p, &s.range)),
            "state": s.state.word(),
            "by": s.by.iter().filter_map(|i| proved.proofs.get(*i)).map(|p| json!({"rule": p.rule, "subject": p.subject.label})).collect::<Vec<_>>(),
        })
    };
    json!({
        "schema": "amperule-prove-1",
        "path": path,
        "parameters": proved.parameters.iter().map(|p| json!({
            "name": p.name,
            "unit": p.unit.as_ref().map(|u| u.text().to_owned()),
            "set": val(p, &p.set),
        })).collect::<Vec<_>>(),
        "requirements": requirements(proved).iter().map(stretch).collect::<Vec<_>>(),
        "verdicts": proved.proofs.iter().map(|p| json!({
            "rule": p.rule,
            "subject": p.subject.label,
            "severity": p.severity.word(),
            "parameters": over(p, proved).map(|q| &q.name).collect::<Vec<_>>(),
            "passes": number(p.share(State::Passes, &proved.parameters)),
            "breaks": number(p.share(State::Breaks, &proved.parameters)),
            "open": number(p.share(State::Open, &proved.parameters)),
            "exhausted": p.exhausted,
            "departed": p.departed,
            "parts": p.parts.iter().map(|part| json!({
                "state": part.state.word(),
                "ranges": part.ranges.iter().zip(&p.parameters).filter_map(|(r, i)| Some(val(proved.parameters.get(*i)?, r))).collect::<Vec<_>>(),
            })).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "met": proved.met,
        "always-broken": proved.always_broken.iter().map(|(r, s, w)| json!({"rule": r, "subject": s.label, "severity": w.word()})).collect::<Vec<_>>(),
        "always-departed": proved.always_departed.iter().map(|(r, s)| json!({"rule": r, "subject": s.label})).collect::<Vec<_>>(),
        "left-out": proved.left_out.iter().map(|(r, s, what)| json!({"rule": r, "subject": s.label, "what": what})).collect::<Vec<_>>(),
        "always-open": proved.always_open.iter().map(|(s, n)| json!({"severity": s.word(), "count": n})).collect::<Vec<_>>(),
    })
}
