//! The first screen of a check: the answer in a line, and below it what one needs to act on it.
//! What is left out is counted, with the command that tells it.

mod answer;

use std::collections::BTreeSet;
use std::fmt::Write as _;

use rustc_hash::FxHashMap;

use crate::answer::{Question, Survey};
use crate::check::{FigureValue, Finding, Outcome, Reason, Report, tame};
use crate::ruleset::Severity;
use crate::source::{Label, Problem};

use super::columns::columns;
use super::diagnostic::{Shown, Style, Visible, problems_within, room};
use super::survey::{first_few, heading};
use super::terminal::{
    Followers, cells, cited, followers, follows, judged_by, later, lines, premise, weighed,
};
use super::wrap::wrapped;
use super::{FileReport, cautions, counted, some_of};

pub use answer::Screen;
use answer::left_out;

/// The most questions, figures, further breaches of one cause, and names of things alike that are
/// told.
const QUESTIONS: usize = 12;
const FIGURES: usize = 16;
const ALIKE: usize = 4;
const NAMES: usize = 6;

/// The first screen.
#[must_use]
pub fn render(screen: &Screen<'_>, style: Style) -> Visible {
    let mut page = Page {
        file: screen.file,
        style,
        width: style.width.clamp(60, 120),
        out: Visible::default(),
        cut: false,
    };
    page.para("", &screen.answer(), 2);
    page.para("", &judged(screen.file), 2);
    page.out.plain("\n");
    let problems = screen.file.problems.iter().cloned();
    let (mistakes, cautions): (Vec<_>, Vec<_>) = problems.partition(Problem::is_error);
    page.mistakes(&mistakes);
    let Some(report) = screen.file.report else {
        return page.out;
    };
    page.breaches(report);
    page.lighter(report, &cautions);
    page.lines(&left_out(report), |f| {
        let what = &f.title;
        format!("{what}, of {}: these rules leave it out", f.subject.label)
    });
    let mut unsettled = screen.unsettled(report);
    let asked = screen.survey.is_some_and(|s| !s.questions.is_empty());
    let limited = |f: &&Finding| f.reason == Some(Reason::Unresolved);
    let waiting = unsettled.iter().copied().filter(limited).count();
    if asked && waiting > 0 {
        // Most of them are decided once more is known.
        unsettled.retain(|f| !limited(f));
        page.cut = true;
        let n = counted(waiting, "verdict", "verdicts");
        let text = format!(
            "Unresolved: {n}, for which the work limit was met; answer what is open, then check again."
        );
        page.para("", &text, 2);
        page.out.plain("\n");
    }
    page.lines(&unsettled, |f| {
        let why = match f.reason {
            Some(Reason::Unresolved) => "the work limit was met",
            Some(Reason::Gap) => "the ruleset has no figure here",
            _ => "there is nothing to compute with",
        };
        format!("{}; {why}", f.message)
    });
    if let Some(survey) = screen.survey {
        page.questions(survey);
    }
    page.figures(report);
    page.closing(report);
    page.out
}

/// A design and by what it was judged.
fn judged(file: &FileReport<'_>) -> String {
    match file.ruleset {
        Some(r) => format!("{}: {}", file.path, judged_by(r, file.stage)),
        None => file.path.to_owned(),
    }
}

/// Breaches of one cause: of one rule, or at the very same places.
fn by_cause(report: &Report) -> Vec<Vec<&Finding>> {
    let breach = |f: &&Finding| {
        let leads = f.follows_from.is_none();
        leads && f.outcome == Outcome::Failed && f.severity == Severity::Breach
    };
    let places = |f: &Finding| -> Vec<_> { f.labels.iter().map(|l| l.span).collect() };
    let mut all: Vec<Vec<&Finding>> = Vec::new();
    for f in report.findings.iter().filter(breach) {
        let like = |g: &&mut Vec<&Finding>| {
            g.first()
                .is_some_and(|o| o.rule == f.rule || places(o) == places(f))
        };
        match all.iter_mut().find(like) {
            Some(group) => group.push(f),
            None => all.push(vec![f]),
        }
    }
    all
}

struct Page<'a> {
    file: &'a FileReport<'a>,
    style: Style,
    width: usize,
    out: Visible,
    /// Something was left out that the whole report tells.
    cut: bool,
}

impl Page<'_> {
    fn para(&mut self, lead: &str, text: &str, hang: usize) {
        let text = wrapped(lead, text, hang, self.width);
        self.out.plain(&text);
    }

    fn line_of(&self, label: Option<&Label>) -> Option<u32> {
        Some(self.file.sources.position(label?.span)?.line)
    }

    /// `line 12`, or `parts.amp line 12` in another file than the first.
    fn place(&self, label: &Label) -> String {
        let Some(line) = self.line_of(Some(label)) else {
            return String::new();
        };
        match self.file.sources.get(label.span.file) {
            Some(f) if f.name() != self.file.path => format!("{} line {line}", f.name()),
            _ => format!("line {line}"),
        }
    }

    fn mistakes(&mut self, mistakes: &[Problem]) {
        let room = room(self.style);
        let text = problems_within(mistakes, self.file.sources, self.style, room);
        self.out.add(&text);
    }

    fn breaches(&mut self, report: &Report) {
        let followers = followers(&report.findings);
        for group in by_cause(report) {
            let Some((first, others)) = group.split_first() else {
                continue;
            };
            self.breach(first);
            self.follows(first, &followers);
            for f in others.iter().take(ALIKE) {
                let at = f.labels.first().map(|l| self.place(l)).unwrap_or_default();
                let rule = match f.rule == first.rule {
                    true => String::new(),
                    false => format!(" (breach: {})", f.rule),
                };
                self.para("  also ", &format!("{at}: {}{rule}", f.message), 4);
                self.follows(f, &followers);
            }
            if others.len() > ALIKE {
                self.cut = true;
                let text = format!(
                    "… {} of {}",
                    counted(others.len() - ALIKE, "more breach", "more breaches"),
                    first.rule
                );
                self.para("  ", &text, 4);
            }
            self.out.plain("\n");
        }
    }

    /// What follows from a breach, a line each.
    fn follows(&mut self, of: &Finding, all: &Followers<'_>) {
        let mut text = String::new();
        follows(&mut text, of, all);
        for line in text.lines() {
            self.para("  ", line.trim_start(), 4);
        }
    }

    /// A breach with the place where it is seen, the help that comes first and its clause.
    fn breach(&mut self, f: &Finding) {
        let near = |l: &Label| {
            let first = f.labels.first();
            let (a, b) = (self.line_of(first), self.line_of(Some(l)));
            let same_file = first.is_some_and(|o| o.span.file == l.span.file);
            same_file && a.zip(b).is_some_and(|(a, b)| a.abs_diff(b) <= 1)
        };
        let (near, far): (Vec<Label>, Vec<Label>) = f.labels.iter().cloned().partition(near);
        let mut help: Vec<String> = f.help.first().cloned().into_iter().collect();
        let mut last = cited(f);
        if !far.is_empty() {
            let mut all: Vec<String> = far.iter().map(|l| self.place(l)).collect();
            all.dedup();
            last = format!("{last}; see {} too", all.join(" and "));
        }
        help.push(last);
        self.cut |= f.help.len() > 1 || !f.ways.is_empty() || f.amended.is_some();
        let (word, weight) = weighed(f);
        let shown = Shown::new(
            &format!("{word}: {}", f.rule),
            weight,
            f.message.clone(),
            &near,
            Some(help.join("\n")),
            (self.file.sources, room(self.style)),
        );
        self.out.add(&shown.render(self.style));
    }

    /// Cautions, advice and departures: what is the matter, and where.
    fn lighter(&mut self, report: &Report, written: &[Problem]) {
        for p in written {
            let at = p.labels.first().map(|l| self.place(l)).unwrap_or_default();
            self.para("caution: ", &p.message, 2);
            self.para("  ", &format!("{at}; {}", p.help.join("; ")), 4);
        }
        let failed = |f: &&Finding| match f.outcome {
            Outcome::Failed => f.severity == Severity::Caution && f.follows_from.is_none(),
            outcome => outcome == Outcome::Departed,
        };
        let all: Vec<&Finding> = report.findings.iter().filter(failed).collect();
        self.lines(&all, |f| match &f.departure {
            Some(reason) => format!("{}; departed from: {reason}", f.message),
            None => f.message.clone(),
        });
        self.cut |= all.iter().any(|f| !f.help.is_empty());
        if !written.is_empty() && all.is_empty() {
            self.out.plain("\n");
        }
    }

    /// Findings in two lines each; of a rule the first, and for what else.
    fn lines(&mut self, all: &[&Finding], say: impl Fn(&Finding) -> String) {
        for (i, f) in all.iter().enumerate() {
            let like = |o: &&&Finding| o.rule == f.rule && o.outcome == f.outcome;
            if all.iter().take(i).any(|o| like(&o)) {
                continue;
            }
            let (word, _) = weighed(f);
            self.para(&format!("{word}: "), &say(f), 2);
            let at = f.labels.first().map(|l| self.place(l)).unwrap_or_default();
            let mut text = format!("{at}; {} ({})", f.rule, cited(f));
            let others = all.iter().skip(i + 1).filter(like);
            let others: Vec<&str> = others.map(|o| o.subject.label.as_str()).collect();
            if !others.is_empty() {
                self.cut = true;
                let _ = write!(text, "; also for {}", some_of(&others, NAMES));
            }
            self.para("  ", &text, 4);
        }
        if !all.is_empty() {
            self.out.plain("\n");
        }
    }

    /// The questions that decide most, by who answers, in the order of the text; one that is asked of
    /// several things is one.
    fn questions(&mut self, survey: &Survey) {
        let mut asked: Vec<Vec<&Question>> = Vec::new();
        for q in survey.heaviest() {
            let like = |g: &&mut Vec<&Question>| {
                let key = |o: &Question| (o.settled_by, o.asked.clone(), o.rest, o.passes.clone());
                g.first().is_some_and(|o| !o.rest && key(o) == key(q))
            };
            let room = asked.len() < QUESTIONS;
            match asked.iter_mut().find(like) {
                Some(group) => group.push(q),
                None if room => asked.push(vec![q]),
                None => {}
            }
        }
        asked.sort_by_key(|g| g.first().map(|q| (q.settled_by, q.span)));
        let mut last = None;
        for group in &asked {
            let Some(q) = group.first() else { continue };
            if last != Some(q.settled_by) {
                let all = survey.questions.iter();
                let n = all.filter(|o| o.settled_by == q.settled_by).count();
                self.out.plain(&format!(
                    "{} ({n})\n",
                    heading(q.settled_by, &survey.network_operator)
                ));
                last = Some(q.settled_by);
            }
            let at = self.file.sources.position(q.span);
            let at = at.map_or(String::new(), |p| format!(", line {}", p.line));
            let hint = q.passes.as_ref();
            let hint = hint.map_or(String::new(), |p| format!("; passes with {p}"));
            let means = self.awaited(q).unwrap_or_else(|| q.means.clone());
            let of: Vec<String> = group.iter().map(|q| q.of_all()).collect();
            let text = format!(
                "{}: {} ({}{at}): {means}{hint}",
                some_of(&of, NAMES),
                q.label,
                q.asked
            );
            self.para("  ", &text, 4);
        }
        let told: usize = asked.iter().map(Vec::len).sum();
        let more = survey.questions.len() - told;
        let follow = survey.later.len();
        let text = match (more, follow) {
            (0, 0) => String::new(),
            (0, n) => format!("… {n} may follow"),
            (more, 0) => format!("… {more} more"),
            (more, n) => format!("… {more} more, and {n} that may follow"),
        };
        if !text.is_empty() {
            let path = self.file.path;
            self.note(&format!("{text}: `amperule survey {path}`"));
        }
        if told > 0 {
            self.out.plain("\n");
        }
    }

    /// Of a question whether all is listed: what is looked for in the list.
    fn awaited(&self, q: &Question) -> Option<String> {
        let report = self.file.report.filter(|_| q.rest)?;
        let waits = |f: &&Finding| {
            let mut all = q.waiting.iter();
            f.outcome == Outcome::Undecided
                && all.any(|w| w.rule == f.rule && w.subject == f.subject)
        };
        let said = report.findings.iter().filter(waits);
        let said: Vec<String> = said.map(|f| f.message.clone()).collect();
        (!said.is_empty()).then(|| first_few(&said).join("; "))
    }

    /// The figures that are known to both sides, or have a limit; of many those with the least in
    /// hand.
    fn figures(&mut self, report: &Report) {
        let known = |f: &&FigureValue| f.low.is_finite() && tame(f.high).is_finite();
        let told = report.figures.iter();
        let told: Vec<_> = told.filter(|f| known(f) || f.limit.is_some()).collect();
        let all = told.len();
        let unknown = report.figures.len() - all;
        let mut shown = alike(&told);
        if shown.len() > FIGURES {
            let hand = |r: &Alike<'_>| r.first.margin().unwrap_or(f64::INFINITY);
            shown.sort_by(|a, b| hand(a).total_cmp(&hand(b)));
            shown.truncate(FIGURES);
            self.cut = true;
        }
        let more = all - shown.iter().map(|r| r.count).sum::<usize>();
        if all + unknown == 0 {
            return;
        }
        self.out.plain("Figures:\n");
        let rows: Vec<Vec<String>> = shown.iter().map(Alike::row).collect();
        let table = columns(&rows, 2);
        let fits = table.lines().all(|l| l.chars().count() <= self.width);
        for ((row, line), r) in rows.iter().zip(table.lines()).zip(&shown) {
            let premise = premise(&r.first.means);
            if fits && line.chars().count() + premise.chars().count() + 2 <= self.width {
                let line = format!("{line}  {premise}");
                self.out.plain(&format!("{}\n", line.trim_end()));
                continue;
            }
            let cells: Vec<&str> = row.iter().skip(1).map(String::as_str).collect();
            let rest = cells.join(", ");
            let text = format!("{} {premise}", rest.trim_end_matches([',', ' ']));
            let name = row.first().map_or("", String::as_str);
            self.para(&format!("  {name}: "), &text, 6);
        }
        if more > 0 {
            let text = format!("… {more} more, with no less in hand");
            self.para("  ", &text, 4);
        }
        if unknown > 0 {
            let text = format!("… {unknown} of which too little is known");
            self.para("  ", &text, 4);
        }
        self.out.plain("\n");
    }

    /// A line of its own.
    fn note(&mut self, text: &str) {
        self.para("", text, 2);
    }

    fn closing(&mut self, report: &Report) {
        let c = &report.counts;
        let verdicts = |n| counted(n, "verdict", "verdicts");
        let not_judged = c.of(Outcome::NotJudged);
        if not_judged > 0 {
            let mistaken = report.findings.iter();
            let mistaken = mistaken.filter(|f| f.outcome == Outcome::NotJudged);
            let all: BTreeSet<u32> = mistaken.flat_map(|f| lines(f, self.file)).collect();
            let all: Vec<String> = all.iter().map(u32::to_string).collect();
            let what = match all.as_slice() {
                [one] => format!("line {one} holds"),
                all => format!("lines {} hold", all.join(", ")),
            };
            let n = verdicts(not_judged);
            self.note(&format!("Not judged: {n}, for what {what}."));
        }
        let open = c.of(Outcome::Undecided);
        if self.file.problems.iter().any(Problem::is_error) && open > 0 {
            let n = verdicts(open);
            self.note(&format!(
                "Undecided: {n}; mend the mistakes first, then the questions are told."
            ));
        }
        let advice = |f: &&Finding| f.outcome == Outcome::Failed && f.severity == Severity::Advice;
        let advice = report.findings.iter().filter(advice);
        let advice: BTreeSet<&str> = advice.map(|f| f.rule.as_str()).collect();
        let advice: Vec<&str> = advice.into_iter().collect();
        let notes = self.file.ruleset.map_or(0, |r| r.notes.len());
        let (assumed, required) = (report.assumed.len(), report.required.len());
        let values = |n| counted(n, "value", "values");
        for (n, text) in [
            (advice.len(), format!("Advice: {}.", advice.join(", "))),
            (
                assumed,
                format!("Assumed where not written: {}.", values(assumed)),
            ),
            (
                required,
                format!(
                    "Required of what is bought: {}; `order` lists them, and what is fitted is told at the verify stage.",
                    values(required)
                ),
            ),
            (
                notes,
                format!(
                    "On the rules: {}, of figures from memory and what is not confirmed.",
                    counted(notes, "note", "notes")
                ),
            ),
        ] {
            if n > 0 {
                self.cut = true;
                self.note(&text);
            }
        }
        if let Some(later) = later(self.file, report) {
            let n = verdicts(c.of(Outcome::NotDue));
            self.note(&format!("Not due: {n} of a later stage; {later}."));
        }
        if self.cut {
            let path = self.file.path;
            self.note(&format!(
                "All of it, with every place and help: `amperule check --full {path}`"
            ));
        }
        self.para("", cautions::ALWAYS, 0);
        self.out.plain("\n");
    }
}

/// Figures that stand in one line: those of a repeated block that come out alike.
struct Alike<'f> {
    first: &'f FigureValue,
    cells: Vec<String>,
    count: usize,
}

impl Alike<'_> {
    fn row(&self) -> Vec<String> {
        let mut row = self.cells.clone();
        if let Some(name) = row.first_mut().filter(|_| self.count > 1) {
            name.push_str(&format!(" and {} more", self.count - 1));
        }
        row
    }
}

/// Puts together what one figure is of blocks that differ by their number alone.
fn alike<'f>(all: &[&'f FigureValue]) -> Vec<Alike<'f>> {
    let mut lines: Vec<Alike<'f>> = Vec::new();
    let mut seen: FxHashMap<Vec<String>, usize> = FxHashMap::default();
    for first in all {
        let cells = cells(first);
        let mut key = cells.clone();
        if let Some(name) = key.first_mut() {
            *name = without_numbers(name);
        }
        match seen.get(&key).and_then(|at| lines.get_mut(*at)) {
            Some(line) => line.count += 1,
            None => {
                seen.insert(key, lines.len());
                lines.push(Alike {
                    first,
                    cells,
                    count: 1,
                });
            }
        }
    }
    lines
}

/// `Iz of bay[]` for `Iz of bay[3]`.
fn without_numbers(name: &str) -> String {
    let mut pieces = name.split('[');
    let mut all = pieces.next().unwrap_or("").to_owned();
    for piece in pieces {
        let rest = piece.trim_start_matches(|c: char| c.is_ascii_digit());
        all.push('[');
        all.push_str(if rest.starts_with(']') { rest } else { piece });
    }
    all
}
