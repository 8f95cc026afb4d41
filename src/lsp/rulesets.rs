//! Rulesets that are being written: what their loader says of the open files, the keys and names
//! that may stand in them, what a name means and where it is given.

use std::cell::OnceCell;
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use gen_lsp_types::{
    CompletionItem, CompletionItemKind as Icon, CompletionResponse, Hover, Location, Range,
    TextDocumentPositionParams, TextEdit,
};

use super::client::Part;
use super::diagnostics::{Places, mistake};
use super::document::path_of;
use super::given::{Given, Name, Rules};
use super::position::Lines;
use super::state::State;
use crate::answer::stock_mistakes;
use crate::design::cursor::token;
use crate::ruleset::{Request, schema};
use crate::session::Project;
use crate::source::{Disk, Files as _, Memory, Overlay, Sources};

/// The head of a ruleset, whose folder is named as the ruleset is.
const HEAD: &str = "ruleset.yaml";
/// Keys behind which prose stands.
const PROSE: [&str; 7] = [
    "means", "title", "notes", "note", "source", "clause", "because",
];
/// How many meanings of one word are shown.
const MOST: usize = 4;

/// Looks at each ruleset of which a file is open.
pub(super) fn looked_at(state: &State) -> Rules {
    let rules = state.open.iter().filter(|(p, _)| State::is_rules(p));
    let texts = rules.clone().map(|(path, d)| (path, d.text.as_str()));
    let files = Overlay {
        over: texts.collect::<Memory>(),
        under: Arc::new(Disk),
    };
    let folders: BTreeSet<&Path> = rules.filter_map(|(p, _)| p.parent()).collect();
    let mut all = Rules::default();
    for folder in folders
        .into_iter()
        .filter(|f| files.read(&f.join(HEAD)).is_ok())
    {
        let (Some(name), Some(around)) = (folder.file_name(), folder.parent()) else {
            continue;
        };
        let mut places = state.rulesets.clone();
        places.insert(0, around.to_path_buf());
        let project = Project::new(Arc::new(files.clone()), places);
        let loaded = project.ruleset(&Request {
            base: name.to_string_lossy().into_owned(),
            ..Request::default()
        });
        let sources = Sources::over(Arc::clone(&loaded.files));
        let mut shown = Places::new(state, &sources);
        let stock = loaded.ruleset.as_deref().map(stock_mistakes);
        for problem in loaded.problems.iter().chain(stock.iter().flatten()) {
            let (path, diagnostic) = mistake(&mut shown, &folder.join(HEAD), problem, true);
            all.told.entry(path).or_default().push(diagnostic);
        }
        let given = Given {
            files: Arc::clone(&loaded.files),
            names: OnceCell::new(),
        };
        all.given.insert(folder.to_path_buf(), given);
    }
    // What ships in the program has no place that an editor could open.
    all.told.retain(|path, _| path.is_absolute());
    all
}

/// A place in the text of a ruleset.
struct Spot<'a> {
    text: &'a str,
    lines: &'a Lines,
    word: std::ops::Range<usize>,
    /// The keys that lead there.
    path: Vec<&'a str>,
    /// A key may begin here.
    begins: bool,
    given: Option<&'a Given>,
}

impl<'a> Spot<'a> {
    fn new(state: &'a State, at: &TextDocumentPositionParams) -> Option<Self> {
        let path = path_of(&at.text_document.uri);
        let document = state.open.get(&path).filter(|_| State::is_rules(&path))?;
        let text = document.text.as_str();
        let word = token(text, document.lines.byte(text, at.position));
        let (keys, begins) = around(text, word.start);
        Some(Self {
            given: state.rules.given.get(path.parent()?),
            path: keys,
            text,
            lines: &document.lines,
            word,
            begins,
        })
    }

    /// What the word here may mean: first what is of the kind that is spoken of.
    fn names(&self) -> Vec<&'a Name> {
        let word = self.text.get(self.word.clone()).unwrap_or("");
        let all = self.given.map(Given::names).unwrap_or_default();
        let mut found: Vec<&Name> = all.iter().filter(|n| n.word == word).collect();
        let kind = self.path.get(1).and_then(|entry| entry.split('.').next());
        found.sort_by_key(|n| n.full.split('.').next() != kind);
        found
    }
}

/// How far a line is indented, the sign of a list aside, and its key.
fn key_of(line: &str) -> (usize, Option<&str>) {
    let held = line.trim_start_matches([' ', '-']);
    let key = held.split_once(':').filter(|(key, rest)| {
        !key.is_empty()
            && !key.contains([' ', '#', '\'', '"'])
            && (rest.is_empty() || rest.starts_with(' '))
    });
    (line.len() - held.len(), key.map(|(key, _)| key))
}

/// The keys that lead to a place, the outermost first, and whether a key may begin there.
fn around(text: &str, at: usize) -> (Vec<&str>, bool) {
    let before = text.get(..at).unwrap_or("");
    let start = before.rfind('\n').map_or(0, |i| i + 1);
    let line = before.get(start..).unwrap_or("");
    let (mut least, own) = key_of(line);
    let mut path: Vec<&str> = own.into_iter().collect();
    let begins = line.trim_start_matches([' ', '-']).is_empty();
    for line in before.get(..start).unwrap_or("").lines().rev() {
        if let (indent, Some(key)) = key_of(line)
            && indent < least
        {
            least = indent;
            path.push(key);
        }
    }
    path.reverse();
    (path, begins)
}

/// What a word in a ruleset means.
pub(super) fn hover(state: &State, at: &TextDocumentPositionParams) -> Option<Hover> {
    let spot = Spot::new(state, at)?;
    let names = spot.names();
    let mut parts = Vec::new();
    for name in names.iter().take(MOST) {
        parts.push(Part::Code(format!("{}: {}", name.full, name.what)));
        parts.push(Part::Text(name.told.join("; ")));
    }
    let range = spot.lines.range(spot.text, spot.word.start, spot.word.end);
    state.client.shown_at(range, &parts)
}

/// Where what a word in a ruleset means is given, in files that an editor can open.
pub(super) fn given(state: &State, at: &TextDocumentPositionParams) -> Option<Vec<Location>> {
    let spot = Spot::new(state, at)?;
    let sources = Sources::over(Arc::clone(&spot.given?.files));
    let mut places = Places::new(state, &sources);
    let names = spot.names();
    let all: Vec<Location> = names.iter().filter_map(|n| places.location(n.at)).collect();
    (!all.is_empty()).then_some(all)
}

/// A word that is offered, what it is, and what would stand in place of a whole token: hyphens
/// included, since what an editor takes for a word may end at one.
pub(super) fn offered(
    range: Range,
    label: &str,
    text: &str,
    icon: Icon,
    detail: &str,
) -> CompletionItem {
    CompletionItem {
        label: label.to_owned(),
        kind: Some(icon),
        detail: Some(detail.to_owned()).filter(|d| !d.is_empty()),
        filter_text: Some(label.to_owned()),
        text_edit: Some(TextEdit::new(range, text.to_owned()).into()),
        ..CompletionItem::default()
    }
}

/// What may be written at a place of a ruleset: its keys by the schema, else what has a name.
pub(super) fn completion(
    state: &State,
    at: &TextDocumentPositionParams,
) -> Option<CompletionResponse> {
    let spot = Spot::new(state, at)?;
    let range = spot.lines.range(spot.text, spot.word.start, spot.word.end);
    if let Some(shape) = schema::at(&spot.path).filter(|_| spot.begins) {
        let of = format!("of {}", shape.what);
        let keys = shape.keys();
        let all = keys.map(|k| offered(range, k, &format!("{k}: "), Icon::Property, &of));
        return Some(CompletionResponse::CompletionItemList(all.collect()));
    }
    if spot.path.last().is_none_or(|key| PROSE.contains(key)) {
        return None;
    }
    let mut seen = BTreeSet::new();
    let names = spot.given.map(Given::names).unwrap_or_default();
    let names = names.iter().filter(|n| seen.insert(&n.word));
    let all = names.map(|n| {
        let detail = format!("{}: {}", n.full, n.what);
        offered(range, &n.word, &n.word, Icon::Variable, &detail)
    });
    Some(CompletionResponse::CompletionItemList(all.collect()))
}
