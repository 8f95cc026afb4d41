//! Where rulesets are found: inside the program, and in folders.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::edition::{Request, choose};
use super::frozen::{Base, Frozen};
use super::layers::assemble;
use super::merged::Layer;
use super::shipped::SHIPPED;
use super::yaml::{self, Node};
use super::{Edition, Ruleset};
use crate::source::{Disk, FileId, Files, Problem, SourceFile};

impl Request {
    /// The newest edition of a ruleset, with its patches.
    #[must_use]
    pub fn newest(library: &Library, base: String, patches: Vec<String>) -> Self {
        Self {
            edition: library.editions(&base).pop(),
            base,
            patches,
            on: None,
        }
    }
}

/// What came of loading a ruleset.
#[derive(Debug)]
pub struct Loaded {
    /// The ruleset, if nothing is wrong with it.
    pub ruleset: Option<Arc<Ruleset>>,
    /// What is wrong.
    pub problems: Vec<Problem>,
    /// The files that were read, for showing the problems.
    pub files: Arc<Vec<Arc<SourceFile>>>,
}

impl Loaded {
    fn of(ruleset: Result<Arc<Ruleset>, Problem>, files: Arc<Vec<Arc<SourceFile>>>) -> Self {
        let (ruleset, problems) = match ruleset {
            Ok(r) => (Some(r), Vec::new()),
            Err(p) => (None, vec![p]),
        };
        Self {
            ruleset,
            problems,
            files,
        }
    }
}

/// Knows where rulesets are.
#[derive(Clone, Debug)]
pub struct Library {
    files: Arc<dyn Files>,
    folders: Vec<PathBuf>,
}

impl Default for Library {
    fn default() -> Self {
        Self::new(Vec::new())
    }
}

impl Library {
    /// A library of the embedded rulesets, and those in some folders, which come first: each a
    /// folder that holds rulesets as folders, or is one.
    #[must_use]
    pub fn new(folders: Vec<PathBuf>) -> Self {
        Self::over(Arc::new(Disk), folders)
    }

    /// The same, with folders of another place than this machine's disk.
    #[must_use]
    pub fn over(files: Arc<dyn Files>, folders: Vec<PathBuf>) -> Self {
        Self { files, folders }
    }

    /// Names of all rulesets that can be loaded.
    #[must_use]
    pub fn names(&self) -> Vec<String> {
        let texts = SHIPPED.files.iter().filter_map(|(path, _)| {
            let (name, _) = path.strip_prefix("rulesets/")?.split_once('/')?;
            Some(name.to_owned())
        });
        let mut all: Vec<String> = texts.collect();
        if let Ok(Some(frozen)) = frozen() {
            all.extend(frozen.bases.into_iter().map(|b| b.name));
        }
        for folder in &self.folders {
            let Ok(entries) = self.files.list(folder) else {
                continue;
            };
            for entry in entries.iter().filter(|e| self.is_ruleset(&e.path)) {
                let name = entry.path.file_name().unwrap_or_default();
                all.push(name.to_string_lossy().into_owned());
            }
        }
        all.sort();
        all.dedup();
        all
    }

    /// The folder that holds a ruleset, if one does.
    fn folder_of(&self, name: &str) -> Option<PathBuf> {
        self.folders
            .iter()
            .flat_map(|folder| [folder.join(name), folder.clone()])
            .find(|candidate| {
                let own = candidate.file_name().is_some_and(|n| n == name);
                own && self.is_ruleset(candidate)
            })
    }

    /// Whether a folder holds a ruleset: its head stands in a file of that name.
    fn is_ruleset(&self, folder: &Path) -> bool {
        let head = folder.join("ruleset.yaml");
        let files = self.files.list(folder);
        files.is_ok_and(|all| all.iter().any(|e| e.path == head && !e.folder))
    }

    /// A ruleset's files, in order of their names.
    fn files(&self, name: &str) -> Result<Vec<SourceFile>, Problem> {
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        if name.is_empty() || !name.chars().all(plain) {
            return Err(Problem::error(
                "bad-ruleset-name",
                format!("`{name}` is not the name of a ruleset"),
            )
            .help("write letters, digits, `-` and `_` alone, as in `gb` or `our-firm`"));
        }
        if let Some(folder) = self.folder_of(name) {
            return self.read_folder(&folder, &["yaml", "yml"]);
        }
        let found: Vec<SourceFile> = shipped(name, "yaml").collect();
        if found.is_empty() {
            let names = self.names();
            if names.iter().any(|n| n == name) {
                let why = format!(
                    "the text of the ruleset `{name}` is not in this build, so nothing can be laid over it"
                );
                return Err(Problem::error("no-text-of-ruleset", why)
                    .help("name the ruleset alone here, and judge with its patches where the program `amperule` is"));
            }
            return Err(
                Problem::error("unknown-ruleset", format!("there is no ruleset `{name}`"))
                    .help(format!("there are {}", names.join(", ")))
                    .did_you_mean(name, names.iter().map(String::as_str))
                    .help("one of your own is found if its folder is named: --rulesets FOLDER"),
            );
        }
        Ok(found)
    }

    /// A compiled ruleset of the program, unless a folder holds it or one of its ancestors.
    fn frozen(&self, name: &str) -> Result<Option<(Frozen<'static>, Base)>, Problem> {
        let Some(frozen) = frozen()? else {
            return Ok(None);
        };
        let base = frozen.base(name).cloned();
        let base = base.filter(|b| b.chain.iter().all(|n| self.folder_of(n).is_none()));
        Ok(base.map(|b| (frozen, b)))
    }

    /// Ids of a ruleset's editions, oldest first; none if it cannot be read.
    #[must_use]
    pub fn editions(&self, name: &str) -> Vec<String> {
        let ids = |editions: Vec<Edition>| editions.into_iter().map(|e| e.id).collect();
        if let Ok(Some((_, base))) = self.frozen(name) {
            return ids(base.editions);
        }
        let (mut files, mut problems) = (Vec::new(), Vec::new());
        self.layer(name, &mut files, &mut problems)
            .map(|l| ids(l.editions))
            .unwrap_or_default()
    }

    /// Loads a ruleset: as it was compiled when the program was built, or else from its files.
    #[must_use]
    pub fn load(&self, request: &Request) -> Loaded {
        let folders = self.folders.iter().all(|f| self.files.is_folder(f));
        if folders && request.patches.is_empty() {
            match self.frozen(&request.base) {
                Ok(Some((frozen, base))) => return thaw(&frozen, &base, request),
                Ok(None) => {}
                Err(problem) => return Loaded::of(Err(problem), Arc::default()),
            }
        }
        let mut chain = self.chain(&request.base);
        for name in &request.patches {
            if chain.layers.iter().any(|l| l.name == *name) {
                Problem::error(
                    "named-twice",
                    format!("the ruleset `{name}` is named twice"),
                )
                .help("name each once")
                .report(&mut chain.problems);
            } else if let Some(layer) = self.layer(name, &mut chain.files, &mut chain.problems) {
                chain.layers.push(layer);
            }
        }
        chain.compile(request)
    }

    /// Reads a ruleset and its ancestors.
    pub(super) fn chain(&self, base: &str) -> Chain {
        let mut chain = Chain {
            problems: self
                .folders
                .iter()
                .filter(|f| !self.files.is_folder(f))
                .map(|f| {
                    let why = format!("there is no folder `{}` of rulesets", f.display());
                    Problem::error("no-such-folder", why)
                })
                .collect(),
            ..Chain::default()
        };
        let mut next = Some(base.to_owned());
        while let Some(name) = next.take() {
            if chain.layers.iter().any(|l| l.name == name) {
                let why = format!("the ruleset `{name}` is its own ancestor");
                Problem::error("circular-parents", why)
                    .help("take the line `parent:` out of one of those that lead there")
                    .report(&mut chain.problems);
                break;
            }
            if let Some(layer) = self.layer(&name, &mut chain.files, &mut chain.problems) {
                next.clone_from(&layer.parent);
                chain.layers.insert(0, layer);
            }
        }
        chain.bases = chain.layers.len();
        chain
    }

    /// Designs to start from, by the name of the job, of a ruleset that loads: those in the folders
    /// `jobs` of its ancestors, itself and its patches; of one name, the latest layer's.
    ///
    /// # Errors
    /// Which file cannot be read.
    pub fn jobs(&self, request: &Request) -> Result<BTreeMap<String, SourceFile>, Problem> {
        let mut layers = match self.frozen(&request.base)? {
            Some((_, base)) => base.chain,
            None => self.chain(&request.base).names(),
        };
        layers.reverse();
        layers.extend_from_slice(&request.patches);
        let mut all = BTreeMap::new();
        for name in &layers {
            let jobs = match self.folder_of(name).map(|f| f.join("jobs")) {
                Some(f) if self.files.is_folder(&f) => self.read_folder(&f, &["amp"])?,
                Some(_) => Vec::new(),
                None => shipped(&format!("{name}/jobs"), "amp").collect(),
            };
            for job in jobs {
                let stem = Path::new(job.name()).file_stem().unwrap_or_default();
                all.insert(stem.to_string_lossy().into_owned(), job);
            }
        }
        Ok(all)
    }

    /// Files of a folder that end so, in the order of their names.
    fn read_folder(&self, folder: &Path, ends: &[&str]) -> Result<Vec<SourceFile>, Problem> {
        let fault = |path: &Path, why: &str| {
            let path = path.display();
            Problem::error("unreadable", format!("`{path}` cannot be read: {why}"))
        };
        let entries = self.files.list(folder).map_err(|e| fault(folder, &e))?;
        let wanted = |path: &Path| {
            path.extension()
                .is_some_and(|e| ends.iter().any(|w| e == *w))
        };
        let mut all = Vec::new();
        for entry in entries.iter().filter(|e| !e.folder && wanted(&e.path)) {
            let text = self.files.read(&entry.path);
            let text = text.map_err(|e| fault(&entry.path, &e))?;
            all.push(SourceFile::new(entry.path.display().to_string(), text));
        }
        Ok(all)
    }

    fn layer(
        &self,
        name: &str,
        files: &mut Vec<Arc<SourceFile>>,
        problems: &mut Vec<Problem>,
    ) -> Option<Layer> {
        let own = match self.files(name) {
            Ok(f) => f,
            Err(p) => return p.fail(problems),
        };
        let mut documents: Vec<(FileId, Arc<SourceFile>)> = Vec::new();
        for source in own {
            let Some(id) = FileId::of_ruleset(files.len()) else {
                let why = format!("the ruleset `{name}` has more files than can be read");
                return Problem::error("too-many-files", why).fail(problems);
            };
            let source = Arc::new(source);
            files.push(Arc::clone(&source));
            documents.push((id, source));
        }
        let parsed = parse_all(&documents);
        let mut read = Vec::new();
        let mut whole = true;
        for ((id, source), node) in documents.into_iter().zip(parsed) {
            match node {
                Ok(node) => read.push((id, source, node)),
                Err(p) => {
                    whole = false;
                    problems.push(p);
                }
            }
        }
        // What a file that cannot be read lacks is not known: its head may stand in it.
        if !whole {
            return None;
        }
        Layer::new(name, read, problems)
    }
}

/// A ruleset's layers as read: its ancestors, itself, patches.
#[derive(Debug, Default)]
pub(super) struct Chain {
    layers: Vec<Layer>,
    /// How many of the layers are no patches.
    bases: usize,
    files: Vec<Arc<SourceFile>>,
    /// What is wrong with them one by one.
    pub(super) problems: Vec<Problem>,
}

impl Chain {
    /// The editions of the ruleset itself.
    pub(super) fn editions(&self) -> Vec<Edition> {
        let base = self.bases.checked_sub(1).and_then(|i| self.layers.get(i));
        base.map(|l| l.editions.clone()).unwrap_or_default()
    }

    /// The ruleset itself and its ancestors, upward.
    pub(super) fn names(&self) -> Vec<String> {
        let bases = self.layers.iter().take(self.bases).rev();
        bases.map(|l| l.name.clone()).collect()
    }

    /// Merges and compiles them for one edition.
    pub(super) fn compile(&self, request: &Request) -> Loaded {
        let files = Arc::new(self.files.clone());
        let mut problems = self.problems.clone();
        let ruleset = if problems.is_empty() {
            assemble(request, &self.layers, self.bases, &files, &mut problems)
        } else {
            None
        };
        Loaded {
            ruleset: ruleset.filter(|_| problems.is_empty()).map(Arc::new),
            problems,
            files,
        }
    }
}

/// The compiled rulesets of the program; the build script, which makes them, has none.
fn frozen() -> Result<Option<Frozen<'static>>, Problem> {
    let there = !SHIPPED.frozen.is_empty();
    there.then(|| Frozen::open(SHIPPED.frozen)).transpose()
}

/// Files in one folder below `rulesets` in the program that end so.
fn shipped(folder: &str, end: &'static str) -> impl Iterator<Item = SourceFile> {
    let folder = format!("rulesets/{folder}/");
    let wanted = move |path: &str| {
        let file = path.strip_prefix(&folder)?.strip_suffix(end)?;
        (file.ends_with('.') && !file.contains('/')).then_some(())
    };
    let files = SHIPPED.files.iter();
    files.filter_map(move |(path, text)| wanted(path).map(|()| SourceFile::shipped(path, text)))
}

/// Chooses the edition and reads it as it was compiled.
fn thaw(frozen: &Frozen<'_>, base: &Base, request: &Request) -> Loaded {
    let files: Vec<Arc<SourceFile>> = base
        .chain
        .iter()
        .flat_map(|name| shipped(name, "yaml"))
        .map(Arc::new)
        .collect();
    let files = Arc::new(files);
    let ruleset = choose(&base.name, &base.editions, request).and_then(|choice| {
        let mut ruleset = frozen.thaw(base, choice.index)?;
        ruleset.other_editions = choice.others;
        ruleset.edition_note = choice.note;
        ruleset.files = Arc::clone(&files);
        Ok(Arc::new(ruleset))
    });
    Loaded::of(ruleset, files)
}

/// Reads the first document of each file. YAML is most of the time a ruleset takes to load; the
/// files do not depend on each other, so they are shared out among threads.
fn parse_all(documents: &[(FileId, Arc<SourceFile>)]) -> Vec<Result<Node, Problem>> {
    /// Fewer bytes are read sooner than a thread is started.
    const WORTH_A_THREAD: usize = 20_000;
    let size: usize = documents.iter().map(|(_, s)| s.text().len()).sum();
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let threads = cores.min(1 + size / WORTH_A_THREAD).max(1);
    let read = |(id, source): &(FileId, Arc<SourceFile>)| yaml::read(*id, source, 0);
    if threads == 1 {
        return documents.iter().map(read).collect();
    }
    let share = documents.len().div_ceil(threads);
    std::thread::scope(|s| {
        let parts = documents.chunks(share);
        let parts: Vec<_> = parts
            .map(|part| (part, s.spawn(|| part.iter().map(read).collect())))
            .collect();
        // What is lost with a thread is read again: that costs time, never a document.
        let whole = parts.into_iter().flat_map(|(part, thread)| {
            let again = |_| part.iter().map(read).collect::<Vec<_>>();
            thread.join().unwrap_or_else(again)
        });
        whole.collect()
    })
}
