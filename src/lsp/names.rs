//! Names: where each is given, where it is used, and what a rename changes.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use gen_lsp_types::{
    Definition, DefinitionParams, DefinitionResponse, Location, PrepareRenameParams,
    PrepareRenamePlaceholder, PrepareRenameResult, ReferenceParams, RenameParams, TextEdit,
    WorkspaceEdit,
};
use lsp_server::ErrorCode;

use super::client::Refusal;
use super::context::named;
use super::diagnostics::Places;
use super::rulesets;
use super::state::{State, View, file_of};
use crate::design::cursor::token;
use crate::design::model::{Design, Object, ObjectId, Possible};
use crate::design::tree::{Block, Entry, Item, Tree};
use crate::session::Loaded;
use crate::source::{FileId, Memory, Sources, Span};
use crate::vocabulary::{FactType, NameRole, Vocabulary};

/// A place where a name stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Use {
    /// The name.
    pub(super) at: Span,
    /// Where it is given; the same place, if this is it.
    pub(super) given: Span,
}

/// All names of a design, where each is given and used.
pub(super) struct Names {
    uses: Vec<Use>,
    /// Places that give a name which a rename may change.
    free: Vec<Span>,
}

impl Names {
    pub(super) fn new(loaded: &Loaded) -> Self {
        let mut names = Self {
            uses: Vec::new(),
            free: Vec::new(),
        };
        let (Some(of), Some(ruleset)) = (&loaded.installation, &loaded.ruleset) else {
            return names;
        };
        let (design, v) = (of.design(), &ruleset.vocabulary);
        let mut words: BTreeMap<&str, Span> = BTreeMap::new();
        let mut blocks: BTreeMap<Span, Span> = BTreeMap::new();
        let files = (0_u16..).map(FileId).zip(loaded.sources.own());
        for parsed in files.filter_map(|(id, _)| loaded.parsed(id)) {
            names.given(&parsed.tree, v, &mut words, &mut blocks);
        }
        names.uses.extend(names.free.iter().map(|at| Use {
            at: *at,
            given: *at,
        }));
        let given = |id: ObjectId| blocks.get(&design.object(id).span).copied();
        for id in design.ids().filter(|id| !design.object(*id).phantom) {
            let object = design.object(id);
            let kind = v.kind(object.kind);
            for (ix, written) in kind.fact_ids().zip(&object.facts) {
                let Some(written) = written else { continue };
                match kind.fact(ix).ty {
                    FactType::Reference(_) | FactType::References(_) => {
                        let mut to = Vec::new();
                        named(&written.value, &mut to);
                        names.leading(&loaded.sources, written.span, design, &to, &given);
                    }
                    // What goes by a name that is given once for all.
                    _ => names.known(&loaded.sources, written.span, &words),
                }
            }
        }
        for subject in design.departures.iter().filter_map(|d| d.subject.as_ref()) {
            let to = [subject.value];
            names.leading(&loaded.sources, subject.span, design, &to, &given);
        }
        names.uses.sort();
        names.uses.dedup();
        names
    }

    /// Notes where a file gives names.
    fn given<'t>(
        &mut self,
        tree: &'t Tree,
        v: &Vocabulary,
        words: &mut BTreeMap<&'t str, Span>,
        blocks: &mut BTreeMap<Span, Span>,
    ) {
        for item in &tree.items {
            let name = match item {
                Item::Define(d) => &d.name,
                Item::Parameter(p) => &p.name,
                Item::Block(block) => {
                    self.given_by(block, v, blocks);
                    continue;
                }
                Item::Use(_) | Item::No(_) => continue,
            };
            words.insert(&name.text, name.span);
            self.free.push(name.span);
        }
    }

    fn given_by(&mut self, block: &Block, v: &Vocabulary, blocks: &mut BTreeMap<Span, Span>) {
        let kind = v.opened_by(&block.kind.text).unwrap_or(&block.kind.text);
        let role = v.kind_named(kind).map(|k| v.kind(k).name_role);
        let own = block.name.as_ref().filter(|_| role == Some(NameRole::Free));
        self.free.extend(own.map(|name| name.word.span));
        // What has no name of its own goes by its kind.
        let given = own.map_or(block.kind.span, |name| name.word.span);
        blocks.insert(block.span, given);
        for entry in &block.entries {
            if let Entry::Block(inner) = entry {
                self.given_by(inner, v, blocks);
            }
        }
    }

    /// Notes the names in a stretch that leads to some objects, and to the blocks around them.
    fn leading(
        &mut self,
        sources: &Sources,
        span: Span,
        design: &Design,
        to: &[ObjectId],
        given: &dyn Fn(ObjectId) -> Option<Span>,
    ) {
        let mut all: Vec<(&str, Span)> = Vec::new();
        for id in to {
            let mut at = Some(*id);
            while let Some(id) = at {
                let object = design.object(id);
                let name = object.name.split('[').next().unwrap_or("");
                all.extend(given(id).map(|g| (name, g)));
                at = object.scope;
            }
        }
        for (at, word) in words_in(sources, span) {
            if let Some((_, given)) = all.iter().find(|(name, _)| *name == word) {
                self.uses.push(Use { at, given: *given });
            }
        }
    }

    /// Notes names of defines and parameters in a value.
    fn known(&mut self, sources: &Sources, span: Span, words: &BTreeMap<&str, Span>) {
        if words.is_empty() {
            return;
        }
        for (at, word) in words_in(sources, span) {
            if let Some(given) = words.get(word) {
                self.uses.push(Use { at, given: *given });
            }
        }
    }

    /// The name at a place.
    pub(super) fn at(&self, view: &View, byte: usize) -> Option<Use> {
        let here = |u: &&Use| u.at.file == view.file && u.at.from() <= byte && byte <= u.at.until();
        self.uses.iter().find(here).copied()
    }

    /// Everywhere a name that is given there stands.
    fn all(&self, given: Span) -> impl Iterator<Item = Span> {
        self.uses
            .iter()
            .filter(move |u| u.given == given)
            .map(|u| u.at)
    }
}

/// The words of a stretch that stand outside of quotes, comments and brackets.
fn words_in(sources: &Sources, span: Span) -> Vec<(Span, &str)> {
    let Some(file) = sources.get(span.file) else {
        return Vec::new();
    };
    let text = file.text();
    let mut all = Vec::new();
    let (mut depth, mut at) = (0_usize, span.from());
    while at < span.until() {
        let rest = text.get(at..span.until()).unwrap_or("");
        let Some(c) = rest.chars().next() else { break };
        let step = match c {
            '"' => {
                2 + rest
                    .get(1..)
                    .and_then(|r| r.find('"'))
                    .unwrap_or(rest.len())
            }
            '#' => rest.find('\n').unwrap_or(rest.len()),
            _ => {
                let word = token(text, at);
                if word.start == at && !word.is_empty() {
                    let end = word.end.min(span.until());
                    if depth == 0 {
                        let here = Span::new(span.file, at, end);
                        all.push((here, text.get(at..end).unwrap_or("")));
                    }
                    end - at
                } else {
                    match c {
                        '{' => depth += 1,
                        '}' => depth = depth.saturating_sub(1),
                        _ => {}
                    }
                    c.len_utf8()
                }
            }
        };
        at += step.max(1);
    }
    all
}

/// Where the name at a place is given.
pub(super) fn definition(
    state: &mut State,
    params: DefinitionParams,
) -> Option<DefinitionResponse> {
    let at = &params.text_document_position_params;
    let Some((view, byte)) = state.place(at) else {
        return Some(Definition::from(rulesets::given(state, at)?).into());
    };
    let mut places = Places::new(state, &view.loaded.sources);
    let found = used_file(&view, byte)
        .or_else(|| Names::new(&view.loaded).at(&view, byte).map(|u| u.given));
    Some(Definition::from(places.location(found?)?).into())
}

/// The beginning of the file that a `use` at a place names.
fn used_file(view: &View, byte: usize) -> Option<Span> {
    let used = view.parsed.tree.items.iter().find_map(|item| match item {
        Item::Use(u) if u.span.from() <= byte && byte <= u.span.until() => Some(u),
        _ => None,
    })?;
    let path = Path::new(view.source.name())
        .parent()?
        .join(&used.path.value);
    Some(Span::new(file_of(&view.loaded, &path)?, 0, 0))
}

/// Every design that may hold a file: its own, and others that are open or in the folders.
fn holding(state: &mut State, view: &View, file: &Path) -> Vec<Arc<Loaded>> {
    let mut roots = state.users_of(file);
    roots.retain(|r| *r != view.root);
    let mut all = vec![Arc::clone(&view.loaded)];
    all.extend(roots.iter().map(|r| state.project.open(r, &state.options)));
    all
}

/// Everywhere a name stands, in every design that holds the file in which it is given.
fn everywhere(
    state: &mut State,
    view: &View,
    given: Span,
) -> Vec<(PathBuf, gen_lsp_types::Range, bool)> {
    let Some(file) = view.loaded.sources.get(given.file).cloned() else {
        return Vec::new();
    };
    let path = PathBuf::from(file.name());
    let mut all = Vec::new();
    for loaded in holding(state, view, &path) {
        let Some(file) = file_of(&loaded, &path) else {
            continue;
        };
        let here = Span { file, ..given };
        let mut places = Places::new(state, &loaded.sources);
        for span in Names::new(&loaded).all(here) {
            if let Some((path, range)) = places.find(span) {
                all.push((path, range, span == here));
            }
        }
    }
    let key = |(path, range, _): &(PathBuf, gen_lsp_types::Range, bool)| {
        (path.clone(), range.start.line, range.start.character)
    };
    all.sort_by_key(key);
    all.dedup();
    all
}

/// Where the name at a place stands.
pub(super) fn references(state: &mut State, params: ReferenceParams) -> Option<Vec<Location>> {
    let (view, byte) = state.place(&params.text_document_position_params)?;
    let name = Names::new(&view.loaded).at(&view, byte)?;
    let with_given = params.context.include_declaration;
    let all = everywhere(state, &view, name.given).into_iter();
    let all = all.filter(|(.., given)| with_given || !given);
    let locations = all.filter_map(|(path, range, _)| {
        let uri = state.uri(&path)?;
        Some(Location { uri, range })
    });
    Some(locations.collect())
}

/// The name at a place, if it is one that can be changed.
fn renamable(view: &View, byte: usize) -> Option<Use> {
    let names = Names::new(&view.loaded);
    names
        .at(view, byte)
        .filter(|u| names.free.contains(&u.given))
}

/// Whether the name at a place can be changed, and what it is.
pub(super) fn prepare(
    state: &mut State,
    params: PrepareRenameParams,
) -> Option<PrepareRenameResult> {
    let (view, byte) = state.place(&params.text_document_position_params)?;
    let name = renamable(&view, byte)?;
    let placeholder = PrepareRenamePlaceholder {
        range: view.range(name.at),
        placeholder: view.loaded.sources.slice(name.at).to_owned(),
    };
    Some(PrepareRenameResult::PrepareRenamePlaceholder(placeholder))
}

/// Changes a name everywhere, if the design then says the same.
pub(super) fn rename(
    state: &mut State,
    params: RenameParams,
) -> Result<Option<WorkspaceEdit>, Refusal> {
    let refused = |why: &str| Err((ErrorCode::RequestFailed, why.to_owned()));
    let Some((view, byte)) = state.place(&params.text_document_position_params) else {
        return Ok(None);
    };
    let Some(name) = renamable(&view, byte) else {
        return refused("there is no name here that could be changed");
    };
    let mut edits: BTreeMap<PathBuf, Vec<TextEdit>> = BTreeMap::new();
    for (path, range, _) in everywhere(state, &view, name.given) {
        edits.entry(path).or_default().push(TextEdit {
            range,
            new_text: params.new_name.clone(),
        });
    }
    let given = view.loaded.sources.get(name.given.file);
    let path = given.map_or_else(PathBuf::new, |f| PathBuf::from(f.name()));
    let mut texts = Memory::default();
    for (path, edits) in &edits {
        let Ok(mut text) = state.project.text(path) else {
            return refused("a file that holds the name cannot be read");
        };
        let lines = super::position::Lines::new(&text, state.client.encoding);
        for edit in edits.iter().rev() {
            let from = lines.byte(&text, edit.range.start);
            let until = lines.byte(&text, edit.range.end);
            text.replace_range(from..until, &edit.new_text);
        }
        texts.put(path, text);
    }
    let beside = state.project.beside(texts);
    for before in holding(state, &view, &path) {
        let after = beside.open(Path::new(&before.path), &state.options);
        if !says_the_same(&before, &after) {
            return refused(&format!(
                "`{}` cannot be the name: {} would then say something else",
                params.new_name, before.path
            ));
        }
    }
    Ok(Some(state.edit(edits)))
}

/// What is written of each fact of a thing.
fn values(object: &Object) -> impl Iterator<Item = Option<&Possible>> {
    let facts = object.facts.iter();
    facts.map(|f| f.as_ref().map(|w| &w.value))
}

/// Whether two designs hold the same things with the same facts, whatever they are called.
fn says_the_same(before: &Loaded, after: &Loaded) -> bool {
    let (Some(a), Some(b)) = (&before.installation, &after.installation) else {
        return false;
    };
    let codes = |l: &Loaded| l.problems.iter().map(|p| p.code).collect::<Vec<_>>();
    let (a, b) = (a.design(), b.design());
    codes(before) == codes(after)
        && a.objects.len() == b.objects.len()
        && a.objects
            .iter()
            .zip(&b.objects)
            .all(|(x, y)| x.kind == y.kind && values(x).eq(values(y)))
}
