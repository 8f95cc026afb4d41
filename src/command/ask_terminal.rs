//! The open questions of a design one by one on a terminal; each answer is in the file before the
//! next question is asked.

use std::ops::ControlFlow::{self, Break, Continue};
use std::path::Path;
use std::sync::Arc;

use inquire::{Confirm, InquireError, Text};

use crate::answer::Asked;
use crate::report::survey::{caution, heading, question};
use crate::report::{cautions, fit, plural};
use crate::ruleset::Ruleset;
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
const NETWORK: &str = "left to be asked";
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

/// How far the questions are.
struct Talk<'a> {
    one: &'a One,
    file: &'a Path,
    /// The design with all that was answered.
    now: Arc<Loaded>,
    /// Questions that are set aside.
    left: Vec<String>,
    /// What is to be asked of the network operator: the question, and how it is shown.
    network: Vec<(String, String)>,
    passed: Vec<Passed>,
    /// The question to be put again.
    again: Option<String>,
}

/// Asks until nothing is open or whoever answers leaves.
pub(super) fn run(one: &One, file: &Path, out: &mut Output) -> Answer {
    let mut talk = Talk {
        one,
        file,
        now: Arc::clone(&one.loaded),
        left: Vec::new(),
        network: Vec::new(),
        passed: Vec::new(),
        again: None,
    };
    let mut settler: Option<Settler> = None;
    let mut code = exit::CLEAN;
    while let Some((q, open)) = talk.next() {
        tell(&talk.now, (&q, open), &mut settler, out);
        if let Break(ended) = talk.hear(&q, prompt(&q), out) {
            code = ended;
            break;
        }
    }
    talk.ended(out);
    Ok(code)
}

impl Talk<'_> {
    /// The question to put, and how many are open.
    fn next(&mut self) -> Option<(Asked, usize)> {
        let of = self.now.sound()?;
        let survey = of.survey();
        let mut asked = of.asked(&survey);
        // Where all of it is answered or not known today, what may follow is asked as well.
        if asked.iter().all(|q| self.left.contains(&q.id)) {
            asked = of.asked(&survey.in_full());
        }
        let is_open = |q: &&Asked| !self.left.contains(&q.id);
        let open = asked.iter().filter(is_open).count();
        let again = self.again.take();
        let wanted = again.and_then(|id| asked.iter().find(|q| q.id == id));
        let q = wanted.or_else(|| asked.iter().find(is_open))?.clone();
        Some((q, open))
    }

    /// Takes what was said; the end, with its exit code, where nothing more is to be asked.
    fn hear(&mut self, q: &Asked, reply: Reply, out: &mut Output) -> ControlFlow<u8> {
        match reply {
            Reply::Answer(text) => return self.take(q, &text, out),
            Reply::Unknown => self.set_aside(q),
            Reply::Network => {
                let shown = format!("{} of {} ({})", q.label, q.of, q.id);
                self.network.push((q.id.clone(), shown));
                self.set_aside(q);
            }
            Reply::Back => return self.back(q, out),
            Reply::Quit => return Break(exit::CLEAN),
            Reply::Failed(why) => {
                out.note(&format!("the terminal cannot be asked on: {why}"));
                return Break(exit::FAILED);
            }
        }
        Continue(())
    }

    fn set_aside(&mut self, q: &Asked) {
        self.left.push(q.id.clone());
        self.passed.push((q.id.clone(), None));
    }

    /// Writes an answer into the file, unless it cannot be one or is taken back.
    fn take(&mut self, q: &Asked, text: &str, out: &mut Output) -> ControlFlow<u8> {
        let context = (self.one.project, &self.one.options);
        let answered = match answer(context, &self.now, (q.id.as_str(), text)) {
            Ok(answered) => answered,
            Err(problems) => {
                out.failed(&problems.into());
                self.again = Some(q.id.clone());
                return Continue(());
            }
        };
        if !answered.cautions.is_empty() {
            out.problems(&answered.cautions, &Sources::default());
            out.flush();
            let kept = Confirm::new("write it all the same?")
                .with_default(false)
                .prompt();
            if !matches!(kept, Ok(true)) {
                self.again = Some(q.id.clone());
                return Continue(());
            }
        }
        let before = text_of(&self.now).to_owned();
        if let Err(problem) = put(self.file, Over::Text(&before), &answered.text) {
            return Break(out.failed(&problem.into()));
        }
        self.passed.push((q.id.clone(), Some(before)));
        self.now = answered.loaded;
        Continue(())
    }

    /// Puts the question before again, its answer taken out of the file.
    fn back(&mut self, q: &Asked, out: &mut Output) -> ControlFlow<u8> {
        let Some((id, before)) = self.passed.pop() else {
            out.note("this is the first question");
            self.again = Some(q.id.clone());
            return Continue(());
        };
        self.left.retain(|l| *l != id);
        self.network.retain(|(asked, _)| *asked != id);
        if let Some(before) = before {
            if let Err(problem) = put(self.file, Over::Text(text_of(&self.now)), &before) {
                return Break(out.failed(&problem.into()));
            }
            self.now = self.one.project.open(self.file, &self.one.options);
        }
        self.again = Some(id);
        Continue(())
    }

    fn ended(&self, out: &mut Output) {
        let written = self.passed.iter().filter(|(_, b)| b.is_some()).count();
        let of = self.now.sound();
        let open = of.map_or(0, |of| of.survey().questions.len());
        out.line(&format!(
            "\n{}: {} written, {} open",
            shown(self.file),
            plural(written, "answer", "answers"),
            plural(open, "question", "questions")
        ));
        if !self.network.is_empty() {
            out.line(&heading(Settler::Network, operator(&self.now)));
        }
        for (_, question) in &self.network {
            out.line(&format!("  {}", visible_line(question)));
        }
        out.line(&format!("\n{}", cautions::ALWAYS));
    }
}

/// The text of a design itself.
pub(super) fn text_of(loaded: &Loaded) -> &str {
    let file = loaded.sources.get(FileId(0));
    file.map_or("", |file| file.text())
}

/// What those are called who run the supply network.
fn operator(of: &Loaded) -> &str {
    let of = of.sound();
    of.map_or(Ruleset::NETWORK_OPERATOR, |of| {
        &of.ruleset().network_operator
    })
}

fn tell(of: &Loaded, (q, open): (&Asked, usize), last: &mut Option<Settler>, out: &mut Output) {
    let width = out.style().width.clamp(60, 100);
    let mut text = String::new();
    if *last != Some(q.settled_by) {
        text.push_str(&format!(
            "\n{} ({} to go)\n",
            heading(q.settled_by, operator(of)),
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
