//! The words of a choice, and how they are stored: each list of words once, and at every place
//! that shares it the list's number. So a stored expression is small, and what shared one list
//! before shares one again when it is read.
//!
//! serde hands no context to a field, so the lists travel beside it in the thread.

use std::cell::RefCell;
use std::ops::Range;
use std::sync::Arc;

use serde::{Deserialize as _, Deserializer, Serialize as _, Serializer, de, ser};

/// The words of a choice, at most [`super::WordSet::MOST`], in order.
pub type Words = Arc<Vec<String>>;

/// What was stored, and the lists of words whose numbers stand there.
#[derive(Clone, Debug, Default)]
pub struct Store {
    /// The bytes; none while something is being stored.
    pub bytes: Box<[u8]>,
    /// Lists of words in the order of their numbers.
    pub lists: Vec<Words>,
}

impl Store {
    /// Where some of its bytes lie, if they are its own and not a copy.
    #[must_use]
    pub fn place(&self, part: &[u8]) -> Option<Range<usize>> {
        let from = part
            .as_ptr()
            .addr()
            .checked_sub(self.bytes.as_ptr().addr())?;
        let until = from.checked_add(part.len())?;
        (until <= self.bytes.len()).then_some(from..until)
    }
}

thread_local! {
    /// What is being stored or read.
    static OPEN: RefCell<Option<Arc<Store>>> = const { RefCell::new(None) };
}

/// Stores something: what `f` gives, and the lists of words whose numbers it holds.
pub fn storing<T>(f: impl FnOnce() -> T) -> (T, Vec<Words>) {
    let before = OPEN.replace(Some(Arc::default()));
    let out = f();
    let store = OPEN.replace(before).unwrap_or_default();
    (out, Arc::unwrap_or_clone(store).lists)
}

/// Reads something of a store.
pub fn reading<T>(store: &Arc<Store>, f: impl FnOnce(&[u8]) -> T) -> T {
    let before = OPEN.replace(Some(Arc::clone(store)));
    let out = f(&store.bytes);
    OPEN.replace(before);
    out
}

/// What is being read.
#[must_use]
pub fn store() -> Option<Arc<Store>> {
    OPEN.with_borrow(Clone::clone)
}

/// For `#[serde(with = "words")]`: the number of a list.
///
/// # Errors
/// Outside [`storing`].
pub fn serialize<S: Serializer>(words: &Words, serializer: S) -> Result<S::Ok, S::Error> {
    let number = OPEN.with_borrow_mut(|store| {
        let lists = &mut Arc::make_mut(store.as_mut()?).lists;
        let at = lists.iter().position(|w| w == words).unwrap_or_else(|| {
            lists.push(Arc::clone(words));
            lists.len() - 1
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
    let words = OPEN.with_borrow(|store| store.as_ref().and_then(|s| s.lists.get(number)).cloned());
    words.ok_or_else(|| de::Error::custom("there is no list of words with this number"))
}
