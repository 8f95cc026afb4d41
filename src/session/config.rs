//! What holds for all designs under a folder, so that it need not be said with every command:
//! `amperule.toml`.

use std::path::{Path, PathBuf};

use serde::Deserialize;
use toml::Spanned;

use super::options::Defaults;
use crate::ruleset::{Severity, Stage};
use crate::source::{Files, Problem, SourceFile, Sources, Span};

/// The name of the file.
pub const CONFIG: &str = "amperule.toml";

/// What the file says; its paths lead from the folder in which the program was started.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Config {
    /// Folders that hold rulesets.
    pub rulesets: Vec<PathBuf>,
    /// What holds for designs that do not say it themselves.
    pub defaults: Defaults,
    /// The lightest severity that decides the exit code of a check.
    pub deny: Option<Severity>,
    /// Designs, or folders of them, that are checked where none are named.
    pub files: Vec<PathBuf>,
}

/// The file as it is written.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
struct Written {
    rulesets: Vec<PathBuf>,
    rules: Option<String>,
    stage: Option<Spanned<String>>,
    deny: Option<Spanned<String>>,
    files: Vec<PathBuf>,
}

impl Config {
    /// Reads the file in the folder `from` (in full, from the root) or in the nearest one above it.
    ///
    /// # Errors
    /// Everything that is wrong with it, and its text.
    pub fn find(files: &dyn Files, from: &Path) -> Result<Option<Self>, (Vec<Problem>, Sources)> {
        let up = Self::nearest(files, from).map(|(_, up)| up);
        up.map(|up| Self::read(files, &up)).transpose()
    }

    /// The same for a program that was started elsewhere: all paths are in full.
    ///
    /// # Errors
    /// Everything that is wrong with it, and its text.
    pub fn of(files: &dyn Files, folder: &Path) -> Result<Option<Self>, (Vec<Problem>, Sources)> {
        let found = Self::nearest(files, folder).map(|(found, _)| found);
        found.map(|found| Self::read(files, found)).transpose()
    }

    /// The nearest folder with the file, and the way up to it.
    fn nearest<'p>(files: &dyn Files, from: &'p Path) -> Option<(&'p Path, PathBuf)> {
        let mut up = PathBuf::new();
        for folder in from.ancestors() {
            // A folder above that may not be looked into holds nothing that was meant for us.
            if files.is_file(&folder.join(CONFIG)) {
                return Some((folder, up));
            }
            up.push("..");
        }
        None
    }

    fn read(files: &dyn Files, folder: &Path) -> Result<Self, (Vec<Problem>, Sources)> {
        let path = folder.join(CONFIG);
        let mut sources = Sources::default();
        let text = files.read(&path).map_err(|why| {
            let text = format!("`{}` cannot be read: {why}", path.display());
            (vec![Problem::error("unreadable", text)], Sources::default())
        })?;
        let id = sources.add(SourceFile::new(path.display().to_string(), text.as_str()));
        let at = |p: Problem, range: std::ops::Range<usize>| {
            p.at(Span::new(id, range.start, range.end), "")
        };
        let written: Written = match toml::from_str(&text) {
            Ok(written) => written,
            Err(e) => {
                let message = e.message().lines().collect::<Vec<_>>().join("; ");
                let help = "it may hold `rulesets`, `rules`, `stage`, `deny` and `files`";
                let p = Problem::error("bad-config", message).help(help);
                return Err((vec![at(p, e.span().unwrap_or_default())], sources));
            }
        };
        let mut problems = Vec::new();
        let mut word = |of: &Option<Spanned<String>>, what: &str, words: &[&str]| {
            let Some(w) = of else { return };
            if !words.contains(&w.get_ref().as_str()) {
                let text = format!("`{}` is no {what}", w.get_ref());
                let p = Problem::error("bad-config", text)
                    .help(format!("one of {}", words.join(", ")))
                    .did_you_mean(w.get_ref(), words.iter().copied());
                problems.push(at(p, w.span()));
            }
        };
        word(&written.stage, "stage", &Stage::ALL.map(Stage::word));
        word(&written.deny, "severity to deny", &["caution", "advice"]);
        if !problems.is_empty() {
            return Err((problems, sources));
        }
        let from_here = |all: Vec<PathBuf>| all.iter().map(|p| folder.join(p)).collect();
        let read = |of: Option<Spanned<String>>| of.map(Spanned::into_inner);
        Ok(Self {
            rulesets: from_here(written.rulesets),
            defaults: Defaults {
                rules: written.rules,
                stage: read(written.stage).and_then(|s| Stage::from_word(&s)),
            },
            deny: read(written.deny).and_then(|s| Severity::from_word(&s)),
            files: from_here(written.files),
        })
    }
}
