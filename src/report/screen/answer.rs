//! The answer in one line: what was found, what is open and who answers, what is left.

use std::fmt::Write as _;

use crate::answer::Survey;
use crate::check::{Finding, Outcome, Reason, Report};
use crate::ruleset::Severity;
use crate::source::Problem;
use crate::vocabulary::Settler;

use crate::report::baseline::Against;
use crate::report::{FileReport, counted};

/// What is told of one design.
#[derive(Debug)]
pub struct Screen<'a> {
    /// What was judged.
    pub file: &'a FileReport<'a>,
    /// What the installation is called.
    pub name: String,
    /// The questions that are open; none, where the text has mistakes.
    pub survey: Option<&'a Survey>,
    /// How it compares with an earlier report, from which what was known is taken out.
    pub against: Option<Against>,
}

impl Screen<'_> {
    /// The answer in one line.
    #[must_use]
    pub fn answer(&self) -> String {
        let name = match self.name.as_str() {
            "" => self.file.path,
            name => name,
        };
        format!("{name}: {}", self.parts().join("; "))
    }

    pub(in crate::report) fn parts(&self) -> Vec<String> {
        let mut parts = Vec::new();
        let mistakes = self.file.problems.iter().filter(|p| p.is_error()).count();
        // That of the file itself stands nowhere in a text.
        let unread = |p: &Problem| p.code == "unreadable" && p.labels.is_empty();
        if mistakes == 1 && self.file.problems.iter().any(unread) {
            parts.push("cannot be read".to_owned());
        } else if mistakes > 0 {
            let line = format!("{} in the text", counted(mistakes, "mistake", "mistakes"));
            parts.push(line);
        }
        let Some(report) = self.file.report else {
            parts.push("not judged".to_owned());
            return parts;
        };
        let c = &report.counts;
        let failed = |s| c.cell(Outcome::Failed, s);
        let mut found = vec![counted(failed(Severity::Breach), "breach", "breaches")];
        if mistakes > 0 {
            found.insert(0, "as far as it could be read".to_owned());
        }
        for (n, one, many) in [
            (failed(Severity::Caution), "caution", "cautions"),
            (
                failed(Severity::Advice),
                "piece of advice",
                "pieces of advice",
            ),
            (c.of(Outcome::Departed), "departure", "departures"),
        ] {
            if n > 0 {
                found.push(counted(n, one, many));
            }
        }
        parts.push(found.join(", "));
        parts.push(self.open(report));
        let unsettled = self.unsettled(report).len();
        let left_out = left_out(report).len();
        if left_out > 0 {
            parts.push(format!("{left_out} not judged by these rules"));
        }
        if unsettled > 0 {
            let said = format!("{} unresolved", counted(unsettled, "verdict", "verdicts"));
            parts.push(said);
        }
        let not_judged = c.of(Outcome::NotJudged);
        if not_judged > 0 {
            parts.push(format!(
                "{} not judged",
                counted(not_judged, "verdict", "verdicts")
            ));
        }
        match self.against {
            Some(a) => parts.push(a.told()),
            None if mistakes + unsettled + not_judged + left_out == 0 => {
                parts.push("nothing else found".to_owned());
            }
            None => {}
        }
        parts
    }

    /// How much is open, and who answers.
    fn open(&self, report: &Report) -> String {
        let Some(survey) = self.survey else {
            let open = report.counts.of(Outcome::Undecided);
            return format!("{} undecided", counted(open, "verdict", "verdicts"));
        };
        let mut text = counted(survey.questions.len(), "question", "questions") + " open";
        let first = survey.questions.first().map(|q| q.settled_by);
        if let Some(settler) = first {
            let all = survey.questions.iter();
            let n = all.filter(|q| q.settled_by == settler).count();
            let n = match n == survey.questions.len() {
                true => String::new(),
                false => format!("{n} "),
            };
            let _ = write!(text, ", {n}{}", whom(settler, survey));
        }
        text
    }

    /// Findings that are undecided whatever is answered.
    pub(super) fn unsettled<'r>(&self, report: &'r Report) -> Vec<&'r Finding> {
        // With mistakes in the text nobody knows yet what is left when they are mended.
        if self.file.problems.iter().any(Problem::is_error) {
            return Vec::new();
        }
        let stuck = |f: &Finding| {
            let survey = self.survey.map_or(&[][..], |s| s.stuck.as_slice());
            survey
                .iter()
                .any(|(rule, subject)| *rule == f.rule && *subject == f.subject)
        };
        let mut all: Vec<&Finding> = report.findings.iter().collect();
        all.retain(|f| {
            let open = f.outcome == Outcome::Undecided && f.reason != Some(Reason::LeftOut);
            open && (f.reason == Some(Reason::Unresolved) || stuck(f))
        });
        all
    }
}

/// What matters for the design and the rules leave out.
pub(super) fn left_out(report: &Report) -> Vec<&Finding> {
    let open = |f: &&Finding| f.outcome == Outcome::Undecided;
    let all = report.findings.iter().filter(open);
    all.filter(|f| f.reason == Some(Reason::LeftOut)).collect()
}

/// Whose questions they are.
fn whom(settler: Settler, survey: &Survey) -> String {
    let text = match settler {
        Settler::Site => "for the site",
        Settler::Network => return format!("for the {}", survey.network_operator),
        Settler::Test => "to be measured",
        Settler::Designer => "for the designer",
        Settler::Maker => "for the makers",
        Settler::Client => "for the client",
        Settler::Installer => "for the installer",
        Settler::Authority => "for an authority",
    };
    text.to_owned()
}
