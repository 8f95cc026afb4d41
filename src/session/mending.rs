//! A mend and the texts that it makes, judged again as a whole before it is offered.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use super::installation::{Ask, Installation};
use super::loaded::Loaded;
use super::options::Options;
use super::project::Project;
use crate::answer::{Edit, MendChange, Mended};
use crate::check::{Outcome, Report};
use crate::ruleset::Severity;
use crate::source::{FileId, Memory, Problem, SourceFile};

/// What can be done about a design, and what its files become.
#[derive(Debug)]
pub struct Mending {
    /// The changes.
    pub found: Mended,
    /// Each file that changes, with its text after the changes.
    pub texts: Vec<(Arc<SourceFile>, String)>,
    /// Whether the texts, judged as a whole, are as promised; nothing, if nothing changes.
    pub as_promised: Option<bool>,
}

impl Mending {
    /// Looks for the fewest changes that mend a design without mistakes. `instead` takes
    /// alternatives, each a change and one of its alternatives, both counted from one.
    ///
    /// # Errors
    /// A problem, where there is no such alternative.
    pub fn new(
        project: &Project,
        loaded: &Loaded,
        installation: &Installation,
        options: &Options,
        instead: &[(usize, usize)],
    ) -> Result<Self, Problem> {
        let text = |span| loaded.sources.slice(span).to_owned();
        let mut found = installation.mend(&text);
        take_instead(&mut found, instead)?;
        let edits = found.edits();
        let files = (0_u16..).map(FileId).zip(loaded.sources.own());
        let texts: Vec<(Arc<SourceFile>, String)> = files
            .map(|(id, file)| (Arc::clone(file), edited(file, id, &edits)))
            .filter(|(file, new)| new != file.text())
            .collect();
        let as_promised = (!edits.is_empty()).then(|| {
            let texts = texts.iter().map(|(file, new)| (file.name(), new.as_str()));
            let beside = project.beside(texts.collect::<Memory>());
            let again = beside.open(Path::new(&loaded.path), options);
            let again = again.sound();
            again.is_some_and(|again| keeps_promise(installation, again, &found))
        });
        Ok(Self {
            found,
            texts,
            as_promised,
        })
    }
}

fn take_instead(found: &mut Mended, instead: &[(usize, usize)]) -> Result<(), Problem> {
    for (change, other) in instead {
        let slot = change.checked_sub(1).and_then(|i| found.changes.get_mut(i));
        let taken: Option<MendChange> = slot
            .as_ref()
            .and_then(|c| c.instead.get(other.checked_sub(1)?))
            .cloned();
        match (slot, taken) {
            (Some(slot), Some(mut taken)) => {
                taken.mends.clone_from(&slot.mends);
                *slot = taken;
            }
            _ => {
                return Err(Problem::error(
                    "no-alternative",
                    format!("there is no alternative {change}.{other}"),
                )
                .help("run without --instead to see the alternatives and their numbers"));
            }
        }
    }
    Ok(())
}

/// Whether the breaches that were to go are gone, and nothing is new.
fn keeps_promise(before: &Installation, after: &Installation, found: &Mended) -> bool {
    let before = troubles(&before.check(Ask::default()).report);
    let after = troubles(&after.check(Ask::default()).report);
    let gone = found
        .changes
        .iter()
        .flat_map(|c| &c.mends)
        .all(|(r, s)| !after.iter().any(|(x, y, _)| *x == *r && *y == s.path));
    gone && after.is_subset(&before)
}

/// What must not get worse: rule, subject and outcome of everything that is not met.
fn troubles(report: &Report) -> BTreeSet<(String, String, Outcome)> {
    report
        .findings
        .iter()
        .filter(|f| f.severity != Severity::Advice)
        .filter(|f| {
            matches!(
                f.outcome,
                Outcome::Failed | Outcome::Undecided | Outcome::NotJudged
            )
        })
        .map(|f| (f.rule.clone(), f.subject.path.clone(), f.outcome))
        .collect()
}

/// A text with edits put in; they do not overlap.
fn edited(file: &SourceFile, id: FileId, edits: &[Edit]) -> String {
    let mut mine: Vec<&Edit> = edits.iter().filter(|e| e.span.file == id).collect();
    mine.sort_by_key(|e| e.span.start);
    let mut out = String::new();
    let mut at = 0;
    let text = file.text();
    for e in mine {
        let (start, end) = (e.span.from(), e.span.until());
        let (Some(before), true) = (text.get(at..start), end <= text.len()) else {
            continue;
        };
        out.push_str(before);
        out.push_str(&e.new);
        at = end;
    }
    out.push_str(text.get(at..).unwrap_or(""));
    out
}
