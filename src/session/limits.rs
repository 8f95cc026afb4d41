//! How much one design may ask for.

/// Files that one design may use, itself included.
pub const MOST_FILES: usize = 256;

/// Folders inside folders that are looked through for designs.
pub const MOST_DEPTH: usize = 64;
