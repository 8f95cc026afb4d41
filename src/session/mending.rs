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
        let judge = Judge {
            project,
            loaded,
            installation,
            options,
        };
        let mut judged = judge.judge(&found);
        // What does not come out so, as a whole, is not offered: the search looks at each rule as
        // far as it is linked, this at all of it. An alternative that was asked for is told of.
        while instead.is_empty() && judged.as_promised == Some(false) {
            let fewer = (0..found.filled.len() + found.changes.len()).map(|i| without(&found, i));
            let mut tried = fewer.map(|fewer| (judge.judge(&fewer), fewer));
            let (next, fewer) = tried
                .find(|(judged, _)| judged.as_promised != Some(false))
                .unwrap_or_else(|| {
                    let fewer = without(&found, 0);
                    (judge.judge(&fewer), fewer)
                });
            (judged, found) = (next, fewer);
        }
        Ok(Self {
            found,
            texts: judged.texts,
            as_promised: judged.as_promised,
        })
    }
}

/// A mend without one of its changes, those that fill what is open counted first.
fn without(found: &Mended, i: usize) -> Mended {
    let mut fewer = found.clone();
    if i < fewer.filled.len() {
        fewer.filled.remove(i);
    } else {
        let change = fewer.changes.remove(i - fewer.filled.len());
        let others: Vec<_> = fewer.changes.iter().flat_map(|c| &c.mends).collect();
        let left = change.mends.iter().filter(|m| !others.contains(m));
        fewer.left.extend(left.cloned());
        fewer.fewest = false;
    }
    fewer
}

/// What a mend's texts come to.
struct Verdict {
    texts: Vec<(Arc<SourceFile>, String)>,
    as_promised: Option<bool>,
}

/// A design whose mends are judged.
struct Judge<'a> {
    project: &'a Project,
    loaded: &'a Loaded,
    installation: &'a Installation,
    options: &'a Options,
}

impl Judge<'_> {
    /// Judges the texts that a mend makes.
    fn judge(&self, found: &Mended) -> Verdict {
        let edits = found.edits();
        let files = (0_u16..).map(FileId).zip(self.loaded.sources.own());
        let texts: Vec<(Arc<SourceFile>, String)> = files
            .map(|(id, file)| {
                let mine = edits.iter().filter(|e| e.span.file == id).collect();
                (Arc::clone(file), edited(file.text(), 0, mine))
            })
            .filter(|(file, new)| new != file.text())
            .collect();
        let as_promised = (!edits.is_empty()).then(|| {
            let over = texts.iter().map(|(file, new)| (file.name(), new.as_str()));
            let beside = self.project.beside(over.collect::<Memory>());
            let again = beside.open(Path::new(&self.loaded.path), self.options);
            let again = again.sound();
            again.is_some_and(|again| keeps_promise(self.installation, again, found))
        });
        Verdict { texts, as_promised }
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

/// A text, which begins at `begin` of its file, with edits of the file put in; they do not overlap.
#[must_use]
pub fn edited(text: &str, begin: usize, mut edits: Vec<&Edit>) -> String {
    edits.sort_by_key(|e| e.span.start);
    let mut out = String::new();
    let mut at = 0;
    for e in edits {
        let [from, until] = [e.span.from(), e.span.until()].map(|i| i.saturating_sub(begin));
        let Some(before) = text.get(at..from) else {
            continue;
        };
        out.push_str(before);
        out.push_str(&e.new);
        at = until.min(text.len());
    }
    out.push_str(text.get(at..).unwrap_or(""));
    out
}
