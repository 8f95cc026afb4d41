//! Whether a value says no more than another allows.

use crate::design::model::Possible;
use crate::vocabulary::WordSet;

/// Whether each value that `own` may be is one that `other` may be. What cannot be told is not.
pub(super) fn is_narrower(own: &Possible, other: &Possible) -> bool {
    match (own, other) {
        (_, Possible::Unknown | Possible::Poison) | (Possible::Poison, _) => true,
        (Possible::OneOf(all), _) => all.iter().all(|o| is_narrower(o, other)),
        (_, Possible::OneOf(all)) => all.iter().any(|o| is_narrower(own, o)),
        (Possible::Number(a), Possible::Number(b)) => a.is_within(*b),
        (Possible::Words(a), Possible::Words(b)) => a.and(*b) == *a && *a != WordSet::EMPTY,
        (Possible::PerLine(a), Possible::PerLine(b)) => {
            a.iter().zip(b).all(|(a, b)| match (a, b) {
                (Some(a), Some(b)) => is_narrower(a, b),
                (_, None) => true,
                (None, Some(_)) => false,
            })
        }
        _ => own == other,
    }
}
