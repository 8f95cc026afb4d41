//! Rulesets that are being written: what their loader says of the open files.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use gen_lsp_types::Diagnostic;

use super::diagnostics::{Places, mistake};
use super::state::State;
use crate::ruleset::Request;
use crate::session::Project;
use crate::source::{Disk, Files as _, Memory, Overlay, Sources};

/// The head of a ruleset, whose folder is named as the ruleset is.
const HEAD: &str = "ruleset.yaml";

/// What is wrong with each ruleset of which a file is open.
pub(super) fn problems(state: &State) -> BTreeMap<PathBuf, Vec<Diagnostic>> {
    let rules: Vec<&PathBuf> = state.open.keys().filter(|p| State::is_rules(p)).collect();
    let texts = rules
        .iter()
        .filter_map(|path| Some((*path, state.open.get(*path)?.text.as_str())));
    let files = Overlay {
        over: texts.collect::<Memory>(),
        under: Arc::new(Disk),
    };
    let folders: BTreeSet<&Path> = rules.iter().filter_map(|p| p.parent()).collect();
    let mut all = BTreeMap::new();
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
        for problem in &loaded.problems {
            let (path, diagnostic) = mistake(&mut shown, &folder.join(HEAD), problem, true);
            all.entry(path).or_insert_with(Vec::new).push(diagnostic);
        }
    }
    // What ships in the program has no place that an editor could open.
    all.retain(|path, _| path.is_absolute());
    all
}
