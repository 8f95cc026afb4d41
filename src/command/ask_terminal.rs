//! The open questions of a design one by one on a terminal; each answer is in the file before the
//! next question is asked.

use std::path::Path;
use std::sync::Arc;

use inquire::{Confirm, InquireError, Text};

use crate::answer::Asked;
use crate::report::survey::{caution, heading, question};
use crate::report::{cautions, fit, plural};
use crate::session::{Loaded, answer};
use crate::source::{FileId, Sources, visible_line};
use crate::vocabulary::Settler;

use super::args::One;
use super::output::shown;
use super::write::{Over, put};
use super::{Answer, Output, exit};

/// Lines of the list that is offered.
const OFFERED: usize = 10;

const UNKNOWN: &str = "? (don't know)";
const NETWORK: &str = "ask the network operator";
const BACK: &str = "back";
const QUIT: &str = "quit";

/// What was said to a question.
enum Reply {
    Answer(String),
    Unknown,
    Network,
    Back,
    Quit,
    /// The terminal cannot be asked on.
    Failed(String),
}

/// A question that was passed, and the text before it was answered, if it was.
type Passed = (String, Option<String>);

/// Asks until nothing is open or whoever answers leaves.
pub(super) fn run(one: &One, file: &Path, out: &mut Output) -> Answer {
    let mut now = Arc::clone(&one.loaded);
    let mut left: Vec<String> = Vec::new();
    let mut network: Vec<String> = Vec::new();
    let mut passed: Vec<Passed> = Vec::new();
    let mut again: Option<String> = None;
    let mut settler: Option<Settler> = None;
    let mut code = exit::CLEAN;
    loop {
        let asked = now.sound().map(|of| {
            let survey = of.survey();
            let first = of.asked(&survey);
            // Where all of it is answered or not known today, what may follow is asked as well.
            match first.iter().all(|q| left.contains(&q.id)) {
                true => of.asked(&survey.in_full()),
                false => first,
            }
        });
        let asked = asked.unwrap_or_default();
        let wanted = again
            .take()
            .and_then(|id| asked.iter().find(|q| q.id == id));
        let open = || asked.iter().find(|q| !left.contains(&q.id));
        let Some(q) = wanted.or_else(open) else {
            break;
        };
        let of = asked.iter().filter(|q| !left.contains(&q.id)).count();
        tell(q, &mut settler, of, out);
        match prompt(q) {
            Reply::Answer(text) => {
                let given = (q.id.as_str(), text.as_str());
                let answered = match answer((&one.project, &one.options), &now, given) {
                    Ok(answered) => answered,
                    Err(problems) => {
                        out.failed(&problems.into());
                        again = Some(q.id.clone());
                        continue;
                    }
                };
                if !answered.cautions.is_empty() {
                    out.problems(&answered.cautions, &Sources::default());
                    out.flush();
                    let kept = Confirm::new("write it all the same?")
                        .with_default(false)
                        .prompt();
                    if !matches!(kept, Ok(true)) {
                        again = Some(q.id.clone());
                        continue;
                    }
                }
                let before = text_of(&now);
                if let Err(problem) = put(file, Over::Text(&before), &answered.text) {
                    code = out.failed(&problem.into());
                    break;
                }
                passed.push((q.id.clone(), Some(before)));
                now = answered.loaded;
            }
            Reply::Unknown => {
                left.push(q.id.clone());
                passed.push((q.id.clone(), None));
            }
            Reply::Network => {
                network.push(format!("{} of {} ({})", q.label, q.of, q.id));
                left.push(q.id.clone());
                passed.push((q.id.clone(), None));
            }
            Reply::Back => {
                let Some((id, before)) = passed.pop() else {
                    out.note("this is the first question");
                    again = Some(q.id.clone());
                    continue;
                };
                left.retain(|l| *l != id);
                network.retain(|n| !n.ends_with(&format!("({id})")));
                if let Some(before) = before {
                    if let Err(problem) = put(file, Over::Text(&text_of(&now)), &before) {
                        code = out.failed(&problem.into());
                        break;
                    }
                    now = one.project.open(file, &one.options);
                }
                again = Some(id);
            }
            Reply::Quit => break,
            Reply::Failed(why) => {
                out.note(&format!("the terminal cannot be asked on: {why}"));
                code = exit::FAILED;
                break;
            }
        }
    }
    let written = passed.iter().filter(|(_, before)| before.is_some()).count();
    let open = now.sound().map_or(0, |of| of.survey().questions.len());
    let file = shown(file);
    out.line(&format!(
        "\n{file}: {} written, {} open",
        plural(written, "answer", "answers"),
        plural(open, "question", "questions")
    ));
    if !network.is_empty() {
        out.line(heading(Settler::Network));
        for n in &network {
            out.line(&format!("  {}", visible_line(n)));
        }
    }
    out.line(&format!("\n{}", cautions::ALWAYS));
    Ok(code)
}

fn text_of(loaded: &Loaded) -> String {
    let file = loaded.sources.get(FileId(0));
    file.map_or_else(String::new, |file| file.text().to_owned())
}

fn tell(q: &Asked, last: &mut Option<Settler>, open: usize, out: &mut Output) {
    let width = out.style().width.clamp(60, 100);
    let mut text = String::new();
    if *last != Some(q.settled_by) {
        text.push_str(&format!(
            "\n{} ({} to go)\n",
            heading(q.settled_by),
            plural(open, "question", "questions")
        ));
        if let Some(c) = caution(q.settled_by) {
            text.push_str(&format!("{c}\n"));
        }
        *last = Some(q.settled_by);
    }
    text.push_str(&format!("\n{}", question(q)));
    out.text(&fit(&text, width));
    out.flush();
}

fn prompt(q: &Asked) -> Reply {
    let mut offered: Vec<String> = q
        .usual
        .iter()
        .map(|u| visible_line(u).into_owned())
        .collect();
    offered.push(UNKNOWN.to_owned());
    if q.settled_by == Settler::Network {
        offered.push(NETWORK.to_owned());
    }
    offered.extend([BACK.to_owned(), QUIT.to_owned()]);
    let fitting = move |typed: &str| {
        let typed = typed.to_lowercase();
        let all = offered.iter().filter(|o| o.to_lowercase().contains(&typed));
        Ok(all.cloned().collect())
    };
    let message = match &q.unit {
        Some(unit) => format!("{} in {unit}:", visible_line(&q.fact)),
        None => format!("{}:", visible_line(&q.fact)),
    };
    let help = "arrow keys choose, tab takes; ? leaves it open, `back` and `quit` as they say";
    let said = Text::new(&message)
        .with_autocomplete(fitting)
        .with_page_size(OFFERED)
        .with_help_message(help)
        .prompt();
    match said {
        Ok(text) => match text.trim() {
            "" => Reply::Unknown,
            text if text.starts_with('?') => Reply::Unknown,
            NETWORK => Reply::Network,
            BACK => Reply::Back,
            QUIT => Reply::Quit,
            text => Reply::Answer(text.to_owned()),
        },
        Err(InquireError::OperationCanceled) => Reply::Back,
        Err(InquireError::OperationInterrupted) => Reply::Quit,
        Err(e) => Reply::Failed(e.to_string()),
    }
}
