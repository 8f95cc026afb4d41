//! Where rulesets are found: inside the program, and in folders.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::Ruleset;
use super::layers::{Layer, assemble};
use super::yaml::{self, Node};
use crate::source::{FileId, Problem, SourceFile};

/// The ruleset files that ship inside the program, by their path in the project.
static EMBEDDED: &[(&str, &str)] = include!(concat!(env!("OUT_DIR"), "/rulesets.in"));

/// Which ruleset to compile.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Request {
    /// The base.
    pub base: String,
    /// Patches on top, in order.
    pub patches: Vec<String>,
    /// The edition, if it is named.
    pub edition: Option<String>,
    /// The day by which it is chosen otherwise, in days since 1970-01-01.
    pub on: Option<i32>,
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

/// Knows where rulesets are.
#[derive(Clone, Debug, Default)]
pub struct Library {
    folders: Vec<PathBuf>,
}

impl Library {
    /// A library of the embedded rulesets, and those in some folders, which come first: each a
    /// folder that holds rulesets as folders, or is one.
    #[must_use]
    pub fn new(folders: Vec<PathBuf>) -> Self {
        Self { folders }
    }

    /// Names of all rulesets that can be loaded.
    #[must_use]
    pub fn names(&self) -> Vec<String> {
        let mut all: Vec<String> = EMBEDDED
            .iter()
            .filter_map(|(path, _)| {
                let mut parts = path.split('/');
                parts.next();
                let name = parts.next()?;
                parts.next()?;
                Some(name.to_owned())
            })
            .collect();
        for folder in &self.folders {
            let Ok(entries) = fs::read_dir(folder) else {
                continue;
            };
            for entry in entries.flatten() {
                if entry.path().join("ruleset.yaml").is_file() {
                    all.push(entry.file_name().to_string_lossy().into_owned());
                }
            }
        }
        all.sort();
        all.dedup();
        all
    }

    /// The texts of a ruleset's files: name and text, in order of their names.
    fn texts(&self, name: &str) -> Result<Vec<(String, String)>, Problem> {
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        if name.is_empty() || !name.chars().all(plain) {
            return Err(Problem::error(
                "bad-ruleset-name",
                format!("`{name}` is not the name of a ruleset"),
            ));
        }
        for folder in &self.folders {
            for candidate in [folder.join(name), folder.clone()] {
                let own = candidate.file_name().is_some_and(|n| n == name);
                if own && candidate.join("ruleset.yaml").is_file() {
                    return from_folder(&candidate);
                }
            }
        }
        let prefix = format!("rulesets/{name}/");
        let found: Vec<(String, String)> = EMBEDDED
            .iter()
            .filter(|(path, _)| path.starts_with(&prefix))
            .map(|(path, text)| ((*path).to_owned(), (*text).to_owned()))
            .collect();
        if found.is_empty() {
            let names = self.names();
            return Err(
                Problem::error("unknown-ruleset", format!("there is no ruleset `{name}`"))
                    .help(format!("there are {}", names.join(", ")))
                    .did_you_mean(name, names.iter().map(String::as_str)),
            );
        }
        Ok(found)
    }

    /// Ids of a ruleset's editions, oldest first; none if it cannot be read.
    #[must_use]
    pub fn editions(&self, name: &str) -> Vec<String> {
        let (mut files, mut problems) = (Vec::new(), Vec::new());
        self.layer(name, &mut files, &mut problems).map_or_else(
            || vec!["1".to_owned()],
            |l| l.editions.into_iter().map(|e| e.id).collect(),
        )
    }

    /// Loads and compiles a ruleset.
    #[must_use]
    pub fn load(&self, request: &Request) -> Loaded {
        let mut files: Vec<Arc<SourceFile>> = Vec::new();
        let mut problems: Vec<Problem> = self
            .folders
            .iter()
            .filter(|f| !f.is_dir())
            .map(|f| {
                Problem::error(
                    "no-such-folder",
                    format!("there is no folder `{}` of rulesets", f.display()),
                )
            })
            .collect();
        let mut layers: Vec<Layer> = Vec::new();
        // The base and its parents, then the patches.
        let mut next = Some(request.base.clone());
        let mut chain = Vec::new();
        while let Some(name) = next.take() {
            if chain.contains(&name) {
                problems.push(Problem::error(
                    "circular-parents",
                    format!("the ruleset `{name}` is its own ancestor"),
                ));
                break;
            }
            match self.layer(&name, &mut files, &mut problems) {
                Some(layer) => {
                    next.clone_from(&layer.parent);
                    chain.push(name);
                    layers.insert(0, layer);
                }
                None => break,
            }
        }
        let bases = layers.len();
        for name in &request.patches {
            if let Some(layer) = self.layer(name, &mut files, &mut problems) {
                layers.push(layer);
            }
        }
        let files = Arc::new(files);
        let ruleset = if problems.is_empty() {
            assemble(request, &layers, bases, &files, &mut problems)
        } else {
            None
        };
        Loaded {
            ruleset: ruleset.filter(|_| problems.is_empty()).map(Arc::new),
            problems,
            files,
        }
    }

    fn layer(
        &self,
        name: &str,
        files: &mut Vec<Arc<SourceFile>>,
        problems: &mut Vec<Problem>,
    ) -> Option<Layer> {
        let texts = match self.texts(name) {
            Ok(t) => t,
            Err(p) => {
                problems.push(p);
                return None;
            }
        };
        let mut documents: Vec<(FileId, Arc<SourceFile>)> = Vec::new();
        for (path, text) in texts {
            let id = FileId(FileId::RULESET + u16::try_from(files.len()).unwrap_or(0x7fff));
            let source = Arc::new(SourceFile::new(path, text));
            files.push(Arc::clone(&source));
            documents.push((id, source));
        }
        // YAML is most of the time a ruleset takes to load; the files do not depend on each other.
        let parsed: Vec<Result<Node, Problem>> = {
            use rayon::prelude::*;
            documents
                .par_iter()
                .map(|(id, source)| yaml::read(*id, source, 0))
                .collect()
        };
        let mut read = Vec::new();
        for ((id, source), node) in documents.into_iter().zip(parsed) {
            match node {
                Ok(node) => read.push((id, source, node)),
                Err(p) => problems.push(p),
            }
        }
        Layer::new(name, read, problems)
    }
}

fn from_folder(folder: &Path) -> Result<Vec<(String, String)>, Problem> {
    let fault = |path: &Path, why: String| {
        Problem::error(
            "unreadable",
            format!("`{}` cannot be read: {why}", path.display()),
        )
    };
    let mut all = Vec::new();
    let entries = fs::read_dir(folder).map_err(|e| fault(folder, e.to_string()))?;
    for entry in entries {
        let path = entry.map_err(|e| fault(folder, e.to_string()))?.path();
        if path.extension().is_some_and(|e| e == "yaml" || e == "yml") {
            let bytes = fs::read(&path).map_err(|e| fault(&path, e.to_string()))?;
            let text = String::from_utf8(bytes)
                .map_err(|e| fault(&path, format!("it is not UTF-8 text: {e}")))?;
            all.push((path.display().to_string(), text));
        }
    }
    all.sort();
    Ok(all)
}
