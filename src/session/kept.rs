//! What a project for editing keeps between two looks at the same design.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::loaded::Loaded;
use super::options::Options;
use crate::design::parse::Parsed;
use crate::source::{FileId, SourceFile};

type Read = (Arc<SourceFile>, Arc<Parsed>);

/// Files as they were parsed, and designs as they were opened.
#[derive(Debug, Default)]
pub(super) struct Kept {
    /// By path, and by the id under which its places are known.
    parsed: BTreeMap<(PathBuf, FileId), Read>,
    opened: BTreeMap<PathBuf, (Options, Arc<Loaded>)>,
}

impl Kept {
    /// A file that was read with just this text.
    pub(super) fn parsed(&self, path: &Path, id: FileId, text: &str) -> Option<Read> {
        let read = self.parsed.get(&(path.to_path_buf(), id))?;
        (read.0.text() == text).then(|| read.clone())
    }

    pub(super) fn keep_parsed(
        &mut self,
        path: &Path,
        id: FileId,
        source: &Arc<SourceFile>,
        parsed: &Arc<Parsed>,
    ) {
        let read = (Arc::clone(source), Arc::clone(parsed));
        self.parsed.insert((path.to_path_buf(), id), read);
    }

    /// A design that was opened with just these options, whatever its text was then.
    pub(super) fn opened(&self, path: &Path, options: &Options) -> Option<Arc<Loaded>> {
        let (before, loaded) = self.opened.get(path)?;
        (before == options).then(|| Arc::clone(loaded))
    }

    pub(super) fn keep(&mut self, path: &Path, options: &Options, loaded: &Arc<Loaded>) {
        let entry = (options.clone(), Arc::clone(loaded));
        self.opened.insert(path.to_path_buf(), entry);
    }
}
