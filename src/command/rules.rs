//! `amperule rules`: what a ruleset holds, whether it compiles, whether its cases come out.

mod table;
mod test;
mod words;

use std::path::PathBuf;
use std::sync::Arc;

use clap::{Args, Subcommand};

use crate::answer::stock_mistakes;
use crate::report::{plural, render_problems, rules_schema, template};
use crate::ruleset::{Figures, Library, Request, Requirement, Rule, Ruleset};
use crate::session::split_rules;
use crate::source::{Problem, SourceFile, Sources};

use super::args::Format;
use super::{Answer, Failure, Output, exit};

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
    pub(super) rulesets: Vec<PathBuf>,
}

impl Rules {
    /// Folders that hold rulesets.
    pub(super) const fn rulesets(&mut self) -> Option<&mut Vec<PathBuf>> {
        match &mut self.verb {
            Verb::Check(which)
            | Verb::List(which)
            | Verb::Show { which, .. }
            | Verb::Table(which)
            | Verb::Words { which, .. }
            | Verb::Test { which, .. } => Some(&mut which.rulesets),
            Verb::Schema => None,
        }
    }
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
    /// Writes all requirements, figures and what was left out as a table in Markdown
    Table(Which),
    /// Says which blocks, parts and facts a design may hold, and what each takes
    Words {
        /// A kind, a part, or a fact: `circuit`, `rcbo`, `circuit.cables`, `Ipf`; all kinds, if
        /// none is named
        name: Option<String>,
        #[command(flatten)]
        which: Which,
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Prints the JSON Schema of the files of a ruleset, for editors that complete YAML by one
    Schema,
    /// Runs every rule's own cases, and fails rules that have not enough of them
    Test {
        /// Lists the branches of rules that no case has seen both true and false
        #[arg(long)]
        coverage: bool,
        #[command(flatten)]
        which: Which,
    },
}

impl Rules {
    pub(super) fn run(self, out: &mut Output) -> Answer {
        match self.verb {
            Verb::Check(which) => which.check(out),
            Verb::List(which) => which.list(out),
            Verb::Show { id, which } => which.show(&id, out),
            Verb::Table(which) => table::table(&which, out),
            Verb::Words {
                name,
                which,
                format,
            } => words::show(&which, name.as_deref(), format, out),
            Verb::Schema => {
                out.json(&rules_schema::json());
                Ok(exit::CLEAN)
            }
            Verb::Test { coverage, which } => test::test(&which, coverage, out),
        }
    }
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

    /// The edition that is named, or all of them. A ruleset that states none is asked for any, so
    /// that loading says what is wrong instead of nothing being done.
    pub(super) fn editions(&self) -> Vec<Option<String>> {
        if let Some(e) = &self.edition {
            return vec![Some(e.clone())];
        }
        let all = self.library().editions(&split_rules(&self.rules).0);
        if all.is_empty() {
            return vec![None];
        }
        all.into_iter().map(Some).collect()
    }

    fn check(&self, out: &mut Output) -> Answer {
        let library = self.library();
        let editions = self.editions();
        let mut seen: Vec<Problem> = Vec::new();
        let mut figures: Vec<Figures> = Vec::new();
        let mut last = None;
        let mut code = exit::CLEAN;
        for edition in editions {
            let loaded = library.load(&self.request(edition.clone()));
            let name =
                self.rules.clone() + &edition.map(|e| format!(" edition {e}")).unwrap_or_default();
            let stock = loaded.ruleset.as_deref().map(stock_mistakes);
            let mistakes = loaded.problems.iter().chain(stock.iter().flatten());
            let count = mistakes.clone().count();
            let fresh: Vec<Problem> = mistakes.filter(|p| !seen.contains(p)).cloned().collect();
            show_problems(&loaded.files, &fresh, out);
            if count > 0 {
                let count = plural(count, "mistake", "mistakes");
                out.line(&format!("{name}: {count}"));
                code = exit::FAILED;
            }
            seen.extend(fresh);
            if let Some(r) = &loaded.ruleset {
                figures.extend(r.figures_read());
                let derived = r.derivations.iter().flatten().flatten().count();
                out.line(&format!(
                    "{name}: {} kinds, {} rules, {derived} derivations, {} tables, {} limits, hash {}",
                    r.vocabulary.kinds.len(),
                    r.judging().count(),
                    r.data.tables.len(),
                    r.limits.all.len(),
                    r.hash
                ));
                last = Some(loaded);
            }
        }
        if let Some(loaded) = last {
            show_problems(&loaded.files, &unread(&figures), out);
        }
        Ok(code)
    }
}

/// Cautions about what nothing reads in any of the editions that were looked at.
fn unread(figures: &[Figures]) -> Vec<Problem> {
    let mut all: Vec<Problem> = Vec::new();
    for f in figures {
        let read = figures.iter().any(|g| g.at == f.at && g.read);
        let caution = f.unread();
        if !read && !all.contains(&caution) {
            all.push(caution);
        }
    }
    all
}

impl Which {
    /// The ruleset in the edition named, or the newest; what is wrong with it is shown.
    pub(super) fn load(&self, out: &mut Output) -> Result<Arc<Ruleset>, Failure> {
        let edition = self.editions().pop().flatten();
        let loaded = self.library().load(&self.request(edition));
        show_problems(&loaded.files, &loaded.problems, out);
        loaded.ruleset.ok_or_else(Failure::default)
    }

    fn list(&self, out: &mut Output) -> Answer {
        let r = self.load(out)?;
        for rule in &r.rules {
            let left_out = if rule.is_left_out() {
                "not judged: "
            } else {
                ""
            };
            out.line(&format!(
                "{:<44} {:<9} {:<8} {left_out}{}",
                rule.id, rule.stage, rule.severity, rule.texts.title
            ));
        }
        for (id, layer, why) in &r.withdrawn {
            out.line(&format!("{id:<44} withdrawn by {layer}: {why}"));
        }
        out.line(&format!(
            "{} rules of {} in edition {}, hash {}",
            r.judging().count(),
            r.id,
            r.edition.id,
            r.hash
        ));
        Ok(exit::CLEAN)
    }

    fn show(&self, id: &str, out: &mut Output) -> Answer {
        let r = self.load(out)?;
        let Some(rule) = r.rule(id) else {
            let problem = Problem::error("unknown-rule", format!("there is no rule `{id}`"));
            let ids = r.rules.iter().map(|r| r.id.as_str());
            return Err(problem.did_you_mean(id, ids).into());
        };
        out.text(&rule_in_short(&r, rule));
        Ok(exit::CLEAN)
    }
}

template! {
    /// One rule as `show` tells it.
    fn rule_in_short(ruleset: &'a Ruleset, rule: &'a Rule) = "rule.txt"
    with each: &'a str = &ruleset.vocabulary.kind(rule.each).name;
}

/// Shows what is wrong with a ruleset.
pub(super) fn show_problems(
    files: &Arc<Vec<Arc<SourceFile>>>,
    problems: &[Problem],
    out: &mut Output,
) {
    let sources = Sources::over(Arc::clone(files));
    let text = render_problems(problems, &sources, out.style());
    out.visible(&text);
}
