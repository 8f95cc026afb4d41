//! Units as they are written, and the algebra that composes them.

use serde::{Deserialize, Deserializer, Serialize};

use std::borrow::Cow;
use std::fmt;
use std::sync::LazyLock;

use rustc_hash::FxHashMap;

use super::units::{ATOMS, Atom, HINTS};
use super::{Dim, Ratio, UnitError, UnitMistake, fold};

/// A unit: how it is printed, what it measures, and its exact factor to SI.
///
/// A value `x` in this unit is `(x + offset) * factor` in SI; only temperature scales have an
/// offset.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Unit {
    #[serde(deserialize_with = "printed")]
    text: Cow<'static, str>,
    dim: Dim,
    factor: Ratio,
    offset_hundredths: Option<i32>,
}

static BY_NAME: LazyLock<FxHashMap<&'static str, &'static Atom>> = LazyLock::new(|| {
    ATOMS
        .iter()
        .flat_map(|atom| atom.names.iter().map(move |name| (*name, atom)))
        .collect()
});

/// How a stored unit is printed: most are of the table, whose text is there already.
fn printed<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Cow<'static, str>, D::Error> {
    let text = <&str>::deserialize(deserializer)?;
    let known = BY_NAME.get_key_value(text);
    Ok(known.map_or_else(|| text.to_owned().into(), |(name, _)| Cow::Borrowed(*name)))
}

impl Unit {
    /// The unit of pure numbers; it is printed as nothing.
    pub const ONE: Self = Self {
        text: Cow::Borrowed("1"),
        dim: Dim::NONE,
        factor: Ratio::ONE,
        offset_hundredths: None,
    };

    /// Reads a unit: one of the table, or a compound of them with `·` or `*` and `/`, each with
    /// `²`, `2`, `³` or `3` behind it (`mm²`, `mV/A/m`, `K·m/W`, `1/K`, `/km²/a`). It holds no
    /// blanks. Every spelling of one unit gives equal units; no text is the unit of pure numbers.
    ///
    /// # Errors
    /// Says which part is no unit and what may have been meant.
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        let text = text.trim();
        if let Some(atom) = BY_NAME.get(text) {
            return Ok(Self::from(*atom));
        }
        let folded = fold(text);
        let folded = folded.trim();
        if let Some(atom) = BY_NAME.get(folded) {
            return Ok(Self::from(*atom));
        }
        compound(folded)
    }

    /// All spellings of all units that are not composed of others, in the order of the table.
    pub fn all_spellings() -> impl Iterator<Item = &'static str> {
        ATOMS.iter().flat_map(|atom| atom.names.iter().copied())
    }

    /// How it is printed: `ohm`, `mm²`, `mV/A/m`; `1` for pure numbers.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// What it measures.
    #[must_use]
    pub const fn dim(&self) -> Dim {
        self.dim
    }

    /// How many SI units one step of it is, exactly.
    #[must_use]
    pub const fn factor(&self) -> Ratio {
        self.factor
    }

    /// For a temperature scale with a zero of its own: what is added to a value before the factor,
    /// in hundredths of this unit (`27315` for °C).
    #[must_use]
    pub const fn offset_hundredths(&self) -> Option<i32> {
        self.offset_hundredths
    }

    /// Whether it is a temperature scale with a zero of its own (°C, °F).
    #[must_use]
    pub const fn is_affine(&self) -> bool {
        self.offset_hundredths.is_some()
    }

    /// Whether it is the percentage.
    #[must_use]
    pub fn is_percent(&self) -> bool {
        self.text == "%"
    }

    /// The unit in which differences of values in this unit are given: `K` for °C, else itself.
    #[must_use]
    pub fn difference(&self) -> Self {
        if self.offset_hundredths.is_none() {
            return self.clone();
        }
        Self {
            text: match self.factor {
                Ratio::ONE => Cow::Borrowed("K"),
                _ => self.text.clone(),
            },
            offset_hundredths: None,
            ..*self
        }
    }

    /// The factor as the nearest number.
    #[must_use]
    pub fn scale(&self) -> f64 {
        let (num, den) = (self.factor.num() as f64, self.factor.den() as f64);
        let exp10 = self.factor.exp10();
        if exp10 >= 0 {
            num * power_of_ten(exp10.unsigned_abs()) / den
        } else {
            num / (den * power_of_ten(exp10.unsigned_abs()))
        }
    }

    /// A computed value in this unit, in SI; for literals use [`super::parse_quantity`], which
    /// rounds once.
    #[must_use]
    pub fn to_si(&self, value: f64) -> f64 {
        (value + self.offset()) * self.scale()
    }

    /// A value in SI, in this unit (for printing).
    #[must_use]
    pub fn from_si(&self, si: f64) -> f64 {
        si / self.scale() - self.offset()
    }

    fn offset(&self) -> f64 {
        self.offset_hundredths.map_or(0.0, |h| f64::from(h) / 100.0)
    }
}

impl From<&'static Atom> for Unit {
    fn from(atom: &'static Atom) -> Self {
        Self {
            text: Cow::Borrowed(atom.names.first().copied().unwrap_or("1")),
            dim: atom.dim,
            factor: atom.factor,
            offset_hundredths: atom.offset_hundredths,
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// `10^n`, exact up to `n = 22` and within an ulp of it to 60, far beyond any unit of the table.
fn power_of_ten(n: u32) -> f64 {
    let mut power = 1.0;
    for _ in 0..n.min(300) {
        power *= 10.0;
    }
    power
}

/// Works out a compound unit from its parts.
fn compound(text: &str) -> Result<Unit, UnitError> {
    let error = |mistake, unknown: &str, candidates| UnitError {
        written: text.to_owned(),
        mistake,
        unknown: unknown.to_owned(),
        candidates,
    };
    if text.is_empty() {
        return Ok(Unit::ONE);
    }
    let mut printed = String::new();
    let mut dim = Dim::NONE;
    let mut factor = Ratio::ONE;
    let single = !text.contains(['/', '·', '*']);
    for (place, divided) in text.split('/').enumerate() {
        if place > 0 {
            printed.push('/');
        }
        if place == 0 && matches!(divided, "" | "1") {
            continue; // `/km²/a`; `1/K`, printed as `/K`
        }
        for (position, part) in divided.split(['·', '*']).enumerate() {
            if place > 0 && position > 0 {
                return Err(error(UnitMistake::Ambiguous, text, Vec::new()));
            }
            let (name, exponent) = power(part);
            let Some(atom) = BY_NAME.get(name).filter(|_| name != "1") else {
                return Err(error(UnitMistake::Unknown, part, candidates(part)));
            };
            if atom.offset_hundredths.is_some() && !(single && exponent == 1) {
                return Err(error(UnitMistake::Scale, part, vec!["K"]));
            }
            let step = (0..exponent).try_fold(Ratio::ONE, |f, _| f.mul(atom.factor));
            let (combined, signed) = match place {
                0 => (step.and_then(|step| factor.mul(step)), exponent),
                _ => (step.and_then(|step| factor.div(step)), -exponent),
            };
            let Some(combined) = combined else {
                return Err(error(UnitMistake::TooLarge, text, Vec::new()));
            };
            factor = combined;
            dim = dim.mul(atom.dim.powi(signed));
            if position > 0 {
                printed.push('·');
            }
            printed.push_str(atom.names.first().copied().unwrap_or(name));
            match exponent {
                2 => printed.push('²'),
                3 => printed.push('³'),
                _ => {}
            }
        }
    }
    Ok(Unit {
        text: Cow::Owned(printed),
        dim,
        factor,
        offset_hundredths: None,
    })
}

/// Splits the exponent off a part of a unit; what the table holds whole keeps its own.
fn power(part: &str) -> (&str, i32) {
    if BY_NAME.contains_key(part) {
        return (part, 1);
    }
    for (sign, exponent) in [('²', 2), ('2', 2), ('³', 3), ('3', 3)] {
        if let Some(name) = part.strip_suffix(sign)
            && !name.is_empty()
        {
            return (name, exponent);
        }
    }
    (part, 1)
}

/// Units that may have been meant by a word that is none: first what the word usually stands for,
/// then spellings that differ in case alone, then those one slip of the hand away.
fn candidates(written: &str) -> Vec<&'static str> {
    const MOST: usize = 3;
    let lower = written.to_lowercase();
    let mut found: Vec<&'static str> = Vec::new();
    let mut add = |name: &'static str| {
        let printed = BY_NAME
            .get(name)
            .and_then(|atom| atom.names.first().copied())
            .unwrap_or(name);
        if found.len() < MOST && !found.contains(&printed) && !written.is_empty() {
            found.push(printed);
        }
    };
    for (hint, unit) in HINTS {
        if *hint == written || *hint == lower {
            add(unit);
        }
    }
    for name in Unit::all_spellings().filter(|name| name.to_lowercase() == lower) {
        add(name);
    }
    let length = written.chars().count();
    if length >= 2 {
        let most = if length >= 5 { 2 } else { 1 };
        let mut near: Vec<(usize, &'static str)> = Unit::all_spellings()
            .filter(|name| name.chars().count() >= 2)
            .map(|name| {
                (
                    strsim::damerau_levenshtein(&lower, &name.to_lowercase()),
                    name,
                )
            })
            .filter(|(distance, _)| *distance <= most)
            .collect();
        near.sort_by_key(|(distance, _)| *distance);
        for (_, name) in near {
            add(name);
        }
    }
    found
}
