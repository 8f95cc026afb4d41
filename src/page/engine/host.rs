//! What the page asks, answered by the library.

use std::path::Path;
use std::sync::Arc;

use amperule::answer::{Asked, Survey, facts_read, from_job, starter, together};
use amperule::check::Outcome;
use amperule::design::format::format as lay_out;
use amperule::report::order::OrderOf;
use amperule::report::sheet::SheetOf;
use amperule::report::survey::{caution, heading, titled};
use amperule::report::words::Asked as Words;
use amperule::report::{FileReport, cautions, explain, json, order, sheet, survey, words, working};
use amperule::ruleset::{Request as Rules, Ruleset, Severity, Stage};
use amperule::session::{self, Answered, split_rules};
use amperule::source::{Problem, Sources, Span};
use amperule::vocabulary::Settler;
use amperule::{Ask, Installation, Loaded, Options, Project};
use serde_json::{Value, json};

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
                let all = of.asked(&of.survey().in_full());
                let asked = all.iter().find(|q| q.id == question).ok_or_else(gone)?;
                self.write(origin(asked), &answer, |project, answer| {
                    session::answer(project, &loaded, (&question, answer))
                })
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
                let all = sound(&loaded)?.sheet().readings;
                let reading = all.get(reading).ok_or_else(gone)?;
                let origin = reading.unit.as_ref().map(|_| MEASURED);
                self.write(origin, &answer, |project, answer| {
                    session::read_off(project, &loaded, (reading, answer))
                })
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
                Ok(words::json(ruleset(&loaded)?, &Words::All).to_string())
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
                "title": ruleset.title(),
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

    /// The text with what was typed or tapped in it, and with where that comes from if it does not
    /// say so and the language takes it there.
    fn write(
        &self,
        origin: Option<&str>,
        answer: &str,
        put: impl Fn((&Project, &Options), &str) -> Result<Answered, Vec<Problem>>,
    ) -> Result<String, Wrong> {
        let options = Options::default();
        let said = answer.trim();
        let says_so = said.ends_with(')') || matches!(said, "none" | "?");
        let with = origin.filter(|_| !says_so).map(|o| format!("{said} ({o})"));
        let answered = with
            .and_then(|answer| put((&self.project, &options), &answer).ok())
            .map_or_else(|| put((&self.project, &options), said), Ok);
        let answered = answered.map_err(|problems| (problems, Sources::default()))?;
        Ok(json!({ "text": answered.text }).to_string())
    }
}

/// How a design says that a value was measured.
const MEASURED: &str = "measured";

/// Where the answer to a question comes from, as a design says it.
const fn origin(asked: &Asked) -> Option<&'static str> {
    match asked.settled_by {
        Settler::Test => Some(MEASURED),
        Settler::Network => Some("by-enquiry"),
        _ => None,
    }
}

/// The newest edition of a ruleset, with its patches.
fn newest(project: &Project, rules: &str) -> Rules {
    let (base, patches) = split_rules(rules);
    Rules::newest(project.library(), base, patches)
}

fn gone() -> Wrong {
    wrong(Problem::error(
        "gone",
        "what was asked about is not there any more",
    ))
}

fn mistakes(loaded: &Loaded) -> Wrong {
    (loaded.problems.clone(), loaded.sources.clone())
}

fn ruleset(loaded: &Loaded) -> Result<&Ruleset, Wrong> {
    loaded.ruleset.as_deref().ok_or_else(|| mistakes(loaded))
}

fn judged(loaded: &Loaded) -> Result<&Installation, Wrong> {
    loaded.installation.as_ref().ok_or_else(|| mistakes(loaded))
}

/// Answers beyond a check rest on a design without mistakes.
fn sound(loaded: &Loaded) -> Result<&Installation, Wrong> {
    loaded.sound().ok_or_else(|| mistakes(loaded))
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
        "rules": ruleset.map(|r| r.title()),
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
    let later = Survey {
        questions: found.later.clone(),
        ..Survey::default()
    };
    for (key, found) in [("questions", &found), ("later", &later)] {
        let Some(list) = told[key].as_array_mut() else {
            continue;
        };
        let mut questions = found.questions.iter();
        list.retain(|_| questions.next().is_some_and(|q| !q.parameter));
        for (told, q) in list.iter_mut().zip(of.asked(found)) {
            let like = example(loaded, q.span);
            let others = q.usual.iter().filter(|u| Some(*u) != like.as_ref());
            told["id"] = json!(q.id);
            told["title"] = json!(titled(&q.label, &q.fact));
            told["must"] = json!(q.must);
            told["open"] = json!(q.open);
            told["usual"] = json!(like.iter().chain(others).collect::<Vec<_>>());
            told["heading"] = json!(heading(q.settled_by, &found.network_operator));
            told["before"] = json!(caution(q.settled_by));
            told["start"] = json!(q.span.start);
            told["end"] = json!(q.span.end);
        }
    }
    told
}

/// `80 A` of `In: ?  # like: 80 A (measured); as the label says`.
fn example(loaded: &Loaded, span: Span) -> Option<String> {
    let text = loaded.sources.get(span.file)?.text();
    if text.get(span.from()..span.until())? != "?" {
        return None;
    }
    let line = text.get(span.until()..)?.lines().next()?;
    let (_, like) = line.split_once("like: ")?;
    let like = like.split(';').next()?.trim();
    (!like.is_empty()).then(|| like.to_owned())
}

/// What is to be bought, and what is to be built and tested.
fn build(loaded: &Loaded, of: &Installation) -> Value {
    let head = SheetOf::new(of);
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
        "warning": head.warning("built from"),
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
        told["text"] = json!(working::text(
            std::slice::from_ref(&working),
            &loaded.sources
        ));
        told
    });
    json!({ "workings": all.collect::<Vec<_>>(), "after": working::AFTER })
}
