//! `amperule rules`: what a ruleset holds, whether it compiles, whether its cases come out.

use std::path::PathBuf;
use std::sync::Arc;

use clap::{Args, Subcommand};
use rayon::prelude::*;

use crate::check::{CaseResult, run_cases};
use crate::report::render_problems;
use crate::ruleset::{Library, Loaded, Request, Requirement, Ruleset, read_cases};
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
    pub(super) rules: String,
    /// The edition; the newest, if none is named
    #[arg(long)]
    pub(super) edition: Option<String>,
    /// A folder that holds rulesets, besides those in the program
    #[arg(long)]
    rulesets: Vec<PathBuf>,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Compiles a ruleset in each of its editions and says what is wrong with it
    Check(Which),
    /// Lists the rules
    List(Which),
    /// Shows one rule whole
    Show {
        /// The rule's id
        id: String,
        #[command(flatten)]
        which: Which,
    },
    /// Runs every rule's own cases, and fails rules that have not enough of them
    Test(Which),
}

impl Rules {
    pub(super) fn run(self, out: &mut Output) -> u8 {
        match self.verb {
            Verb::Check(which) => which.check(out),
            Verb::List(which) => which.list(out),
            Verb::Show { id, which } => which.show(&id, out),
            Verb::Test(which) => which.test(out),
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

impl Which {
    fn load(&self, out: &mut Output) -> Option<Arc<Ruleset>> {
        let edition = self
            .edition
            .clone()
            .or_else(|| self.library().editions(&split_rules(&self.rules).0).pop());
        let loaded = self.library().load(&self.request(edition));
        show_problems(&loaded, &loaded.problems, out);
        loaded.ruleset
    }

    fn list(&self, out: &mut Output) -> u8 {
        let Some(r) = self.load(out) else {
            return exit::FAILED;
        };
        for rule in &r.rules {
            out.line(&format!(
                "{:<44} {:<9} {:<8} {}",
                rule.id, rule.stage, rule.severity, rule.title
            ));
        }
        for (id, layer, why) in &r.withdrawn {
            out.line(&format!("{id:<44} withdrawn by {layer}: {why}"));
        }
        out.line(&format!(
            "{} rules of {} in edition {}",
            r.rules.len(),
            r.id,
            r.edition.id
        ));
        exit::CLEAN
    }

    fn show(&self, id: &str, out: &mut Output) -> u8 {
        let Some(r) = self.load(out) else {
            return exit::FAILED;
        };
        let Some(rule) = r.rule(id) else {
            let p = Problem::error("unknown-rule", format!("there is no rule `{id}`"))
                .did_you_mean(id, r.rules.iter().map(|r| r.id.as_str()));
            out.note(render_problems(&[p], &Sources::default(), out.style()).trim_end());
            return exit::FAILED;
        };
        out.line(&format!("{}: {}", rule.id, rule.title));
        out.line(&format!(
            "  {} at stage {}, each {}, about {}",
            rule.severity,
            rule.stage,
            r.vocabulary.kind(rule.each).name,
            rule.topic
        ));
        if let Some(w) = &rule.where_ {
            out.line(&format!("  where    {}", w.text));
        }
        match &rule.require {
            Requirement::One(c) => out.line(&format!("  require  {}", c.text)),
            Requirement::Ways(ways) => {
                for w in ways {
                    out.line(&format!("  way {}: {}", w.name, w.condition.text));
                }
            }
        }
        for (name, text) in [
            ("because", &rule.because),
            ("clause", &rule.origin.clause),
            ("source", &rule.origin.source),
        ] {
            if let Some(t) = text {
                out.line(&format!("  {name:<8} {t}"));
            }
        }
        out.line(&format!(
            "  encoded  {} by {}",
            rule.confidence.word(),
            rule.origin.layer
        ));
        if let Some((layer, why)) = &rule.amended {
            out.line(&format!("  amended  by {layer}: {why}"));
        }
        exit::CLEAN
    }

    fn test(&self, out: &mut Output) -> u8 {
        let library = self.library();
        let editions = match &self.edition {
            Some(e) => vec![e.clone()],
            None => library.editions(&split_rules(&self.rules).0),
        };
        let (mut passed, mut failed) = (0_usize, 0_usize);
        let mut code = exit::CLEAN;
        for edition in editions {
            let loaded = library.load(&self.request(Some(edition.clone())));
            show_problems(&loaded, &loaded.problems, out);
            let Some(ruleset) = &loaded.ruleset else {
                code = exit::FAILED;
                continue;
            };
            let (files, problems) = read_cases(&loaded.files);
            show_problems(&loaded, &problems, out);
            if !problems.is_empty() {
                code = exit::FAILED;
            }
            let fallback = files
                .iter()
                .find_map(|f| f.base.as_ref().map(|(t, _)| t.as_str()));
            let results: Vec<CaseResult> = files
                .par_iter()
                .flat_map(|f| run_cases(ruleset, f, fallback))
                .collect();
            for r in &results {
                if r.passed {
                    passed += 1;
                    continue;
                }
                failed += 1;
                let sources = Sources::over(loaded.files.clone());
                let p = Problem::error(
                    "case-failed",
                    format!(
                        "a case of `{}` is said to be {} and came out: {}",
                        r.rule, r.wanted, r.got
                    ),
                )
                .at(r.span, format!("edition {edition}"));
                out.text(&render_problems(&[p], &sources, out.style()));
                out.text(&render_problems(&r.problems, &r.sources, out.style()));
            }
            for rule in &ruleset.rules {
                for wanted in ["met", "failed", "undecided"] {
                    let some = results
                        .iter()
                        .any(|r| r.rule == rule.id && r.wanted == wanted);
                    if !some {
                        failed += 1;
                        out.line(&format!(
                            "{} edition {edition}: the rule `{}` has no case that is {wanted}",
                            self.rules, rule.id
                        ));
                    }
                }
            }
            out.line(&format!(
                "{} edition {edition}: {} rules, {} cases",
                self.rules,
                ruleset.rules.len(),
                results.len()
            ));
        }
        out.line(&format!("{passed} passed, {failed} failed"));
        if failed > 0 { exit::BREACH } else { code }
    }
}

/// Shows what is wrong with a ruleset.
pub(super) fn show_problems(loaded: &Loaded, problems: &[Problem], out: &mut Output) {
    let sources = Sources::over(loaded.files.clone());
    let text = render_problems(problems, &sources, out.style());
    out.text(&text);
}
