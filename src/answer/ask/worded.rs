//! An answer as a person gives it, put as a design writes it.

use super::super::survey::unit_to_write;
use crate::design::parse::parse_value;
use crate::design::tree::ValueKind;
use crate::source::{FileId, Problem};
use crate::vocabulary::{Fact, FactType, LINES};

/// An answer to a question about a fact as a design writes it: a bare number takes the unit that
/// the question names, a text its quotes.
///
/// # Errors
/// What is wrong with it as a value.
pub fn worded(fact: &Fact, answer: &str) -> Result<String, Vec<Problem>> {
    let answer = answer.trim();
    let refused = |text: &str| Err(vec![Problem::error("bad-answer", text)]);
    if answer.is_empty() {
        return refused("there is no answer");
    }
    if answer.contains(['\n', '\r']) {
        return refused("an answer stands on one line");
    }
    let open = matches!(answer, "?" | "none");
    // `0.24 (measured)`: where a figure comes from stands behind its unit.
    let (figure, origin) = match answer.split_once('(') {
        Some((figure, origin)) => (figure.trim_end(), format!(" ({origin}")),
        None => (answer, String::new()),
    };
    let value = match &fact.ty {
        FactType::Text if !open && !answer.starts_with('"') => {
            format!("\"{}\"", answer.replace('\\', "\\\\").replace('"', "\\\""))
        }
        FactType::Quantity { .. } if figure.split(',').all(is_bare) => {
            let pieces = figure.split(',').map(|piece| with_unit(piece.trim(), fact));
            pieces.collect::<Vec<_>>().join(", ") + &origin
        }
        FactType::Quantity { .. } if is_number(figure) => with_unit(figure, fact) + &origin,
        FactType::YesNo => match answer.to_lowercase().as_str() {
            "y" | "yes" => "yes".to_owned(),
            "n" | "no" => "no".to_owned(),
            _ => answer.to_owned(),
        },
        _ => answer.to_owned(),
    };
    let (parsed, problems) = parse_value(FileId(0), &value, 0);
    if !problems.is_empty() {
        return Err(problems);
    }
    if matches!(parsed.kind, ValueKind::Bad) || parsed.span.until() != value.len() {
        return refused("a remark cannot stand behind an answer; write it into the file");
    }
    Ok(value)
}

fn with_unit(number: &str, fact: &Fact) -> String {
    match unit_to_write(fact) {
        Some(unit) => format!("{number} {unit}"),
        None => number.to_owned(),
    }
}

/// `L1 22`: a number of one line conductor, without its unit.
fn is_bare(piece: &str) -> bool {
    let value = piece.trim().split_once(' ');
    value.is_some_and(|(line, value)| LINES.contains(&line) && is_number(value.trim()))
}

fn is_number(text: &str) -> bool {
    let text = text.strip_prefix('-').unwrap_or(text);
    let digits = text.chars().all(|c| c.is_ascii_digit() || c == '.');
    digits && text.starts_with(|c: char| c.is_ascii_digit()) && text.parse::<f64>().is_ok()
}
