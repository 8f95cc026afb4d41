//! What one design, one ruleset and one run may ask for: all limits in one place.
//!
//! Each is told by a message that says what to do; what is within them ends in seconds and within
//! a gigabyte. `tests/limits.rs` holds both sides of each.

/// The largest file that is read, in bytes: what is larger is no design and no ruleset.
pub const FILE_BYTES: u64 = 16 << 20;

/// The most text of one design in bytes, all its files together. Designs have a few thousand lines
/// at most; the limit keeps a wrong file from taking minutes.
pub const DESIGN_BYTES: usize = 4 << 20;

/// Files that one design may use, itself included.
pub const FILES: usize = 256;

/// Folders inside folders that are looked through for designs.
pub const FOLDERS: usize = 64;

/// Blocks, parts and members of lists of one design. A few lines of nested repetition can ask for
/// more than any machine holds, so repeated blocks are counted before they are made.
pub const THINGS: usize = 20_000;

/// Feeds one behind the other, from a thing up to where it is supplied: what is worked out along
/// them is worked out one inside the other.
pub const FEEDS: usize = 48;

/// Terms of rules that are worked out one inside the other, through all that they read.
pub const NESTED: usize = 3600;

/// Operators in one sum of a design; more would make the tree as deep as it is long.
pub const OPERATORS: usize = 64;

/// The longest expression of a ruleset, in bytes. What nests without brackets nests no deeper than
/// that, and whatever walks the tree can do so.
pub const EXPRESSION_BYTES: usize = 4096;

/// The deepest nesting of brackets and conditions in an expression of a ruleset.
pub const EXPRESSION_DEPTH: usize = 60;

/// Operations of all verdicts of one design, linked: they take most of the memory.
pub const OPERATIONS: usize = 1_500_000;

/// Designs with fewer blocks, parts and members of lists are not linked beforehand to see whether
/// they are too large.
pub const SURELY_SMALL: usize = 300;

/// Operations that refining the undecided verdicts of one design may work out or look at. Each
/// verdict gets its share; what it leaves, others have.
pub const WORK: u64 = 200_000_000;
