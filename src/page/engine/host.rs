//! What the page asks, answered by the library.

use std::path::Path;
use std::sync::Arc;

use amperule::answer::{facts_read, from_job, starter, together};
use amperule::check::Outcome;
use amperule::design::format::format as lay_out;
use amperule::report::order::OrderOf;
use amperule::report::sheet::SheetOf;
use amperule::report::survey::{caution, heading};
use amperule::report::words::Asked;
use amperule::report::{FileReport, cautions, explain, json, order, sheet, survey, words, working};
use amperule::ruleset::{Request as Rules, Ruleset, Severity, Stage};
use amperule::session::split_rules;
use amperule::source::{Problem, Sources};
use amperule::{Ask, Installation, Loaded, Options, Project};
use serde_json::{Value, json};

use super::put;
use super::request::{Design, Request};

/// The designs of a page. One is looked at again and again, so what was read is kept.
#[derive(Debug)]
pub struct Host {
    project: Project,
}

impl Default for Host {
    fn default() -> Self {
        let project = Project::in_memory(amperule::source::Memory::default());
        Self {
            project: project.for_editing(),
        }
    }
}

/// Why there is no answer: problems with their places in some texts.
type Wrong = (Vec<Problem>, Sources);

fn wrong(problem: Problem) -> Wrong {
    (vec![problem], Sources::default())
}

impl Host {
    /// Answers one request: the answer, or the problems in place of one, in JSON.
    pub fn ask(&mut self, request: &[u8]) -> String {
        let answer = match serde_json::from_slice(request) {
            Ok(request) => self.answer(request),
            Err(e) => {
                let text = format!("the page asks what the engine does not know: {e}");
                Err(wrong(Problem::error("bad-request", text)))
            }
        };
        match answer {
            Ok(text) => text,
            Err((problems, sources)) => {
                let told: Vec<Value> = problems
                    .iter()
                    .map(|p| json::problem(p, &sources))
                    .collect();
                json!({ "problems": told }).to_string()
            }
        }
    }

    fn answer(&mut self, request: Request) -> Result<String, Wrong> {
        match request {
            Request::About => Ok(self.about().to_string()),
            Request::Start { rules, job, name } => {
                let text = self.start(&rules, job.as_deref(), &name)?;
                Ok(json!({ "text": text }).to_string())
            }
            Request::Check { design } => Ok(check(&self.open(design))),
            Request::Survey { design } => {
                let loaded = self.open(design);
                Ok(questions(&loaded, sound(&loaded)?).to_string())
            }
            Request::Answer {
                design,
                question,
                answer,
            } => {
                let loaded = self.open(design);
                let of = sound(&loaded)?;
                let all = of.survey().questions;
                let question = all.get(question).ok_or_else(gone)?;
                let puts = put::answers(&loaded, of, question, &answer).map_err(wrong)?;
                self.first_that_reads(&loaded, puts)
            }
            Request::Build { design } => {
                let loaded = self.open(design);
                Ok(build(&loaded, sound(&loaded)?).to_string())
            }
            Request::Read {
                design,
                reading,
                answer,
            } => {
                let loaded = self.open(design);
                let of = sound(&loaded)?;
                let all = of.sheet().readings;
                let reading = all.get(reading).ok_or_else(gone)?;
                let puts = put::readings(&loaded, of, reading, &answer).map_err(wrong)?;
                self.first_that_reads(&loaded, puts)
            }
            Request::Working {
                design,
                subject,
                fact,
            } => {
                let loaded = self.open(design);
                let of = judged(&loaded)?;
                Ok(workings(&loaded, of, &subject, &fact).to_string())
            }
            Request::Explain { design, rule } => {
                let loaded = self.open(design);
                let ruleset = ruleset(&loaded)?;
                let rule = ruleset.rule(&rule).ok_or_else(gone)?;
                let reads = facts_read(ruleset, rule);
                let mut told = explain::json(ruleset, rule, &reads, &[]);
                told["text"] = json!(explain::text(ruleset, rule, &reads, &[]));
                Ok(told.to_string())
            }
            Request::Words { design } => {
                let loaded = self.open(design);
                Ok(words::json(ruleset(&loaded)?, Asked::All).to_string())
            }
            Request::Format { text } => {
                let laid_out = lay_out(&text).map_err(|p| (p, Sources::default()))?;
                Ok(json!({ "text": laid_out }).to_string())
            }
        }
    }

    fn open(&mut self, design: Design) -> Arc<Loaded> {
        self.project.edit(&design.path, design.text);
        let path = Path::new(&design.path);
        self.project.open(path, &Options::default())
    }

    fn about(&self) -> Value {
        let library = self.project.library();
        let rulesets = library.names().into_iter().filter_map(|id| {
            let request = newest(&self.project, &id);
            let ruleset = self.project.ruleset(&request).ruleset.clone()?;
            // One without rules is there for others to stand on.
            if ruleset.rules.is_empty() {
                return None;
            }
            let jobs = library.jobs(&request).unwrap_or_default();
            let jobs = jobs.iter().map(|(name, job)| {
                let about = job.text().lines().next().unwrap_or_default();
                json!({"name": name, "about": about.trim_start_matches(['#', ' '])})
            });
            Some(json!({
                "id": id,
                "title": ruleset.edition.title,
                "edition": ruleset.edition.id,
                "jobs": jobs.collect::<Vec<_>>(),
            }))
        });
        json!({
            "version": env!("CARGO_PKG_VERSION"),
            "rulesets": rulesets.collect::<Vec<_>>(),
            "caution": cautions::json(),
        })
    }

    /// A design to start from, laid out.
    fn start(&self, rules: &str, job: Option<&str>, name: &str) -> Result<String, Wrong> {
        let request = newest(&self.project, rules);
        let loaded = self.project.ruleset(&request);
        let Some(ruleset) = &loaded.ruleset else {
            let files = Arc::clone(&loaded.files);
            return Err((loaded.problems.clone(), Sources::over(files)));
        };
        let text = match job {
            None => Some(starter(ruleset, rules, name, Stage::Design)),
            Some(job) => {
                let jobs = self.project.library().jobs(&request).map_err(wrong)?;
                let job = jobs.get(job);
                job.and_then(|job| from_job(job.text(), rules, name))
            }
        };
        lay_out(&text.ok_or_else(gone)?).map_err(|p| (p, Sources::default()))
    }

    /// The first of some texts in which nothing is written wrongly that was right before; what is
    /// wrong with the first of them, if there is none.
    fn first_that_reads(&self, loaded: &Loaded, texts: Vec<String>) -> Result<String, Wrong> {
        let mut fault = None;
        for text in texts {
            let over = [(loaded.path.as_str(), text.as_str())];
            let beside = self.project.beside(over.into_iter().collect());
            let again = beside.open(Path::new(&loaded.path), &Options::default());
            if again.is_sound() {
                return Ok(json!({ "text": text }).to_string());
            }
            let mistakes = again.problems.iter().filter(|p| p.is_error()).cloned();
            fault.get_or_insert_with(|| (mistakes.collect(), again.sources.clone()));
        }
        Err(fault.unwrap_or_else(gone))
    }
}

/// The newest edition of a ruleset, with its patches.
fn newest(project: &Project, rules: &str) -> Rules {
    let (base, patches) = split_rules(rules);
    Rules {
        edition: project.library().editions(&base).pop(),
        base,
        patches,
        on: None,
    }
}

fn gone() -> Wrong {
    wrong(Problem::error(
        "gone",
        "what was asked about is not there any more",
    ))
}

fn ruleset(loaded: &Loaded) -> Result<&Ruleset, Wrong> {
    let mistakes = || (loaded.problems.clone(), loaded.sources.clone());
    loaded.ruleset.as_deref().ok_or_else(mistakes)
}

fn judged(loaded: &Loaded) -> Result<&Installation, Wrong> {
    let mistakes = || (loaded.problems.clone(), loaded.sources.clone());
    loaded.installation.as_ref().ok_or_else(mistakes)
}

/// Answers beyond a check rest on a design without mistakes.
fn sound(loaded: &Loaded) -> Result<&Installation, Wrong> {
    let mistakes = || (loaded.problems.clone(), loaded.sources.clone());
    loaded.sound().ok_or_else(mistakes)
}

/// What `amperule check --format json` tells of a design, with what it comes to.
fn check(loaded: &Loaded) -> String {
    let checked = loaded.check(Ask {
        met: false,
        helps: true,
    });
    let report = FileReport::of(loaded, &checked);
    let installation = loaded.installation.as_ref();
    let ruleset = loaded.ruleset.as_deref();
    let about = json!({
        "standing": checked.standing(Severity::Breach).word(),
        "installation": installation.map(Installation::name),
        "rules": ruleset.map(|r| &r.edition.title),
        "sound": loaded.is_sound(),
        "caution": cautions::json(),
    });
    format!(
        "{{\"file\": {}, \"about\": {about}}}",
        json::file(&report, false)
    )
}

/// The survey, with what the page needs to put an answer to each question.
fn questions(loaded: &Loaded, of: &Installation) -> Value {
    let found = of.survey();
    let mut told = survey::json(&loaded.path, &found, &loaded.sources);
    let Some(list) = told["questions"].as_array_mut() else {
        return told;
    };
    for (told, q) in list.iter_mut().zip(&found.questions) {
        told["heading"] = json!(heading(q.settled_by));
        told["before"] = json!(caution(q.settled_by));
        told["start"] = json!(q.span.start);
        told["end"] = json!(q.span.end);
        told["usual"] = json!(put::usual(loaded, of, q));
    }
    told
}

/// What is to be bought, and what is to be built and tested.
fn build(loaded: &Loaded, of: &Installation) -> Value {
    let ask = Ask {
        met: true,
        ..Ask::default()
    };
    let designed = of.at(Stage::Design).check(ask).report;
    let head = SheetOf::new(of, &designed);
    let articles = together(of.order());
    let list = OrderOf {
        designs: vec![head.clone()],
        articles: &articles,
    };
    let found = of.sheet();
    let mut told = sheet::json(&loaded.path, &head, &found);
    if let Some(list) = told["readings"].as_array_mut() {
        for (told, reading) in list.iter_mut().zip(&found.readings) {
            let asked = sheet::asked(reading);
            told["told"] = json!({
                "required": asked.required,
                "expected": asked.expected,
                "usual": asked.usual,
            });
        }
    }
    let verified = of.at(Stage::Verify).check(Ask::default()).report;
    let unmet = verified.findings.into_iter();
    let read = unmet.filter(|f| f.stage == Stage::Verify && f.outcome == Outcome::Failed);
    let read: Vec<Value> = read.map(|f| json::finding(&f, &loaded.sources)).collect();
    json!({
        "order": cautions::with(order::json(std::slice::from_ref(&loaded.path), &list)),
        "rows": order::rows(&articles),
        "columns": order::COLUMNS,
        "sheet": cautions::with(told),
        "verified": {"findings": read},
        "warning": head.warning(),
        "after": order::AFTER,
    })
}

fn workings(loaded: &Loaded, of: &Installation, subject: &str, fact: &str) -> Value {
    let design = of.design();
    let fact = fact.split(' ').next().unwrap_or_default();
    let facts = of.worked_facts(Some(fact)).into_iter();
    let mine = facts.filter(|(object, _)| design.label(*object) == subject);
    let all = mine.map(|(object, fact)| {
        let working = of.working(object, fact);
        let mut told = working::json(&working, &loaded.sources);
        told["text"] = json!(working::text(&working, &loaded.sources));
        told
    });
    json!({ "workings": all.collect::<Vec<_>>(), "after": working::AFTER })
}
