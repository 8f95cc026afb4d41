//! A mend and the texts that it makes, judged again as a whole before it is offered.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use super::installation::{Ask, Installation};
use super::loaded::Loaded;
use super::options::Options;
use super::project::Project;
use crate::answer::{Edit, MendChange, Mended};
use crate::check::{Outcome, Subject};
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
        let judge = Judge {
            project,
            loaded,
            before: troubles(installation),
            options,
        };
        judge.add_blocks(&mut found, &installation.blocks());
        take_instead(&mut found, instead)?;
        let mut judged = judge.judge(&found);
        let mut as_promised = judge.promise(&found, &judged);
        // What does not come out so, as a whole, is not offered: the search looks at each rule as
        // far as it is linked, this at all of it. An alternative that was asked for is told of.
        while instead.is_empty() && as_promised == Some(false) {
            let tried = |i| {
                let fewer = without(&found, i);
                let judged = judge.judge(&fewer);
                (judge.promise(&fewer, &judged), judged, fewer)
            };
            let count = found.filled.len() + found.changes.len();
            let next = (0..count)
                .map(tried)
                .find(|(kept, ..)| *kept != Some(false));
            (as_promised, judged, found) = next.unwrap_or_else(|| tried(0));
        }
        Ok(Self {
            found,
            texts: judged.texts,
            as_promised,
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

/// What must not get worse: rule, subject and outcome of everything that is not met.
type Troubles = BTreeSet<(String, String, Outcome)>;

/// What a mend's texts come to.
struct Verdict {
    texts: Vec<(Arc<SourceFile>, String)>,
    /// What is not met after the changes; nothing, if nothing changes, and nothing in it, if the
    /// texts have mistakes.
    after: Option<Option<Troubles>>,
}

/// A design whose mends are judged.
struct Judge<'a> {
    project: &'a Project,
    loaded: &'a Loaded,
    before: Troubles,
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
        let after = (!edits.is_empty()).then(|| {
            let over = texts.iter().map(|(file, new)| (file.name(), new.as_str()));
            let beside = self.project.beside(over.collect::<Memory>());
            let again = beside.open(Path::new(&self.loaded.path), self.options);
            again.sound().map(troubles)
        });
        Verdict { texts, after }
    }

    /// Whether the breaches that were to go are gone, and nothing is new; nothing, if nothing
    /// changes.
    fn promise(&self, found: &Mended, judged: &Verdict) -> Option<bool> {
        let after = judged.after.as_ref()?.as_ref();
        Some(after.is_some_and(|after| {
            let mut mended = found.changes.iter().flat_map(|c| &c.mends);
            after.is_subset(&self.before) && !mended.any(|breach| is_among(after, breach))
        }))
    }

    /// Adds each block of the ruleset's stock that mends something: as a change where nothing else
    /// mends it, else as another way to do what a change does.
    fn add_blocks(&self, found: &mut Mended, blocks: &[MendChange]) {
        if found.breaches.is_empty() {
            return;
        }
        // Of blocks that differ in what they are made for, the first that fits.
        let mut offered: BTreeSet<&str> = BTreeSet::new();
        for change in blocks {
            if offered.contains(change.what.as_str()) {
                continue;
            }
            let alone = Mended {
                changes: vec![change.clone()],
                ..Mended::default()
            };
            let judged = self.judge(&alone);
            if let (Some(true), Some(Some(after))) = (self.promise(&alone, &judged), &judged.after)
            {
                found.offer(change, |breach| !is_among(after, breach));
                offered.insert(&change.what);
            }
        }
    }
}

/// Whether a breach is among what is not met.
fn is_among(troubles: &Troubles, (rule, subject): &(String, Subject)) -> bool {
    let mut all = troubles.iter();
    all.any(|(r, path, _)| r == rule && *path == subject.path)
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

/// What is not met as a design stands.
fn troubles(of: &Installation) -> Troubles {
    let report = of.check(Ask::default()).report;
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
