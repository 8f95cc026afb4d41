//! The sheet for those who install and test, as text, JSON and a page that prints well.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::{Accepted, Sheet, ToRead};
use crate::check::{Outcome, Report};
use crate::quantity::{Rounding, Unit, format_interval, format_quantity, format_toward};
use crate::ruleset::Severity;
use crate::session::Installation;

use super::columns::{broken, columns};
use super::markup::Page;

/// Characters of a value on one line.
const WIDTH: usize = 76;

/// Said above all, whatever is built.
const BEFORE: [&str; 3] = [
    super::cautions::OPENING,
    super::cautions::TESTING,
    "A reading beyond what is expected is a question to the work, not to the instrument: look for a loose joint, a longer run, another path.",
];

/// Said below all.
const AFTER: &str = "Worked out from what the design says; the makers' instructions, local codes and a qualified person decide.";

/// What stands above a sheet.
#[derive(Clone, Debug, Default)]
pub struct SheetOf {
    /// The installation.
    pub installation: String,
    /// The ruleset and its edition.
    pub rules: String,
    /// Breaches of the design as it is: with any, it is not to be built yet.
    pub breaches: usize,
    /// Requirements that are open.
    pub open: usize,
}

impl SheetOf {
    /// What stands above a sheet of a design, as it was judged.
    #[must_use]
    pub fn new(of: &Installation, judged: &Report) -> Self {
        let count = |outcome: Outcome| {
            let all = judged.findings.iter();
            all.filter(|f| f.outcome == outcome && f.severity == Severity::Breach)
                .count()
        };
        Self {
            installation: of.name(),
            rules: of.ruleset().edition.title.clone(),
            breaches: count(Outcome::Failed),
            open: count(Outcome::Undecided),
        }
    }

    /// Why it is not to be built from yet.
    #[must_use]
    pub fn warning(&self) -> Option<String> {
        if self.breaches == 0 && self.open == 0 {
            return None;
        }
        let breaches = match self.breaches {
            1 => "1 breach".to_owned(),
            n => format!("{n} breaches"),
        };
        Some(format!(
            "Not to be built from yet: the design has {breaches} and {} undecided that could be one; `amperule check` says which.",
            self.open
        ))
    }
}

/// A number that must not be passed, rounded to the safe side.
fn limit(at: f64, unit: &Unit, upper: bool) -> String {
    let toward = if upper { Rounding::Down } else { Rounding::Up };
    // A limit was searched for by halving: where a printed figure lies as near as that, it is meant.
    let nudge = at.abs() * 1e-6;
    format_toward(if upper { at + nudge } else { at - nudge }, unit, 4, toward)
}

fn accepted(a: &Accepted, unit: Option<&Unit>) -> Option<String> {
    if let Some((words, _)) = &a.words {
        return Some(words.clone());
    }
    let unit = unit?;
    match (&a.low, &a.high) {
        (Some(l), Some(h)) => Some(format!(
            "{} to {}",
            limit(l.at, unit, false),
            limit(h.at, unit, true)
        )),
        (Some(l), None) => Some(format!("at least {}", limit(l.at, unit, false))),
        (None, Some(h)) => Some(format!("at most {}", limit(h.at, unit, true))),
        (None, None) => None,
    }
}

fn expected(r: &ToRead) -> Option<String> {
    let (unit, (low, high)) = (r.unit.as_ref()?, r.expected?);
    let three = |x: f64| format_quantity(x, unit, 3);
    Some(if three(low) == three(high) {
        format!("about {}", three(low))
    } else {
        format_interval(low, high, unit)
    })
}

/// What is asked of a reading, in one line each.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// What it must be.
    pub required: String,
    /// What it is expected to be.
    pub expected: String,
    /// Beyond this it is looked at again.
    pub usual: String,
}

/// What is asked of a reading.
#[must_use]
pub fn asked(r: &ToRead) -> Asked {
    Asked {
        required: accepted(&r.required, r.unit.as_ref()).unwrap_or_default(),
        expected: expected(r).unwrap_or_default(),
        usual: accepted(&r.usual, r.unit.as_ref()).unwrap_or_default(),
    }
}

/// Where to write a reading.
fn blank(r: &ToRead) -> String {
    match &r.read {
        Some(read) => format!("read: {read}"),
        None => boxes(&r.words, r.unit.as_ref().map(Unit::text)),
    }
}

/// Boxes to tick, or a line to write on.
fn boxes(words: &[String], unit: Option<&str>) -> String {
    if words.is_empty() {
        return format!("________ {}", unit.unwrap_or(""))
            .trim_end()
            .to_owned();
    }
    let all: Vec<String> = words.iter().map(|w| format!("[ ] {w}")).collect();
    all.join(" ")
}

/// The same on a page.
fn page_boxes(page: &mut Page, words: &[String], unit: Option<&str>) {
    if words.is_empty() {
        page.put(
            "<span class=\"unit\">{}</span>&nbsp;",
            &[unit.unwrap_or("")],
        );
    }
    for (i, word) in words.iter().enumerate() {
        let blank = if i > 0 { " " } else { "" };
        page.put("{}<label>\u{2610} {}</label>", &[blank, word]);
    }
}

/// The readings thing by thing, each thing by its kind and name.
fn by_object(readings: &[ToRead]) -> Vec<(String, Vec<&ToRead>)> {
    let mut all: Vec<(String, Vec<&ToRead>)> = Vec::new();
    let mut last = None;
    for r in readings {
        let head = || {
            if r.kind == r.of {
                r.kind.clone()
            } else {
                format!("{} {}", r.kind, r.of)
            }
        };
        match all.last_mut() {
            Some((_, list)) if last == Some(r.object) => list.push(r),
            _ => all.push((head(), vec![r])),
        }
        last = Some(r.object);
    }
    all
}

/// The sheet in plain text.
#[must_use]
pub fn text(head: &SheetOf, sheet: &Sheet) -> String {
    let mut out = format!(
        "TO BUILD AND TEST  {}\nRules: {}\n",
        head.installation, head.rules
    );
    if let Some(w) = head.warning() {
        let _ = writeln!(out, "\n! {w}");
    }
    for line in BEFORE {
        let _ = writeln!(out, "! {line}");
    }
    if !sheet.things.is_empty() {
        out.push_str("\nTo build\n");
    }
    for t in &sheet.things {
        let label = t
            .label
            .as_ref()
            .map_or(String::new(), |l| format!(" \"{l}\""));
        let altered = if t.altered { ", changed" } else { "" };
        let _ = writeln!(out, "\n  {} {}{label}{altered}", t.kind, t.name);
        let rows: Vec<Vec<String>> = t
            .facts
            .iter()
            .flat_map(|(f, v)| {
                broken(v, WIDTH)
                    .into_iter()
                    .enumerate()
                    .map(move |(n, part)| {
                        let name = if n == 0 { f.as_str() } else { "" };
                        vec![name.to_owned(), part]
                    })
            })
            .collect();
        out.push_str(&columns(&rows, 4));
    }
    if !sheet.terminals.is_empty() {
        out.push_str("\nTo tighten, with a calibrated torque tool\n");
        let rows: Vec<Vec<String>> = sheet
            .terminals
            .iter()
            .map(|t| {
                vec![
                    t.at.clone(),
                    t.what.clone(),
                    t.torque
                        .clone()
                        .unwrap_or_else(|| "as its maker says: ______ N·m".to_owned()),
                    t.done
                        .as_ref()
                        .map_or("done ______ N·m".to_owned(), |d| format!("done {d}")),
                ]
            })
            .collect();
        out.push_str(&columns(&rows, 2));
    }
    if !sheet.to_settle.is_empty() {
        out.push_str("\nTo settle while installing\n");
        let rows: Vec<Vec<String>> = sheet
            .to_settle
            .iter()
            .map(|q| {
                vec![
                    q.of.clone(),
                    q.asked.clone(),
                    q.means.clone(),
                    boxes(&q.words, q.unit.as_deref()),
                ]
            })
            .collect();
        out.push_str(&columns(&rows, 2));
    }
    if !sheet.readings.is_empty() {
        out.push_str("\nTo read (* a requirement waits for it)\n");
    }
    for (of, list) in by_object(&sheet.readings) {
        let _ = writeln!(out, "\n  {of}");
        let mut rows = vec![
            [
                "",
                "reading",
                "must be",
                "expected",
                "look again unless",
                "",
            ]
            .map(str::to_owned)
            .to_vec(),
        ];
        for r in list {
            let a = asked(r);
            let mark = if r.needed { "*" } else { " " };
            rows.push(vec![
                mark.to_owned(),
                r.reading.clone(),
                a.required,
                a.expected,
                a.usual,
                blank(r),
            ]);
        }
        out.push_str(&columns(&rows, 2));
    }
    let _ = writeln!(out, "\n{AFTER}");
    out
}

/// The sheet, schema `amperule-sheet-1`. Numbers are in the unit beside them.
#[must_use]
pub fn json(path: &str, head: &SheetOf, sheet: &Sheet) -> Value {
    let accepted = |a: &Accepted, unit: Option<&Unit>| {
        let side = |s: &Option<crate::answer::Side>| {
            s.as_ref().map(|s| {
                json!({
                    "value": unit.map_or(s.at, |u| u.from_si(s.at)),
                    "rule": s.rule,
                })
            })
        };
        json!({
            "low": side(&a.low),
            "high": side(&a.high),
            "words": a.words.as_ref().map(|(w, _)| w),
            "rules": a.words.as_ref().map(|(_, r)| r),
        })
    };
    json!({
        "schema": "amperule-sheet-1",
        "path": path,
        "before": BEFORE,
        "after": AFTER,
        "installation": head.installation,
        "rules": head.rules,
        "breaches": head.breaches,
        "open": head.open,
        "things": sheet.things.iter().map(|t| json!({
            "kind": t.kind,
            "name": t.name,
            "label": t.label,
            "changed": t.altered,
            "facts": t.facts.iter().map(|(f, v)| json!({"fact": f, "value": v})).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "terminals": sheet.terminals.iter().map(|t| json!({
            "at": t.at,
            "what": t.what,
            "torque": t.torque,
            "done": t.done,
        })).collect::<Vec<_>>(),
        "to-settle": sheet.to_settle.iter().map(|q| json!({
            "of": q.of,
            "asked": q.asked,
            "means": q.means,
            "answer": q.answer,
            "rules": q.waiting.iter().map(|w| w.rule.as_str()).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "readings": sheet.readings.iter().map(|r| {
            let unit = r.unit.as_ref();
            json!({
                "of": r.of,
                "kind": r.kind,
                "reading": r.reading,
                "means": r.means,
                "unit": unit.map(|u| u.text().to_owned()),
                "words": r.words,
                "needed": r.needed,
                "rules": r.rules,
                "expected": unit.and_then(|u| r.expected.map(|(l, h)| [u.from_si(l), u.from_si(h)])),
                "required": accepted(&r.required, unit),
                "usual": accepted(&r.usual, unit),
                "read": r.read,
            })
        }).collect::<Vec<_>>(),
    })
}

const STYLE: &str = "body{font:15px/1.45 Georgia,serif;margin:2rem auto;max-width:60rem;padding:0 1rem;color:#1c2422}\
h1{font-size:1.5rem;margin:0}h2{font-size:1.15rem;margin:2rem 0 .2rem;border-bottom:2px solid #1f5f4e;padding-bottom:.2rem}\
h3{font-size:1rem;margin:1.1rem 0 .3rem}p{margin:.3rem 0}.warn{border-left:4px solid #9a5b00;padding:.2rem .6rem;background:#fdf6ea}\
.stop{border-left-color:#9a1f1f;background:#fbecec;font-weight:bold}\
table{border-collapse:collapse;width:100%}td,th{border:1px solid #b9c4c0;padding:.35rem .5rem;vertical-align:top;text-align:left}\
th{font-weight:normal}thead th{color:#4b5753;font-size:.86rem}.means{font-size:.86rem;color:#4b5753;display:block}\
.must::after{content:' *';color:#9a1f1f}.write{min-width:7rem}.unit{float:right;color:#4b5753}label{margin-right:.7rem;white-space:nowrap}\
@media print{body{margin:0;max-width:none}tr{break-inside:avoid}h2,h3{break-after:avoid}}";

/// The sheet as a page that prints well.
#[must_use]
pub fn html(head: &SheetOf, sheet: &Sheet) -> String {
    let title = format!("To build and test: {}", head.installation);
    let mut page = Page::new(&title, STYLE);
    page.put("<p>Rules: {}</p>\n", &[&head.rules]);
    if let Some(w) = head.warning() {
        page.put("<p class=\"warn stop\">{}</p>\n", &[&w]);
    }
    for line in BEFORE {
        page.put("<p class=\"warn\">{}</p>\n", &[line]);
    }
    if !sheet.things.is_empty() {
        page.put("<h2>To build</h2>\n", &[]);
    }
    for t in &sheet.things {
        page.put("<h3>{} {}", &[&t.kind, &t.name]);
        if let Some(label) = &t.label {
            page.put(" \u{201c}{}\u{201d}", &[label]);
        }
        let altered = if t.altered { ", changed" } else { "" };
        page.put("{}</h3>\n<table>\n", &[altered]);
        for (fact, value) in &t.facts {
            page.put("<tr><th>{}</th><td>{}</td></tr>\n", &[fact, value]);
        }
        page.put("</table>\n", &[]);
    }
    if !sheet.terminals.is_empty() {
        page.put("<h2>To tighten, with a calibrated torque tool</h2>\n<table><thead><tr><th>at</th><th>what</th><th>torque</th><th>done</th></tr></thead>\n", &[]);
        for t in &sheet.terminals {
            page.put("<tr><th>{}</th><td>{}</td><td>", &[&t.at, &t.what]);
            match &t.torque {
                Some(torque) => page.put("{}", &[torque]),
                None => page.put("as its maker says: <span class=\"unit\">N·m</span>", &[]),
            }
            page.put("</td><td class=\"write\">", &[]);
            match &t.done {
                Some(done) => page.put("{}", &[done]),
                None => page.put("<span class=\"unit\">N·m</span>&nbsp;", &[]),
            }
            page.put("</td></tr>\n", &[]);
        }
        page.put("</table>\n", &[]);
    }
    if !sheet.to_settle.is_empty() {
        page.put("<h2>To settle while installing</h2>\n<table>\n", &[]);
        for q in &sheet.to_settle {
            page.put(
                "<tr><th>{} of {}<span class=\"means\">{}</span></th><td class=\"write\">",
                &[&q.asked, &q.of, &q.means],
            );
            page_boxes(&mut page, &q.words, q.unit.as_deref());
            page.put("</td></tr>\n", &[]);
        }
        page.put("</table>\n", &[]);
    }
    if !sheet.readings.is_empty() {
        page.put("<h2>To read</h2>\n", &[]);
    }
    for (of, list) in by_object(&sheet.readings) {
        page.put(
            "<h3>{}</h3>\n<table><thead><tr><th>reading</th><th>must be</th><th>expected</th><th>look again unless</th><th>read</th></tr></thead>\n",
            &[&of],
        );
        for r in list {
            let a = asked(r);
            let class = if r.needed { "must" } else { "" };
            page.put(
                "<tr><th><span class=\"{}\">{}</span><span class=\"means\">{}</span></th><td>{}</td><td>{}</td><td>{}</td><td class=\"write\">",
                &[class, &r.reading, &r.means, &a.required, &a.expected, &a.usual],
            );
            match &r.read {
                Some(read) => page.put("{}", &[read]),
                None => page_boxes(&mut page, &r.words, r.unit.as_ref().map(Unit::text)),
            }
            page.put("</td></tr>\n", &[]);
        }
        page.put("</table>\n", &[]);
    }
    page.put("<p>* a requirement waits for it.</p>\n", &[]);
    page.end(AFTER)
}
