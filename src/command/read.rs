//! Reading designs: files, folders, parts files, and the ruleset each names.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use crate::design::model::Design;
use crate::design::parse::{parse, parse_value};
use crate::design::resolve::{self, RulesNamed, resolve, rules_named};
use crate::design::tree::{Item, Tree, Value};
use crate::quantity::parse_date;
use crate::ruleset::{Library, Loaded, Request, Ruleset, Stage};
use crate::source::{FileId, Problem, SourceFile, Sources};

use super::rules::split_rules;

/// The largest design file that is read.
const LARGEST: u64 = 16 << 20;

/// What the command line says about every design.
#[derive(Clone, Debug, Default)]
pub(super) struct Wanted {
    pub(super) rules: Option<String>,
    pub(super) edition: Option<String>,
    pub(super) on: Option<i32>,
    pub(super) stage: Option<Stage>,
    pub(super) set: Vec<(String, String)>,
    /// Texts that stand in for files, by the name of the file.
    pub(super) overlay: BTreeMap<String, String>,
}

/// A design that was read, as far as it could be.
pub(super) struct Read {
    pub(super) path: String,
    pub(super) sources: Sources,
    pub(super) problems: Vec<Problem>,
    pub(super) ruleset: Option<Arc<Ruleset>>,
    pub(super) design: Option<Design>,
    pub(super) stage: Stage,
    pub(super) on: Option<i32>,
}

/// Rulesets by what was asked for, loaded once for all files of a run.
pub(super) struct Shelf {
    library: Library,
    loaded: Mutex<BTreeMap<String, Arc<Loaded>>>,
}

impl Shelf {
    pub(super) fn new(library: Library) -> Self {
        Self {
            library,
            loaded: Mutex::new(BTreeMap::new()),
        }
    }

    fn get(&self, request: &Request) -> Arc<Loaded> {
        let key = format!("{request:?}");
        let mut shelf = match self.loaded.lock() {
            Ok(s) => s,
            // Another thread failed while it held the shelf; what stands there is whole.
            Err(e) => e.into_inner(),
        };
        if let Some(l) = shelf.get(&key) {
            return Arc::clone(l);
        }
        let l = Arc::new(self.library.load(request));
        shelf.insert(key, Arc::clone(&l));
        l
    }
}

/// The design files among some paths, in stable order; what cannot be listed is a problem.
pub(super) fn design_files(paths: &[PathBuf]) -> (Vec<PathBuf>, Vec<Problem>) {
    let (files, problems) = design_files_of_each(paths);
    (files, problems.into_iter().map(|(_, p)| p).collect())
}

/// The same, each problem with the path it was found under.
pub(super) fn design_files_of_each(paths: &[PathBuf]) -> (Vec<PathBuf>, Vec<(PathBuf, Problem)>) {
    let (mut files, mut all) = (Vec::new(), Vec::new());
    for path in paths {
        if path.is_dir() {
            let before = files.len();
            let mut problems = Vec::new();
            walk(path, &mut files, &mut problems, 0);
            if let Some(new) = files.get_mut(before..) {
                new.sort();
            }
            if files.len() == before {
                problems.push(
                    Problem::error(
                        "no-designs",
                        format!("the folder `{}` holds no design", path.display()),
                    )
                    .help("the name of a design file ends in .amp"),
                );
            }
            all.extend(problems.into_iter().map(|p| (path.clone(), p)));
        } else {
            files.push(path.clone());
        }
    }
    (files, all)
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>, problems: &mut Vec<Problem>, depth: usize) {
    let entries = match fs::read_dir(folder) {
        Ok(e) if depth < 64 => e,
        Ok(_) => return,
        Err(e) => {
            problems.push(Problem::error(
                "unreadable",
                format!("the folder `{}` cannot be read: {e}", folder.display()),
            ));
            return;
        }
    };
    for entry in entries.flatten() {
        let path = entry.path();
        let link = entry.file_type().is_ok_and(|t| t.is_symlink());
        if path.is_dir() && !link {
            walk(&path, files, problems, depth + 1);
        } else if path.extension().is_some_and(|e| e == "amp") {
            files.push(path);
        }
    }
}

fn read_text(path: &Path) -> Result<String, Problem> {
    let fault = |why: String| {
        Problem::error(
            "unreadable",
            format!("`{}` cannot be read: {why}", path.display()),
        )
    };
    let about = fs::metadata(path).map_err(|e| fault(e.to_string()))?;
    // A pipe would wait for ever, a device might never end.
    if !about.is_file() {
        return Err(fault("it is not a file".to_owned()));
    }
    let size = about.len();
    if size > LARGEST {
        return Err(fault(format!(
            "it is {} MB, a design has at most {}",
            size >> 20,
            LARGEST >> 20
        )));
    }
    let bytes = fs::read(path).map_err(|e| fault(e.to_string()))?;
    String::from_utf8(bytes).map_err(|e| {
        fault(format!(
            "it is not UTF-8 text (byte {} does not fit); save it as UTF-8",
            e.utf8_error().valid_up_to()
        ))
    })
}

/// The text of a file, or what stands in for it.
fn text_of(path: &Path, overlay: &BTreeMap<String, String>) -> Result<String, Problem> {
    match overlay.get(&path.display().to_string()) {
        Some(text) => Ok(text.clone()),
        None => read_text(path),
    }
}

/// Parses a file and the parts files it uses; the file itself comes last.
fn trees(
    path: &Path,
    overlay: &BTreeMap<String, String>,
    sources: &mut Sources,
    problems: &mut Vec<Problem>,
) -> Option<Vec<Tree>> {
    let text = match text_of(path, overlay) {
        Ok(t) => t,
        Err(p) => {
            problems.push(p);
            return None;
        }
    };
    let id = sources.add(SourceFile::new(path.display().to_string(), text));
    let main = parse_file(sources, id, problems)?;
    let mut all = Vec::new();
    let mut done: Vec<PathBuf> = vec![path.to_path_buf()];
    uses(&main, path, overlay, sources, problems, &mut all, &mut done);
    all.push(main);
    Some(all)
}

fn parse_file(sources: &Sources, id: FileId, problems: &mut Vec<Problem>) -> Option<Tree> {
    let file = sources.get(id)?;
    let parsed = parse(id, file.text());
    problems.extend(parsed.problems);
    Some(parsed.tree)
}

fn uses(
    tree: &Tree,
    from: &Path,
    overlay: &BTreeMap<String, String>,
    sources: &mut Sources,
    problems: &mut Vec<Problem>,
    all: &mut Vec<Tree>,
    done: &mut Vec<PathBuf>,
) {
    for item in &tree.items {
        let Item::Use(u) = item else { continue };
        let path = from.parent().unwrap_or(Path::new("")).join(&u.path.value);
        if done.contains(&path) || done.len() > 32 {
            continue;
        }
        done.push(path.clone());
        match text_of(&path, overlay) {
            Ok(text) => {
                let id = sources.add(SourceFile::new(path.display().to_string(), text));
                if let Some(t) = parse_file(sources, id, problems) {
                    uses(&t, &path, overlay, sources, problems, all, done);
                    all.push(t);
                }
            }
            Err(p) => problems.push(p.at(u.path.span, "used here")),
        }
    }
}

/// Values of `--set name=value`.
fn settings(
    wanted: &Wanted,
    sources: &mut Sources,
    problems: &mut Vec<Problem>,
) -> resolve::Settings {
    let mut set: Vec<(String, Value)> = Vec::new();
    for (name, text) in &wanted.set {
        let id = sources.add(SourceFile::new(format!("--set {name}"), text.clone()));
        let (value, wrong) = parse_value(id, text, 0);
        problems.extend(wrong);
        set.push((name.clone(), value));
    }
    resolve::Settings { set }
}

/// Reads one design with the ruleset that it, or the command line, names.
pub(super) fn read(path: &Path, wanted: &Wanted, shelf: &Shelf) -> Read {
    let mut out = Read {
        path: path.display().to_string(),
        sources: Sources::default(),
        problems: Vec::new(),
        ruleset: None,
        design: None,
        stage: wanted.stage.unwrap_or(Stage::Design),
        on: wanted.on,
    };
    let Some(trees) = trees(path, &wanted.overlay, &mut out.sources, &mut out.problems) else {
        return out;
    };
    let Some(main) = trees.last() else {
        return out;
    };
    let (named, wrong) = rules_named(main);
    out.problems.extend(wrong);
    let Some(request) = request(wanted, named.as_ref(), &mut out) else {
        return out;
    };
    let loaded = shelf.get(&request);
    out.sources.set_ruleset(loaded.files.clone());
    let Some(ruleset) = &loaded.ruleset else {
        // What the command line names stands in no file.
        let at = match &wanted.rules {
            None => named.as_ref().map(|n| n.base.span),
            Some(_) => None,
        };
        for p in &loaded.problems {
            let mut p = p.clone();
            if p.labels.is_empty()
                && let Some(at) = at
            {
                p = p.at(at, "named here");
            }
            out.problems.push(p);
        }
        return out;
    };
    out.ruleset = Some(Arc::clone(ruleset));
    let settings = settings(wanted, &mut out.sources, &mut out.problems);
    let resolved = resolve(&trees, &ruleset.vocabulary, &settings);
    out.problems.extend(resolved.problems);
    out.on = out.on.or(resolved.design.newest_date);
    out.design = Some(resolved.design);
    out
}

fn request(wanted: &Wanted, named: Option<&RulesNamed>, out: &mut Read) -> Option<Request> {
    let (base, patches) = match (&wanted.rules, named.map(|n| &n.base)) {
        (Some(rules), _) => split_rules(rules),
        (None, Some(base)) => (
            base.value.clone(),
            named
                .map(|n| n.patches.iter().map(|p| p.value.clone()).collect())
                .unwrap_or_default(),
        ),
        (None, None) => {
            out.problems.push(
                Problem::error(
                    "no-rules",
                    format!("`{}` does not say by which rules it is judged", out.path),
                )
                .help("write `rules: gb` in its installation block, or give --rules gb"),
            );
            return None;
        }
    };
    if wanted.stage.is_none()
        && let Some(stage) = named.and_then(|n| n.stage.as_ref())
    {
        match Stage::from_word(&stage.value) {
            Some(s) => out.stage = s,
            None => out.problems.push(
                Problem::error("unknown-stage", format!("`{}` is no stage", stage.value))
                    .at(stage.span, "")
                    .help(format!("one of {}", Stage::ALL.map(Stage::word).join(", ")))
                    .did_you_mean(&stage.value, Stage::ALL.map(Stage::word)),
            ),
        }
    }
    let date = named.and_then(|n| n.started_on.as_ref().or(n.designed_on.as_ref()));
    Some(Request {
        base,
        patches,
        edition: wanted.edition.clone().or_else(|| {
            named
                .and_then(|n| n.edition.as_ref())
                .map(|e| e.value.clone())
        }),
        on: wanted.on.or_else(|| date.map(|d| d.value)),
    })
}

/// Reads `--on 2026-11-02`.
pub(super) fn parse_on(text: &str) -> Result<i32, String> {
    parse_date(text).map_err(|_| format!("`{text}` is not a date; write it like 2026-11-02"))
}

/// Reads `--set run=12 m`.
pub(super) fn parse_set(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((name, value)) if !name.trim().is_empty() && !value.trim().is_empty() => {
            Ok((name.trim().to_owned(), value.trim().to_owned()))
        }
        _ => Err(format!(
            "`{text}` is not of the form name=value, like run=12m"
        )),
    }
}
