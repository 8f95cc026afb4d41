//! What can be wrong with a unit.

use std::fmt;

/// What is wrong with a unit as it was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnitMistake {
    /// A part of it is no unit.
    Unknown,
    /// A product follows a division, so that it can be read in two ways (`W/m·K`).
    Ambiguous,
    /// A scale with a zero of its own (°C) stands inside a compound unit.
    Scale,
    /// It cannot be worked out exactly with the numbers the program uses.
    TooLarge,
}

/// A unit that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnitError {
    /// The unit as it was written.
    pub written: String,
    /// What is wrong with it.
    pub mistake: UnitMistake,
    /// The part that is wrong (the whole unit, if no single part is to blame).
    pub unknown: String,
    /// Units that may have been meant, the likeliest first; may be empty.
    pub candidates: Vec<&'static str>,
}

impl UnitError {
    /// What the user could write instead, if anything useful can be said.
    #[must_use]
    pub fn help(&self) -> Option<String> {
        match self.mistake {
            UnitMistake::Ambiguous => {
                Some("write each divisor after a `/` of its own, as in `W/m/K`".to_owned())
            }
            UnitMistake::Scale => Some("differences of temperature are in `K`".to_owned()),
            UnitMistake::TooLarge => None,
            UnitMistake::Unknown => {
                let likely = self.candidates.join("` or `");
                (!likely.is_empty()).then(|| format!("did you mean `{likely}`?"))
            }
        }
    }
}

impl fmt::Display for UnitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (written, part) = (&self.written, &self.unknown);
        match self.mistake {
            UnitMistake::Unknown if written == part => write!(f, "`{written}` is not a unit"),
            UnitMistake::Unknown if part.is_empty() => {
                write!(f, "a part of the unit `{written}` is missing")
            }
            UnitMistake::Unknown => write!(f, "`{part}` in `{written}` is not a unit"),
            UnitMistake::Ambiguous => {
                write!(f, "the unit `{written}` can be read in two ways")
            }
            UnitMistake::Scale => write!(
                f,
                "`{part}` cannot be part of a compound unit such as `{written}`"
            ),
            UnitMistake::TooLarge => write!(f, "the unit `{written}` is out of range"),
        }
    }
}

impl std::error::Error for UnitError {}
