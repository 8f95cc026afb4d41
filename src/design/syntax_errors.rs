//! What to say about a slice of text that the grammar could not read: the place, what was
//! expected, and what to write instead.

use pest::iterators::Pair;

use super::grammar::Rule;
use super::lower::Lower;
use super::tree::{BlockName, Number, Origin, Value, ValueKind, Word};
use crate::quantity::parse_date;
use crate::source::{Problem, Span, closest};

/// Junk longer than this is shown shortened in messages.
const SHOWN: usize = 40;

/// The text shortened for a message.
fn shown(text: &str) -> String {
    let text = text.trim();
    if text.chars().count() <= SHOWN {
        return text.to_owned();
    }
    let start: String = text.chars().take(SHOWN).collect();
    format!("{}…", start.trim_end())
}

fn is_word_char(c: char) -> bool {
    c.is_alphanumeric() || matches!(c, '_' | '-')
}

/// The word a text begins with; empty if it begins with something else.
fn first_word(text: &str) -> &str {
    if !text.starts_with(char::is_alphabetic) {
        return "";
    }
    text.split(|c| !is_word_char(c)).next().unwrap_or("")
}

/// Whether a line goes on with a new entry: a key, or a block's head.
pub(super) fn begins_entry(text: &str) -> bool {
    let word = first_word(text);
    if word.is_empty() {
        return false;
    }
    let rest = text.get(word.len()..).unwrap_or("").trim_start();
    if rest.starts_with([':', '{']) {
        return true;
    }
    let name = first_word(rest);
    let rest = rest.get(name.len()..).unwrap_or("").trim_start();
    !name.is_empty() && rest.starts_with(['{', '[', '"'])
}

/// The words before an opening brace, for naming the block it belongs to.
pub(super) fn head_before(text: &str, open: usize) -> String {
    let before = text.get(..open).unwrap_or("").trim_end();
    let line = before.rsplit(['\n', '\r']).next().unwrap_or("");
    let start = line.rfind(['{', '}', ':', '|', ',']).map_or(0, |i| i + 1);
    shown(line.get(start..).unwrap_or(""))
}

/// A block that begins with a word of the language but has not its form.
pub(super) fn keyword_block(kind: &Word, name: Option<&BlockName>) -> Option<Problem> {
    let name = name.map_or("NAME", |n| n.word.text.as_str());
    let form = match kind.text.as_str() {
        "define" => format!("define {name} as rcbo {{ … }}"),
        "departure" => "departure from RULE { … }".to_owned(),
        "use" => "use \"parts.amp\"".to_owned(),
        "parameter" => format!("parameter {name}: 5 m .. 40 m"),
        "no" => format!("no {name}"),
        _ => return None,
    };
    Some(
        Problem::wrong(
            "wrong-form",
            kind.span,
            format!("`{}` is not written as a block", kind.text),
        )
        .help(format!("write `{form}`")),
    )
}

/// `In 32 A`: a fact without its colon; behind a value it may be a part of that, as in `type A 2-pole`.
pub(super) fn missing_colon(lower: &Lower<'_>, key: &Word, span: Span, behind: bool) -> Problem {
    let rest = lower.slice(span);
    let rest = rest.get(key.span.until() - key.span.from()..).unwrap_or("");
    if key.text == "use" {
        return wrong_use(span);
    }
    let problem = Problem::wrong(
        "missing-colon",
        key.span,
        format!("`{}` is followed by a value without `:`", key.text),
    );
    if key.text == "installation" {
        let whole = "what is said of the whole stands in braces: `installation \"…\" { rules: … }`";
        return problem.help(whole);
    }
    let problem = problem.help(format!("write `{}: {}`", key.text, shown(rest)));
    let next = rest.split_whitespace().next().unwrap_or("");
    if next.starts_with('"') {
        let key = &key.text;
        problem.help(format!(
            "a block has its facts in braces: `{key} \"…\" {{ … }}`"
        ))
    } else if behind && key.text.chars().count() < 3 {
        let key = &key.text;
        problem.help(format!(
            "what is one mark is one word: `{key}-{next}`, as in `type-A` or `BS-88-3`"
        ))
    } else {
        problem
    }
}

/// A fact that stands in no block.
pub(super) fn outside(key: &Word) -> Problem {
    let name = &key.text;
    let why = format!("`{name}:` stands outside of any block");
    let problem = Problem::wrong("fact-outside-block", key.span, why);
    if matches!(name.as_str(), "rules" | "edition" | "stage") {
        return problem.help(format!(
            "write it between the braces of `installation \"…\" {{ {name}: … }}`"
        ));
    }
    problem
        .help("write facts between the braces of the block they belong to")
        .help(format!("for a template: `parameter {name}: …`"))
}

fn wrong_use(span: Span) -> Problem {
    let why = "`use` is followed by the name of a file in quotes";
    Problem::wrong("wrong-form", span, why).help("write `use \"parts.amp\"`")
}

/// `circuit ev extra {`: a head that is none.
pub(super) fn odd_head(lower: &Lower<'_>, head: &Pair<'_, Rule>) -> Problem {
    let raw = head.as_str().trim_end();
    let span = lower.span(head).first(raw.len());
    let why = format!("`{}` cannot head a block", shown(raw));
    let problem = Problem::error("wrong-head", why).at(
        span,
        "expected `kind`, `kind name` or `kind name \"label\"` before `{`",
    );
    let mut words = raw.split_whitespace();
    let kind = words.next().unwrap_or("");
    let rest: Vec<&str> = words.collect();
    match (kind, rest.as_slice()) {
        ("define", _) => problem.help("write `define NAME as HEAD {`"),
        ("departure", _) => problem.help("write `departure from RULE {`"),
        (_, [name, ..]) if name.starts_with(|c: char| c.is_ascii_digit()) => problem.help(format!(
            "a name begins with a letter: write `{kind} {kind}-{name} {{`"
        )),
        (_, [name]) if name.contains('[') => {
            problem.help(format!("for many alike write `{kind} bay[1..6] {{`"))
        }
        (_, [label, ..]) if label.starts_with('"') => problem.help(format!(
            "write the name before the label: `{kind} NAME \"…\" {{`"
        )),
        (_, names) if names.len() > 1 && names.iter().all(|n| first_word(n) == *n) => problem.help(
            format!("a name is one word: write `{kind} {} {{`", names.join("-")),
        ),
        _ => problem,
    }
}

/// A minus sign without its blanks, or a dash that is no minus sign.
pub(super) fn wrong_minus(lower: &Lower<'_>, left: Span, sign: Span, right: Span) -> Problem {
    let (a, b) = (lower.slice(left), lower.slice(right));
    let whole = left.to(right);
    let written = lower.slice(sign);
    let unit = |text: &'_ str| -> String {
        let number = |c: char| c.is_ascii_digit() || ".-/ ".contains(c);
        text.trim_start_matches(number).to_owned()
    };
    // `6 mm² -4 m` is no difference, and no range.
    let numbers = [a, b]
        .iter()
        .all(|t| t.starts_with(|c: char| c.is_ascii_digit()));
    if numbers && !unit(a).is_empty() && unit(a) != unit(b) {
        let at = Span::new(sign.file, sign.from(), right.until());
        return less_than_nothing(at, b);
    }
    let mut problem = if written == "-" {
        let why = "a minus needs a blank on both sides";
        Problem::wrong("minus-without-blanks", whole, why)
    } else {
        let why = format!("`{written}` is neither a minus sign nor a range");
        Problem::wrong("dash", whole, why)
    };
    problem = problem.help(format!("write `{a} - {b}` to subtract"));
    if b.starts_with(|c: char| c.is_ascii_digit()) {
        problem = problem.help(format!("write `{a} .. {b}` for a range"));
    }
    problem
}

/// `-4 m` where no value can be negative.
pub(super) fn less_than_nothing(at: Span, without: &str) -> Problem {
    let why = format!("`-{without}` is less than nothing");
    Problem::wrong("less-than-nothing", at, why).help(format!("write `{without}`"))
}

/// A number with a decimal comma, a dot too many, or no digit before its dot.
pub(super) fn wrong_number(lower: &Lower<'_>, digits: &Pair<'_, Rule>) -> Problem {
    let raw = digits.as_str();
    let span = lower.span(digits);
    if raw.contains(',') {
        let groups: Vec<&str> = raw.split(',').collect();
        let why = format!("`{raw}` is written with a comma");
        let mut problem = Problem::wrong("decimal-comma", span, why);
        let thousands = groups.len() > 2
            || groups
                .last()
                .is_some_and(|g| g.split('.').next().is_some_and(|g| g.len() == 3));
        if groups.len() == 2 && !raw.contains('.') {
            problem = problem.help(format!("write `{}`", raw.replace(',', ".")));
        }
        if thousands {
            problem = problem.help(format!("write `{}` for thousands", raw.replace(',', "")));
        }
        return problem.help(format!("write `{}` for a list", groups.join(", ")));
    }
    if let Some(whole) = raw.strip_suffix('.') {
        return Problem::wrong("trailing-dot", span, format!("`{raw}` ends with a dot"))
            .help(format!("write `{whole}` or `{whole}.0`"));
    }
    let why = format!("`{raw}` has no digit before its dot");
    Problem::wrong("leading-dot", span, why).help(format!("write `{}`", raw.replacen('.', "0.", 1)))
}

/// The months as their names begin, in order.
const MONTHS: [&str; 12] = [
    "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
];

/// `01/06/2026`, `1 June 2026`: which of its numbers is the day is not known where both could be.
pub(super) fn wrong_date(raw: &str, span: Span) -> Problem {
    let parts: Vec<String> = raw
        .split(|c: char| !c.is_alphanumeric())
        .map(str::to_lowercase)
        .collect();
    let named = |part: &String| MONTHS.iter().position(|m| part.starts_with(m));
    let day = |year: &str, month: &str, day: &str| {
        let number = |t: &str| t.trim_end_matches(char::is_alphabetic).parse::<u32>().ok();
        let year = number(year).map(|y| if y < 100 { y + 2000 } else { y })?;
        let text = format!("{year:04}-{:02}-{:02}", number(month)?, number(day)?);
        parse_date(&text).ok().map(|_| text)
    };
    let (day_first, month_first) = match parts.as_slice() {
        [y, m, d] if y.len() == 4 => (day(y, m, d), None),
        [d, m, y] => match named(m) {
            Some(month) => (day(y, &(month + 1).to_string(), d), None),
            None => (day(y, m, d), day(y, d, m)),
        },
        _ => (None, None),
    };
    let why = format!("`{raw}` is not how a date is written here");
    let problem = Problem::wrong("date-form", span, why);
    match (day_first, month_first) {
        (Some(a), Some(b)) if a != b => problem
            .help(format!("write `{a}` if the day stands first"))
            .help(format!("write `{b}` if the month stands first")),
        (Some(only), _) | (None, Some(only)) => problem.help(format!("write `{only}`")),
        (None, None) => problem.help("write year, month and day, as in `2026-11-02`"),
    }
}

/// Signs that come from a word processor or another notation, and what stands for them here.
fn odd_sign(c: char) -> Option<&'static str> {
    Some(match c {
        '×' | '·' | '⋅' => "`*`",
        '÷' => "`/`",
        '–' | '—' | '−' => "` - ` to subtract, ` .. ` for a range",
        '…' => "`..`",
        '’' | '‘' | '“' | '”' | '„' | '«' | '»' | '\'' => {
            "`\"` on both sides of a text, `ft` behind a number of feet"
        }
        '\u{200B}' | '\u{FEFF}' | '\u{200D}' => "nothing: this sign cannot be seen",
        _ => return None,
    })
}

/// Junk that stands on the line of a fact, after its value (or in place of it).
pub(super) fn after_value(
    lower: &Lower<'_>,
    span: Span,
    value: Option<&Value>,
    key: Option<&Word>,
) -> Problem {
    let junk = lower.slice(span);
    let first = junk.chars().next().unwrap_or(' ');
    let rest = junk.get(first.len_utf8()..).unwrap_or("").trim_start();
    let value = value.filter(|v| {
        !(matches!(v.kind, ValueKind::Bad) && key.is_some_and(|k| k.span.from() == v.span.from()))
    });
    let one = span.first(first.len_utf8());
    match first {
        ';' => return semicolon(one),
        ',' if rest.is_empty() && value.is_some() => {
            return Problem::wrong("comma-between-entries", one, "no value follows `,`")
                .help("entries are not separated by commas: leave it out, or write another value");
        }
        '|' if rest.starts_with('|') || junk.starts_with("||") => {
            return Problem::wrong("double-bar", span.first(2), "`||` means nothing here")
                .help("write `|` between alternatives");
        }
        _ => {}
    }
    if let Some(problem) = wrong_origin(span, junk) {
        return problem;
    }
    if let Some(problem) = value.and_then(|value| joined_minus(value, span, junk)) {
        return problem;
    }
    if matches!(first, '|' | '+' | '*' | '/' | '±' | '-' | ',' | '<' | '>')
        || junk.starts_with("..")
    {
        return behind_sign(span, junk, value.is_some());
    }
    if first.is_ascii_digit()
        && let Some(value) = value
        && let ValueKind::Number(Number {
            digits, unit: None, ..
        }) = &value.kind
    {
        let group: String = junk.chars().take_while(char::is_ascii_digit).collect();
        let why = format!(
            "`{}` follows `{digits}` without a unit or a comma",
            shown(junk)
        );
        let problem = Problem::wrong("number-after-number", value.span.to(span), why);
        return if group.len() == 3 && digits.len() <= 3 {
            problem.help(format!("write `{digits}{group}` without a blank"))
        } else {
            problem.help(format!("write `{digits}, {}` for a list", shown(junk)))
        };
    }
    if let Some(sign) = odd_sign(first) {
        return odd_character(one, first, sign);
    }
    let shown = shown(junk);
    let Some(value) = value else {
        let why = match key {
            Some(key) => format!("`{shown}` is no value for `{}:`", key.text),
            None => format!("`{shown}` is no value"),
        };
        let problem = Problem::error("wrong-value", why).at(
            span,
            "expected a number with its unit, a word, a text in quotes, a date, `?` or `none`",
        );
        return if junk.trim() == BY_TURN {
            problem.help(VALUES_BY_TURN)
        } else {
            problem
        };
    };
    let problem = Problem::error("trailing-text", format!("`{shown}` cannot follow a value"))
        .at(span, "expected a new line, the next `key:` or `}`")
        .at(value.span, "the value ends here");
    match first_word(junk) {
        word if word.is_empty() || word.len() == junk.len() => problem,
        word => problem.help(format!("if `{word}` is a fact, write `{word}:`")),
    }
}

/// The word before values that are dealt out, and what is said where none follow.
pub(in crate::design) const BY_TURN: &str = "by-turn";
pub(in crate::design) const VALUES_BY_TURN: &str =
    "write the values behind it, as in `by-turn L1, L2, L3`";

/// A minus that has no blanks and is read as part of a word or a unit.
fn joined_minus(value: &Value, span: Span, junk: &str) -> Option<Problem> {
    let word = first_word(junk);
    let parts = |text: &'_ str| {
        let (before, digits) = text.rsplit_once('-')?;
        let number = !digits.is_empty() && digits.chars().all(|c| c.is_ascii_digit());
        number.then(|| (before.to_owned(), digits.to_owned()))
    };
    let (one, meant) = match &value.kind {
        ValueKind::Word(before) if !word.is_empty() => {
            let (name, digits) = parts(before)?;
            (before.as_str(), format!("{name} - {digits} {word}"))
        }
        ValueKind::Number(Number {
            digits, unit: None, ..
        }) => {
            let (unit, less) = parts(word)?;
            let after = junk.get(word.len()..).unwrap_or("").trim();
            (word, format!("{digits} {unit} - {less} {after}"))
        }
        _ => return None,
    };
    let why = "a minus needs a blank on both sides";
    let problem = Problem::error("minus-without-blanks", why)
        .at(value.span.to(span), format!("`{one}` is read as one word"));
    Some(problem.help(format!("write `{meant}`")))
}

/// A sign that joins values, of which one is missing or none.
fn behind_sign(span: Span, junk: &str, behind_value: bool) -> Problem {
    let sign = sign_of(junk);
    if !behind_value {
        let why = format!("no value stands before `{sign}`");
        return Problem::wrong("missing-value", span, why);
    }
    let after = junk.get(sign.len()..).unwrap_or("").trim();
    if after.is_empty() {
        let why = format!("nothing follows `{sign}`");
        return Problem::wrong("missing-operand", span.first(sign.len()), why).help(format!(
            "write another value after `{sign}`, or leave it out"
        ));
    }
    let why = format!("`{}` cannot follow `{sign}`", shown(after));
    Problem::error("wrong-operand", why).at(span, "expected a value")
}

/// The operator that a text begins with.
fn sign_of(text: &str) -> &str {
    for sign in ["..", "+/-", "+-", "<=", ">="] {
        if text.starts_with(sign) {
            return sign;
        }
    }
    let end = text.chars().next().map_or(0, char::len_utf8);
    text.get(..end).unwrap_or("")
}

fn odd_character(span: Span, c: char, instead: &str) -> Problem {
    let why = format!(
        "the sign `{c}` (U+{:04X}) has no meaning here",
        u32::from(c)
    );
    Problem::wrong("odd-character", span, why).help(format!("write {instead}"))
}

/// `(messured)` after a value.
fn wrong_origin(span: Span, junk: &str) -> Option<Problem> {
    let inside = junk.strip_prefix('(')?;
    if !inside.trim_start().starts_with(char::is_alphabetic) {
        return None;
    }
    let (word, closed) = match inside.split_once(')') {
        Some((word, _)) => (word.trim(), true),
        None => (inside.trim(), false),
    };
    let known = Origin::from_word(word).map(Origin::word);
    if closed && known.is_some() {
        return Some(
            Problem::error("second-origin", "a value comes from one place only")
                .at(span, "a second origin")
                .help("write two entries if there are two statements of the same fact"),
        );
    }
    let names = Origin::ALL.map(Origin::word);
    let near = known.or_else(|| closest(word, names));
    if closed && word.is_empty() {
        return None;
    }
    let start = span.from() + 1 + (inside.len() - inside.trim_start().len());
    let at = Span::new(span.file, start, start + word.len());
    if let (false, Some(near)) = (closed, near) {
        return Some(
            Problem::error("unclosed-bracket", "a `(` is not closed")
                .at(span.first(1), "opened here")
                .help(format!("write `({near})`")),
        );
    }
    let why = format!("`({})` does not say where a value comes from", shown(word));
    let problem = Problem::wrong("unknown-origin", at, why);
    Some(match near {
        Some(near) => problem.help(format!("did you mean `({near})`?")),
        None => problem.help(format!("write one of `({})`", names.join(")`, `("))),
    })
}

/// An operator or comma where an entry should begin.
pub(super) fn line_begins_with_sign(lower: &Lower<'_>, sign: Span) -> Problem {
    let written = lower.slice(sign).trim_end();
    let why = format!("an entry begins with `{written}`");
    Problem::wrong("line-begins-with-sign", sign.first(written.len()), why)
        .help(format!(
        "to go on with the line before, put `{written}` at its end: a new line ends an entry otherwise"
    ))
}

fn semicolon(at: Span) -> Problem {
    Problem::wrong("semicolon", at, "`;` does not end an entry")
        .help("leave it out: a new line or two blanks are enough")
}

/// Junk that stands on a line of its own, or first in a block.
pub(super) fn on_its_own(lower: &Lower<'_>, span: Span) -> Problem {
    let junk = lower.slice(span);
    let first = junk.chars().next().unwrap_or(' ');
    let one = span.first(first.len_utf8());
    match first {
        ';' => return semicolon(one),
        ')' | ']' => {
            return Problem::wrong("stray-bracket", one, format!("a `{first}` closes nothing"))
                .help("leave it out");
        }
        ':' => {
            return Problem::wrong("missing-key", one, "no word stands before `:`")
                .help("write `key: value`");
        }
        '|' | '+' | '*' | '/' | '±' | '-' | ',' | '.' => {
            return line_begins_with_sign(lower, span.first(sign_of(junk).len()));
        }
        _ => {}
    }
    let mut words = junk.split_whitespace();
    let (word, second, third) = (words.next(), words.next(), words.next());
    match (word, second, third) {
        (Some("use"), ..) => return wrong_use(span),
        (Some("define"), name, _) => {
            return Problem::wrong("wrong-form", span, "a `define` is not complete").help(format!(
                "write `define {} as rcbo {{ … }}`",
                name.unwrap_or("NAME")
            ));
        }
        (Some("parameter"), name, _) => {
            return Problem::wrong("wrong-form", span, "a `parameter` is not complete").help(
                format!("write `parameter {}: 5 m .. 40 m`", name.unwrap_or("NAME")),
            );
        }
        (Some("no"), Some(kind), Some(_)) => {
            let why = format!("`no {kind}` stands on a line of its own");
            return Problem::wrong("wrong-form", span, why)
                .help("move what follows it to the next line");
        }
        (Some(key), Some(value), None) if first_word(key) == key && first_word(value) == value => {
            let why = format!("`{key} {value}` is neither a fact nor a block");
            return Problem::wrong("neither-fact-nor-block", span, why).help(format!(
                "write `{key}: {value}`, or `{key} {value} {{ … }}`"
            ));
        }
        (Some(key), None, None) if first_word(key) == key => {
            let why = format!("`{key}` is neither a fact nor a block");
            return Problem::wrong("neither-fact-nor-block", span, why)
                .help(format!("write `{key}: …`, or `{key} {{ … }}`"));
        }
        _ => {}
    }
    if let Some(sign) = odd_sign(first) {
        return odd_character(one, first, sign);
    }
    let why = format!("`{}` cannot be read", shown(junk));
    Problem::error("not-understood", why).at(
        span,
        "expected `key: value` or a block, as in `circuit ev { … }`",
    )
}
