//! Mends as text and JSON.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::{Edit, MendChange, Mended};
use crate::check::Subject;
use crate::source::{FileId, Sources, visible_line};

/// The lines that an edit touches, before and after, under the name of their file where it is not
/// the design itself.
fn lines(out: &mut String, design: &str, edits: &[Edit], sources: &Sources) {
    let mut files: Vec<FileId> = edits.iter().map(|e| e.span.file).collect();
    files.dedup();
    for id in files {
        let Some(file) = sources.get(id) else {
            continue;
        };
        let name = visible_line(file.name());
        if name != design {
            let _ = writeln!(out, "     in {name}");
        }
        let mut touched: Vec<usize> = edits
            .iter()
            .filter(|e| e.span.file == id)
            .map(|e| file.line_of(e.span.start as usize))
            .collect();
        touched.sort_unstable();
        touched.dedup();
        for line in touched {
            let on_line: Vec<&Edit> = edits
                .iter()
                .filter(|e| e.span.file == id && file.line_of(e.span.start as usize) == line)
                .collect();
            let start = file.line_start(line);
            let old = file.line(line).trim_end();
            let mut new = String::new();
            let mut at = 0;
            for e in on_line {
                let (from, to) = (
                    (e.span.start as usize).saturating_sub(start),
                    (e.span.end as usize).saturating_sub(start),
                );
                new.push_str(old.get(at..from).unwrap_or(""));
                new.push_str(&e.new);
                at = to.min(old.len());
            }
            new.push_str(old.get(at..).unwrap_or(""));
            let _ = writeln!(out, "     {:>4} - {}", line + 1, old.trim_start());
            let _ = writeln!(out, "          + {}", new.trim_start());
        }
    }
}

fn facts(c: &MendChange) -> String {
    c.facts
        .iter()
        .map(|(f, from, to)| format!("{f} {from} → {to}"))
        .collect::<Vec<_>>()
        .join(", ")
}

fn pairs(list: &[(String, Subject)]) -> String {
    list.iter()
        .map(|(r, s)| format!("{r} for {s}"))
        .collect::<Vec<_>>()
        .join(", ")
}

fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// Mends on a terminal. `kept` says whether the edited text was judged again and came out as
/// promised.
#[must_use]
pub fn text(path: &str, m: &Mended, kept: Option<bool>, sources: &Sources) -> String {
    if m.breaches.is_empty() && m.filled.is_empty() {
        return format!(
            "{path}: nothing is in breach; there is nothing to mend\n\n{}\n",
            super::cautions::ALWAYS
        );
    }
    let mended = m.breaches.len() - m.beyond.len() - m.left.len();
    let breaches = count(m.breaches.len(), "breach", "breaches");
    let mut out = if m.changes.is_empty() && !m.breaches.is_empty() {
        format!("{path}: {breaches}; no change of the designer's was found that mends any\n")
    } else {
        format!(
            "{path}: {breaches}; {} of the designer's {} {mended}{}\n",
            count(m.changes.len(), "change", "changes"),
            if m.changes.len() == 1 {
                "mends"
            } else {
                "mend"
            },
            match (m.fewest, m.changes.is_empty()) {
                (_, true) => "",
                (true, _) => "; no fewer do",
                (false, _) => "; whether fewer would do was not settled",
            }
        )
    };
    for (i, c) in m.changes.iter().enumerate() {
        let _ = writeln!(
            out,
            "\n  {}. {}: {}  (cost {})",
            i + 1,
            c.what,
            facts(c),
            c.cost
        );
        lines(&mut out, path, &c.edits, sources);
        let _ = if c.mends.is_empty() {
            writeln!(out, "     so that the others break nothing else")
        } else {
            writeln!(out, "     mends {}", pairs(&c.mends))
        };
        for (j, other) in c.instead.iter().enumerate() {
            let _ = writeln!(
                out,
                "     or {}.{}: {}: {}  (cost {})",
                i + 1,
                j + 1,
                other.what,
                facts(other),
                other.cost
            );
        }
    }
    if !m.filled.is_empty() {
        out.push_str("\nWhat the design leaves open, and a value after which a rule is met:\n");
        for c in &m.filled {
            let _ = writeln!(out, "  {}: {}  ({})", c.what, facts(c), pairs(&c.mends));
            let file = |e: &Edit| sources.get(e.span.file).map(|f| visible_line(f.name()));
            if c.edits.iter().any(|e| file(e).is_some_and(|f| f != path)) {
                lines(&mut out, path, &c.edits, sources);
            }
        }
    }
    if !m.beyond.is_empty() {
        out.push_str(
            "\nNothing that mend may change mends these; they rest on what is found, given, or for the designer to rethink:\n",
        );
        for (rule, subject, facts) in &m.beyond {
            let _ = writeln!(out, "  {rule} for {subject}: {}", facts.join(", "));
        }
    }
    if !m.left.is_empty() {
        let _ = writeln!(
            out,
            "\nNo mend was found for these, by one or two changes: {}",
            pairs(&m.left)
        );
    }
    let files = files(m, sources);
    if !files.is_empty() {
        let names: Vec<_> = files.iter().map(|f| visible_line(f)).collect();
        let _ = writeln!(out, "\nFiles that change: {}", names.join(", "));
    }
    match kept {
        Some(true) => out.push_str(
            if m.changes.is_empty() {
                "\nThe edited design was judged again: these rules are met, and no breach, caution or open question is new.\n"
            } else {
                "\nThe edited design was judged again: these breaches are gone, and no breach, caution or open question is new.\n"
            },
        ),
        Some(false) => out.push_str(
            "\nThe edited design was judged again and did not come out so; it is not written. Please report it.\n",
        ),
        None => {}
    }
    out.push_str("Whether the site allows a change is for a qualified person to say.\n");
    let _ = writeln!(out, "\n{}", super::cautions::ALWAYS);
    out
}

/// The files that the changes are in.
fn files<'s>(m: &Mended, sources: &'s Sources) -> Vec<&'s str> {
    let mut all: Vec<FileId> = m.edits().iter().map(|e| e.span.file).collect();
    all.dedup();
    let files = all.into_iter().filter_map(|id| sources.get(id));
    files.map(|f| f.name()).collect()
}

/// Mends, schema `amperule-mend-1`.
#[must_use]
pub fn json(path: &str, m: &Mended, kept: Option<bool>, sources: &Sources) -> Value {
    fn change(c: &MendChange, sources: &Sources) -> Value {
        json!({
            "what": c.what,
            "cost": c.cost,
            "facts": c.facts.iter().map(|(f, a, b)| json!({"fact": f, "from": a, "to": b})).collect::<Vec<_>>(),
            "edits": c.edits.iter().map(|e| json!({
                "file": sources.get(e.span.file).map(|f| f.name().to_owned()),
                "start": e.span.start,
                "end": e.span.end,
                "line": sources.position(e.span).map(|p| p.line),
                "new": e.new,
            })).collect::<Vec<_>>(),
            "mends": pairs(&c.mends),
            "instead": c.instead.iter().map(|c| change(c, sources)).collect::<Vec<_>>(),
        })
    }
    fn pairs(list: &[(String, Subject)]) -> Vec<Value> {
        list.iter()
            .map(|(r, s)| json!({"rule": r, "subject": s.label}))
            .collect()
    }
    json!({
        "schema": "amperule-mend-1",
        "path": path,
        "breaches": pairs(&m.breaches),
        "changes": m.changes.iter().map(|c| change(c, sources)).collect::<Vec<_>>(),
        "fewest": m.fewest,
        "filled": m.filled.iter().map(|c| change(c, sources)).collect::<Vec<_>>(),
        "beyond": m.beyond.iter().map(|(r, s, f)| json!({"rule": r, "subject": s.label, "rests-on": f})).collect::<Vec<_>>(),
        "left": pairs(&m.left),
        "files": files(m, sources),
        "confirmed": kept,
    })
}
