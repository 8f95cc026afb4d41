//! The table of single faults and harmless changes: a sound design, one edit, and what must be told.
//!
//! Each file `faults/TOPIC.yaml` holds entries; what must be told was judged from the standards before the
//! tool judged it. A fault must bring its finding, and no second breach for the same cause unless the entry
//! says why; a harmless change must bring no breach and no caution, failed or undecided. Entries that do
//! not hold yet are marked `open` with the reason, are counted apart, and must be unmarked once they hold.

#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "a table that cannot be read is a fault of the test"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::process::Command;
use std::sync::{Arc, Mutex};

use amperule::check::{Finding, Outcome, Reason};
use amperule::ruleset::{Ruleset, Severity, Stage};
use amperule::session::{Ask, Options};
use rayon::iter::{IntoParallelRefIterator, ParallelIterator};

use crate::common;
mod mends;
mod table;

use table::{Entry, base, edited, entries, rule};

/// The least size of the table.
const FAULTS: usize = 600;
const HARMLESS: usize = 260;

/// The findings of a design: outcome and rule, as the table writes them, and the subject; with each the
/// rule and subject that it follows from in the end, itself where it follows from nothing.
type Findings = BTreeMap<(String, String), (String, String)>;

/// The rulesets that designs were judged by, and what was found of each sound design.
#[derive(Default)]
struct Bench {
    rulesets: Mutex<BTreeMap<String, Arc<Ruleset>>>,
    bases: Mutex<BTreeMap<String, Arc<Findings>>>,
}

impl Bench {
    /// Judges a design as `check` does, with the stage and edition of an entry where it names them.
    fn findings(&self, text: &str, e: &Entry) -> Result<Findings, String> {
        let options = Options {
            edition: e.edition.clone(),
            stage: e.stage.as_deref().and_then(Stage::from_word),
            ..Options::default()
        };
        let installation = common::sound(text, &options)
            .map_err(|mistakes| format!("the design is refused: {mistakes}"))?;
        let ruleset = Arc::clone(installation.ruleset());
        let mut rulesets = self.rulesets.lock().expect("no thread failed");
        rulesets
            .entry(format!("{} {}", ruleset.id, ruleset.hash))
            .or_insert(ruleset);
        drop(rulesets);
        let judged = installation.check(Ask::default());
        let findings = judged.report.findings.iter();
        Ok(findings
            // That something is not judged at all is no telling of a fault, unless it could be a breach.
            .filter(|f| f.reason != Some(Reason::LeftOut) || f.severity == Severity::Breach)
            .filter_map(|f| {
                let told = written(f.outcome, f.severity, &f.rule)?;
                Some((
                    (told, f.subject.path.clone()),
                    root(&judged.report.findings, f),
                ))
            })
            .collect())
    }

    /// What is found of the sound design of an entry, judged once for all that share it.
    fn base(&self, e: &Entry) -> Arc<Findings> {
        let key = format!("{} {:?} {:?}", e.base, e.stage, e.edition);
        if let Some(known) = self.bases.lock().expect("no thread failed").get(&key) {
            return Arc::clone(known);
        }
        let found = self.findings(&base(&e.base), e);
        let found = Arc::new(found.unwrap_or_else(|why| panic!("{}: {why}", e.base)));
        let mut bases = self.bases.lock().expect("no thread failed");
        Arc::clone(bases.entry(key).or_insert(found))
    }
}

/// Rules that entries name and no ruleset has: a slip of the pen would let a follower through for ever.
fn unknown_rules(bench: &Bench, all: &[Entry]) -> Vec<String> {
    let rulesets = bench.rulesets.lock().expect("no thread failed");
    let known: BTreeSet<&str> = rulesets
        .values()
        .flat_map(|r| r.rules.iter().map(|rule| rule.id.as_str()))
        .collect();
    let named = |e: &Entry| -> Vec<String> { e.told.iter().chain(&e.with).cloned().collect() };
    all.iter()
        .flat_map(|e| named(e).into_iter().map(|f| (e.id.clone(), f)))
        .filter(|(_, f)| rule(f).is_some_and(|rule| !known.contains(rule)))
        .map(|(id, f)| format!("{id}: there is no rule of `{f}`"))
        .collect()
}

/// The rule and subject that a finding follows from in the end.
fn root(all: &[Finding], of: &Finding) -> (String, String) {
    let mut of = of;
    while let Some((rule, subject)) = &of.follows_from {
        let cause = |f: &&Finding| f.rule == *rule && f.subject.id == subject.id;
        of = all
            .iter()
            .find(cause)
            .expect("a finding of the same report");
    }
    (of.rule.clone(), of.subject.path.clone())
}

/// A finding as the table writes it, if it is one that fails or stays open.
fn written(outcome: Outcome, severity: Severity, rule: &str) -> Option<String> {
    let severity = match severity {
        Severity::Breach => "breach",
        Severity::Caution => "caution",
        Severity::Advice => "advice",
    };
    match outcome {
        Outcome::Failed => Some(format!("{severity} {rule}")),
        Outcome::Undecided | Outcome::NotJudged => Some(format!("undecided {severity} {rule}")),
        Outcome::Departed | Outcome::Met | Outcome::NotApplicable | Outcome::NotDue => None,
    }
}

/// What came of an entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Came {
    ToldOnce,
    ToldWithOthers,
    ToldTwice,
    Missed,
    Quiet,
    Alarm,
}

impl Came {
    const ALL: [(Self, &'static str); 6] = [
        (Self::ToldOnce, "told once"),
        (Self::ToldWithOthers, "told with others"),
        (Self::ToldTwice, "told twice"),
        (Self::Missed, "missed"),
        (Self::Quiet, "quiet"),
        (Self::Alarm, "alarms"),
    ];

    fn holds(self) -> bool {
        matches!(self, Self::ToldOnce | Self::ToldWithOthers | Self::Quiet)
    }
}

/// What an entry brings that its sound design has not, and what that amounts to.
fn judge(bench: &Bench, e: &Entry) -> Result<(Came, String), String> {
    let text = edited(e)?;
    let sound = bench.base(e);
    let found = match bench.findings(&text, e) {
        Ok(f) => f,
        Err(why) if e.told.is_some() => return Ok((Came::Missed, why)),
        Err(why) => return Ok((Came::Alarm, why)),
    };
    let new: Vec<(&str, &(String, String))> = found
        .iter()
        .filter(|(f, _)| !sound.contains_key(*f))
        .map(|((f, _), root)| (f.as_str(), root))
        .collect();
    let advice = |f: &str| f.starts_with("advice ") || f.starts_with("undecided advice ");
    let loud = || new.iter().filter(|(f, _)| !advice(f));
    let names = |all: BTreeSet<&str>| all.into_iter().collect::<Vec<_>>().join(", ");
    let Some(told) = &e.told else {
        let loud: BTreeSet<&str> = loud().map(|(f, _)| *f).collect();
        let came = if loud.is_empty() {
            Came::Quiet
        } else {
            Came::Alarm
        };
        return Ok((came, names(loud)));
    };
    let is_told = |f: &str| match rule(told) {
        Some(_) => f == told,
        None => f.rsplit_once(' ').is_some_and(|(weight, _)| weight == told),
    };
    if !new.iter().any(|(f, _)| is_told(f)) {
        return Ok((Came::Missed, format!("{told} is not told, but {new:?}")));
    }
    // What follows from one cause is told once: in lines under it.
    let causes: BTreeSet<&(String, String)> = new
        .iter()
        .filter(|(f, _)| is_told(f))
        .map(|(_, root)| *root)
        .collect();
    let more: BTreeSet<&str> = loud()
        .filter(|(f, root)| !is_told(f) && !causes.contains(root))
        .map(|(f, _)| *f)
        .collect();
    let unlisted: BTreeSet<&str> = more
        .iter()
        .copied()
        .filter(|f| !e.with.iter().any(|w| w == f))
        .collect();
    Ok(match (more.is_empty(), unlisted.is_empty()) {
        (true, _) => (Came::ToldOnce, String::new()),
        (false, true) => (Came::ToldWithOthers, String::new()),
        (false, false) => (Came::ToldTwice, format!("also told: {}", names(unlisted))),
    })
}

/// How often each thing came, of the entries that hold and of the open ones.
fn counts(came: &[(&Entry, Came, String)]) -> String {
    let mut lines = vec!["faults and harmless changes, and how many of them are open:".to_owned()];
    for (kind, name) in Came::ALL {
        let of_kind = || came.iter().filter(move |(_, c, _)| *c == kind);
        let open = of_kind().filter(|(e, _, _)| e.open.is_some()).count();
        lines.push(format!(
            "  {name:<17} {:>4}  open {open}",
            of_kind().count()
        ));
    }
    let mut reasons: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for (e, _, _) in came {
        if let Some(why) = &e.open {
            reasons.entry(why).or_default().push(&e.id);
        }
    }
    for (why, ids) in reasons {
        lines.push(format!("  open: {why} ({})", ids.join(", ")));
    }
    lines.join("\n")
}

#[test]
fn each_fault_is_told_once_and_no_harmless_change_is() {
    let (all, mut wrong) = entries();
    let bench = Bench::default();
    let judged: Vec<_> = all.par_iter().map(|e| (e, judge(&bench, e))).collect();
    let mut came = Vec::new();
    for (e, result) in judged {
        match result {
            Ok((c, why)) => came.push((e, c, why)),
            Err(why) => wrong.push(format!("{}: {why}", e.id)),
        }
    }
    for (e, c, why) in &came {
        match (c.holds(), &e.open) {
            (false, None) => wrong.push(format!("{} ({}): {c:?}: {why}", e.id, e.topic)),
            (true, Some(_)) => wrong.push(format!("{}: it holds now: take out `open`", e.id)),
            (true, None) | (false, Some(_)) => {}
        }
    }
    wrong.extend(unknown_rules(&bench, &all));
    // Not by a macro that the test runner keeps to itself: the counts are to be seen in every run.
    writeln!(std::io::stderr(), "{}", counts(&came)).expect("standard error");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_table_is_as_large_as_it_promises() {
    let (all, wrong) = entries();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let faults = all.iter().filter(|e| e.fault.is_some()).count();
    assert!(faults >= FAULTS, "{faults} faults");
    let harmless = all.len() - faults;
    assert!(harmless >= HARMLESS, "{harmless} harmless changes");
}

#[test]
fn the_sound_designs_have_no_breach_and_nothing_open() {
    let (all, _) = entries();
    let bench = Bench::default();
    let mut wrong = Vec::new();
    for e in all
        .iter()
        .filter(|e| e.stage.is_none() && e.edition.is_none())
    {
        let loud = |f: &&(String, String)| {
            f.0.starts_with("breach") || f.0.starts_with("undecided breach")
        };
        for (finding, subject) in bench.base(e).keys().filter(loud) {
            wrong.push(format!("{}: {finding} of {subject}", e.base));
        }
    }
    wrong.sort();
    wrong.dedup();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_designs_of_the_table_are_laid_out() {
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(["format", "--check", "tests/faults"])
        .current_dir(table::project())
        .output()
        .expect("the program starts");
    let text = String::from_utf8_lossy(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{text}");
}
