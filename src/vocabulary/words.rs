//! The words of a choice, and how they are stored: each list of words once, and at every place
//! that shares it the list's number. So a stored expression is small, and what shared one list
//! before shares one again when it is read.
//!
//! serde hands no context to a field, so the lists travel beside it in the thread.

use std::cell::RefCell;
use std::sync::Arc;

use serde::{Deserialize as _, Deserializer, Serialize as _, Serializer, de, ser};

/// The words of a choice, at most [`super::WordSet::MOST`], in order.
pub type Words = Arc<Vec<String>>;

/// Lists of words in the order of their numbers.
pub type Lists = Arc<Vec<Words>>;

thread_local! {
    /// The lists, while something is stored or read.
    static POOL: RefCell<Option<Lists>> = const { RefCell::new(None) };
}

/// Stores something: what `f` gives, and the lists of words whose numbers it holds.
pub fn storing<T>(f: impl FnOnce() -> T) -> (T, Lists) {
    let before = POOL.replace(Some(Lists::default()));
    let out = f();
    (out, POOL.replace(before).unwrap_or_default())
}

/// Reads something that holds the numbers of these lists.
pub fn reading<T>(lists: Lists, f: impl FnOnce() -> T) -> T {
    let before = POOL.replace(Some(lists));
    let out = f();
    POOL.replace(before);
    out
}

/// The lists of what is being read.
#[must_use]
pub fn lists() -> Lists {
    POOL.with_borrow(|pool| pool.clone().unwrap_or_default())
}

/// For `#[serde(with = "words")]`: the number of a list.
///
/// # Errors
/// Outside [`storing`].
pub fn serialize<S: Serializer>(words: &Words, serializer: S) -> Result<S::Ok, S::Error> {
    let number = POOL.with_borrow_mut(|pool| {
        let pool = Arc::make_mut(pool.as_mut()?);
        let at = pool.iter().position(|w| w == words).unwrap_or_else(|| {
            pool.push(Arc::clone(words));
            pool.len() - 1
        });
        u32::try_from(at).ok()
    });
    match number {
        Some(n) => n.serialize(serializer),
        None => Err(ser::Error::custom("words are stored without their lists")),
    }
}

/// For `#[serde(with = "words")]`: the list with a number.
///
/// # Errors
/// Outside [`reading`], and for a number without a list.
pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Words, D::Error> {
    let number = u32::deserialize(deserializer)? as usize;
    let words = POOL.with_borrow(|pool| pool.as_ref().and_then(|p| p.get(number)).cloned());
    words.ok_or_else(|| de::Error::custom("there is no list of words with this number"))
}
