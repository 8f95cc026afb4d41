//! The command line of Amperule.

fn main() {}
