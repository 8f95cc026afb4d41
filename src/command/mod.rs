//! The command line: one file a verb.

mod args;
mod ask;
mod ask_terminal;
mod bounds;
mod check;
mod compare;
mod explain;
mod format;
mod help;
#[cfg(feature = "lsp")]
mod lsp;
mod mend;
mod new;
mod order;
mod output;
mod progress;
mod prove;
mod rows;
mod rules;
mod sheet;
mod shell;
mod survey;
mod working;
mod write;

use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};

use crate::session::Config;
use crate::source::Disk;

pub use output::Output;
use output::{Answer, Failure};

/// Exit codes, as `amperule help exit-codes` tells them.
mod exit {
    use crate::check::Standing;

    /// Nothing in breach, and nothing undecided that could be a breach.
    pub(super) const CLEAN: u8 = Standing::Clean.code();
    /// A breach.
    pub(super) const BREACH: u8 = Standing::Breach.code();
    /// The tool could not do its job: bad input, bad ruleset.
    pub(super) const FAILED: u8 = Standing::Failed.code();
}

/// Checks designs of charge-point installations against the rules of a country.
///
/// Amperule reads a design (a file ending in .amp), computes it, and says which requirement is
/// broken, at which line and by how much, what is still unknown and who can settle it. It does
/// not replace the standards it cites, local codes, or the judgement of a qualified person.
#[derive(Debug, Parser)]
#[command(
    name = "amperule",
    version,
    max_term_width = 100,
    disable_help_subcommand = true
)]
struct Cli {
    #[command(subcommand)]
    verb: Verb,
    /// When to use colours
    #[arg(long, global = true, value_enum, default_value_t = Color::Auto)]
    color: Color,
    /// Leaves `amperule.toml` unread
    #[arg(long, global = true)]
    no_config: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Color {
    Auto,
    Always,
    Never,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Judges designs against a ruleset
    Check(check::Check),
    /// Shows the calculation of derived facts, line by line
    Working(working::WorkingOf),
    /// Says how far each fact can go before a rule breaks
    Bounds(bounds::Bounds),
    /// Says what is still unknown and matters, and who settles it
    Survey(survey::SurveyOf),
    /// Asks what is open, question by question, and writes the answers into the file
    Ask(ask::Ask),
    /// Finds the fewest changes after which nothing is in breach
    Mend(mend::Mend),
    /// Says which part of a template's parameter ranges passes
    Prove(prove::Prove),
    /// Writes a file to start from, with every fact that will be asked for
    New(new::New),
    /// Says what is to be built and tightened, and which readings to expect
    Sheet(sheet::SheetFor),
    /// Lists what is to be bought, with quantities
    Order(order::OrderOf),
    /// Compares two rulesets or editions over designs, or two versions of a design
    Compare(compare::Compare),
    /// Explains one rule, or what the code of a mistake means
    Explain(explain::Explain),
    /// Lays design files out
    Format(format::Format),
    /// Serves editors by the Language Server Protocol, over standard input and output
    #[cfg(feature = "lsp")]
    Lsp(lsp::Lsp),
    /// Shows, checks and tests rulesets
    Rules(rules::Rules),
    /// Prints a page of the guide, or what a command takes
    Help(help::Help),
    /// Writes what a shell needs to complete command lines
    Completions(shell::Completions),
    /// Writes the manual page of the program, or of one command
    Man(shell::Man),
}

impl Verb {
    /// Takes what holds for the folder behind what the command line says.
    fn take(&mut self, config: &Config) {
        match self {
            Self::Check(v) => v.take(config),
            Self::Working(v) => v.reading.take(config),
            Self::Bounds(v) => v.reading.take(config),
            Self::Survey(v) => v.reading.take(config),
            Self::Ask(v) => v.reading.take(config),
            Self::Mend(v) => v.reading.take(config),
            Self::Prove(v) => v.reading.take(config),
            Self::Sheet(v) => v.reading.take(config),
            Self::Order(v) => v.reading.take(config),
            Self::New(v) => v.take(config),
            Self::Compare(v) => v.rulesets.extend_from_slice(&config.rulesets),
            Self::Explain(v) => v.which.rulesets.extend_from_slice(&config.rulesets),
            Self::Rules(v) => {
                if let Some(folders) = v.rulesets() {
                    folders.extend_from_slice(&config.rulesets);
                }
            }
            // The server looks for it in the folder that the editor has open.
            #[cfg(feature = "lsp")]
            Self::Lsp(_) => {}
            Self::Format(_) | Self::Help(_) | Self::Completions(_) | Self::Man(_) => {}
        }
    }
}

/// Runs the program on its command line.
#[must_use]
pub fn run() -> ExitCode {
    let mut cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(e) => {
            // Help and version are no failures; clap knows where each is printed.
            if !e.use_stderr() {
                let _ = e.print();
                return ExitCode::from(exit::CLEAN);
            }
            // A mistake repeats what was given, whatever characters that has.
            let text = e.render().to_string();
            Output::new(Some(false)).note(text.trim_end());
            return ExitCode::from(exit::FAILED);
        }
    };
    let mut out = Output::new(match cli.color {
        Color::Auto => None,
        Color::Always => Some(true),
        Color::Never => Some(false),
    });
    #[cfg(feature = "lsp")]
    let configured = !matches!(cli.verb, Verb::Lsp(_));
    #[cfg(not(feature = "lsp"))]
    let configured = true;
    if configured && !cli.no_config {
        // Without a folder to stand in there is none above it.
        let here = std::env::current_dir().unwrap_or_default();
        match Config::find(&Disk, &here) {
            Ok(Some(config)) => cli.verb.take(&config),
            Ok(None) => {}
            Err(wrong) => {
                let code = out.failed(&Failure::from(wrong));
                return ExitCode::from(out.finish(code));
            }
        }
    }
    let code = match cli.verb {
        Verb::Check(c) => c.run(&mut out),
        Verb::Working(w) => w.run(&mut out),
        Verb::Bounds(b) => b.run(&mut out),
        Verb::Survey(s) => s.run(&mut out),
        Verb::Ask(a) => a.run(&mut out),
        Verb::Mend(m) => m.run(&mut out),
        Verb::Prove(p) => p.run(&mut out),
        Verb::New(n) => n.run(&mut out),
        Verb::Sheet(s) => s.run(&mut out),
        Verb::Order(o) => o.run(&mut out),
        Verb::Compare(c) => c.run(&mut out),
        Verb::Explain(e) => e.run(&mut out),
        Verb::Format(f) => f.run(&mut out),
        #[cfg(feature = "lsp")]
        Verb::Lsp(l) => l.run(),
        Verb::Rules(r) => r.run(&mut out),
        Verb::Help(h) => h.run(&mut out),
        Verb::Completions(c) => c.run(&mut out),
        Verb::Man(m) => m.run(&mut out),
    };
    let code = code.unwrap_or_else(|failure| out.failed(&failure));
    ExitCode::from(out.finish(code))
}
