//! `amperule rules`: what a ruleset holds, whether it compiles, whether its cases come out.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use crate::report::render_problems;
use crate::ruleset::{Library, Loaded, Request};
use crate::source::{Problem, Sources};

use super::{Output, exit};

#[derive(Debug, Args)]
pub(super) struct Rules {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Args)]
pub(super) struct Which {
    /// The ruleset, with patches: `gb` or `gb + our-firm`
    #[arg(long, default_value = "gb")]
    rules: String,
    /// The edition; the newest, if none is named
    #[arg(long)]
    edition: Option<String>,
    /// A folder that holds rulesets, besides those in the program
    #[arg(long)]
    rulesets: Vec<PathBuf>,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Compiles a ruleset in each of its editions and says what is wrong with it
    Check(Which),
}

impl Rules {
    pub(super) fn run(self, out: &mut Output) -> u8 {
        match self.verb {
            Verb::Check(which) => which.check(out),
        }
    }
}

/// Splits `gb + scotland + our-firm`.
pub(super) fn split_rules(text: &str) -> (String, Vec<String>) {
    let mut parts = text.split('+').map(|p| p.trim().to_owned());
    let base = parts.next().unwrap_or_default();
    (base, parts.collect())
}

impl Which {
    pub(super) fn library(&self) -> Library {
        Library::new(self.rulesets.clone())
    }

    pub(super) fn request(&self, edition: Option<String>) -> Request {
        let (base, patches) = split_rules(&self.rules);
        Request {
            base,
            patches,
            edition,
            on: None,
        }
    }

    fn check(&self, out: &mut Output) -> u8 {
        let library = self.library();
        let editions = match &self.edition {
            Some(e) => vec![e.clone()],
            None => library.editions(&split_rules(&self.rules).0),
        };
        let mut seen: Vec<Problem> = Vec::new();
        let mut code = exit::CLEAN;
        for edition in editions {
            let loaded = library.load(&self.request(Some(edition.clone())));
            let fresh: Vec<Problem> = loaded
                .problems
                .iter()
                .filter(|p| !seen.contains(p))
                .cloned()
                .collect();
            show_problems(&loaded, &fresh, out);
            if !loaded.problems.is_empty() {
                out.line(&format!(
                    "{} edition {edition}: {} mistakes",
                    self.rules,
                    loaded.problems.len()
                ));
                code = exit::FAILED;
            }
            seen.extend(fresh);
            if let Some(r) = loaded.ruleset {
                let derived = r.derivations.iter().flatten().flatten().count();
                out.line(&format!(
                    "{} edition {edition}: {} kinds, {} rules, {derived} derivations, {} tables, {} limits, hash {}",
                    self.rules,
                    r.vocabulary.kinds.len(),
                    r.rules.len(),
                    r.data.tables.len(),
                    r.limits.all.len(),
                    r.hash
                ));
            }
        }
        code
    }
}

/// Shows what is wrong with a ruleset.
pub(super) fn show_problems(loaded: &Loaded, problems: &[Problem], out: &mut Output) {
    let sources = Sources::over(loaded.files.clone());
    let text = render_problems(problems, &sources, out.style());
    out.text(&text);
}
