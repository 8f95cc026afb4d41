//! Proofs of templates as text, JSON and a map.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::{Map, Parameter, Proof, Proved, State, Stretch, stretches};
use crate::expression::Val;
use crate::quantity::{Rounding, format_toward};
use crate::ruleset::Severity;

use super::cautions;
use super::json::number;
use super::markup::escape;

/// A range of a parameter; of what is proved, rounded inward.
fn range(p: &Parameter, r: &Val, inward: bool) -> String {
    if !p.words.is_empty() {
        return p
            .words
            .iter()
            .enumerate()
            .filter(|(i, _)| r.bits >> i & 1 != 0)
            .map(|(_, w)| w.as_str())
            .collect::<Vec<_>>()
            .join(" | ");
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

fn line(out: &mut String, s: &Stretch, proved: &Proved) {
    let Some(p) = proved.parameters.first() else {
        return;
    };
    let by: Vec<String> =
        s.by.iter()
            .filter_map(|i| proved.proofs.get(*i))
            .map(|p| format!("{} for {}", p.rule, p.subject))
            .collect();
    let _ = write!(
        out,
        "  {:<28} {}",
        range(p, &s.range, s.state != State::Open),
        s.state.word()
    );
    if !by.is_empty() {
        let _ = write!(out, ": {}", by.join(", "));
    }
    out.push('\n');
}

/// What was proved, on a terminal.
#[must_use]
pub fn text(path: &str, proved: &Proved, map: Option<&Map>) -> String {
    if proved.parameters.is_empty() {
        return format!(
            "{path}: no parameter varies, so there is nothing to prove; `amperule check` judges it\n\n{}\n",
            cautions::ALWAYS
        );
    }
    let declared: Vec<String> = proved
        .parameters
        .iter()
        .map(|p| format!("{} {}", p.name, range(p, &p.set, false)))
        .collect();
    let mut out = format!("{path}: over {}\n", declared.join(", "));
    let breach = |p: &Proof| p.severity == Severity::Breach;
    if proved.parameters.len() == 1 {
        let _ = writeln!(out, "\nRequirements, {}", proved.parameters[0].name);
        for s in stretches(proved, breach) {
            line(&mut out, &s, proved);
        }
        let others = stretches(proved, |p| !breach(p));
        if others.iter().any(|s| s.state != State::Passes) {
            out.push_str("\nCautions and advice\n");
            for s in others {
                line(&mut out, &s, proved);
            }
        }
    } else {
        out.push_str("\nRules that are not met everywhere, each over its own parameters\n");
        for p in &proved.proofs {
            let names: Vec<&str> = p
                .parameters
                .iter()
                .filter_map(|i| proved.parameters.get(*i))
                .map(|p| p.name.as_str())
                .collect();
            let share = |s| percent(p.share(s, &proved.parameters));
            let _ = writeln!(
                out,
                "  {} for {} ({}; {}): passes {}, breaks {}, open {}{}",
                p.rule,
                p.subject,
                p.severity,
                names.join(", "),
                share(State::Passes),
                share(State::Breaks),
                share(State::Open),
                match (p.exhausted, p.departed) {
                    (true, _) => "; the work limit was met",
                    (_, true) => "; a departure covers what breaks",
                    _ => "",
                }
            );
            if p.parameters.len() == 1 {
                for part in &p.parts {
                    if let (Some(q), Some(r)) = (
                        p.parameters.first().and_then(|i| proved.parameters.get(*i)),
                        part.ranges.first(),
                    ) {
                        let _ = writeln!(
                            out,
                            "    {} {}: {}",
                            q.name,
                            range(q, r, part.state != State::Open),
                            part.state.word()
                        );
                    }
                }
            }
        }
        if proved.proofs.is_empty() {
            out.push_str("  none\n");
        }
    }
    if let Some(m) = map {
        out.push('\n');
        out.push_str(&map_text(proved, m));
    }
    let _ = writeln!(
        out,
        "\n{} further verdicts depend on a parameter and are met everywhere.",
        proved.met
    );
    for (rule, subject, severity) in &proved.always_broken {
        if *severity != Severity::Advice {
            let _ = writeln!(
                out,
                "Whatever the parameters: {severity} {rule} for {subject}"
            );
        }
    }
    for (rule, subject) in &proved.always_departed {
        let _ = writeln!(
            out,
            "Whatever the parameters: {rule} for {subject} is broken, and a departure covers it"
        );
    }
    let open: Vec<String> = proved
        .always_open
        .iter()
        .map(|(s, n)| format!("{n} {s}"))
        .collect();
    if !open.is_empty() {
        let _ = writeln!(
            out,
            "Open whatever the parameters: {} (`amperule survey` says what settles them).",
            open.join(", ")
        );
    }
    for (rule, subject, what) in &proved.left_out {
        let _ = writeln!(
            out,
            "Not judged by these rules: {what}, of {subject} ({rule})"
        );
    }
    let _ = writeln!(out, "\n{}", cautions::ALWAYS);
    out
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
    let label = |p: &Parameter, v: f64| {
        p.unit.as_ref().map_or_else(
            || v.to_string(),
            |u| crate::quantity::format_quantity(v, u, 4),
        )
    };
    let side = label(y, y.set.hi)
        .chars()
        .count()
        .max(label(y, y.set.lo).chars().count());
    for row in (0..m.rows).rev() {
        let name = if row + 1 == m.rows {
            label(y, y.set.hi)
        } else if row == 0 {
            label(y, y.set.lo)
        } else {
            String::new()
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
    let (left, right) = (label(x, x.set.lo), label(x, x.set.hi));
    let gap = m
        .columns
        .saturating_sub(left.chars().count() + right.chars().count());
    let _ = writeln!(out, "  {:side$}  {left}{}{right}", "", " ".repeat(gap));
    for line in rules_of(proved, m) {
        let _ = writeln!(out, "  {line}");
    }
    out
}

/// The rules that break or are open somewhere on a map.
fn rules_of(proved: &Proved, m: &Map) -> Vec<String> {
    let mut seen: Vec<(State, usize)> = Vec::new();
    for (s, i) in &m.cells {
        if let Some(i) = i
            && !seen.contains(&(*s, *i))
        {
            seen.push((*s, *i));
        }
    }
    seen.sort_unstable();
    seen.into_iter()
        .filter_map(|(s, i)| {
            let p = proved.proofs.get(i)?;
            Some(format!("{}: {} for {}", s.word(), p.rule, p.subject))
        })
        .collect()
}

/// The lower edge of a drawing's legend.
const LEGEND: f64 = 498.0;

/// A map as a drawing.
#[must_use]
pub fn svg(path: &str, proved: &Proved, m: &Map) -> String {
    let (x, y) = (&proved.parameters[m.across], &proved.parameters[m.up]);
    let (left, top, width, height) = (90.0, 50.0, 560.0, 360.0);
    let named = rules_of(proved, m);
    let whole = LEGEND + 24.0 + 18.0 * named.len() as f64;
    let label = |p: &Parameter, v: f64| {
        p.unit.as_ref().map_or_else(
            || v.to_string(),
            |u| crate::quantity::format_quantity(v, u, 3),
        )
    };
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 680 {3}\" font-family=\"Georgia, serif\" font-size=\"14\">\n<title>{0}: what passes over {1} and {2}</title>\n<defs><pattern id=\"open\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\"><rect width=\"8\" height=\"8\" fill=\"#f3ead2\"/><path d=\"M0 8 8 0\" stroke=\"#8a6a1c\"/></pattern><pattern id=\"breaks\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\"><rect width=\"8\" height=\"8\" fill=\"#e7c3ba\"/><path d=\"M0 0 8 8M0 8 8 0\" stroke=\"#8d2f1d\"/></pattern></defs>\n<rect width=\"680\" height=\"{3}\" fill=\"#fff\"/>\n<text x=\"{left}\" y=\"28\" font-size=\"16\">{0}</text>\n<text x=\"{left}\" y=\"46\" font-size=\"11\">requirements only; cautions and advice are left out</text>\n",
        escape(path),
        escape(&x.name),
        escape(&y.name),
        whole
    );
    let (cw, ch) = (width / m.columns as f64, height / m.rows as f64);
    for row in 0..m.rows {
        let mut column = 0;
        while column < m.columns {
            let state = m.cells[row * m.columns + column].0;
            let mut end = column + 1;
            while end < m.columns && m.cells[row * m.columns + end].0 == state {
                end += 1;
            }
            let fill = match state {
                State::Passes => "#d6e7dc",
                State::Breaks => "url(#breaks)",
                State::Open => "url(#open)",
            };
            let _ = writeln!(
                out,
                "<rect x=\"{:.2}\" y=\"{:.2}\" width=\"{:.2}\" height=\"{:.2}\" fill=\"{fill}\"/>",
                left + cw * column as f64,
                top + height - ch * (row + 1) as f64,
                cw * (end - column) as f64 + 0.3,
                ch + 0.3
            );
            column = end;
        }
    }
    let _ = writeln!(
        out,
        "<rect x=\"{left}\" y=\"{top}\" width=\"{width}\" height=\"{height}\" fill=\"none\" stroke=\"#333\"/>"
    );
    for k in 0..=4 {
        let f = f64::from(k) / 4.0;
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
            left + width * f,
            top + height + 20.0,
            escape(&label(x, x.set.lo + (x.set.hi - x.set.lo) * f))
        );
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            left - 8.0,
            top + height * (1.0 - f) + 5.0,
            escape(&label(y, y.set.lo + (y.set.hi - y.set.lo) * f))
        );
    }
    let _ = writeln!(
        out,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>\n<text x=\"20\" y=\"{:.1}\" transform=\"rotate(-90 20 {:.1})\" text-anchor=\"middle\">{}</text>",
        left + width / 2.0,
        top + height + 44.0,
        escape(&x.name),
        top + height / 2.0,
        top + height / 2.0,
        escape(&y.name)
    );
    for (i, (fill, name)) in [
        ("#d6e7dc", "passes"),
        ("url(#breaks)", "breaks"),
        ("url(#open)", "open"),
    ]
    .into_iter()
    .enumerate()
    {
        let at = left + 130.0 * i as f64;
        let _ = writeln!(
            out,
            "<rect x=\"{at}\" y=\"476\" width=\"18\" height=\"18\" fill=\"{fill}\" stroke=\"#333\"/><text x=\"{}\" y=\"490\">{name}</text>",
            at + 26.0
        );
    }
    for (i, text) in named.iter().enumerate() {
        let _ = writeln!(
            out,
            "<text x=\"{left}\" y=\"{}\" font-size=\"12\">{}</text>",
            LEGEND + 18.0 * (i as f64 + 1.0),
            escape(text)
        );
    }
    out.push_str("</svg>\n");
    out
}

/// What was proved, schema `amperule-prove-1`.
#[must_use]
pub fn json(path: &str, proved: &Proved) -> Value {
    let val = |p: &Parameter, r: &Val| {
        if p.words.is_empty() {
            let f = |x: f64| number(p.unit.as_ref().map_or(x, |u| u.from_si(x)));
            json!({"low": f(r.lo), "high": f(r.hi)})
        } else {
            let all: Vec<&String> = p
                .words
                .iter()
                .enumerate()
                .filter(|(i, _)| r.bits >> i & 1 != 0)
                .map(|(_, w)| w)
                .collect();
            json!({"words": all})
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
        "requirements": stretches(proved, |p| p.severity == Severity::Breach).iter().map(stretch).collect::<Vec<_>>(),
        "verdicts": proved.proofs.iter().map(|p| json!({
            "rule": p.rule,
            "subject": p.subject.label,
            "severity": p.severity.word(),
            "parameters": p.parameters.iter().filter_map(|i| proved.parameters.get(*i)).map(|q| q.name.clone()).collect::<Vec<_>>(),
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
