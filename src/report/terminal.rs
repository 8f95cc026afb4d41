//! Findings on a terminal.
