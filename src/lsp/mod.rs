//! The server for editors, by the Language Server Protocol. It has no rule, text or conversion of
//! its own: what it shows is what [`crate::session`] and [`crate::report`] give.
//!
//! One thread speaks with the client and answers from the newest text; checks, mends and bounds are
//! worked out on two others. An edit only changes the text: a check begins when no more come for a
//! tenth of a second.

mod actions;
mod beside;
mod capabilities;
mod checker;
mod checking;
mod client;
mod completion;
mod context;
mod diagnostics;
mod document;
mod given;
mod hover;
mod layout;
mod names;
mod outline;
mod position;
mod requests;
mod rulesets;
mod server;
mod state;

pub use server::serve;

/// How a conversation ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// As the protocol has it: the client asked first.
    Asked,
    /// The client is gone.
    Gone,
}
