//! Text → untyped tree, by pest and a Pratt parser.

use std::sync::LazyLock;

use pest::Parser;
use pest::error::InputLocation;
use pest::iterators::{Pair, Pairs};
use pest::pratt_parser::{Assoc, Op, PrattParser};

use super::syntax::{Aggregate, BinaryOp, Expr, ExprKind, OriginTest, Range, UnaryOp};
use super::typing::TypingError;
use crate::source::limits::{EXPRESSION_BYTES, EXPRESSION_DEPTH};

#[derive(pest_derive::Parser)]
#[grammar = "../grammar/expression.pest"]
struct Grammar;

static PRATT: LazyLock<PrattParser<Rule>> = LazyLock::new(|| {
    PrattParser::new()
        .op(Op::infix(Rule::or, Assoc::Left))
        .op(Op::infix(Rule::and, Assoc::Left))
        .op(Op::prefix(Rule::not))
        .op(Op::infix(Rule::le, Assoc::Left)
            | Op::infix(Rule::ge, Assoc::Left)
            | Op::infix(Rule::eq, Assoc::Left)
            | Op::infix(Rule::ne, Assoc::Left)
            | Op::infix(Rule::lt, Assoc::Left)
            | Op::infix(Rule::gt, Assoc::Left)
            | Op::postfix(Rule::among)
            | Op::postfix(Rule::among_set)
            | Op::postfix(Rule::is_test)
            | Op::postfix(Rule::is_kind))
        .op(Op::infix(Rule::add, Assoc::Left) | Op::infix(Rule::sub, Assoc::Left))
        .op(Op::infix(Rule::mul, Assoc::Left) | Op::infix(Rule::div, Assoc::Left))
        .op(Op::prefix(Rule::negate))
        .op(Op::infix(Rule::pow, Assoc::Right))
        .op(Op::infix(Rule::otherwise, Assoc::Left))
        .op(Op::postfix(Rule::step) | Op::postfix(Rule::index))
});

/// Reads an expression.
///
/// # Errors
/// One error with the place (in bytes of `text`) where the text stops making sense, what could
/// stand there, and for frequent slips what to write instead.
pub fn parse(text: &str) -> Result<Expr, TypingError> {
    if text.len() > EXPRESSION_BYTES {
        let message = format!(
            "an expression of {} bytes is not read, the most is {EXPRESSION_BYTES}",
            text.len()
        );
        return Err(TypingError::new(0..1, message).help("derive facts for parts of it"));
    }
    if let Some(at) = too_deep(text) {
        return Err(TypingError::new(
            at..at + 1,
            format!("brackets are nested more than {EXPRESSION_DEPTH} deep"),
        ));
    }
    match Grammar::parse(Rule::whole, text) {
        Ok(mut pairs) => match pairs.next() {
            Some(pair) => sequence(pair.into_inner()),
            None => Err(TypingError::new(0..text.len(), "the expression is empty")),
        },
        Err(error) => Err(explain(text, &error)),
    }
}

fn too_deep(text: &str) -> Option<usize> {
    let mut depth = 0_usize;
    for (i, b) in text.bytes().enumerate() {
        match b {
            b'(' | b'[' | b'{' => depth += 1,
            b')' | b']' | b'}' => depth = depth.saturating_sub(1),
            _ => {}
        }
        if depth > EXPRESSION_DEPTH {
            return Some(i);
        }
    }
    // Conditions and prefixes nest without brackets.
    let words = ["if ", "not "];
    let most = words.iter().map(|w| text.matches(w).count()).sum::<usize>();
    (most > 4 * EXPRESSION_DEPTH).then_some(0)
}

fn explain(text: &str, error: &pest::error::Error<Rule>) -> TypingError {
    let at = match error.location {
        InputLocation::Pos(p) => p,
        InputLocation::Span((s, _)) => s,
    };
    let rest = text.get(at..).unwrap_or("");
    let found: String = rest
        .chars()
        .take_while(|c| !c.is_whitespace())
        .take(20)
        .collect();
    let range = at..(at + found.len().max(1)).min(text.len().max(at));
    if found.is_empty() {
        let why = "the expression ends where an operand is expected";
        let open = text.matches('(').count() > text.matches(')').count();
        let error = TypingError::new(range, why);
        return if open {
            error.help("a bracket that opens is not closed: write the `)` that is missing")
        } else {
            error
        };
    }
    let message = format!("`{found}` is not expected here");
    let error = TypingError::new(range, message);
    let before = text.get(..at).unwrap_or("").trim_end();
    if rest.starts_with("=<") || rest.starts_with("=>") {
        error.help("`at most` is written `<=`, `at least` is written `>=`")
    } else if rest.starts_with('=') {
        error.help("a comparison is written `==`")
    } else if rest.starts_with("&&") || rest.starts_with("||") || rest.starts_with('!') {
        error.help("logic is written `and`, `or`, `not`")
    } else if rest.starts_with('\'') {
        error.help("texts are written in double quotes")
    } else if rest.starts_with("in ") {
        error.help("membership is written `among`")
    } else if is_joined(before) {
        error
            .help("a `-` inside a word is part of it: write blanks around a minus, as in `n - 1 A`")
    } else if rest.starts_with('%') {
        error.help("`%` stands only after a number")
    } else {
        error.help("an operator, a bracket or the end of the expression could stand here")
    }
}

/// Whether a text ends in a name and a number that a hyphen makes one word: `n-1`.
fn is_joined(text: &str) -> bool {
    let word = text.rsplit([' ', '(', ',', '[']).next().unwrap_or("");
    word.rsplit_once('-').is_some_and(|(name, number)| {
        name.starts_with(char::is_alphabetic) && number.parse::<f64>().is_ok()
    })
}

fn span(pair: &Pair<'_, Rule>) -> Range {
    let s = pair.as_span();
    s.start()..s.end()
}

/// Keywords are rules of their own (see the grammar); they carry nothing.
fn is_operand(pair: &Pair<'_, Rule>) -> bool {
    !matches!(
        pair.as_rule(),
        Rule::kw_if
            | Rule::kw_then
            | Rule::kw_else
            | Rule::kw_in
            | Rule::kw_is
            | Rule::kw_a
            | Rule::kw_among
            | Rule::kw_where
    )
}

fn missing(range: Range) -> TypingError {
    TypingError::new(range, "an operand is missing")
}

/// Operands and operators of one level, put in order of precedence.
fn sequence(pairs: Pairs<'_, Rule>) -> Result<Expr, TypingError> {
    PRATT
        .map_primary(primary)
        .map_prefix(|op, operand| {
            let operand = operand?;
            let range = op.as_span().start()..operand.range.end;
            let kind = match op.as_rule() {
                Rule::not => UnaryOp::Not,
                _ => UnaryOp::Negate,
            };
            Ok(Expr::new(ExprKind::Unary(kind, Box::new(operand)), range))
        })
        .map_postfix(|operand, op| postfix(operand?, op))
        .map_infix(|left, op, right| {
            let (left, right) = (left?, right?);
            let sign = match op.as_str() {
                "≤" => "<=",
                "≥" => ">=",
                "≠" => "!=",
                "×" => "*",
                sign => sign,
            };
            let kind = BinaryOp::from_word(sign).ok_or_else(|| missing(span(&op)))?;
            let range = left.range.start..right.range.end;
            Ok(Expr::new(
                ExprKind::Binary(kind, Box::new(left), Box::new(right)),
                range,
            ))
        })
        .parse(pairs)
}

fn postfix(operand: Expr, op: Pair<'_, Rule>) -> Result<Expr, TypingError> {
    let range = operand.range.start..op.as_span().end();
    let rule = op.as_rule();
    let inside = span(&op);
    let mut inner = op.into_inner().filter(is_operand);
    let boxed = Box::new(operand);
    let kind = match rule {
        Rule::step => {
            let name = inner.next().ok_or_else(|| missing(inside))?;
            ExprKind::Step(boxed, name.as_str().to_owned(), span(&name))
        }
        Rule::index => {
            let keys = inner
                .map(|p| sequence(p.into_inner()))
                .collect::<Result<_, _>>()?;
            ExprKind::Index(boxed, keys)
        }
        Rule::among_set => ExprKind::AmongSet(
            boxed,
            inner.map(|p| (p.as_str().to_owned(), span(&p))).collect(),
        ),
        Rule::among => {
            let path = inner.next().ok_or_else(|| missing(inside))?;
            ExprKind::Among(boxed, Box::new(read_path(path)?))
        }
        Rule::is_kind => {
            let name = inner.next().ok_or_else(|| missing(inside))?;
            ExprKind::IsKind(boxed, name.as_str().to_owned(), span(&name))
        }
        _ => {
            let test = inner.next().ok_or_else(|| missing(inside))?;
            match test.as_str() {
                "present" => ExprKind::Present(boxed, true),
                "absent" => ExprKind::Present(boxed, false),
                word => {
                    let test = OriginTest::from_word(word).ok_or_else(|| missing(span(&test)))?;
                    ExprKind::Origin(boxed, test)
                }
            }
        }
    };
    Ok(Expr::new(kind, range))
}

fn read_path(pair: Pair<'_, Rule>) -> Result<Expr, TypingError> {
    let whole = span(&pair);
    let mut at: Option<Expr> = None;
    for name in pair.into_inner() {
        let range = span(&name);
        let text = name.as_str().to_owned();
        at = Some(match at {
            None => Expr::new(ExprKind::Name(text), range),
            Some(before) => {
                let whole = before.range.start..range.end;
                Expr::new(ExprKind::Step(Box::new(before), text, range), whole)
            }
        });
    }
    at.ok_or_else(|| missing(whole))
}

fn primary(pair: Pair<'_, Rule>) -> Result<Expr, TypingError> {
    let range = span(&pair);
    let text = pair.as_str().to_owned();
    let kind = match pair.as_rule() {
        Rule::expr | Rule::plain => return sequence(pair.into_inner()),
        Rule::condition => {
            let mut inner = pair.into_inner().filter(is_operand);
            let mut next = || match inner.next() {
                Some(p) => sequence(p.into_inner()),
                None => Err(missing(range.clone())),
            };
            let (c, a, b) = (next()?, next()?, next()?);
            ExprKind::If(Box::new(c), Box::new(a), Box::new(b))
        }
        Rule::aggregate => return aggregate(pair),
        Rule::call => {
            let mut inner = pair.into_inner();
            let name = inner.next().ok_or_else(|| missing(range.clone()))?;
            let arguments = inner
                .map(|p| sequence(p.into_inner()))
                .collect::<Result<_, _>>()?;
            ExprKind::Call(name.as_str().to_owned(), span(&name), arguments)
        }
        Rule::date => ExprKind::Date(text),
        Rule::number => {
            let mut inner = pair.into_inner();
            let digits = inner.next().ok_or_else(|| missing(range.clone()))?;
            ExprKind::Number {
                digits: digits.as_str().to_owned(),
                unit: inner.next().map(|u| (u.as_str().to_owned(), span(&u))),
            }
        }
        Rule::text => {
            let inner = pair.into_inner().next();
            ExprKind::Text(inner.map_or(String::new(), |p| p.as_str().to_owned()))
        }
        Rule::truth => ExprKind::Truth(text == "yes"),
        Rule::nothing => ExprKind::Nothing,
        _ => ExprKind::Name(text),
    };
    Ok(Expr::new(kind, range))
}

fn aggregate(pair: Pair<'_, Rule>) -> Result<Expr, TypingError> {
    let range = span(&pair);
    let mut inner = pair.into_inner().filter(is_operand);
    let mut next = || inner.next().ok_or_else(|| missing(range.clone()));
    let word = next()?;
    let op = Aggregate::from_word(word.as_str()).ok_or_else(|| missing(span(&word)))?;
    let var = next()?.as_str().to_owned();
    let over = Box::new(read_path(next()?)?);
    let (mut filter, mut body) = (None, None);
    for p in inner {
        if p.as_rule() == Rule::filter {
            if let Some(p) = p.into_inner().find(is_operand) {
                filter = Some(Box::new(sequence(p.into_inner())?));
            }
        } else {
            body = Some(Box::new(sequence(p.into_inner())?));
        }
    }
    Ok(Expr::new(
        ExprKind::Aggregate {
            op,
            var,
            over,
            filter,
            body,
        },
        range,
    ))
}
