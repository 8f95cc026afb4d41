//! Quantities as they are printed.

use super::{Rounding, Unit};

/// Printed digits never exceed this: the fifteenth is the last that a double carries for sure.
const MOST_DIGITS: usize = 15;

/// A quantity in trade notation: `0.28 ohm`, `32 A`, `2.5 %`; a pure number stands alone.
///
/// `si` is in SI; `digits` are significant digits. Digits before the decimal point are always
/// all shown (`1667 ohm`, not `1670 ohm`), zeros at the end of a fraction never. Powers of ten
/// are used only below 1e-4 and from 1e7.
#[must_use]
pub fn format_quantity(si: f64, unit: &Unit, digits: usize) -> String {
    format_toward(si, unit, digits, Rounding::Nearest)
}

/// As [`format_quantity`], rounded in a given direction: a bound is printed on its safe side.
#[must_use]
pub fn format_toward(si: f64, unit: &Unit, digits: usize, rounding: Rounding) -> String {
    let number = format_number(unit.from_si(si), digits, rounding);
    if unit.text() == "1" || !si.is_finite() {
        number
    } else {
        format!("{number} {}", unit.text())
    }
}

/// A set of quantities: `0.266 .. 0.294 ohm`, `at least 5 m`, `at most 3 m`, `any`; a single value
/// as [`format_quantity`] prints it.
#[must_use]
pub fn format_interval(lo: f64, hi: f64, unit: &Unit) -> String {
    rounded(lo, hi, unit, (Rounding::Nearest, Rounding::Nearest))
}

/// As [`format_interval`], with nothing printed that the set does not hold.
#[must_use]
pub fn format_within(lo: f64, hi: f64, unit: &Unit) -> String {
    rounded(lo, hi, unit, (Rounding::Up, Rounding::Down))
}

fn rounded(lo: f64, hi: f64, unit: &Unit, (up, down): (Rounding, Rounding)) -> String {
    match (lo == f64::NEG_INFINITY, hi == f64::INFINITY) {
        (true, true) => "any".to_owned(),
        (true, false) => format!("at most {}", format_toward(hi, unit, 4, down)),
        (false, true) if lo < hi => format!("at least {}", format_toward(lo, unit, 4, up)),
        _ => match telling_digits(lo, hi, unit) {
            Some(digits) => {
                let number = format_number(unit.from_si(lo), digits, up);
                format!("{number} .. {}", format_toward(hi, unit, digits, down))
            }
            None => format_quantity(lo, unit, 6),
        },
    }
}

/// A bare number in decimal notation, as [`format_quantity`] prints it.
///
/// Rounds the decimal that is meant (0.285 to two digits is 0.29), halves away from zero; `Up` and
/// `Down` are towards plus and minus infinity. An infinite number is `unlimited`.
#[must_use]
pub fn format_number(x: f64, digits: usize, rounding: Rounding) -> String {
    if x.is_nan() {
        return "not computable".to_owned();
    }
    if x.is_infinite() {
        return if x > 0.0 { "unlimited" } else { "-unlimited" }.to_owned();
    }
    if x == 0.0 {
        return "0".to_owned();
    }
    // Fifteen digits clear away the noise of binary fractions; the rest is done on decimals.
    let (clean, mut exponent) = decimal_digits(x.abs());
    let digits = digits.clamp(1, MOST_DIGITS);
    let kept = match usize::try_from(exponent) {
        Ok(e) if e < 7 => digits.max(e + 1),
        _ => digits,
    };
    let unit = 10_u64.pow((MOST_DIGITS - kept) as u32);
    let (whole, rest) = (clean / unit, clean % unit);
    let away = match rounding {
        Rounding::Nearest => unit > 1 && rest >= unit / 2,
        Rounding::Up => x > 0.0 && rest != 0,
        Rounding::Down => x < 0.0 && rest != 0,
    };
    let shown = (whole + u64::from(away)).to_string();
    exponent += i32::from(shown.len() > kept);
    let shown = shown.trim_end_matches('0');
    let text = if (-4..7).contains(&exponent) {
        positional(shown, exponent)
    } else {
        format!("{}e{exponent}", positional(shown, 0))
    };
    if x < 0.0 { format!("-{text}") } else { text }
}

/// The fewest digits from 3 to 12 that tell two quantities apart.
fn telling_digits(a: f64, b: f64, unit: &Unit) -> Option<usize> {
    let (x, y) = (unit.from_si(a), unit.from_si(b));
    let print = |value, digits| format_number(value, digits, Rounding::Nearest);
    (3..=12).find(|digits| print(x, *digits) != print(y, *digits))
}

/// Fifteen decimal digits of a positive number and the exponent of the first.
fn decimal_digits(x: f64) -> (u64, i32) {
    let text = format!("{x:.14e}");
    let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    // The standard library writes whole numbers here, so the fallbacks are never taken.
    let digits = mantissa.replace('.', "").parse().unwrap_or(0);
    (digits, exponent.parse().unwrap_or(0))
}

/// Digits with the point after the digit that has exponent zero.
fn positional(digits: &str, exponent: i32) -> String {
    let Ok(whole) = usize::try_from(exponent) else {
        let zeros = exponent.unsigned_abs() as usize - 1;
        return format!("0.{}{digits}", "0".repeat(zeros));
    };
    match digits.split_at_checked(whole + 1) {
        Some((before, after)) if !after.is_empty() => format!("{before}.{after}"),
        _ => format!("{digits:0<width$}", width = whole + 1),
    }
}
