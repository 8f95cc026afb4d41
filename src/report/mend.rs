//! Mends as text and JSON.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::{Edit, MendChange, Mended};
use crate::check::Subject;
use crate::session::edited;
use crate::source::{FileId, Sources, visible_line};

use super::markup::template;
use super::{cautions, plural};

/// The lines that an edit touches, before and after, under the name of their file where it is not
/// the design itself.
fn lines(design: &str, edits: &[Edit], sources: &Sources) -> String {
    let mut out = String::new();
    let mut files: Vec<FileId> = edits.iter().map(|e| e.span.file).collect();
    files.dedup();
    for id in files {
        let Some(file) = sources.get(id) else {
            continue;
        };
        let name = visible_line(file.name());
        if name != design {
            let _ = write!(out, "\n     in {name}");
        }
        let mut mine: Vec<&Edit> = edits.iter().filter(|e| e.span.file == id).collect();
        let line_of = |e: &Edit| file.line_of(e.span.from());
        mine.sort_by_key(|e| line_of(e));
        for on_line in mine.chunk_by(|a, b| line_of(a) == line_of(b)) {
            let line = line_of(on_line[0]);
            // A block of its own, added after what stands here.
            if let [Edit { span, new }] = on_line
                && span.start == span.end
            {
                for added in new.lines().filter(|l| !l.is_empty()) {
                    let _ = write!(out, "\n          + {added}");
                }
                continue;
            }
            let old = file.line(line).trim_end();
            let new = edited(old, file.line_start(line), on_line.to_vec());
            let _ = write!(out, "\n     {:>4} - {}", line + 1, old.trim_start());
            let _ = write!(out, "\n          + {}", new.trim_start());
        }
    }
    out
}

/// Whether some of a change is written in another file than the design.
fn is_elsewhere(design: &str, c: &MendChange, sources: &Sources) -> bool {
    let files = c.edits.iter().filter_map(|e| sources.get(e.span.file));
    files.into_iter().any(|f| visible_line(f.name()) != design)
}

fn pairs(list: &[(String, Subject)]) -> String {
    let pairs = list.iter().map(|(r, s)| format!("{r} for {s}"));
    pairs.collect::<Vec<_>>().join(", ")
}

/// What was found, in one line.
fn answer(m: &Mended) -> String {
    let breaches = plural(m.breaches.len(), "breach", "breaches");
    if m.changes.is_empty() && !m.breaches.is_empty() {
        return format!("{breaches}; no change of the designer's was found that mends any");
    }
    let mended = m.breaches.len() - m.beyond.len() - m.left.len();
    let changes = plural(m.changes.len(), "change", "changes");
    let mend = if m.changes.len() == 1 {
        "mends"
    } else {
        "mend"
    };
    let fewer = match (m.fewest, m.changes.is_empty()) {
        (_, true) => "",
        (true, _) => "; no fewer do",
        (false, _) => "; whether fewer would do was not settled",
    };
    format!("{breaches}; {changes} of the designer's {mend} {mended}{fewer}")
}

template! {
    /// Mends on a terminal. `kept` says whether the edited text was judged again and came out as
    /// promised.
    pub fn text(path: &'a str, m: &'a Mended, kept: Option<bool>, sources: &'a Sources) = "mend.txt"
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
