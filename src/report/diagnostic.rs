//! Problems and findings shown with their lines, through miette.
//!
//! miette walks a text from its start for every label and counts columns in bytes, and it can
//! panic past the end; so it is given sources with a line index, and spans are clamped here.

use std::fmt;

pub(super) use miette::Severity;
use miette::{
    Diagnostic, GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteError,
    MietteSpanContents, SourceCode, SourceSpan, SpanContents, ThemeCharacters, ThemeStyles,
};

use crate::source::{
    Label, Problem, SourceFile, Sources, Weight, is_unseen, visible, visible_json, visible_line,
};

/// How the terminal is written to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Style {
    /// With colours.
    pub color: bool,
    /// Width in columns.
    pub width: usize,
}

impl Default for Style {
    fn default() -> Self {
        Self {
            color: false,
            width: 100,
        }
    }
}

/// A message with labels in one file.
#[derive(Debug)]
pub(super) struct Shown<'a> {
    code: String,
    weight: Severity,
    message: String,
    help: Option<String>,
    source: Option<Lines<'a>>,
    labels: Vec<LabeledSpan>,
    /// The labels in other files, a part for each.
    elsewhere: Vec<Shown<'a>>,
}

/// A file as it may be shown: with characters in it that are not seen, a copy without them.
#[derive(Debug)]
struct Lines<'a> {
    file: &'a SourceFile,
    /// A line longer than this is shown around its labels only.
    room: usize,
}

/// A text whose every character is seen or ends a line, if this is none; places stay where they are.
fn in_place(text: &str) -> Option<String> {
    let unseen = |c: char| is_unseen(c) && !matches!(c, '\n' | '\r' | '\t');
    // A carriage return is an end of line before a line feed only.
    let lone = |i: usize| !text.get(i + 1..).unwrap_or("").starts_with('\n');
    if !text.contains(unseen) && !text.match_indices('\r').any(|(i, _)| lone(i)) {
        return None;
    }
    let mut out = String::with_capacity(text.len());
    for (i, c) in text.char_indices() {
        if unseen(c) || c == '\r' && lone(i) {
            out.extend(std::iter::repeat_n('?', c.len_utf8()));
        } else {
            out.push(c);
        }
    }
    Some(out)
}

/// Of a line longer than this only what is around its labels is shown, whatever the width.
pub(super) const LONG_LINE: usize = 240;

/// How much of a long line is shown before and behind what is labelled.
const AROUND: usize = 60;

/// Columns that the number of a line and its rule take.
const GUTTER: usize = 8;

/// The stretch of some lines that is shown: the first and last are cut around the labels where
/// they are long.
fn clipped(
    text: &str,
    lines: (usize, usize),
    label: (usize, usize),
    room: usize,
) -> (usize, usize) {
    let ((mut from, mut until), (start, end)) = (lines, label);
    let around = AROUND.min(room.saturating_sub(end.saturating_sub(start)) / 2);
    let rest = |a: usize, b: usize| text.get(a..b).unwrap_or("");
    let first_end = rest(from, until).find('\n').map_or(until, |i| from + i);
    if first_end - from > room && start >= from {
        let near = start.saturating_sub(around);
        from = floor_char(text, near.max(from));
    }
    let last_start = rest(from, until.saturating_sub(1))
        .rfind('\n')
        .map_or(from, |i| from + i + 1);
    if until - last_start > room && end >= last_start {
        let near = floor_char(text, (end + around).min(until));
        until = near.max(end);
    }
    (from, until)
}

/// The beginning of the character that a byte is in.
fn floor_char(text: &str, mut at: usize) -> usize {
    while at > 0 && !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

impl<'a> Lines<'a> {
    fn of(file: &'a SourceFile, room: usize) -> Self {
        let file = file.shown(in_place);
        Self { file, room }
    }

    /// What was rendered, with a mark where a line is not shown to its ends.
    fn with_cuts_told(&self, rendered: &str) -> String {
        let mut out = String::with_capacity(rendered.len());
        for line in rendered.split_inclusive('\n') {
            let shown = line.split_once(" │ ").and_then(|(head, text)| {
                let digits = head.trim_start_matches(|c: char| !c.is_ascii_digit());
                let number: usize = digits.parse().ok()?;
                let whole = self.file.line(number.checked_sub(1)?);
                Some((head, text.trim_end(), whole.trim_end()))
            });
            match shown {
                // Tabs are drawn as blanks.
                Some((head, text, whole)) if text != whole && !whole.contains('\t') => {
                    let mut rest = text.chars();
                    let front = match whole.starts_with(text) {
                        true => None,
                        false => rest.next().map(|_| '…'),
                    };
                    let back = (!whole.ends_with(text)).then_some('…');
                    let text: String = front.into_iter().chain(rest).chain(back).collect();
                    out.push_str(&format!("{head} │ {text}\n"));
                }
                _ => out.push_str(line),
            }
        }
        out
    }
}

impl SourceCode for Lines<'_> {
    fn read_span<'b>(
        &'b self,
        span: &SourceSpan,
        before: usize,
        after: usize,
    ) -> Result<Box<dyn SpanContents<'b> + 'b>, MietteError> {
        let file = self.file;
        let len = file.text().len();
        let start = span.offset().min(len);
        let end = (span.offset() + span.len()).min(len).max(start);
        let first = file.line_of(start).saturating_sub(before);
        let last = (file.line_of(end) + after).min(file.line_count().saturating_sub(1));
        let (from, until) = clipped(
            file.text(),
            (file.line_start(first), file.line_start(last + 1)),
            (start, end),
            self.room,
        );
        let data = file.text().as_bytes().get(from..until).unwrap_or(&[]);
        let place = file.position(start);
        let column = if before == 0 {
            place.column.saturating_sub(1) as usize
        } else {
            0
        };
        Ok(Box::new(MietteSpanContents::new_named(
            visible_line(file.name()).into_owned(),
            data,
            (from, until.saturating_sub(from)).into(),
            first,
            column,
            last + 1 - first,
        )))
    }
}

impl fmt::Display for Shown<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Shown<'_> {}

impl Diagnostic for Shown<'_> {
    fn code<'b>(&'b self) -> Option<Box<dyn fmt::Display + 'b>> {
        if self.code.is_empty() {
            None
        } else {
            Some(Box::new(&self.code))
        }
    }

    fn severity(&self) -> Option<Severity> {
        Some(self.weight)
    }

    fn help<'b>(&'b self) -> Option<Box<dyn fmt::Display + 'b>> {
        self.help
            .as_ref()
            .map(|h| Box::new(h) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.source.as_ref().map(|s| s as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        if self.labels.is_empty() {
            return None;
        }
        Some(Box::new(self.labels.iter().cloned()))
    }
}

impl<'a> Shown<'a> {
    /// A message whose labels may lie in several files: the first label's file leads, lines of the
    /// others follow.
    pub(super) fn new(
        code: &str,
        weight: Severity,
        message: String,
        labels: &[Label],
        help: Option<String>,
        (sources, room): (&'a Sources, usize),
    ) -> Self {
        let mut shown = Self {
            code: visible_line(code).into_owned(),
            weight,
            message: visible_line(&message).into_owned(),
            help: help.map(|h| visible(&h).into_owned()),
            source: None,
            labels: Vec::new(),
            elsewhere: Vec::new(),
        };
        let Some(first) = labels.first() else {
            return shown;
        };
        let mut files = Vec::new();
        for l in labels {
            if !files.contains(&l.span.file) {
                files.push(l.span.file);
            }
        }
        for file in files {
            let Some(source) = sources.get(file) else {
                continue;
            };
            let mut mine: Vec<LabeledSpan> = labels
                .iter()
                .filter(|l| l.span.file == file)
                .enumerate()
                .map(|(i, l)| labelled(source, l, i == 0 && file == first.span.file, room))
                .collect();
            near_first(source, &mut mine, room);
            if file == first.span.file {
                shown.source = Some(Lines::of(source, room));
                shown.labels = mine;
            } else {
                shown.elsewhere.push(Self {
                    code: String::new(),
                    weight,
                    message: String::new(),
                    help: None,
                    source: Some(Lines::of(source, room)),
                    labels: mine,
                    elsewhere: Vec::new(),
                });
            }
        }
        shown
    }

    /// Writes it out.
    pub(super) fn render(&self, style: Style) -> Visible {
        let theme = GraphicalTheme {
            characters: ThemeCharacters::unicode(),
            styles: if style.color {
                ThemeStyles::ansi()
            } else {
                ThemeStyles::none()
            },
        };
        let handler = GraphicalReportHandler::new_themed(theme)
            .with_width(style.width.clamp(60, 120))
            .with_links(false)
            .with_context_lines(0);
        let render = |shown: &Self| {
            let mut out = String::new();
            match (handler.render_report(&mut out, shown), &shown.source) {
                (Ok(()), Some(lines)) => Some(lines.with_cuts_told(&out)),
                (Ok(()), None) => Some(out),
                (Err(_), _) => None,
            }
        };
        // The message itself is never lost.
        let mut out = render(self).unwrap_or_else(|| format!("{}\n", self.message));
        for other in &self.elsewhere {
            let text = render(other).unwrap_or_default();
            // Only the lines of the file: the message was said.
            let lines = text.lines().skip_while(|l| !l.contains('╭'));
            for line in lines {
                out.push_str(line);
                out.push('\n');
            }
        }
        // All that went in is visible; what is not, now, is the theme's.
        Visible(out)
    }
}

/// Leaves out all labels but the first where a long line lies among them: it is shown around that
/// one only.
fn near_first(source: &SourceFile, labels: &mut Vec<LabeledSpan>, room: usize) {
    let lines = || labels.iter().map(|l| source.line_of(l.offset()));
    let (Some(first), Some(last)) = (lines().min(), lines().max()) else {
        return;
    };
    if labels.len() > 1 && (first..=last).any(|l| source.line(l).len() > room) {
        labels.truncate(1);
    }
}

fn labelled(source: &SourceFile, label: &Label, primary: bool, room: usize) -> LabeledSpan {
    let len = source.text().len();
    let start = label.span.from().min(len.saturating_sub(1));
    let end = label.span.until().min(len).max(start);
    // A span of several lines is shown by its first; one of nothing by one character.
    let line_end =
        source.line_start(source.line_of(start)) + source.line(source.line_of(start)).len();
    let end = end.min(line_end.max(start + 1)).max((start + 1).min(len));
    // Of a very long one the beginning is shown.
    let end = floor_char(source.text(), end.min(start + room)).max((start + 1).min(len));
    let text = (!label.text.is_empty()).then(|| visible_line(&label.text).into_owned());
    let place: SourceSpan = (start, end - start).into();
    if primary {
        LabeledSpan::new_primary_with_span(text, place)
    } else {
        LabeledSpan::new_with_span(text, place)
    }
}

/// A text for output. Colours in it are the program's own; in whatever else is put in, what is not
/// seen is made visible.
#[derive(Clone, Debug, Default)]
pub struct Visible(String);

impl Visible {
    /// Adds a text as it is to be read.
    pub fn plain(&mut self, text: &str) {
        self.0.push_str(&visible(text));
    }

    /// Adds JSON, which goes on to mean the same.
    pub fn json(&mut self, json: &str) {
        self.0.push_str(&visible_json(json));
    }

    /// Adds what is visible already.
    pub fn add(&mut self, other: &Self) {
        self.0.push_str(&other.0);
    }

    /// The text with its colours.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// Columns of a source line that a terminal of this width has room for.
pub(super) fn room(style: Style) -> usize {
    style.width.clamp(60, 120) - GUTTER
}

/// Writes problems out, each with its lines.
#[must_use]
pub fn render_problems(problems: &[Problem], sources: &Sources, style: Style) -> Visible {
    problems_within(problems, sources, style, LONG_LINE)
}

/// The same, with lines no longer than there is room for.
pub(super) fn problems_within(
    problems: &[Problem],
    sources: &Sources,
    style: Style,
    room: usize,
) -> Visible {
    let mut out = Visible::default();
    for p in problems {
        let weight = match p.weight {
            Weight::Error => Severity::Error,
            Weight::Caution => Severity::Warning,
        };
        let help = (!p.help.is_empty()).then(|| p.help.join("\n"));
        let message = p.message.clone();
        let shown = Shown::new(p.code, weight, message, &p.labels, help, (sources, room));
        out.add(&shown.render(style));
        out.plain("\n");
    }
    out
}
