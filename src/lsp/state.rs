//! What the server knows: open texts, the designs they belong to, and what was found about them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use gen_lsp_types::{Diagnostic, TextDocumentPositionParams, TextEdit, Uri, WorkspaceEdit};

use super::checker::Checker;
use super::client::Client;
use super::document::{Document, path_of};
use super::given::Rules;
use super::position::Lines;
use crate::answer::{AllBounds, Help};
use crate::check::Finding;
use crate::design::model::ObjectId;
use crate::design::parse::{Parsed, parse};
use crate::design::tree::Item;
use crate::session::{CONFIG, Checked, Config, Loaded, Mending, Options, Project};
use crate::source::{Disk, FileId, SourceFile, Span};

/// How long after the last edit a check begins.
const PAUSE: Duration = Duration::from_millis(100);
/// How long after the first edit that is not checked a check begins, however fast edits follow.
const PATIENCE: Duration = Duration::from_secs(1);

/// See the module.
pub(super) struct State {
    pub(super) client: Client,
    /// Folders with rulesets that the command line names.
    pub(super) rulesets: Vec<PathBuf>,
    pub(super) project: Project,
    pub(super) options: Options,
    /// Folders that the editor has open.
    pub(super) folders: Vec<PathBuf>,
    /// Open texts, by path.
    pub(super) open: BTreeMap<PathBuf, Document>,
    pub(super) checker: Checker,
    /// The designs that open texts belong to, as they were last given to be checked.
    pub(super) current: BTreeMap<PathBuf, Arc<Loaded>>,
    /// What was last found about each of them, if only of an older text.
    pub(super) found: BTreeMap<PathBuf, Found>,
    /// What is wrong with rules that are open, and what they give a name to.
    pub(super) rules: Rules,
    /// What was told of each file.
    pub(super) told: BTreeMap<PathBuf, (Option<i32>, Vec<Diagnostic>)>,
    /// Designs of the folders, and the files that each uses; looked up again when one is saved.
    users: Option<Vec<(PathBuf, Vec<PathBuf>)>>,
    /// Since when something is not checked, and when it will be.
    pub(super) due: Option<(Instant, Instant)>,
}

/// What was found about one design.
pub(super) struct Found {
    /// The design as it was opened for it.
    pub(super) loaded: Arc<Loaded>,
    pub(super) checked: Checked,
    /// Changes that were tried, for each breach: a rule and its subject.
    pub(super) helps: Vec<((String, ObjectId), Vec<Help>)>,
    pub(super) mending: Option<Mending>,
    pub(super) bounds: Option<AllBounds>,
}

impl Found {
    /// What came of each rule.
    pub(super) fn findings(&self) -> impl Iterator<Item = &Finding> {
        let judged = self.checked.judged.iter();
        judged.flat_map(|j| &j.report.findings)
    }
}

/// A text as part of its design.
pub(super) struct View {
    pub(super) loaded: Arc<Loaded>,
    /// The design.
    pub(super) root: PathBuf,
    /// The text among its files.
    pub(super) file: FileId,
    pub(super) source: Arc<SourceFile>,
    pub(super) parsed: Arc<Parsed>,
    pub(super) lines: Lines,
}

impl View {
    /// The text.
    pub(super) fn text(&self) -> &str {
        self.source.text()
    }

    /// Where a span of it is.
    pub(super) fn range(&self, span: Span) -> gen_lsp_types::Range {
        self.lines.of(self.text(), span)
    }
}

impl State {
    pub(super) fn new(
        client: Client,
        rulesets: Vec<PathBuf>,
        folders: Vec<PathBuf>,
        checker: Checker,
    ) -> Self {
        let mut state = Self {
            client,
            project: Project::on_disk(rulesets.clone()).for_editing(),
            rulesets,
            options: Options::default(),
            folders,
            open: BTreeMap::new(),
            checker,
            current: BTreeMap::new(),
            found: BTreeMap::new(),
            rules: Rules::default(),
            told: BTreeMap::new(),
            users: None,
            due: None,
        };
        state.configure();
        state
    }

    /// Reads `amperule.toml` of the first folder, and everything else again.
    pub(super) fn configure(&mut self) {
        let mut rulesets = self.rulesets.clone();
        self.options = Options::default();
        if let Some(folder) = self.folders.first() {
            match Config::of(&Disk, folder) {
                Ok(Some(config)) => {
                    rulesets.extend(config.rulesets);
                    self.options.defaults = config.defaults;
                }
                Ok(None) => {}
                Err((problems, sources)) => {
                    for p in problems {
                        let at = p.labels.first().and_then(|l| sources.place(l.span));
                        let at = at.unwrap_or_else(|| CONFIG.to_owned());
                        self.client.tell(&format!("{at}: {}", p.message));
                    }
                }
            }
        }
        self.project = Project::on_disk(rulesets).for_editing();
        for (path, document) in &self.open {
            self.project.edit(path, document.text.as_str());
        }
        self.users = None;
        self.is_due();
    }

    /// Something changed: a check will begin when nothing more does for a while.
    pub(super) fn is_due(&mut self) {
        let now = Instant::now();
        let since = self.due.map_or(now, |(since, _)| since);
        self.due = Some((since, (now + PAUSE).min(since + PATIENCE)));
    }

    /// How long until a check begins, if one will.
    pub(super) fn until_due(&self) -> Option<Duration> {
        let (_, at) = self.due?;
        Some(at.saturating_duration_since(Instant::now()))
    }

    /// Whether a file holds rules, not a design.
    pub(super) fn is_rules(path: &Path) -> bool {
        path.extension().is_some_and(|e| e == "yaml" || e == "yml")
    }

    /// A text was opened.
    pub(super) fn opened(&mut self, path: PathBuf, document: Document) {
        self.project.edit(&path, document.text.as_str());
        if self.open.insert(path, document).is_some() {
            self.client
                .log("a text was opened twice; the newer one counts");
        }
        self.is_due();
    }

    /// A text was edited.
    pub(super) fn edited(&mut self, path: &Path) {
        if let Some(document) = self.open.get(path) {
            self.project.edit(path, document.text.as_str());
        }
        self.is_due();
    }

    /// A text was closed: what stands on the disk counts again.
    pub(super) fn closed(&mut self, path: &Path) {
        let Some(document) = self.open.remove(path) else {
            self.client.log("a text was closed that was not open");
            return;
        };
        self.project.forget(path);
        self.told.remove(path);
        self.client.publish(document.uri, None, Vec::new());
        self.is_due();
    }

    /// A file was saved, or changed by another program.
    pub(super) fn saved(&mut self, path: &Path) {
        self.users = None;
        if Self::is_rules(path) || path.file_name().is_some_and(|n| n == CONFIG) {
            self.configure();
        }
        self.is_due();
    }

    /// The address of a file.
    pub(super) fn uri(&self, path: &Path) -> Option<Uri> {
        if let Some(document) = self.open.get(path) {
            return Some(document.uri.clone());
        }
        Uri::from_file_path(std::path::absolute(path).ok()?).ok()
    }

    /// Edits of texts, by path, as the protocol has them.
    pub(super) fn edit(&self, edits: BTreeMap<PathBuf, Vec<TextEdit>>) -> WorkspaceEdit {
        let all = edits.into_iter();
        let changes = all.filter_map(|(path, edits)| Some((self.uri(&path)?, edits)));
        WorkspaceEdit {
            changes: Some(changes.collect()),
            ..WorkspaceEdit::default()
        }
    }

    /// Whether an open text defines parts and says nothing of an installation.
    pub(super) fn is_only_parts(&self, path: &Path) -> bool {
        self.open.get(path).is_some_and(|d| d.only_parts())
    }

    /// The design that an open text belongs to: itself, or one that uses it.
    pub(super) fn home(&mut self, path: &Path) -> PathBuf {
        if !self.is_only_parts(path) {
            return path.to_path_buf();
        }
        let using = self.users_of(path).into_iter().find(|root| root != path);
        using.unwrap_or_else(|| path.to_path_buf())
    }

    /// The open text of a request about a place in it, and the byte there.
    pub(super) fn place(&mut self, at: &TextDocumentPositionParams) -> Option<(View, usize)> {
        let view = self.view(&path_of(&at.text_document.uri))?;
        let byte = view.lines.byte(view.text(), at.position);
        Some((view, byte))
    }

    /// An open design text as part of its design; none for other files.
    pub(super) fn view(&mut self, path: &Path) -> Option<View> {
        if !self.open.contains_key(path) || Self::is_rules(path) {
            return None;
        }
        let mut root = self.home(path);
        let mut loaded = self.project.open(&root, &self.options);
        if file_of(&loaded, path).is_none() {
            // The design uses it no longer.
            root = path.to_path_buf();
            loaded = self.project.open(path, &self.options);
        }
        let file = file_of(&loaded, path)?;
        let source = Arc::clone(loaded.sources.get(file)?);
        let parsed = Arc::clone(loaded.parsed(file)?);
        Some(View {
            lines: Lines::new(source.text(), self.client.encoding),
            root,
            file,
            source,
            parsed,
            loaded,
        })
    }

    /// What was found about a design just as it stands.
    pub(super) fn found(&self, view: &View) -> Option<&Found> {
        let found = self.found.get(&view.root)?;
        Arc::ptr_eq(&found.loaded, &view.loaded).then_some(found)
    }

    /// The designs that use a file, open or in the folders.
    pub(super) fn users_of(&mut self, file: &Path) -> Vec<PathBuf> {
        let users = self
            .users
            .get_or_insert_with(|| users(&self.project, &self.folders));
        let using = users
            .iter()
            .filter(|(_, used)| used.iter().any(|u| u == file));
        let mut all: Vec<PathBuf> = using.map(|(root, _)| root.clone()).collect();
        let open = self.current.iter();
        let open = open.filter(|(_, l)| file_of(l, file).is_some());
        all.extend(open.map(|(root, _)| root.clone()));
        all.sort();
        all.dedup();
        all
    }
}

/// A text among the files of a design.
pub(super) fn file_of(loaded: &Loaded, path: &Path) -> Option<FileId> {
    let mut files = (0_u16..).map(FileId).zip(loaded.sources.own());
    files
        .find(|(_, f)| Path::new(f.name()) == path)
        .map(|(id, _)| id)
}

/// The designs in some folders, and the files that each uses.
fn users(project: &Project, folders: &[PathBuf]) -> Vec<(PathBuf, Vec<PathBuf>)> {
    let (designs, _) = project.designs(folders);
    let uses = |path: &PathBuf| {
        let text = project.text(path).ok()?;
        let folder = path.parent()?;
        let used = parse(FileId(0), &text).tree.items.into_iter();
        let used = used.filter_map(|item| match item {
            Item::Use(used) => Some(folder.join(used.path.value)),
            _ => None,
        });
        Some((path.clone(), used.collect::<Vec<_>>()))
    };
    let all = designs.iter().filter_map(uses);
    all.filter(|(_, used)| !used.is_empty()).collect()
}
