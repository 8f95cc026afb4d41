//! When designs are checked, what comes back, and what the editor is told of it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use gen_lsp_types::Diagnostic;

use super::checker::{Job, News, Told};
use super::diagnostics;
use super::rulesets::looked_at;
use super::state::{Found, State};
use crate::session::Loaded;

impl State {
    /// Begins to check, if it is time: every design that an open text belongs to.
    pub(super) fn check_if_due(&mut self) {
        if self.until_due() != Some(Duration::ZERO) {
            return;
        }
        self.due = None;
        let paths: Vec<PathBuf> = self.open.keys().cloned().collect();
        let designs = paths.iter().filter(|p| !Self::is_rules(p));
        let roots: BTreeSet<PathBuf> = designs.map(|p| self.home(p)).collect();
        self.found.retain(|root, _| roots.contains(root));
        self.current.retain(|root, _| roots.contains(root));
        for root in roots {
            let loaded = self.project.open(&root, &self.options);
            let before = self.current.insert(root.clone(), Arc::clone(&loaded));
            if before.is_none_or(|b| !Arc::ptr_eq(&b, &loaded)) {
                self.checker.check(self.job(&root, &loaded));
            }
        }
        self.rules = looked_at(self);
        self.publish();
    }

    fn job(&self, root: &Path, loaded: &Arc<Loaded>) -> Job {
        Job {
            root: root.to_path_buf(),
            loaded: Arc::clone(loaded),
            project: self.project.beside(crate::source::Memory::default()),
            options: self.options.clone(),
        }
    }

    /// Takes in what a thread found; what is about an older text is dropped, since a newer look
    /// follows.
    pub(super) fn take(&mut self, news: News) {
        let News { root, loaded, told } = news;
        let current = self.current.get(&root);
        if current.is_none_or(|c| !Arc::ptr_eq(c, &loaded)) {
            return;
        }
        match told {
            Told::Fault(why) => {
                let root = root.display();
                self.client
                    .tell(&format!("looking at {root} failed inside: {why}"));
            }
            Told::Checked(checked) => {
                self.checker.study(self.job(&root, &loaded));
                let found = Found {
                    loaded,
                    checked,
                    helps: Vec::new(),
                    mending: None,
                    bounds: None,
                };
                self.found.insert(root, found);
                self.publish();
                self.client.refresh();
            }
            Told::Helps(helps) => {
                self.note(&root, &loaded, |f| f.helps = helps);
            }
            Told::Mends(mending) => {
                self.note(&root, &loaded, |f| f.mending = Some(mending));
            }
            Told::Bounds(bounds) => {
                if self.note(&root, &loaded, |f| f.bounds = Some(bounds)) {
                    self.client.refresh();
                }
            }
        }
    }

    /// Adds to what was found about a design, if that is of the same text.
    fn note(&mut self, root: &Path, loaded: &Arc<Loaded>, more: impl FnOnce(&mut Found)) -> bool {
        let found = self.found.get_mut(root);
        let found = found.filter(|f| Arc::ptr_eq(&f.loaded, loaded));
        found.map(more).is_some()
    }

    /// Tells what is wrong with each file where that has changed.
    fn publish(&mut self) {
        let mut all: BTreeMap<PathBuf, Vec<Diagnostic>> = BTreeMap::new();
        let mut waiting = BTreeSet::new();
        for (root, loaded) in &self.current {
            let found = self.found.get(root);
            if found.is_none_or(|f| !Arc::ptr_eq(&f.loaded, loaded)) {
                waiting.insert(root.clone());
                waiting.extend(loaded.sources.own().iter().map(|f| PathBuf::from(f.name())));
            }
        }
        for path in self.open.keys().chain(self.told.keys()) {
            all.entry(path.clone()).or_default();
        }
        for (path, list) in &self.rules.told {
            let there = all.entry(path.clone()).or_default();
            there.extend(list.iter().cloned());
        }
        for (root, found) in &self.found {
            diagnostics::of(self, root, found, &mut all);
        }
        all.retain(|path, _| !waiting.contains(path));
        for (path, mut list) in all {
            diagnostics::in_order(&mut list);
            let version = self.open.get(&path).map(|d| d.version);
            let now = (version, list);
            let before = self.told.get(&path);
            let nothing = before.is_none_or(|b| b.1.is_empty()) && now.1.is_empty();
            if before == Some(&now) || version.is_none() && nothing {
                continue;
            }
            if let Some(uri) = self.uri(&path) {
                self.client.publish(uri, version, now.1.clone());
            }
            self.told.insert(path, now);
        }
    }
}
