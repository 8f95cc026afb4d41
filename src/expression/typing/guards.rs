//! The texts under which guards are kept, and what a condition guards.

use super::super::syntax::{BinaryOp, Expr, ExprKind, UnaryOp};

/// The path an expression writes, if it is one: `device.In`.
pub(super) fn path_text(e: &Expr) -> Option<String> {
    match &e.kind {
        ExprKind::Name(n) => Some(n.clone()),
        ExprKind::Step(e, n, _) => Some(step(&path_text(e)?, n)),
        ExprKind::Index(e, _) => path_text(e),
        _ => None,
    }
}

/// What the subject has is kept without it.
fn step(before: &str, name: &str) -> String {
    match before {
        "subject" => name.to_owned(),
        _ => format!("{before}.{name}"),
    }
}

/// A look-up as its guard is kept: `t[device.In, 6 mm²]`, the same for any layout of the text.
/// Keys that are worked out on the spot are not compared: they have no such text.
pub(super) fn look_up_text(e: &Expr) -> Option<String> {
    let ExprKind::Index(base, keys) = &e.kind else {
        return None;
    };
    let keys: Option<Vec<String>> = keys.iter().map(key_text).collect();
    Some(format!("{}[{}]", base.name()?, keys?.join(", ")))
}

fn key_text(e: &Expr) -> Option<String> {
    match &e.kind {
        ExprKind::Number { digits, unit } => Some(match unit {
            Some((unit, _)) => format!("{digits} {unit}"),
            None => digits.clone(),
        }),
        // Which line conductor is part of what is asked for.
        ExprKind::Index(base, keys) => {
            let keys: Option<Vec<String>> = keys.iter().map(key_text).collect();
            Some(format!("{}[{}]", key_text(base)?, keys?.join(", ")))
        }
        ExprKind::Step(before, name, _) => Some(step(&key_text(before)?, name)),
        ExprKind::Name(_) => path_text(e),
        _ => None,
    }
}

/// Paths that must be present where a condition has a truth.
#[must_use]
pub fn present_when(e: &Expr, truth: bool) -> Vec<String> {
    // The operator whose sides both have this truth where the whole has it.
    let of_both = if truth { BinaryOp::And } else { BinaryOp::Or };
    match &e.kind {
        ExprKind::Present(inner, positive) if *positive == truth => {
            let mut all: Vec<String> = look_up_text(inner).into_iter().collect();
            // Several keys, or one that is no name, are those of a table and no line conductor.
            let fact = match &inner.kind {
                ExprKind::Index(_, keys) => {
                    matches!(keys.as_slice(), [key] if key.name().is_some())
                }
                _ => true,
            };
            if fact && let Some(path) = path_text(inner) {
                // `a.b is present` says that `a` is, too.
                let mut at = path.as_str();
                all.push(path.clone());
                while let Some((before, _)) = at.rsplit_once('.') {
                    all.push(before.to_owned());
                    at = before;
                }
            }
            all
        }
        ExprKind::IsKind(inner, ..) if truth => path_text(inner).into_iter().collect(),
        ExprKind::Unary(UnaryOp::Not, inner) => present_when(inner, !truth),
        ExprKind::Binary(op, a, b) if *op == of_both => {
            let mut all = present_when(a, truth);
            all.extend(present_when(b, truth));
            all
        }
        _ => Vec::new(),
    }
}
