//! A place with designs and the rulesets they are judged by.

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard};

use super::kept::Kept;
use crate::ruleset::{Library, Loaded as LoadedRuleset, Request};
use crate::source::limits::FOLDERS;
use crate::source::{Disk, Files, Memory, Overlay, Problem};

/// A place that designs are read from, with the rulesets in the program and in some folders.
///
/// Rulesets are loaded once. A project for editing also keeps what it read, so that opening a
/// design again costs only what changed.
#[derive(Debug)]
pub struct Project {
    files: Overlay,
    rulesets: Arc<Rulesets>,
    kept: Option<Mutex<Kept>>,
}

/// Rulesets by what was asked for, each loaded once.
#[derive(Debug)]
struct Rulesets {
    library: Library,
    loaded: Mutex<BTreeMap<String, Arc<LoadedRuleset>>>,
}

/// What another thread left behind when it failed is whole: only finished values are put in.
pub(super) fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
}

impl Project {
    /// A project over any place; `rulesets` are folders of it that hold rulesets, which come
    /// before those in the program.
    #[must_use]
    pub fn new(files: Arc<dyn Files>, rulesets: Vec<PathBuf>) -> Self {
        let library = Library::over(Arc::clone(&files), rulesets);
        Self {
            files: Overlay {
                over: Memory::default(),
                under: files,
            },
            rulesets: Arc::new(Rulesets {
                library,
                loaded: Mutex::default(),
            }),
            kept: None,
        }
    }

    /// A project on this machine's disk.
    #[must_use]
    pub fn on_disk(rulesets: Vec<PathBuf>) -> Self {
        Self::new(Arc::new(Disk), rulesets)
    }

    /// A project of texts in memory.
    #[must_use]
    pub fn in_memory(texts: Memory) -> Self {
        Self::new(Arc::new(texts), Vec::new())
    }

    /// The same project, which from now on keeps what it reads: for an editor or a page, where
    /// the same designs are opened again and again.
    #[must_use]
    pub fn for_editing(mut self) -> Self {
        self.kept = Some(Mutex::default());
        self
    }

    /// A second look at the same place with some texts laid over it, for as long as it lasts.
    #[must_use]
    pub fn beside(&self, texts: Memory) -> Self {
        let mut files = self.files.clone();
        files.over.extend(texts);
        Self {
            files,
            rulesets: Arc::clone(&self.rulesets),
            kept: None,
        }
    }

    /// Lays one text over the place: an edit that is not saved.
    pub fn edit(&mut self, path: impl Into<PathBuf>, text: impl Into<String>) {
        self.files.over.put(path, text);
    }

    /// Takes such a text away: what stands in the place is read again.
    pub fn forget(&mut self, path: &Path) {
        self.files.over.forget(path);
    }

    /// The rulesets that can be loaded, and their editions.
    #[must_use]
    pub fn library(&self) -> &Library {
        &self.rulesets.library
    }

    /// A ruleset with everything that is wrong with it.
    #[must_use]
    pub fn ruleset(&self, request: &Request) -> Arc<LoadedRuleset> {
        let key = format!("{request:?}");
        let mut loaded = lock(&self.rulesets.loaded);
        let found = loaded
            .entry(key)
            .or_insert_with(|| Arc::new(self.rulesets.library.load(request)));
        Arc::clone(found)
    }

    /// The text of a file.
    ///
    /// # Errors
    /// A problem that names the file and says why it cannot be read.
    pub fn text(&self, path: &Path) -> Result<String, Problem> {
        self.files.read(path).map_err(|why| {
            let path = path.display();
            Problem::error("unreadable", format!("`{path}` cannot be read: {why}"))
        })
    }

    /// What a path leads to, the same for each of its spellings.
    pub(super) fn real(&self, path: &Path) -> PathBuf {
        self.files.real(path)
    }

    /// Whether a file is a design itself or lies in its folder or below, links followed.
    #[must_use]
    pub fn is_beside(&self, design: &Path, file: &Path) -> bool {
        if design == file {
            return true;
        }
        let folder = self.real(&design.parent().unwrap_or(Path::new("")).join("."));
        let file = self.real(file);
        file.strip_prefix(folder).is_ok_and(|inside| {
            let mut parts = inside.components();
            parts.all(|part| matches!(part, Component::Normal(_)))
        })
    }

    pub(super) fn kept(&self) -> Option<MutexGuard<'_, Kept>> {
        self.kept.as_ref().map(lock)
    }

    /// The design files among some paths, folders looked through, in stable order; what cannot
    /// be listed, and folders without a design, are problems of their paths.
    #[must_use]
    pub fn designs(&self, paths: &[PathBuf]) -> (Vec<PathBuf>, Vec<(PathBuf, Problem)>) {
        let (mut files, mut all) = (Vec::new(), Vec::new());
        for path in paths {
            if !self.files.is_folder(path) {
                files.push(path.clone());
                continue;
            }
            let (mut found, mut problems) = (Vec::new(), Vec::new());
            self.walk(path, &mut found, &mut problems, 0);
            if found.is_empty() {
                let text = format!("the folder `{}` holds no design", path.display());
                problems.push(
                    Problem::error("no-designs", text)
                        .help("the name of a design file ends in .amp"),
                );
            }
            found.sort();
            files.append(&mut found);
            all.extend(problems.into_iter().map(|p| (path.clone(), p)));
        }
        (files, all)
    }

    fn walk(
        &self,
        folder: &Path,
        files: &mut Vec<PathBuf>,
        problems: &mut Vec<Problem>,
        depth: usize,
    ) {
        let fault = |what: &str, why: &str| {
            let text = format!("the folder `{}` {what}: {why}", folder.display());
            Problem::error("unreadable", text)
        };
        if depth >= FOLDERS {
            let why = format!("it lies {FOLDERS} folders deep");
            problems.push(fault("is not looked through", &why));
            return;
        }
        match self.files.list(folder) {
            Ok(entries) => {
                for entry in entries {
                    if entry.folder {
                        self.walk(&entry.path, files, problems, depth + 1);
                    } else if entry.path.extension().is_some_and(|e| e == "amp") {
                        files.push(entry.path);
                    }
                }
            }
            Err(why) => problems.push(fault("cannot be read", &why)),
        }
    }
}
