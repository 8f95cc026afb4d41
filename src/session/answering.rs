//! Answers to the questions of a survey, written into the text of a design: judged as the
//! language judges what is written, before anything is changed.

use std::path::Path;
use std::sync::Arc;

use super::installation::Installation;
use super::loaded::Loaded;
use super::options::Options;
use super::project::Project;
use crate::answer::{Edit, Names, Target, ToRead, edit, worded, written_as};
use crate::design::format::format;
use crate::design::parse::parse;
use crate::source::{FileId, Memory, Problem, SourceFile, Span};
use crate::vocabulary::{Fact, FactType};

/// A design with an answer written into it.
#[derive(Debug)]
pub struct Answered {
    /// The text of the design, the answer in it, all else as it was.
    pub text: String,
    /// What is hardly plausible about the answer.
    pub cautions: Vec<Problem>,
    /// The design as it is then.
    pub loaded: Arc<Loaded>,
}

/// An answer to a question, as a table or a form gives it.
#[derive(Clone, Debug)]
pub struct Given {
    /// What the question is known by: `supply.Ze`.
    pub question: String,
    /// The answer: `0.28 ohm (measured)`.
    pub answer: String,
}

/// Writes an answer into the text of a design without mistakes. `question` is what
/// [`Asked::id`](crate::answer::Asked::id) says, `answer` a value as a design writes it, where a
/// bare number takes the unit that the question names; whether all of a kind are listed is
/// answered by `yes`.
///
/// # Errors
/// What is wrong with question or answer; the design stays as it is.
pub fn answer(
    (project, options): (&Project, &Options),
    loaded: &Arc<Loaded>,
    (question, answer): (&str, &str),
) -> Result<Answered, Vec<Problem>> {
    let (of, file) = opened(loaded)?;
    let (v, design) = (&of.ruleset().vocabulary, of.design());
    let names = Names::new(v, design);
    let target = names.target(v, design, question).map_err(|p| vec![p])?;
    let fact = fact_of(target, of);
    let value = match fact {
        Some(fact) => worded(fact, answer).map_err(|p| told(p, fact))?,
        None => String::new(),
    };
    match target {
        Target::Listed(object, kind) if design.object(object).closed.contains(&kind) => {
            return Ok(unchanged(loaded, &file));
        }
        Target::Listed(..) if matches!(answer.trim(), "yes" | "y" | "none") => {}
        Target::Listed(_, kind) => {
            let kind = &v.kind(kind).name;
            let text = format!("`{}` is no answer to whether all are listed", answer.trim());
            let help = format!("answer `yes`, or write each {kind} that is missing as a block");
            return Err(vec![Problem::error("bad-answer", text).help(help)]);
        }
        Target::Fact(object, ix) => {
            // What was found within a tolerance is known, unless it was found again.
            let found = design
                .object(object)
                .written(ix)
                .is_some_and(|w| w.origin.is_some());
            if let Some((written, span)) = written_as(design, object, ix)
                && (!written.is_open() || found && !value.ends_with(')'))
                && !only_says_from_where(loaded.sources.slice(span), &value)
            {
                let is_part =
                    fact.is_some_and(|f| matches!(f.ty, FactType::Part(_) | FactType::Parts(_)));
                already(loaded, &file, (question, &value), (span, is_part))?;
                return Ok(unchanged(loaded, &file));
            }
        }
        Target::Inside(..) => {}
    }
    let parsed = parse(FileId(0), file.text());
    let place = (&parsed.tree, file.text());
    let change = edit(v, design, place, target, &value).map_err(|p| vec![p])?;
    let answered = written((project, options), loaded, &change, fact)?;
    if !is_written(&answered.loaded, question) {
        let text = format!("`{question}` cannot be answered here");
        return Err(vec![
            Problem::error("not-answered", text).help("write it into the file"),
        ]);
    }
    Ok(answered)
}

/// Writes a reading into the record of what was tested, over what was read before. A bare number
/// takes the unit of the reading.
///
/// # Errors
/// What is wrong with it; the design stays as it is.
pub fn read_off(
    (project, options): (&Project, &Options),
    loaded: &Arc<Loaded>,
    (reading, answer): (&ToRead, &str),
) -> Result<Answered, Vec<Problem>> {
    let (of, file) = opened(loaded)?;
    let (v, design) = (&of.ruleset().vocabulary, of.design());
    let fact = v.fact(reading.record, reading.fact);
    let value = worded(fact, answer).map_err(|p| told(p, fact))?;
    let record = design.ids().find(|id| {
        let object = design.object(*id);
        object.kind == reading.record && !object.phantom && object.name == reading.of
    });
    let change = match record {
        Some(record) => {
            let parsed = parse(FileId(0), file.text());
            let target = Target::Fact(record, reading.fact);
            edit(v, design, (&parsed.tree, file.text()), target, &value).map_err(|p| vec![p])?
        }
        None => {
            let kind = &v.kind(reading.record).name;
            let end = file.text().len();
            Edit {
                span: Span::new(FileId(0), end, end),
                new: format!("\n{kind} {} {{ {}: {value} }}\n", reading.of, fact.name),
            }
        }
    };
    written((project, options), loaded, &change, Some(fact))
}

/// The design with a change in its text, laid out if it was before.
fn written(
    (project, options): (&Project, &Options),
    loaded: &Arc<Loaded>,
    change: &Edit,
    fact: Option<&Fact>,
) -> Result<Answered, Vec<Problem>> {
    let (_, file) = opened(loaded)?;
    let mut text = changed(file.text(), change).map_err(|p| vec![p])?;
    if format(file.text()).is_ok_and(|same| same == file.text())
        && let Ok(laid_out) = format(&text)
    {
        text = laid_out;
    }
    let over: Memory = [(file.name(), text.as_str())].into_iter().collect();
    let loaded_then = project.beside(over).open(Path::new(&loaded.path), options);
    let (errors, cautions): (Vec<Problem>, Vec<Problem>) = news(loaded, &loaded_then)
        .into_iter()
        .partition(Problem::is_error);
    if !errors.is_empty() {
        return Err(match fact {
            Some(fact) => told(errors, fact),
            None => errors,
        });
    }
    Ok(Answered {
        text,
        cautions,
        loaded: loaded_then,
    })
}

/// Writes many answers, in whatever order they stand; those that rest on others come after them.
/// What is not known (`?`, or nothing) is passed over.
///
/// # Errors
/// What is wrong with each of them, by its place in the list; then nothing is to be written.
pub fn answer_all(
    project: (&Project, &Options),
    loaded: &Arc<Loaded>,
    given: &[Given],
) -> Result<Answered, Vec<(usize, Vec<Problem>)>> {
    let mut now = match opened(loaded) {
        Ok((_, file)) => unchanged(loaded, &file),
        Err(problems) => return Err(vec![(0, problems)]),
    };
    let known = |g: &Given| !matches!(g.answer.trim(), "" | "?");
    let mut open: Vec<(usize, &Given)> = given.iter().enumerate().collect();
    open.retain(|(_, g)| known(g));
    // What a part is decides what can be said of it.
    if let Ok((of, _)) = opened(loaded) {
        let (v, design) = (&of.ruleset().vocabulary, of.design());
        let names = Names::new(v, design);
        open.sort_by_key(|(_, g)| {
            let target = names.target(v, design, &g.question);
            !target.is_ok_and(|t| t.says_what_it_is(v))
        });
    }
    loop {
        let before = open.len();
        let mut wrong = Vec::new();
        let mut left = Vec::new();
        for (i, g) in open {
            match answer(project, &now.loaded, (&g.question, &g.answer)) {
                Ok(next) => {
                    let mut cautions = now.cautions;
                    cautions.extend(next.cautions);
                    now = Answered { cautions, ..next };
                }
                Err(problems) => {
                    wrong.push((i, problems));
                    left.push((i, g));
                }
            }
        }
        if left.is_empty() {
            return Ok(now);
        }
        if left.len() == before {
            return Err(wrong);
        }
        open = left;
    }
}

/// The design and its own file, before those that it uses.
fn opened(loaded: &Loaded) -> Result<(&Installation, Arc<SourceFile>), Vec<Problem>> {
    match (loaded.sound(), loaded.sources.get(FileId(0))) {
        (Some(of), Some(file)) => Ok((of, Arc::clone(file))),
        _ => Err(loaded.problems.clone()),
    }
}

/// A design that says already what was answered.
fn unchanged(loaded: &Arc<Loaded>, file: &SourceFile) -> Answered {
    Answered {
        text: file.text().to_owned(),
        cautions: Vec::new(),
        loaded: Arc::clone(loaded),
    }
}

/// Whether an answer is what is written, and where that comes from: `0.35 ohm (measured)`.
fn only_says_from_where(written: &str, answer: &str) -> bool {
    let added = answer.strip_prefix(written);
    added.is_some_and(|rest| rest.trim_start().starts_with('('))
}

/// What was answered before is no mistake where it says the same.
fn already(
    loaded: &Loaded,
    file: &SourceFile,
    (question, value): (&str, &str),
    (span, is_part): (Span, bool),
) -> Result<(), Vec<Problem>> {
    let there = loaded.sources.slice(span);
    // A part may hold more by now, and a value may say where it comes from.
    let rest = there.strip_prefix(value);
    if rest.is_some_and(|rest| {
        let behind = rest.trim_start();
        behind.is_empty() || behind.starts_with('(') || is_part && rest.starts_with(' ')
    }) {
        return Ok(());
    }
    let line = file.line_of(span.from());
    let text = format!("`{question}` is written already: `{there}` in line {line}");
    let help = "change it there, if the answer is better";
    Err(vec![Problem::error("answered-already", text).help(help)])
}

fn fact_of(target: Target, of: &Installation) -> Option<&Fact> {
    let v = &of.ruleset().vocabulary;
    match target {
        Target::Fact(object, ix) => Some(v.fact(of.design().object(object).kind, ix)),
        Target::Inside(_, _, kind, ix) => Some(v.fact(kind, ix)),
        Target::Listed(..) => None,
    }
}

/// Problems of an answer: without places in a text that nobody sees, with what the fact is.
fn told(mut problems: Vec<Problem>, fact: &Fact) -> Vec<Problem> {
    for p in &mut problems {
        p.labels.clear();
        if let Some(words) = fact.words().filter(|_| p.code == "unknown-word") {
            p.help.push(format!("one of {}", words.join(", ")));
        } else if p.code == "trailing-text" {
            p.help = vec!["leave the remark out, or write it into the file behind `#`".to_owned()];
        } else if p.help.is_empty() {
            p.help.push(format!("asked for is: {}", fact.texts.means));
        }
    }
    problems
}

/// What is wrong with a design that was not wrong before.
fn news(before: &Loaded, after: &Loaded) -> Vec<Problem> {
    let mut known: Vec<&str> = before.problems.iter().map(|p| p.message.as_str()).collect();
    let mut new = after.problems.clone();
    new.retain(|p| match known.iter().position(|k| *k == p.message) {
        Some(at) => {
            known.swap_remove(at);
            false
        }
        None => true,
    });
    for p in &mut new {
        p.labels.clear();
    }
    new
}

/// Whether a design says what was asked.
fn is_written(loaded: &Loaded, question: &str) -> bool {
    let Some(of) = loaded.sound() else {
        return false;
    };
    let (v, design) = (&of.ruleset().vocabulary, of.design());
    match Names::new(v, design).target(v, design, question) {
        Ok(Target::Fact(object, ix)) => written_as(design, object, ix).is_some(),
        Ok(Target::Listed(object, kind)) => design.object(object).closed.contains(&kind),
        // What the part is was written, so that the question has another name now.
        Ok(Target::Inside(..)) | Err(_) => false,
    }
}

fn changed(text: &str, change: &Edit) -> Result<String, Problem> {
    let (from, until) = (change.span.from(), change.span.until());
    match (text.get(..from), text.get(until..)) {
        (Some(before), Some(after)) => Ok(format!("{before}{}{after}", change.new)),
        _ => Err(Problem::error(
            "elsewhere",
            "its place in the text is not found",
        )),
    }
}
