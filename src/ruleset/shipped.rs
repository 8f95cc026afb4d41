//! What ships inside the program: texts of rulesets, and the same compiled.

/// What ships inside the program.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shipped {
    /// The files of rulesets, by their path in the project: jobs alone without the feature `texts`.
    pub(super) files: &'static [(&'static str, &'static str)],
    /// The same, compiled: see [`super::frozen`].
    pub(super) frozen: &'static [u8],
}

/// All of it, as the build script put it together.
#[cfg(rulesets_inside)]
pub(super) static SHIPPED: Shipped = Shipped {
    files: include!(concat!(env!("OUT_DIR"), "/rulesets.in")),
    frozen: include_bytes!(concat!(env!("OUT_DIR"), "/rulesets.bin")),
};

/// The build script compiles these modules before there is anything to ship.
#[cfg(not(rulesets_inside))]
pub(super) static SHIPPED: Shipped = Shipped {
    files: &[],
    frozen: &[],
};
