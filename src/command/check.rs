//! `amperule check`: judges designs.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use rayon::prelude::*;

use crate::check::{Standing, Totals};
use crate::report::baseline::{Against, Baseline};
use crate::report::entry::{Entry, Level, entries};
use crate::report::screen::{self, Screen};
use crate::report::{self, FileReport, Style, Visible, json, junit, sarif, totals};
use crate::ruleset::{Severity, Stage};
use crate::session::{Ask, Config, Options, Project};
use crate::source::{Problem, Sources};

use super::args::{Format, Reading};
use super::progress::Progress;
use super::rows::{self, How};
use super::{Answer, Output};

/// Designs judged before they are printed: memory stays flat, and order is that of the files.
const CHUNK: usize = 512;

/// How findings are told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Told {
    /// For people
    Text,
    /// A line for each finding
    Concise,
    /// For programs
    Json,
    /// Annotations that a forge shows beside the lines of a change
    Github,
    /// For tools that gather findings (SARIF 2.1.0)
    Sarif,
    /// For build servers that show tests (JUnit)
    Junit,
}

#[derive(Debug, Args)]
pub(super) struct Check {
    /// Design files, or folders that hold some; those of `amperule.toml`, if none are named
    paths: Vec<PathBuf>,
    #[command(flatten)]
    reading: Reading,
    /// Tells everything: each finding with its places and help, what is assumed, what has least room
    #[arg(long)]
    full: bool,
    /// The same, and what is met, too
    #[arg(long)]
    all: bool,
    /// Tells only mistakes, breaches and what it all comes to, a line each (text, concise, github)
    #[arg(long, short, conflicts_with_all = ["full", "all"])]
    quiet: bool,
    /// Lets cautions decide the exit code like breaches
    #[arg(long, value_parser = ["caution", "advice"])]
    deny: Option<String>,
    #[arg(long, value_enum, default_value_t = Told::Text)]
    format: Told,
    /// An earlier report of `check --format json`: only what is new is told, and counts
    #[arg(long, value_name = "REPORT", conflicts_with = "rows")]
    baseline: Option<PathBuf>,
    /// A table (CSV) with a column for each parameter: the template is judged once for each row
    #[arg(long)]
    rows: Option<PathBuf>,
    /// Threads; as many as there are cores, if not given
    #[arg(long)]
    jobs: Option<usize>,
}

/// A design as it was judged and is told.
struct Done {
    standing: Standing,
    judged: Option<Standing>,
    told: Piece,
    against: Option<Against>,
}

/// What is written of a design, or, below all, of those that were written.
#[derive(Default)]
struct Piece {
    /// Its report, or its line among many.
    text: Visible,
    /// Its findings, a line each, that stand below the lines of all.
    findings: String,
    rules: sarif::Rules,
    suites: Vec<quick_junit::TestSuite>,
}

/// What all designs of a run have in common.
struct Run<'a> {
    check: &'a Check,
    project: &'a Project,
    options: &'a Options,
    baseline: Option<Baseline>,
    /// It is about one design: more can be said of it.
    alone: bool,
    style: Style,
}

impl Check {
    /// The lightest severity that decides the exit code.
    fn least(&self) -> Severity {
        let named = self.deny.as_deref().and_then(Severity::from_word);
        named.unwrap_or(Severity::Breach)
    }

    /// Threads of a number of their own, if one is asked for.
    fn pool(&self) -> Option<rayon::ThreadPool> {
        // More than there could be use for are no more use.
        let jobs = self.jobs?.min(1024);
        let pool = rayon::ThreadPoolBuilder::new().num_threads(jobs);
        pool.build().ok()
    }

    /// Takes what holds for the folder behind what the command line says.
    pub(super) fn take(&mut self, config: &Config) {
        self.reading.take(config);
        if self.deny.is_none() {
            self.deny = config.deny.map(|s| s.word().to_owned());
        }
        if self.paths.is_empty() {
            self.paths.clone_from(&config.files);
        }
    }

    pub(super) fn run(&self, out: &mut Output) -> Answer {
        if self.paths.is_empty() {
            let problem = Problem::error("no-designs", "no design is named")
                .help("name files or folders, or write them as `files` into amperule.toml");
            return Err(problem.into());
        }
        if let Some(table) = &self.rows {
            let [file] = self.paths.as_slice() else {
                out.note("--rows takes one template");
                return Ok(Standing::Failed.code());
            };
            let format = match self.format {
                Told::Text => Format::Text,
                Told::Json => Format::Json,
                _ => {
                    out.note("--rows tells text or json");
                    return Ok(Standing::Failed.code());
                }
            };
            let how = How {
                format,
                all: self.all,
                least: self.least(),
                pool: self.pool(),
            };
            return rows::run(how, &self.reading, file, table, out);
        }
        let project = self.reading.project();
        let options = self.reading.options();
        let (files, unlisted) = project.designs(&self.paths);
        let baseline = self.baseline(project, &files)?;
        let run = Run {
            check: self,
            project,
            options: &options,
            baseline,
            alone: files.len() + unlisted.len() == 1,
            style: out.style(),
        };
        Ok(run.all(&files, &unlisted, out).code())
    }

    /// The earlier report, if one is named.
    fn baseline(&self, project: &Project, files: &[PathBuf]) -> Result<Option<Baseline>, Problem> {
        let Some(path) = &self.baseline else {
            return Ok(None);
        };
        let text = project.text(path)?;
        let files: Vec<String> = files.iter().map(|f| f.display().to_string()).collect();
        let read = Baseline::read(&text, files.iter().map(String::as_str), |path| {
            Path::new(path).exists()
        });
        read.map(Some).map_err(|why| {
            let text = format!("`{}` is no earlier report: {why}", path.display());
            Problem::error("bad-baseline", text)
                .help("write one with `amperule check --format json FILES > baseline.json`")
        })
    }
}

impl Run<'_> {
    fn all(
        &self,
        files: &[PathBuf],
        unlisted: &[(PathBuf, Problem)],
        out: &mut Output,
    ) -> Standing {
        let mut totals = Totals::default();
        let mut against: Option<Against> = self.baseline.as_ref().map(|_| Against::default());
        let mut written = Written::begun(self.check.format, out);
        if matches!(self.check.format, Told::Text | Told::Concise) {
            let problems: Vec<_> = unlisted.iter().map(|(_, p)| p.clone()).collect();
            out.problems(&problems, &Sources::default());
        } else {
            // A folder that cannot be listed, or holds nothing, must not go unseen by programs.
            for (path, problem) in unlisted {
                written.one(self.unlisted(path, problem), out);
            }
        }
        for _ in unlisted {
            totals.add(Standing::Failed, None);
        }
        let pool = self.check.pool();
        let progress = Progress::of(files.len(), "designs");
        for chunk in files.chunks(CHUNK) {
            let one = |path: &PathBuf| {
                let done = self.one(path);
                progress.one_more();
                done
            };
            let all = || chunk.par_iter().map(one).collect();
            let done: Vec<Done> = match (chunk, &pool) {
                // One alone needs no threads.
                ([path], _) => vec![one(path)],
                (_, Some(pool)) => pool.install(all),
                (_, None) => all(),
            };
            for one in done {
                totals.add(one.standing, one.judged);
                if let (Some(sum), Some(one)) = (&mut against, one.against) {
                    sum.known += one.known;
                    sum.gone += one.gone;
                }
                progress.aside(|| written.one(one.told, out));
            }
        }
        drop(progress);
        match self.below(written.below, &totals, against, out) {
            Ok(()) => totals.worst,
            Err(why) => {
                out.note(&why);
                Standing::Failed
            }
        }
    }

    /// What stands below the reports.
    fn below(
        &self,
        written: Piece,
        sum: &Totals,
        against: Option<Against>,
        out: &mut Output,
    ) -> Result<(), String> {
        let comes_to = totals::totals(sum, against);
        match self.check.format {
            // The whole report of one does not say what an earlier one told already.
            Told::Text if self.full() && (against.is_some() || !self.alone) => out.line(&comes_to),
            Told::Text if self.alone && !self.check.quiet => {}
            Told::Text => {
                if !written.findings.is_empty() {
                    out.text(&format!("\n{}\n", written.findings));
                }
                out.text(&totals::below(sum, against, self.style));
            }
            Told::Json => out.json_part(&json::tail(sum, against)),
            Told::Sarif => out.json_part(&sarif::tail(&written.rules, sum.worst)),
            Told::Junit => out.text(&junit::report(written.suites)?),
            Told::Concise | Told::Github => {}
        }
        // What programs read holds the findings alone.
        if !matches!(self.check.format, Told::Text | Told::Json) {
            out.note(&comes_to);
        }
        Ok(())
    }

    /// Whether each report tells everything.
    const fn full(&self) -> bool {
        self.check.full || self.check.all
    }

    /// Judges one design and tells of it.
    fn one(&self, path: &Path) -> Done {
        let check = self.check;
        let loaded = self.project.open(path, self.options);
        let full = self.full();
        let ask = Ask {
            met: check.all || check.format == Told::Junit,
            helps: true,
        };
        let screened = check.format == Told::Text && !full && !check.quiet;
        let mut checked = loaded.checked(ask, screened);
        let sift = |b: &Baseline| b.sift(&loaded.path, &mut checked);
        let against = self.baseline.as_ref().and_then(sift);
        // Of many designs the least room of each would be a flood.
        let margins = (self.alone && full && check.format == Told::Text)
            .then(|| loaded.installation.as_ref().map(|i| i.margins()))
            .flatten();
        let report = FileReport {
            bounds: margins.as_ref(),
            ..FileReport::of(&loaded, &checked)
        };
        let name = loaded.installation.as_ref().map(|i| i.name());
        let told = Screen {
            file: &report,
            name: name.unwrap_or_default(),
            survey: checked.survey.as_ref(),
            against,
        };
        Done {
            standing: checked.standing(check.least()),
            judged: checked.standing_judged(check.least()),
            told: self.told(&told),
            against,
        }
    }

    fn told(&self, told: &Screen<'_>) -> Piece {
        let (check, file) = (self.check, told.file);
        let least = check.least();
        let mut done = Piece::default();
        let each = |say: &dyn Fn(&Entry<'_>) -> String, keep: &dyn Fn(&Entry<'_>) -> bool| {
            let all = entries(file, least);
            all.iter().filter(|e| keep(e)).map(say).collect::<String>()
        };
        let line = |e: &Entry<'_>| e.line(file.path);
        let decides = |e: &Entry<'_>| e.level == Level::Error;
        let asked = |e: &Entry<'_>| !check.quiet || decides(e);
        match check.format {
            Told::Text if self.full() => {
                done.text = report::terminal::render(file, check.all, self.style);
            }
            Told::Text if check.quiet => done.findings = each(&line, &decides),
            Told::Text if self.alone => done.text = screen::render(told, self.style),
            Told::Text => {
                done.text.plain(&totals::line(told, self.style));
                done.findings = each(&line, &|e| decides(e) || e.word == "caution");
            }
            Told::Concise => done.text.plain(&each(&line, &asked)),
            Told::Json => done.text.json(&json::file(file, check.all)),
            Told::Github => done.text.plain(&each(&|e| e.annotation(file.path), &asked)),
            Told::Sarif => {
                let (results, rules) = sarif::file(file, least);
                done.text.json(&results);
                done.rules = rules;
            }
            Told::Junit => done.suites.push(junit::suite(file, least)),
        }
        done
    }

    /// A folder that holds no design, or cannot be listed.
    fn unlisted(&self, path: &Path, problem: &Problem) -> Piece {
        let entry = FileReport {
            path: &path.display().to_string(),
            sources: &Sources::default(),
            problems: std::slice::from_ref(problem),
            ruleset: None,
            stage: self.options.stage.unwrap_or(Stage::Design),
            report: None,
            bounds: None,
        };
        self.told(&Screen {
            file: &entry,
            name: String::new(),
            survey: None,
            against: None,
        })
    }
}

/// Reports one after the other; of some formats the members of a list.
struct Written {
    format: Told,
    first: bool,
    below: Piece,
}

impl Written {
    /// Begins with what stands before the reports.
    fn begun(format: Told, out: &mut Output) -> Self {
        match format {
            Told::Json => out.json_part(&json::head()),
            Told::Sarif => out.json_part(&sarif::head()),
            _ => {}
        }
        Self {
            format,
            first: true,
            below: Piece::default(),
        }
    }

    fn one(&mut self, told: Piece, out: &mut Output) {
        let listed = matches!(self.format, Told::Json | Told::Sarif);
        let empty = told.text.as_str().is_empty();
        if listed && !self.first && !empty {
            out.text(",\n");
        }
        self.first &= empty;
        out.visible(&told.text);
        self.below.findings.push_str(&told.findings);
        self.below.rules.extend(told.rules);
        self.below.suites.extend(told.suites);
    }
}
