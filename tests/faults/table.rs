//! The entries of the table and the edits they make.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use serde::Deserialize;

/// One change of a sound design, and what must be told of it.
///
/// Findings are written `breach RULE`, `caution RULE` or `advice RULE`, with `undecided` ahead where the
/// design must be left open.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// Its name, unique in the whole table.
    pub id: String,
    /// What is wrong after the edit; or
    pub fault: Option<String>,
    /// what is other after the edit, and as sound as before.
    pub harmless: Option<String>,
    /// The sound design: the name of a file in `examples`, `tests/designs` or `tests/faults`.
    pub base: String,
    /// Blocks within which the edit is made, the outer one first, by text that only their heads have.
    #[serde(default, rename = "in")]
    pub within: Option<String>,
    /// Text of the design, which is there exactly once, and what is put in its place.
    pub edit: BTreeMap<String, String>,
    /// The stage, where it is not that of the design.
    pub stage: Option<String>,
    /// The edition, where it is not that which the date of the design picks.
    pub edition: Option<String>,
    /// The finding that tells the cause.
    pub told: Option<String>,
    /// Findings that may follow from the cause.
    #[serde(default)]
    pub with: Vec<String>,
    /// Why a further breach among them is no second telling of the cause.
    pub because: Option<String>,
    /// Why the entry does not hold today. One that holds must not say so.
    pub open: Option<String>,
    /// The file it stands in, without its ending.
    #[serde(skip)]
    pub topic: String,
}

/// The project's folder.
pub fn project() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// All entries, and what is wrong with how they are written.
pub fn entries() -> (Vec<Entry>, Vec<String>) {
    let folder = project().join("tests/faults");
    let mut files: Vec<PathBuf> = fs::read_dir(&folder)
        .expect("the folder of the table")
        .map(|e| e.expect("an entry of the folder").path())
        .filter(|p| p.extension().is_some_and(|e| e == "yaml"))
        .collect();
    files.sort();
    let (mut all, mut wrong) = (Vec::new(), Vec::new());
    for path in files {
        let topic = path.file_stem().map(|s| s.to_string_lossy().into_owned());
        let read: Vec<Entry> = serde_yaml::from_str(&text(&path))
            .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        all.extend(read.into_iter().map(|entry| Entry {
            topic: topic.clone().unwrap_or_default(),
            ..entry
        }));
    }
    let mut seen = BTreeSet::new();
    for e in &all {
        if !seen.insert(e.id.as_str()) {
            wrong.push(format!("{}: the id is there twice", e.id));
        }
        wrong.extend(badly_written(e));
    }
    (all, wrong)
}

/// What an entry must say and does not, or says and must not.
fn badly_written(e: &Entry) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut say = |what: &str| wrong.push(format!("{}: {what}", e.id));
    if e.fault.is_some() == e.harmless.is_some() {
        say("it is either a `fault` or `harmless`");
    }
    if e.fault.is_some() != e.told.is_some() {
        say("a fault says what must be `told`, a harmless change does not");
    }
    if e.harmless.is_some() && !e.with.is_empty() {
        say("nothing may follow from a harmless change");
    }
    if e.told.as_ref().is_some_and(|t| rule(t).is_none()) && e.open.is_none() {
        say("only an open entry may leave out the rule that is to tell it");
    }
    let breach = |f: &String| f.starts_with("breach ");
    if e.told.as_ref().is_some_and(breach) && e.with.iter().any(breach) && e.because.is_none() {
        say("a second breach for one cause needs a reason in `because`");
    }
    wrong
}

/// The rule of a finding such as `undecided breach RULE`; none, where any rule of that weight will do.
pub fn rule(finding: &str) -> Option<&str> {
    finding
        .split(' ')
        .next_back()
        .filter(|word| word.contains('-'))
}

/// The text of a file.
pub fn text(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// The text of the sound design with a name.
pub fn base(name: &str) -> String {
    let found = ["examples", "tests/designs", "tests/faults"]
        .iter()
        .map(|folder| project().join(folder).join(format!("{name}.amp")))
        .find(|p| p.is_file());
    text(&found.unwrap_or_else(|| panic!("there is no design {name}")))
}

/// The design after the edit, or why the edit does not fit it.
pub fn edited(e: &Entry) -> Result<String, String> {
    let whole = base(&e.base);
    let (from, to) = match &e.within {
        Some(head) => block(&whole, head)?,
        None => (0, whole.len()),
    };
    let mut body = whole[from..to].to_owned();
    for (old, new) in &e.edit {
        // The places are looked for in the untouched design, so that no edit meets another's text.
        let places = whole[from..to].matches(old.as_str()).count();
        if places != 1 || !body.contains(old.as_str()) {
            return Err(format!("{old:?} is there {places} times, not once"));
        }
        body = body.replacen(old.as_str(), new, 1);
    }
    Ok(format!("{}{body}{}", &whole[..from], &whole[to..]))
}

/// From the head of a block to the brace that closes it.
fn block(text: &str, head: &str) -> Result<(usize, usize), String> {
    if text.matches(head).count() != 1 {
        return Err(format!("there is not exactly one block {head:?}"));
    }
    let from = text.find(head).unwrap_or_default();
    let mut depth = 0_usize;
    for (i, c) in text[from..].char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth == 1 => return Ok((from, from + i + 1)),
            '}' => depth = depth.saturating_sub(1),
            _ => {}
        }
    }
    Err(format!("the block {head:?} is not closed"))
}
