//! Parts of a stored ruleset that are read when somebody first asks for them: a run needs the
//! formulas of few facts and the texts of few rules.

use std::ops::{Deref, DerefMut};
use std::sync::OnceLock;

use serde::de::{DeserializeOwned, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de, ser};

use super::words::{self, Lists};

/// Something that is there, or lies as it was stored until it is looked at.
///
/// # Panics
/// Looking at it does where its bytes are not those that were stored: the program file was damaged.
#[derive(Clone, Debug)]
pub struct Later<T> {
    value: OnceLock<T>,
    /// How it was stored, and the lists of words whose numbers stand there.
    stored: Option<(Box<[u8]>, Lists)>,
}

impl<T> From<T> for Later<T> {
    fn from(value: T) -> Self {
        Self {
            value: OnceLock::from(value),
            stored: None,
        }
    }
}

impl<T: Default> Default for Later<T> {
    fn default() -> Self {
        T::default().into()
    }
}

/// What is there by now.
#[expect(
    clippy::expect_used,
    reason = "the bytes are the program's own, written from a value of this very type when it was \
              built; `tests/frozen.rs` reads each of them"
)]
fn there<T>(value: Option<T>) -> T {
    value.expect("what the program stores of its rulesets can be read")
}

impl<T: DeserializeOwned> Deref for Later<T> {
    type Target = T;

    fn deref(&self) -> &T {
        self.value.get_or_init(|| {
            there(self.stored.as_ref().and_then(|(bytes, lists)| {
                words::reading(lists.clone(), || postcard::from_bytes(bytes)).ok()
            }))
        })
    }
}

impl<T: DeserializeOwned> DerefMut for Later<T> {
    fn deref_mut(&mut self) -> &mut T {
        let _: &T = self;
        self.stored = None;
        there(self.value.get_mut())
    }
}

impl<'a, T: DeserializeOwned> IntoIterator for &'a Later<Vec<T>> {
    type Item = &'a T;
    type IntoIter = std::slice::Iter<'a, T>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

impl<T: Serialize + DeserializeOwned> Serialize for Later<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let bytes = postcard::to_allocvec(&**self).map_err(ser::Error::custom)?;
        serializer.serialize_bytes(&bytes)
    }
}

impl<'de, T> Deserialize<'de> for Later<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Bytes;
        impl Visitor<'_> for Bytes {
            type Value = Box<[u8]>;

            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("stored bytes")
            }

            fn visit_bytes<E: de::Error>(self, bytes: &[u8]) -> Result<Self::Value, E> {
                Ok(bytes.into())
            }
        }
        let bytes = deserializer.deserialize_bytes(Bytes)?;
        Ok(Self {
            value: OnceLock::new(),
            stored: Some((bytes, words::lists())),
        })
    }
}
