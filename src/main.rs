//! The command line of Amperule.

use std::process::ExitCode;

fn main() -> ExitCode {
    amperule::run()
}
