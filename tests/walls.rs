//! The library with its doors closed: every module private, entered by the program, by the page
//! and by what hosts and tests are promised below. So the compiler tells what none of them needs,
//! which it cannot where anyone may enter: `cargo check --features walls --example walls`.

#![deny(dead_code)]
#![expect(
    unused_imports,
    reason = "hosts are to find the types of what they read in a floor's door"
)]

// What pest generates without its stack probe, which looks at each call, names it.
extern crate alloc;

#[path = "../src/answer/mod.rs"]
mod answer;
#[path = "../src/check/mod.rs"]
mod check;
#[path = "../src/command/mod.rs"]
mod command;
#[path = "../src/design/mod.rs"]
mod design;
#[path = "../src/expression/mod.rs"]
mod expression;
#[path = "../src/guide.rs"]
mod guide;
#[path = "../src/lsp/mod.rs"]
mod lsp;
#[path = "../src/physics/mod.rs"]
mod physics;
#[path = "../src/quantity/mod.rs"]
mod quantity;
#[path = "../src/report/mod.rs"]
mod report;
#[path = "../src/ruleset/mod.rs"]
mod ruleset;
#[path = "../src/session/mod.rs"]
mod session;
#[path = "../src/source/mod.rs"]
mod source;
#[path = "../src/vocabulary/mod.rs"]
mod vocabulary;

#[path = "../src/page/engine/host.rs"]
mod host;
#[path = "../src/page/engine/request.rs"]
mod request;

// As the page names the library.
extern crate self as amperule;
pub(crate) use session::{Ask, Checked, Installation, Loaded, Options, Project};

/// What neither the program nor the page needs and is kept all the same.
fn promised() {
    use std::hint::black_box;

    // For hosts.
    let _ = black_box((Options::under(""), Installation::stage));
    // Words are read as they are written, whatever they are of.
    let _ = black_box((check::Outcome::ALL, check::Outcome::from_word));
    let _ = black_box((check::Reason::ALL, check::Reason::from_word));
    let _ = black_box((answer::Fate::ALL, answer::Fate::from_word));
    let _ = black_box((answer::Stated::ALL, answer::Stated::from_word));
    let _ = black_box((answer::State::ALL, answer::State::from_word));
    let _ = black_box((answer::Turn::from_word, check::Standing::from_word));
    // The build script stores rulesets.
    let _ = black_box((ruleset::freeze::freeze, ruleset::freeze::encode));
    let _ = black_box(|made: ruleset::freeze::Made| (made.bytes, made.wrong));
    // Tests count what answers cost.
    let _ = black_box(|survey: answer::Survey| survey.work);
    // Tests compare sets of truth values by their members.
    let _ = black_box((quantity::TruthSet::EMPTY, quantity::TruthSet::is_within));
    let _ = black_box(quantity::TruthSet::union);
}

fn main() {
    promised();
    let _ = std::hint::black_box(command::run as fn() -> std::process::ExitCode);
    let _ = host::Host::default().ask(b"");
}
