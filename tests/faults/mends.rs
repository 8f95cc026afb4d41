//! Mends that `mend` proposes for faults of the table, each judged by hand: would a practitioner do this?

use std::path::Path;
use std::sync::Arc;

use amperule::session::{Options, Project};
use amperule::source::Memory;
use rayon::iter::{IntoParallelRefIterator, ParallelIterator};
use serde::Deserialize;

use super::table::{edited, entries, project, text};

/// The least size of the table.
const MENDS: usize = 40;

/// What is proposed for one fault, and whether it is what a practitioner would do.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Judged {
    /// The fault of the table.
    of: String,
    /// The changes, `what: fact value`, each up to the brace of a part; none where nothing is proposed.
    mend: Vec<String>,
    /// The judgement.
    would: Would,
    /// Why not, or what else would be done.
    because: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Would {
    /// It is the usual answer, or there is nothing to propose and nothing is proposed.
    Yes,
    /// It works, and another answer is more usual.
    Perhaps,
    /// Nobody would.
    No,
}

/// What `mend` proposes, as the table writes it.
fn proposed(text: &str, edition: Option<String>) -> Result<Vec<String>, String> {
    let path = Path::new("faulty.amp");
    let mut files = Memory::default();
    files.put(path, text);
    let options = Options {
        edition,
        ..Options::default()
    };
    let loaded = Project::new(Arc::new(files), Vec::new()).open(path, &options);
    let design = loaded
        .sound()
        .ok_or_else(|| "the design is refused".to_owned())?;
    let found = design.mend(&|span| {
        let part = text.get(span.from()..span.until());
        part.unwrap_or_default().to_owned()
    });
    let change = |c: &amperule::answer::MendChange| {
        let facts: Vec<&str> = c
            .facts
            .iter()
            .map(|(_, _, to)| to.split(" {").next().unwrap_or_default())
            .collect();
        let names: Vec<&str> = c.facts.iter().map(|(f, _, _)| f.as_str()).collect();
        let facts: Vec<String> = names
            .iter()
            .zip(facts)
            .map(|(f, to)| format!("{f} {to}"))
            .collect();
        format!("{}: {}", c.what, facts.join(", "))
    };
    Ok(found.changes.iter().map(change).collect())
}

#[test]
fn what_is_proposed_was_judged() {
    let path = project().join("tests/faults/mends/judged.yaml");
    let judged: Vec<Judged> = serde_yaml::from_str(&text(&path)).expect("the table of mends");
    let (faults, _) = entries();
    let wrong: Vec<String> = judged
        .par_iter()
        .filter_map(|j| {
            let Some(fault) = faults.iter().find(|e| e.id == j.of) else {
                return Some(format!("{}: there is no such fault", j.of));
            };
            if j.would != Would::Yes && j.because.is_none() {
                return Some(format!("{}: `because` is missing", j.of));
            }
            let found = edited(fault).and_then(|t| proposed(&t, fault.edition.clone()));
            match found {
                Ok(m) if m == j.mend => None,
                Ok(m) => Some(format!("- {{of: {}, mend: {m:?}}} not {:?}", j.of, j.mend)),
                Err(why) => Some(format!("{}: {why}", j.of)),
            }
        })
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(judged.len() >= MENDS, "{} mends", judged.len());
    let no = judged.iter().filter(|j| j.would == Would::No).count();
    assert!(no * 10 <= judged.len(), "{no} of them nobody would do");
}
