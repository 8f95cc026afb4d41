//! What ships inside the program: texts of rulesets, and the same compiled.

use super::library::Shipped;

/// All of it, as the build script put it together.
pub(super) static SHIPPED: Shipped = Shipped {
    files: include!(concat!(env!("OUT_DIR"), "/rulesets.in")),
    frozen: include_bytes!(concat!(env!("OUT_DIR"), "/rulesets.bin")),
};
