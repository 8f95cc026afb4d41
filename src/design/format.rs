//! The one layout of a design file.
//!
//! Comments and the grouping by blank lines stay, everything else follows from what is written:
//! two blanks of indentation, one entry a line in blocks that spanned lines, short blocks on one
//! line, one blank before a unit. Formatting twice changes nothing. The result is read back and
//! compared with the original before it is handed out.

use pest::iterators::Pair;

use super::fold::fold_unit;
use super::grammar::Rule;
use super::layout;
use super::parse::{pairs, parse};
use super::resolve::{Rewrite, keyed};
use super::tree::Tree;
use crate::quantity::Unit;
use crate::source::{FileId, Problem, Span};
use crate::vocabulary::Vocabulary;

/// Blocks that would reach beyond this column are broken into lines.
const WIDTH: usize = 100;
/// Indentation of a value that goes on over several lines, beyond that of its entry.
const CONTINUED: usize = 4;

/// Formats a design file.
///
/// # Errors
/// The mistakes of a text that is not sound; their spans lie in `FileId(0)`. A fault of the
/// formatter itself (the result would say something else than the text) is reported as problem
/// `format-changes-meaning` instead of being handed out.
pub fn format(text: &str) -> Result<String, Vec<Problem>> {
    let file = FileId(0);
    let parsed = parse(file, text);
    if !parsed.is_sound() {
        return Err(parsed.problems);
    }
    let look = layout::look(file, text);
    let mut printer = Printer::new(text);
    for piece in &look.pieces {
        printer.base = piece.start;
        let slice = look.text.get(piece.clone()).unwrap_or("");
        let Ok(matched) = pairs(Rule::file, slice) else {
            return Err(vec![fault("the text could not be read a second time")]);
        };
        for pair in matched.flat_map(Pair::into_inner) {
            printer.entry(pair, 0);
        }
    }
    let out = printer.finish();
    let again = parse(file, &out);
    if let Some(problem) = again.problems.first() {
        return Err(vec![fault(&format!(
            "{}: {}",
            problem.code, problem.message
        ))]);
    }
    if parsed.tree.outline() != again.tree.outline() {
        return Err(vec![fault("the values or their order would differ")]);
    }
    if !parsed
        .comments
        .iter()
        .map(|c| &c.value)
        .eq(again.comments.iter().map(|c| &c.value))
    {
        return Err(vec![fault("the comments would differ")]);
    }
    // Line ends are those of the first line.
    let first = text.split_inclusive('\n').next().unwrap_or("");
    Ok(if first.ends_with("\r\n") {
        out.replace('\n', "\r\n")
    } else {
        out
    })
}

/// Formats a design file in the words of its ruleset; `long` writes out all keys, marks and parts
/// that are said shortly. `used` are the trees of the files that it uses, whose names come before
/// other words of the trade.
///
/// # Errors
/// As [`format`], and the mistakes in what is said shortly.
pub fn format_by(
    text: &str,
    used: &[Tree],
    vocabulary: &Vocabulary,
    long: bool,
) -> Result<String, Vec<Problem>> {
    let parsed = parse(FileId(0), text);
    if !parsed.is_sound() {
        return Err(parsed.problems);
    }
    let keyed = |tree| {
        keyed(
            &std::iter::once(tree).chain(used).collect::<Vec<_>>(),
            vocabulary,
        )
    };
    let mut said = keyed(&parsed.tree);
    if long && !said.problems.is_empty() {
        return Err(said.problems);
    }
    said.rewrites.retain(|r| match r {
        Rewrite::Word(span, _) => span.file == FileId(0),
        Rewrite::Row { items, .. } => items.iter().all(|i| i.file == FileId(0)),
    });
    let own = rewritten(text, &said.rewrites, long);
    let again = parse(FileId(0), &own);
    let outlines = |trees: &[Tree]| trees.iter().map(Tree::outline).collect::<String>();
    if outlines(&said.trees) != outlines(&keyed(&again.tree).trees) {
        return Err(vec![fault("the facts would differ")]);
    }
    format(&own)
}

/// The text with other words of the trade replaced, and with keys if it is to be long.
fn rewritten(text: &str, rewrites: &[Rewrite], long: bool) -> String {
    let mut edits: Vec<(usize, usize, String)> = Vec::new();
    let slice = |span: Span| text.get(span.from()..span.until()).unwrap_or("");
    for rewrite in rewrites.iter().filter(|_| long) {
        let Rewrite::Row {
            items,
            end,
            opened_by,
            facts,
        } = rewrite
        else {
            continue;
        };
        for (i, item) in items.iter().enumerate() {
            let before = text.get(..item.from()).unwrap_or("").trim_end().len();
            edits.push(match (i, opened_by) {
                (0, Some(word)) => (item.from(), item.until(), word.clone()),
                _ => (before, item.until(), String::new()),
            });
        }
        let said: Vec<String> = facts
            .iter()
            .map(|(key, value)| match value {
                Ok(span) => format!("{key}: {}", slice(*span)),
                Err(text) => format!("{key}: {text}"),
            })
            .collect();
        let said = said.join("  ");
        let rest = text.get(*end..).unwrap_or("");
        let next = rest.trim_start_matches([' ', '\t']);
        edits.push(if next.starts_with('{') {
            let open = end + rest.len() - next.len() + 1;
            (open, open, format!(" {said} "))
        } else {
            (*end, *end, format!(" {{ {said} }}"))
        });
    }
    for rewrite in rewrites {
        if let Rewrite::Word(span, word) = rewrite {
            let inside = edits
                .iter()
                .any(|(from, until, _)| *from <= span.from() && span.until() <= *until);
            if !inside {
                edits.push((span.from(), span.until(), word.clone()));
            }
        }
    }
    edits.sort_by_key(|(from, until, _)| (*from, *until));
    let (mut out, mut at) = (String::with_capacity(text.len()), 0);
    for (from, until, new) in edits {
        out.push_str(text.get(at..from).unwrap_or(""));
        out.push_str(&new);
        at = until.max(at);
    }
    out.push_str(text.get(at..).unwrap_or(""));
    out
}

fn fault(why: &str) -> Problem {
    let said = format!("formatting would change what the file says ({why}); it is left as it is");
    Problem::error("format-changes-meaning", said)
        .help("this is a fault of the formatter: report it with the file")
}

/// Writes matched pairs in order.
#[derive(Default)]
struct Printer<'t> {
    text: &'t str,
    /// Where the piece being printed begins.
    base: usize,
    out: String,
    /// Indentation of the line being written.
    line_indent: usize,
    /// Column, in characters, of the next sign.
    column: usize,
    /// End, in the text, of what was written last.
    source_end: usize,
    /// A comment was written: the next thing begins a line.
    must_break: bool,
    /// Nothing was written since the beginning or an opening brace: no blank line is kept.
    fresh: bool,
    /// Blocks are written on one line, to see how long they are.
    flat: bool,
    /// A fact of one line was written last: another may stand behind it.
    joins: bool,
    /// A block of one line is broken: each of its facts has a line of its own.
    broken: bool,
}

impl<'t> Printer<'t> {
    fn new(text: &'t str) -> Self {
        Self {
            text,
            out: String::with_capacity(text.len()),
            fresh: true,
            ..Self::default()
        }
    }

    /// One that writes all on one line, to see how long it is.
    fn flat(&self) -> Self {
        Self {
            base: self.base,
            flat: true,
            ..Self::new(self.text)
        }
    }

    fn finish(mut self) -> String {
        if !self.out.is_empty() && !self.out.ends_with('\n') {
            self.out.push('\n');
        }
        self.out
    }

    fn start(&self, pair: &Pair<'_, Rule>) -> usize {
        self.base + pair.as_span().start()
    }

    fn end(&self, pair: &Pair<'_, Rule>) -> usize {
        self.base + pair.as_span().end()
    }

    fn push(&mut self, text: &str) {
        self.out.push_str(text);
        self.column += text.chars().count();
    }

    /// How many line breaks the text has between what was written last and `start`.
    fn breaks_before(&self, start: usize) -> usize {
        let between = self.text.get(self.source_end..start).unwrap_or("");
        let feeds = between.matches('\n').count();
        feeds.max(between.matches('\r').count())
    }

    /// Begins a line, keeping one blank line if there was any.
    fn line(&mut self, start: usize, indent: usize) {
        if !self.out.is_empty() {
            self.out.push('\n');
            if !self.fresh && self.breaks_before(start) > 1 {
                self.out.push('\n');
            }
        }
        self.out.extend(std::iter::repeat_n(' ', indent));
        self.line_indent = indent;
        self.column = indent;
        self.must_break = false;
    }

    /// Writes a token of a value: on a new line where the text has one, else after `gap`.
    fn token(&mut self, text: &str, start: usize, end: usize, gap: &str, indent: usize) {
        if self.must_break || self.breaks_before(start) > 0 {
            self.fresh = true;
            self.line(start, indent + CONTINUED);
        } else {
            self.push(gap);
        }
        self.push(text);
        self.fresh = false;
        self.source_end = end;
    }

    fn comment(&mut self, pair: &Pair<'_, Rule>, indent: usize) {
        let (start, end) = (self.start(pair), self.end(pair));
        let own_line = self.out.is_empty() || self.must_break || self.breaks_before(start) > 0;
        if own_line {
            self.line(start, indent);
        } else {
            self.push("  ");
        }
        self.push(pair.as_str().trim_end());
        self.source_end = end;
        self.must_break = true;
        self.fresh = false;
    }

    /// One entry on a line of its own, or after two blanks: when measuring, and a fact behind
    /// another where it was written so and there is room.
    fn entry(&mut self, pair: Pair<'_, Rule>, indent: usize) {
        if pair.as_rule() == Rule::comment {
            self.comment(&pair, indent);
            return;
        }
        if pair.as_rule() == Rule::EOI {
            return;
        }
        let start = self.start(&pair);
        let fact = pair.as_rule() == Rule::fact && !pair.as_str().trim_end().contains(['\n', '\r']);
        if self.flat {
            self.push(if self.fresh { " " } else { "  " });
        } else if fact && self.stays(&pair, start) {
            self.push("  ");
        } else {
            self.line(start, indent);
        }
        let from = self.out.len();
        self.fresh = false;
        self.source_end = start;
        let end = self.end(&pair);
        match pair.as_rule() {
            Rule::fact => self.fact(pair, "", indent),
            Rule::parameter => self.fact(pair, "parameter ", indent),
            _ => self.head(pair),
        }
        let printed = self.out.get(from..).unwrap_or("");
        self.joins = fact && !printed.contains('\n');
        self.source_end = end.max(self.source_end);
    }

    /// Whether a fact that was written behind another may stay on its line.
    fn stays(&self, pair: &Pair<'_, Rule>, start: usize) -> bool {
        if self.broken
            || !self.joins
            || self.fresh
            || self.must_break
            || self.breaks_before(start) > 0
        {
            return false;
        }
        let mut trial = self.flat();
        trial.fact(pair.clone(), "", 0);
        self.column + 2 + trial.column <= WIDTH
    }

    /// The words of a head, those that are the same in all heads of its form too, and its body.
    fn head(&mut self, pair: Pair<'_, Rule>) {
        let (mut at, mut gap) = (self.start(&pair), "");
        for part in pair.into_inner() {
            let fixed = one_blank(self.text.get(at..self.start(&part)).unwrap_or(""));
            if !fixed.is_empty() {
                self.push(&format!("{gap}{fixed}"));
                gap = " ";
            }
            at = self.end(&part);
            match part.as_rule() {
                Rule::body => {
                    self.push(gap);
                    self.body(part);
                }
                Rule::row_value => self.value(part.into_inner(), gap, self.line_indent),
                Rule::name => {
                    let mut inner = part.into_inner();
                    let word = inner.next();
                    self.push(gap);
                    self.push(word.as_ref().map_or("", Pair::as_str));
                    if let Some(repeat) = inner.next() {
                        let ends: Vec<&str> = repeat.into_inner().map(|n| n.as_str()).collect();
                        self.push(&format!("[{}]", ends.join("..")));
                    }
                }
                Rule::product => self.push(&format!("{gap}{}", one_blank(part.as_str()))),
                _ => self.push(&format!("{gap}{}", part.as_str())),
            }
            gap = " ";
        }
    }

    fn body(&mut self, pair: Pair<'_, Rule>) {
        let (start, end) = (self.start(&pair), self.end(&pair));
        let indent = self.line_indent;
        let outer = (self.flat, self.broken);
        let one_line = !pair.as_str().contains(['\n', '\r']);
        let flat = one_line && (self.flat || self.fits(&pair));
        self.push("{");
        self.fresh = true;
        if flat {
            self.flat = true;
        } else {
            self.broken = one_line;
            self.source_end = start + 1;
        }
        let mut empty = true;
        for entry in pair.into_inner() {
            empty = false;
            self.entry(entry, if flat { 0 } else { indent + 2 });
        }
        if flat && !empty {
            self.push(" ");
        } else if !empty {
            self.fresh = true;
            self.line(end - 1, indent);
        }
        self.push("}");
        (self.flat, self.broken) = outer;
        self.fresh = false;
        self.source_end = end;
    }

    /// Whether a block without line breaks may stay on this line.
    fn fits(&self, pair: &Pair<'_, Rule>) -> bool {
        let mut trial = self.flat();
        trial.body(pair.clone());
        self.column + trial.column <= WIDTH
    }

    fn fact(&mut self, pair: Pair<'_, Rule>, before: &str, indent: usize) {
        self.push(before);
        let mut inner = pair.into_inner();
        if let Some(key) = inner.next() {
            self.source_end = self.end(&key);
            self.push(key.as_str());
            self.push(":");
        }
        let indent = if self.flat { 0 } else { indent };
        self.value(inner, " ", indent);
    }

    /// The tokens of a value; `gap` stands before the first.
    fn value<'p>(
        &mut self,
        tokens: impl Iterator<Item = Pair<'p, Rule>>,
        gap: &str,
        indent: usize,
    ) {
        let mut gap = gap;
        for token in tokens {
            let (start, end) = (self.start(&token), self.end(&token));
            match token.as_rule() {
                Rule::comment => {
                    self.comment(&token, indent + CONTINUED);
                    continue;
                }
                Rule::body => {
                    self.push(" ");
                    self.body(token);
                    self.source_end = end;
                }
                Rule::index => {
                    let text = index(token);
                    self.token(&text, start, end, "", indent);
                }
                Rule::step => self.token(token.as_str(), start, end, "", indent),
                Rule::part_row | Rule::row_value => self.value(token.into_inner(), gap, indent),
                Rule::comma => self.token(",", start, end, "", indent),
                Rule::number => self.token(&number(token), start, end, gap, indent),
                Rule::pm => self.token("±", start, end, gap, indent),
                Rule::group => {
                    self.token("(", start, start + 1, gap, indent);
                    self.value(token.into_inner(), "", indent);
                    self.token(")", end - 1, end, "", indent);
                }
                Rule::pin => {
                    let hash = token.as_str().trim_start_matches('@').trim();
                    self.token(&format!("@ {hash}"), start, end, gap, indent);
                }
                Rule::origin | Rule::product | Rule::all_of | Rule::at_most | Rule::at_least => {
                    let text = one_blank(token.as_str());
                    self.token(&text, start, end, gap, indent);
                }
                _ => self.token(token.as_str(), start, end, gap, indent),
            }
            gap = " ";
        }
    }
}

/// Words with one blank between them, and none inside brackets.
fn one_blank(text: &str) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    words.join(" ").replace("( ", "(").replace(" )", ")")
}

fn index(pair: Pair<'_, Rule>) -> String {
    let ranged = pair
        .clone()
        .into_inner()
        .any(|p| p.as_rule() == Rule::whole);
    let parts: Vec<String> = pair
        .into_inner()
        .map(|p| match p.as_rule() {
            Rule::number => number(p),
            _ => p.as_str().to_owned(),
        })
        .collect();
    let joint = if ranged { ".." } else { " " };
    format!("[{}]", parts.join(joint))
}

/// A number with one blank before each unit. A letter that is glued to a whole number may belong
/// to the spelling of a choice (`4a`, `0.6/1kV`), so only well-known units are set apart.
fn number(pair: Pair<'_, Rule>) -> String {
    let mut out = String::new();
    let mut end = None;
    let mut fraction = false;
    for part in pair.into_inner() {
        let span = part.as_span();
        match part.as_rule() {
            Rule::digits => {
                if end.is_some() {
                    out.push(' ');
                }
                fraction = part.as_str().contains('/');
                out.push_str(part.as_str());
            }
            _ => {
                let glued = end == Some(span.start());
                let unit = canonical_unit(part.as_str());
                if !(glued && (fraction || !is_usual(&unit))) {
                    out.push(' ');
                }
                out.push_str(&unit);
            }
        }
        end = Some(span.end());
    }
    out
}

/// The unit with canonical signs; `Ω` and `ohm` stay as written.
fn canonical_unit(raw: &str) -> String {
    let has_sign = raw.contains(['\u{2126}', '\u{3A9}']);
    if !has_sign {
        return fold_unit(raw);
    }
    fold_unit(&raw.replace(['\u{2126}', '\u{3A9}'], "\u{1}")).replace('\u{1}', "Ω")
}

/// Whether a unit is one that everybody writes, and so no part of a choice's name: a letter that is
/// seldom a unit may be one.
fn is_usual(unit: &str) -> bool {
    unit.contains(['/', '·', '²', '³', '°', '%', '‰', 'Ω', 'µ'])
        || matches!(unit, "m" | "A" | "V" | "W" | "s" | "h" | "K" | "AWG")
        || unit.len() > 1 && Unit::all_spellings().any(|u| u == unit)
}
