//! Parts of a stored ruleset that are read when somebody first asks for them: a run needs the
//! formulas of few facts and the texts of few rules.

use std::ops::{Deref, DerefMut, Range};
use std::sync::{Arc, OnceLock};

use serde::de::{DeserializeOwned, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de, ser};

use super::words::{self, Store};

/// Something that is there, or lies as it was stored until it is looked at.
///
/// # Panics
/// Looking at it does where its bytes are not those that were stored: the program file was damaged.
#[derive(Clone, Debug)]
pub struct Later<T> {
    value: OnceLock<T>,
    /// Where it is stored, so that it costs no memory of its own until then.
    stored: Option<(Arc<Store>, Range<u32>)>,
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
            there(self.stored.as_ref().and_then(|(store, place)| {
                let place = place.start as usize..place.end as usize;
                words::reading(store, |bytes| postcard::from_bytes(bytes.get(place)?).ok())
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
        struct Place;
        impl Visitor<'_> for Place {
            type Value = (Arc<Store>, Range<u32>);

            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("stored bytes")
            }

            fn visit_bytes<E: de::Error>(self, bytes: &[u8]) -> Result<Self::Value, E> {
                let open = words::store().unwrap_or_default();
                let (store, place) = match open.place(bytes) {
                    Some(place) => (open, place),
                    None => {
                        let lists = open.lists.clone();
                        let own = Store {
                            bytes: bytes.into(),
                            lists,
                        };
                        (Arc::new(own), 0..bytes.len())
                    }
                };
                let number = |at: usize| u32::try_from(at).map_err(E::custom);
                Ok((store, number(place.start)?..number(place.end)?))
            }
        }
        Ok(Self {
            value: OnceLock::new(),
            stored: Some(deserializer.deserialize_bytes(Place)?),
        })
    }
}
