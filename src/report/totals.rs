//! What many designs come to: a line for each, and what stands below all.

use std::fmt::Write as _;

use crate::check::{Standing, Totals};

use super::baseline::Against;
use super::cautions::ALWAYS;
use super::counted;
use super::diagnostic::Style;
use super::screen::Screen;
use super::wrap::wrapped;

/// What many designs come to, in one line.
#[must_use]
pub fn totals(t: &Totals, against: Option<Against>) -> String {
    let parts: Vec<String> = Standing::ALL
        .into_iter()
        .rev()
        .filter(|s| t.of(*s) > 0)
        .map(|s| {
            let what = match s {
                Standing::Failed => "with mistakes, or not to be read",
                Standing::Breach => "in breach",
                Standing::Undecided => "undecided",
                Standing::Clean => "with neither",
            };
            format!("{} {what}", t.of(s))
        })
        .collect();
    let mut text = format!(
        "{}: {}",
        counted(t.files(), "file", "files"),
        parts.join(", ")
    );
    if t.of(Standing::Failed) > 0 {
        text.push_str(match t.worst_judged {
            Some(Standing::Breach) => "; what could be judged holds a breach",
            Some(Standing::Undecided) => "; what could be judged holds no breach, but is undecided",
            Some(_) => "; what could be judged holds nothing",
            None => "; nothing could be judged",
        });
    }
    if let Some(a) = against {
        let _ = write!(text, "; {}", a.told());
    }
    text
}

/// What stands below the reports of many designs.
#[must_use]
pub fn below(t: &Totals, against: Option<Against>, style: Style) -> String {
    let width = style.width.clamp(60, 120);
    let told = wrapped("", &totals(t, against), 2, width);
    format!("{told}{}", wrapped("", ALWAYS, 0, width))
}

/// The line of one design among many.
#[must_use]
pub fn line(screen: &Screen<'_>, style: Style) -> String {
    let text = format!("{}: {}", screen.file.path, screen.parts().join("; "));
    wrapped("", &text, 4, style.width.clamp(60, 120))
}
