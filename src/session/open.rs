//! From a path to a design: its text, the parts files that it uses, the ruleset that it names.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::installation::Installation;
use super::loaded::Loaded;
use super::options::{Options, split_rules};
use super::project::Project;
use crate::check::{mistaken_departures, too_large};
use crate::design::parse::{Parsed, parse, parse_value};
use crate::design::resolve::{self, RulesNamed, resolve, rules_named};
use crate::design::tree::{Item, Tree, Value};
use crate::ruleset::{Request, Ruleset, Stage};
use crate::source::limits::{DESIGN_BYTES, FILES, SURELY_SMALL};
use crate::source::{Problem, SourceFile, Sources};

/// What is being opened.
struct Opening<'a> {
    project: &'a Project,
    options: &'a Options,
    sources: Sources,
    problems: Vec<Problem>,
    /// Each file that was read, the design itself last.
    parsed: Vec<Arc<Parsed>>,
    /// The same, in the order of their ids.
    by_id: Vec<Arc<Parsed>>,
    done: Vec<PathBuf>,
    /// Bytes of these files.
    bytes: usize,
    /// The stage in force.
    stage: Stage,
}

impl Project {
    /// Opens a design with all that it uses, under the ruleset that it or the options name.
    ///
    /// Nothing here fails: mistakes are problems of what is opened, and the rest is judged.
    #[must_use]
    pub fn open(&self, path: &Path, options: &Options) -> Arc<Loaded> {
        let mut opening = Opening {
            project: self,
            options,
            sources: Sources::default(),
            problems: Vec::new(),
            parsed: Vec::new(),
            by_id: Vec::new(),
            done: Vec::new(),
            bytes: 0,
            stage: (options.stage)
                .or(options.defaults.stage)
                .unwrap_or(Stage::Design),
        };
        let ruleset = opening
            .read(path)
            .and_then(|main| opening.ruleset(path, &main));
        let Some(ruleset) = ruleset else {
            return opening.finish(path, None, None);
        };
        // Nothing that it rests on has changed: it is what it was.
        let before = self.kept().and_then(|k| k.opened(path, options));
        if let Some(before) = before
            && before.is_over(
                (&opening.sources, &opening.problems),
                &ruleset,
                options.set.len(),
            )
        {
            return before;
        }
        let set = opening.set();
        let trees: Vec<&Tree> = opening.parsed.iter().map(|p| &p.tree).collect();
        let resolved = resolve(&trees, &ruleset.vocabulary, &resolve::Settings { set });
        opening.problems.extend(resolved.problems);
        let mistaken = mistaken_departures(&ruleset, &resolved.design);
        opening.problems.extend(mistaken);
        let installation = (!resolved.too_large).then(|| {
            Installation::new(
                Arc::clone(&ruleset),
                Arc::new(resolved.design),
                opening.stage,
                options.on,
            )
        });
        let installation = installation.filter(|i| {
            let fits = resolved.things <= SURELY_SMALL || !i.is_too_large();
            if !fits {
                opening.problems.push(too_large());
            }
            fits
        });
        let loaded = opening.finish(path, Some(ruleset), installation);
        if let Some(mut kept) = self.kept() {
            kept.keep(path, options, &loaded);
        }
        loaded
    }
}

impl Opening<'_> {
    fn finish(
        self,
        path: &Path,
        ruleset: Option<Arc<Ruleset>>,
        installation: Option<Installation>,
    ) -> Arc<Loaded> {
        Arc::new(Loaded {
            path: path.display().to_string(),
            sources: self.sources,
            parsed: self.by_id,
            problems: self.problems,
            ruleset,
            stage: self.stage,
            installation,
        })
    }

    /// Reads the design and the parts files that it uses.
    fn read(&mut self, path: &Path) -> Option<Arc<Parsed>> {
        self.done.push(self.project.real(path));
        let main = match self.file(path) {
            Ok(parsed) => parsed,
            Err(problem) => {
                self.problems.push(problem);
                return None;
            }
        };
        self.uses(&main, path, path);
        self.parsed.push(Arc::clone(&main));
        Some(main)
    }

    /// Reads one file; what was read before and has not changed is not parsed again.
    fn file(&mut self, path: &Path) -> Result<Arc<Parsed>, Problem> {
        let text = self.project.text(path)?;
        // A file that is too large alone is told of where it is parsed.
        if self.bytes > 0 && self.bytes + text.len() > DESIGN_BYTES {
            let (path, bytes) = (path.display(), self.bytes + text.len());
            return Err(Problem::error(
                "design-too-large",
                format!("`{path}` is not read: the files of this design have {bytes} bytes, the most is {DESIGN_BYTES}"),
            )
            .help("split it into several designs, each an installation of its own"));
        }
        self.bytes += text.len();
        let id = self.sources.next_id();
        let before = self.project.kept().and_then(|k| k.parsed(path, id, &text));
        let (source, parsed) = before.unwrap_or_else(|| {
            let source = Arc::new(SourceFile::new(path.display().to_string(), text));
            let parsed = Arc::new(parse(id, source.text()));
            if let Some(mut kept) = self.project.kept() {
                kept.keep_parsed(path, id, &source, &parsed);
            }
            (source, parsed)
        });
        self.sources.add(source);
        self.by_id.push(Arc::clone(&parsed));
        self.problems.extend(parsed.problems.iter().cloned());
        Ok(parsed)
    }

    /// Reads what a file uses, for a design.
    fn uses(&mut self, parsed: &Parsed, from: &Path, design: &Path) {
        for item in &parsed.tree.items {
            let Item::Use(used) = item else { continue };
            let folder = from.parent().unwrap_or(Path::new(""));
            let path = folder.join(&used.path.value);
            let real = self.project.real(&path);
            if self.done.contains(&real) {
                continue;
            }
            if self.done.len() >= FILES {
                let why = format!("a design uses at most {FILES} files; this one is not read");
                self.problems.push(
                    Problem::error("too-many-files", why)
                        .at(used.path.span, "")
                        .help("join some of the parts files"),
                );
                continue;
            }
            self.done.push(real);
            if let Some(problem) = self.unread(&path, design) {
                self.problems.push(problem.at(used.path.span, ""));
                continue;
            }
            match self.file(&path) {
                Ok(parts) => {
                    self.uses(&parts, &path, design);
                    self.parsed.push(parts);
                }
                Err(problem) => self.problems.push(problem.at(used.path.span, "used here")),
            }
        }
    }

    /// Why a file that is used is not even looked at: what a stranger's design names is not read
    /// wherever it lies, and lines of what is no design are not shown.
    fn unread(&self, path: &Path, design: &Path) -> Option<Problem> {
        let shown = path.display();
        if !self.options.allow_outside && !self.project.is_beside(design, path) {
            let text = format!("`{shown}` lies outside of the design's folder and is not read");
            return Some(Problem::error("outside", text).help(
                "put it into the folder of the design, or give --allow-outside if you trust the design",
            ));
        }
        let real = self.project.real(path);
        if real.extension().is_none_or(|e| e != "amp") {
            let text = format!("`{shown}` is no design and is not read");
            let why = "the name of a file with parts ends in `.amp`, and so does that of what it leads to";
            return Some(Problem::error("no-design", text).help(why));
        }
        None
    }

    /// The ruleset that the options or the design name, and the stage it is judged at.
    fn ruleset(&mut self, path: &Path, main: &Parsed) -> Option<Arc<Ruleset>> {
        let (named, wrong) = rules_named(&main.tree);
        self.problems.extend(wrong);
        let request = self.request(path, named.as_ref())?;
        let loaded = self.project.ruleset(&request);
        self.sources.set_ruleset(loaded.files.clone());
        if loaded.ruleset.is_none() {
            // What the options name stands in no file.
            let rules = match &self.options.rules {
                None => named.as_ref().map(|n| n.base.span),
                Some(_) => None,
            };
            let edition = named.as_ref().filter(|_| self.options.edition.is_none());
            let edition = edition.and_then(|n| n.edition.as_ref()).map(|e| e.span);
            for problem in &loaded.problems {
                let mut problem = problem.clone();
                let at = match problem.code {
                    "unknown-edition" => edition.or(rules),
                    _ => rules,
                };
                if problem.labels.is_empty()
                    && let Some(at) = at
                {
                    problem = problem.at(at, "named here");
                }
                self.problems.push(problem);
            }
        }
        if let (Some(ruleset), Some(named)) = (&loaded.ruleset, &named) {
            self.hold(named, &ruleset.hash);
        }
        loaded.ruleset.clone()
    }

    /// A design that names the content of its rules is not judged by another unseen. Other rules
    /// or another edition are asked for to see what they say.
    fn hold(&mut self, named: &RulesNamed, hash: &str) {
        if self.options.rules.is_some() || self.options.edition.is_some() {
            return;
        }
        for pin in named.pins.iter().filter(|pin| pin.value != hash) {
            let text = format!(
                "the rules have the hash {hash}, and the design is made for those with {}",
                pin.value
            );
            self.problems.push(
                Problem::error("other-rules", text)
                    .at(pin.span, "")
                    .help(format!(
                        "look at what the other rules say, then write `{} @ {hash}`; an edition is named by `edition: \"A2\"`",
                        named.base.value
                    )),
            );
        }
    }

    fn request(&mut self, path: &Path, named: Option<&RulesNamed>) -> Option<Request> {
        let Options {
            rules, defaults, ..
        } = self.options;
        let (base, patches) = match (rules, named, &defaults.rules) {
            (Some(rules), ..) | (None, None, Some(rules)) => split_rules(rules),
            (None, Some(named), _) => {
                let patches = named.patches.iter().map(|p| p.value.clone());
                (named.base.value.clone(), patches.collect())
            }
            (None, None, None) => {
                // In a file with mistakes the line that names them may be the one that is broken.
                if !self.problems.iter().any(Problem::is_error) {
                    let path = path.display();
                    let why = format!("`{path}` does not say by which rules it is judged");
                    Problem::error("no-rules", why)
                        .help("write `rules: gb` in its installation block, or give --rules gb")
                        .report(&mut self.problems);
                }
                return None;
            }
        };
        if self.options.stage.is_none()
            && let Some(stage) = named.and_then(|n| n.stage.as_ref())
        {
            // A word that is none is told where the design is read under its ruleset.
            self.stage = Stage::from_word(&stage.value).unwrap_or(self.stage);
        }
        let edition = named.and_then(|n| n.edition.as_ref());
        let date = named.and_then(|n| n.started_on.as_ref().or(n.designed_on.as_ref()));
        Some(Request {
            base,
            patches,
            edition: self
                .options
                .edition
                .clone()
                .or_else(|| edition.map(|e| e.value.clone())),
            on: self.options.on.or_else(|| date.map(|d| d.value)),
        })
    }

    /// The values that the options give to parameters.
    fn set(&mut self) -> Vec<(String, Value)> {
        let mut set = Vec::new();
        for (name, text) in &self.options.set {
            let source = SourceFile::new(format!("--set {name}"), text.clone());
            let id = self.sources.add(source);
            let (value, wrong) = parse_value(id, text, 0);
            self.problems.extend(wrong);
            set.push((name.clone(), value));
        }
        set
    }
}
