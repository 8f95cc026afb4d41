//! Whether a benchmark measures.

/// Whether `cargo bench` started this program. Under `cargo test --all-targets` it only has to
/// work, and nothing is measured.
pub fn measuring() -> bool {
    std::env::args().any(|a| a == "--bench")
}
