//! Maps are stored in the order of their keys, so that equal maps are stored alike.

use std::hash::BuildHasher;

use serde::Serializer;
use serde::ser::Serialize;

/// For `#[serde(serialize_with = "in_order")]`.
///
/// # Errors
/// What the serializer says.
pub fn in_order<K, V, H, S>(
    map: &std::collections::HashMap<K, V, H>,
    serializer: S,
) -> Result<S::Ok, S::Error>
where
    K: Serialize + Ord,
    V: Serialize,
    H: BuildHasher,
    S: Serializer,
{
    let mut all: Vec<(&K, &V)> = map.iter().collect();
    all.sort_by(|a, b| a.0.cmp(b.0));
    serializer.collect_map(all)
}
