//! Findings on a terminal.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use crate::check::{FigureValue, Finding, Outcome, Reason, Report, tame};
use crate::design::model::ObjectId;
use crate::quantity::{format_interval, format_quantity};
use crate::ruleset::{Confidence, Ruleset, Severity, Stage};
use crate::source::{Label, visible_line};

use super::columns::{broken, columns};
use super::diagnostic::{LONG_LINE, Severity as Weight, Shown, Style, Visible, render_problems};
use super::entry::word;
use super::wrap::wrapped;
use super::{FileReport, cautions, plural, some_of};

/// Everything about one design.
#[must_use]
pub fn render(file: &FileReport<'_>, all: bool, style: Style) -> Visible {
    let mut text = Visible::default();
    text.plain(&head(file));
    text.add(&render_problems(file.problems, file.sources, style));
    let Some(report) = file.report else {
        text.plain(&format!("{}: not judged\n\n", visible_line(file.path)));
        return text;
    };
    let shown = |f: &&Finding| match f.outcome {
        Outcome::Failed | Outcome::Departed => true,
        // What is open and only advice is told in a line, further down; and so is what is left out.
        Outcome::Undecided if f.reason == Some(Reason::LeftOut) => f.severity == Severity::Breach,
        Outcome::Undecided => f.severity != Severity::Advice || all,
        _ => false,
    };
    // What follows from another finding is a line under it.
    let leads = |f: &&Finding| f.follows_from.is_none();
    let findings: Vec<&Finding> = report.findings.iter().filter(shown).filter(leads).collect();
    let followers = followers(&report.findings);
    for (first, others) in alike(&findings) {
        text.add(&finding(first, file, style));
        let mut below = also(&others, file);
        for f in std::iter::once(first).chain(others) {
            follows(&mut below, f, &followers);
        }
        text.plain(&below);
        text.plain("\n");
    }
    let mut out = String::new();
    not_judged(&mut out, &report.findings, file);
    if !all {
        open_advice(&mut out, &report.findings);
    }
    left_out(&mut out, &report.findings);
    if all {
        for f in report.findings.iter().filter(|f| f.outcome == Outcome::Met) {
            let note = if f.assumed { ", on assumed values" } else { "" };
            let _ = writeln!(out, "met{note}: {} ({}) for {}", f.title, f.rule, f.subject);
        }
        out.push('\n');
    }
    figures(&mut out, &report.figures);
    if let Some(b) = file.bounds {
        out.push_str(&super::bounds::tightest(b));
    }
    if !report.required.is_empty() {
        out.push_str("\nRequired of what is bought:\n");
        out.push_str(&indented(&report.required));
    }
    if !report.assumed.is_empty() {
        let _ = writeln!(out, "Assumed:\n{}", indented(&report.assumed));
    }
    closing(&mut out, file);
    text.plain(&out);
    text
}

fn indented(lines: &[String]) -> String {
    lines.iter().map(|line| format!("  {line}\n")).collect()
}

/// Findings told in full of one rule; further ones are told in a line each.
const FULL: usize = 2;

/// Findings of one rule that came out alike, each with those that are told in a line below it.
fn alike<'f>(findings: &[&'f Finding]) -> Vec<(&'f Finding, Vec<&'f Finding>)> {
    let key = |f: &'f Finding| (f.rule.as_str(), f.outcome);
    let mut counts: BTreeMap<(&str, Outcome), usize> = BTreeMap::new();
    for f in findings {
        *counts.entry(key(f)).or_default() += 1;
    }
    let mut all: Vec<(&Finding, Vec<&Finding>)> = Vec::new();
    let mut first: BTreeMap<(&str, Outcome), usize> = BTreeMap::new();
    for f in findings {
        let many = counts.get(&key(f)).is_some_and(|n| *n > FULL);
        match first.get(&key(f)).and_then(|at| all.get_mut(*at)) {
            Some((_, others)) if many => others.push(f),
            _ => {
                first.insert(key(f), all.len());
                all.push((f, Vec::new()));
            }
        }
    }
    all
}

/// Findings like the one above, a line each: where, and what its message says.
fn also(others: &[&Finding], file: &FileReport<'_>) -> String {
    let mut out = String::new();
    for f in others {
        let place = f.labels.first().and_then(|l| file.sources.position(l.span));
        let at = place.map_or(String::new(), |p| format!("line {}: ", p.line));
        let _ = writeln!(out, "  also {at}{}", f.message);
    }
    out
}

/// Findings by the rule and subject that they follow from.
pub(super) type Followers<'f> = BTreeMap<(&'f str, ObjectId), Vec<&'f Finding>>;

pub(super) fn followers(findings: &[Finding]) -> Followers<'_> {
    let mut all = Followers::new();
    for f in findings {
        if let Some((rule, subject)) = &f.follows_from {
            all.entry((rule, subject.id)).or_default().push(f);
        }
    }
    all
}

/// What follows from a finding, a line each, and what follows from that.
pub(super) fn follows(out: &mut String, of: &Finding, all: &Followers<'_>) {
    let following = all.get(&(of.rule.as_str(), of.subject.id));
    for f in following.into_iter().flatten() {
        let word = match f.outcome {
            Outcome::Failed => f.severity.to_string(),
            _ => format!("undecided {}", f.severity),
        };
        let _ = writeln!(out, "  with it, {word} {}: {}", f.rule, f.message);
        follows(out, f, all);
    }
}

/// What could not be judged for the mistakes in the text: one mistake leaves many rules open.
fn not_judged(out: &mut String, findings: &[Finding], file: &FileReport<'_>) {
    let mut all: BTreeMap<Vec<u32>, Vec<String>> = BTreeMap::new();
    for f in findings.iter().filter(|f| f.outcome == Outcome::NotJudged) {
        let name = format!("{} for {}", f.rule, f.subject);
        all.entry(lines(f, file)).or_default().push(name);
    }
    for (lines, names) in all {
        let (many, n) = (if lines.len() > 1 { "lines" } else { "line" }, names.len());
        let lines: Vec<String> = lines.iter().map(u32::to_string).collect();
        let lines = lines.join(", ");
        let _ = writeln!(out, "Not judged, for what {many} {lines} holds ({n}):");
        let _ = writeln!(out, "{}", indented(&broken(&names.join(", "), 96)));
    }
}

/// The lines a finding points at, in order.
pub(super) fn lines(f: &Finding, file: &FileReport<'_>) -> Vec<u32> {
    let at = |l: &Label| file.sources.position(l.span).map(|p| p.line);
    let mut all: Vec<u32> = f.labels.iter().filter_map(at).collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// Advice that is undecided, a line each.
fn open_advice(out: &mut String, findings: &[Finding]) {
    let open = |f: &&Finding| {
        let here = f.outcome == Outcome::Undecided && f.reason != Some(Reason::LeftOut);
        here && f.severity == Severity::Advice && f.follows_from.is_none()
    };
    let mut open = findings.iter().filter(open).peekable();
    if open.peek().is_none() {
        return;
    }
    out.push_str("Undecided advice:\n");
    for f in open {
        let needs = f.missing.iter().take(3);
        let needs: Vec<String> = needs.map(|m| format!("{} of {}", m.fact, m.of)).collect();
        let _ = write!(out, "  {}: {} ({})", f.subject, f.title, f.rule);
        if !needs.is_empty() {
            let _ = write!(out, "; needs {}", needs.join(" or "));
        }
        out.push('\n');
    }
    out.push('\n');
}

/// What matters here and is not judged, a line each; what could be a breach stands above.
fn left_out(out: &mut String, findings: &[Finding]) {
    let mut all: BTreeMap<(&str, &str, &str), Vec<&str>> = BTreeMap::new();
    for f in findings {
        let told = f.outcome == Outcome::Undecided && f.reason == Some(Reason::LeftOut);
        if told && f.severity != Severity::Breach {
            let clause = f.clause.as_deref().unwrap_or_default();
            let of = all.entry((&f.title, clause, &f.rule)).or_default();
            of.push(&f.subject.label);
        }
    }
    if all.is_empty() {
        return;
    }
    out.push_str("Not judged by these rules:\n");
    for ((what, clause, id), subjects) in all {
        let of = some_of(&subjects, FULL);
        let _ = writeln!(out, "  {what} ({clause}), of {of} [{id}]");
    }
    out.push('\n');
}

/// The ruleset and stage that judged a design, in one line.
pub(super) fn judged_by(r: &Ruleset, stage: Stage) -> String {
    let mut text = format!("{}, stage {stage}", r.title());
    if let Some(n) = &r.edition_note {
        let _ = write!(text, "; {n}");
    }
    if !r.other_editions.is_empty() {
        let _ = write!(text, ", {} usable too", r.other_editions.join(", "));
    }
    let _ = write!(text, " [{} {}]", r.id, r.hash);
    text
}

fn head(file: &FileReport<'_>) -> String {
    let path = visible_line(file.path);
    let mut out = String::new();
    match file.ruleset {
        Some(r) => {
            let _ = writeln!(out, "{path}: {}", judged_by(r, file.stage));
            for n in &r.notes {
                let _ = writeln!(out, "  note: {n}");
            }
            out.push('\n');
        }
        None => {
            let _ = writeln!(out, "{path}:\n");
        }
    }
    out
}

/// How a finding is called, and how heavily it weighs.
pub(super) fn weighed(f: &Finding) -> (&'static str, Weight) {
    let weight = match (f.outcome, f.severity) {
        (Outcome::Failed, Severity::Breach) => Weight::Error,
        (Outcome::Failed, Severity::Caution) => Weight::Warning,
        (Outcome::Undecided | Outcome::NotJudged, Severity::Breach) => Weight::Warning,
        (Outcome::Undecided, _) if f.reason == Some(Reason::LeftOut) => Weight::Warning,
        _ => Weight::Advice,
    };
    (word(f), weight)
}

fn finding(f: &Finding, file: &FileReport<'_>, style: Style) -> Visible {
    let left_out = f.reason == Some(Reason::LeftOut);
    let (word, weight) = weighed(f);
    let mut help = Vec::new();
    if !f.ways.is_empty() {
        help.push("one of these ways must hold:".to_owned());
    }
    for w in &f.ways {
        let name = w.name.replace('-', " ");
        let text = format!("- {name} ({}): {}", shortened(&w.condition), w.state);
        help.push(text);
    }
    for m in f.missing.iter().take(4) {
        help.push(format!(
            "needs {} of {} ({}; settled by {})",
            m.fact, m.of, m.means, m.settled_by
        ));
    }
    match f.reason {
        Some(Reason::Unresolved) => {
            help.push("the work limit was met before it was decided".to_owned())
        }
        Some(Reason::Gap) => {
            help.push("the ruleset has no figure here; its author settles it".to_owned())
        }
        Some(Reason::NotComputable) if f.missing.is_empty() => {
            help.push("for some of what is written there is nothing to compute with".to_owned());
        }
        _ => {}
    }
    help.extend(f.help.iter().cloned());
    if let Some(d) = &f.departure {
        let how = if left_out {
            "judged elsewhere"
        } else {
            "departed from"
        };
        help.push(format!("{how}: {d}"));
    }
    let mut cite = cited(f);
    if let Some((layer, why)) = &f.amended {
        let _ = write!(cite, "; amended by {layer}: {why}");
    }
    if !cite.trim().is_empty() {
        help.push(cite.trim().to_owned());
    }
    let code = format!("{word}: {}", f.rule);
    let help = (!help.is_empty()).then(|| help.join("\n"));
    let within = (file.sources, LONG_LINE);
    Shown::new(&code, weight, f.message.clone(), &f.labels, help, within).render(style)
}

/// The clause of a rule, and how sure its encoder is.
pub(super) fn cited(f: &Finding) -> String {
    let cite = f.clause.clone().unwrap_or_default();
    let sure = match f.confidence {
        Confidence::Published => "",
        Confidence::FromMemory => "from memory",
        Confidence::CommonPractice => "common practice",
    };
    match cite.is_empty() {
        true => sure.to_owned(),
        false if cite.contains(sure) => cite,
        false => format!("{cite} ({sure})"),
    }
}

/// A condition, cut after a word where it is long.
fn shortened(condition: &str) -> String {
    const MOST: usize = 110;
    if condition.chars().count() <= MOST {
        return condition.to_owned();
    }
    let mut out = String::new();
    for word in condition.split(' ') {
        if out.chars().count() + word.chars().count() + 1 > MOST {
            break;
        }
        if !out.is_empty() {
            out.push(' ');
        }
        out.push_str(word);
    }
    out.push_str(" …");
    out
}

/// What must be known to read a figure rightly: under which fault it stands.
pub(super) fn premise(means: &str) -> &'static str {
    if means.contains("PEN conductor open") {
        "(with the PEN conductor open)"
    } else {
        ""
    }
}

/// A figure in cells: what it is, its value, its limit, what is in hand.
#[must_use]
pub fn cells(f: &FigureValue) -> Vec<String> {
    let value = match &f.name {
        Some(name) => name.clone(),
        None if f.low == f.high => format_quantity(f.low, &f.unit, 4),
        None => format_interval(tame(f.low), tame(f.high), &f.unit),
    };
    let limit = f.limit.map_or(String::new(), |(x, upper)| {
        let sign = if upper { "at most" } else { "at least" };
        format!("{sign} {}", format_quantity(x, &f.unit, 4))
    });
    let margin = f
        .margin()
        .map_or(String::new(), |m| format!("{:+.0} %", m * 100.0));
    let name = format!("{} of {}", f.fact, f.subject);
    vec![name, value, limit, margin]
}

fn figures(out: &mut String, all: &[FigureValue]) {
    if all.is_empty() {
        return;
    }
    let rows: Vec<Vec<String>> = all.iter().map(cells).collect();
    out.push_str("Figures:\n");
    for (line, f) in columns(&rows, 2).lines().zip(all) {
        let line = format!("{line}  {}", premise(&f.means));
        let _ = writeln!(out, "{}", line.trim_end());
    }
    out.push('\n');
}

/// How to judge what is not due yet, if something is not.
pub(super) fn later(file: &FileReport<'_>, report: &Report) -> Option<String> {
    let mut later = Stage::ALL.to_vec();
    later.retain(|s| *s > file.stage);
    let later: Vec<&str> = later.into_iter().map(Stage::word).collect();
    let some = report.counts.of(Outcome::NotDue) > 0 && !later.is_empty();
    some.then(|| format!("judge them with --stage {}", later.join(" or --stage ")))
}

fn closing(out: &mut String, file: &FileReport<'_>) {
    let Some(report) = file.report else { return };
    let c = &report.counts;
    let failed = |s| c.cell(Outcome::Failed, s);
    let mut parts = vec![
        plural(failed(Severity::Breach), "breach", "breaches"),
        plural(failed(Severity::Caution), "caution", "cautions"),
        format!("{} advice", failed(Severity::Advice)),
        format!(
            "{} undecided ({} that could be breaches)",
            c.of(Outcome::Undecided),
            c.cell(Outcome::Undecided, Severity::Breach)
        ),
        format!("{} met", c.of(Outcome::Met)),
        format!("{} not applicable", c.of(Outcome::NotApplicable)),
        format!("{} not due", c.of(Outcome::NotDue)),
    ];
    for (o, word) in [
        (Outcome::Departed, "departed"),
        (Outcome::NotJudged, "not judged"),
    ] {
        if c.of(o) > 0 {
            parts.push(format!("{} {word}", c.of(o)));
        }
    }
    let _ = writeln!(out, "{}: {}", visible_line(file.path), parts.join(", "));
    if let Some(later) = later(file, report) {
        let _ = writeln!(out, "Not due: these rules wait for a later stage; {later}.");
    }
    let _ = writeln!(out, "{}", wrapped("", cautions::ALWAYS, 0, 104));
}
