//! Where texts come from: a disk, memory, or memory laid over another place.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Debug;
use std::fs;
use std::io::ErrorKind;
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use super::limits::FILE_BYTES;

/// A place that texts are read from.
pub trait Files: Debug + Send + Sync {
    /// The text of a file.
    ///
    /// # Errors
    /// Why it cannot be read, in words that follow "cannot be read:".
    fn read(&self, path: &Path) -> Result<String, String>;

    /// What stands in a folder, in the order of names; links to folders are left out, since they
    /// may lead back.
    ///
    /// # Errors
    /// Why it cannot be listed.
    fn list(&self, folder: &Path) -> Result<Vec<Entry>, String>;

    /// Whether a path leads to a folder.
    fn is_folder(&self, path: &Path) -> bool;

    /// Whether something else than a folder stands there.
    fn is_file(&self, path: &Path) -> bool {
        self.read(path).is_ok()
    }

    /// What a path leads to: the same for each of its spellings, links followed where there are
    /// any.
    fn real(&self, path: &Path) -> PathBuf {
        tidy(path)
    }
}

/// A path without `.`, and without `..` as far as it can be told from the names.
fn tidy(path: &Path) -> PathBuf {
    let mut out = PathBuf::new();
    for part in path.components() {
        match (part, out.components().next_back()) {
            (Component::CurDir, _) | (Component::ParentDir, Some(Component::RootDir)) => {}
            (Component::ParentDir, Some(Component::Normal(_))) => {
                out.pop();
            }
            _ => out.push(part),
        }
    }
    out
}

/// One name in a folder.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Entry {
    /// The folder's path and the name.
    pub path: PathBuf,
    /// It is a folder itself.
    pub folder: bool,
}

/// The files of this machine.
#[derive(Clone, Copy, Debug, Default)]
pub struct Disk;

impl Files for Disk {
    fn read(&self, path: &Path) -> Result<String, String> {
        let about = fs::metadata(path).map_err(|e| match e.kind() {
            ErrorKind::NotFound => "there is no such file".to_owned(),
            _ => e.to_string(),
        })?;
        // A pipe would wait for ever, a device might never end.
        if !about.is_file() {
            return Err("it is not a file".to_owned());
        }
        if about.len() > FILE_BYTES {
            return Err(format!(
                "it is {} MB, a design has at most {}",
                about.len() >> 20,
                FILE_BYTES >> 20
            ));
        }
        let bytes = fs::read(path).map_err(|e| e.to_string())?;
        String::from_utf8(bytes).map_err(|e| {
            format!(
                "it is not UTF-8 text (byte {} does not fit); save it as UTF-8",
                e.utf8_error().valid_up_to()
            )
        })
    }

    fn list(&self, folder: &Path) -> Result<Vec<Entry>, String> {
        let mut all = Vec::new();
        for entry in fs::read_dir(folder).map_err(|e| e.to_string())? {
            let entry = entry.map_err(|e| e.to_string())?;
            let path = entry.path();
            let link = entry.file_type().is_ok_and(|t| t.is_symlink());
            let folder = path.is_dir();
            if !(link && folder) {
                all.push(Entry { path, folder });
            }
        }
        all.sort();
        Ok(all)
    }

    fn is_folder(&self, path: &Path) -> bool {
        path.is_dir()
    }

    fn is_file(&self, path: &Path) -> bool {
        // A link that leads nowhere was meant to lead somewhere.
        fs::symlink_metadata(path).is_ok() && !path.is_dir()
    }

    fn real(&self, path: &Path) -> PathBuf {
        let path = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
        // Of a file that is not there, the folder that is.
        let there = path
            .ancestors()
            .find_map(|a| Some((a, fs::canonicalize(a).ok()?)));
        let real = there.and_then(|(a, real)| Some(real.join(path.strip_prefix(a).ok()?)));
        tidy(&real.unwrap_or(path))
    }
}

/// Texts that a host keeps, by path.
#[derive(Clone, Debug, Default)]
pub struct Memory(BTreeMap<PathBuf, String>);

impl Memory {
    /// Keeps a text under a path, in place of what stood there.
    pub fn put(&mut self, path: impl Into<PathBuf>, text: impl Into<String>) {
        self.0.insert(path.into(), text.into());
    }

    /// Keeps no text under a path any more.
    pub fn forget(&mut self, path: &Path) {
        self.0.remove(path);
    }

    /// Takes over the texts of another.
    pub fn extend(&mut self, other: Self) {
        self.0.extend(other.0);
    }
}

impl<P: Into<PathBuf>, T: Into<String>> FromIterator<(P, T)> for Memory {
    fn from_iter<I: IntoIterator<Item = (P, T)>>(texts: I) -> Self {
        let texts = texts.into_iter();
        Self(texts.map(|(p, t)| (p.into(), t.into())).collect())
    }
}

impl Files for Memory {
    fn read(&self, path: &Path) -> Result<String, String> {
        let text = self.0.get(path).or_else(|| self.0.get(&tidy(path)));
        text.cloned()
            .ok_or_else(|| "there is no such file".to_owned())
    }

    fn list(&self, folder: &Path) -> Result<Vec<Entry>, String> {
        let mut all = BTreeSet::new();
        for path in self.0.keys() {
            let Ok(inside) = path.strip_prefix(folder) else {
                continue;
            };
            let mut names = inside.components();
            if let Some(name) = names.next() {
                all.insert(Entry {
                    path: folder.join(name),
                    folder: names.next().is_some(),
                });
            }
        }
        if all.is_empty() {
            return Err("there is no such folder".to_owned());
        }
        Ok(all.into_iter().collect())
    }

    fn is_folder(&self, path: &Path) -> bool {
        let inside = |p: &PathBuf| p != path && p.starts_with(path);
        self.0.keys().any(inside)
    }
}

/// Texts of a host laid over another place: what an editor holds and has not saved.
#[derive(Clone, Debug)]
pub struct Overlay {
    /// What is read first.
    pub over: Memory,
    /// What is read where that has no such file.
    pub under: Arc<dyn Files>,
}

impl Files for Overlay {
    fn read(&self, path: &Path) -> Result<String, String> {
        // Only under the very name: what `..` leads to is for the place below to say.
        let over = self.over.0.get(path).cloned();
        over.map_or_else(|| self.under.read(path), Ok)
    }

    fn list(&self, folder: &Path) -> Result<Vec<Entry>, String> {
        match (self.over.list(folder), self.under.list(folder)) {
            (Ok(over), Ok(under)) => {
                let all: BTreeSet<Entry> = over.into_iter().chain(under).collect();
                Ok(all.into_iter().collect())
            }
            (Ok(over), Err(_)) => Ok(over),
            (Err(_), under) => under,
        }
    }

    fn is_folder(&self, path: &Path) -> bool {
        self.over.is_folder(path) || self.under.is_folder(path)
    }

    fn is_file(&self, path: &Path) -> bool {
        self.over.0.contains_key(path) || self.under.is_file(path)
    }

    fn real(&self, path: &Path) -> PathBuf {
        self.under.real(path)
    }
}
