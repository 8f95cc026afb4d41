//! Amperule: a design language and compliance checker for electric-vehicle charge-point
//! installations.
//!
//! # Judging a text
//!
//! A host opens designs from a [`Project`]: a disk, or texts in memory, with the rulesets in the
//! program and in folders of its own. What it opens holds every mistake with its place, and, where
//! there is something to judge, an [`Installation`] of which every question can be asked. Answers
//! are data that name objects, facts and rules; nothing is printed.
//!
//! ```
//! use std::path::Path;
//! use amperule::{Ask, Options, Project};
//! use amperule::check::{Outcome, Standing};
//! use amperule::ruleset::Severity;
//! use amperule::source::Memory;
//!
//! let text = r#"
//! installation "Heron Lodge" { rules: gb  premises: dwelling  designed-on: 2026-05-12 }
//! supply { earthing: TN-C-S  phases: 1  U0: 230 V  Ze: 0.28 ohm (measured) }
//! board main {
//!   fed-from: supply
//!   circuit ev {
//!     status: new
//!     device: rcbo { In: 32 A  curve: B  rcd-type: A  IΔn: 30 mA  poles: 2 }
//!     cables: armoured { size: 2.5 mm²  cores: 3  length: 18 m  method: C  insulation: XLPE }
//!   }
//! }
//! charge-point drive { circuit: ev  mode: 3  In: 32 A  location: outdoors }
//! "#;
//! let texts: Memory = [("lodge.amp", text)].into_iter().collect();
//! let mut project = Project::in_memory(texts).for_editing();
//! let lodge = Path::new("lodge.amp");
//!
//! let loaded = project.open(lodge, &Options::default());
//! assert!(loaded.is_sound());
//! let checked = loaded.check(Ask::default());
//! assert_eq!(checked.standing(Severity::Breach), Standing::Breach);
//! let judged = checked.judged.ok_or("the ruleset loads")?;
//! let breach = judged.report.findings.iter().find(|f| f.outcome == Outcome::Failed);
//! assert_eq!(breach.ok_or("2.5 mm² behind 32 A")?.subject.label, "ev");
//!
//! // What is still unknown, and how far a figure can go.
//! let of = loaded.sound().ok_or("no mistakes")?;
//! assert!(!of.survey().questions.is_empty());
//! assert!(of.value("ev", "Zs", None).is_some());
//!
//! // An edit: only what it changes is read again.
//! project.edit(lodge, text.replace("2.5 mm²", "6 mm²"));
//! let again = project.open(lodge, &Options::default());
//! assert!(again.is_sound());
//! # Ok::<(), &str>(())
//! ```
//!
//! # What is where
//!
//! | module | for a host |
//! |---|---|
//! | [`session`] | projects, opened designs, every question |
//! | [`check`] | findings, outcomes, what they come to |
//! | [`answer`] | workings, bounds, surveys, mends, proofs, sheets as data |
//! | [`ruleset`] | libraries of rulesets, rules, editions |
//! | [`source`] | places to read from, files, spans, problems |
//! | [`report`] | the same answers as text, HTML and JSON |
//! | [`guide`] | how designs are written, and each command used |
//!
//! The other modules are the machinery below: documented, but no promise to hosts.
//!
//! # Features
//!
//! | feature | adds |
//! |---|---|
//! | `cli` (default) | the program `amperule`: its command line, terminal output, tables, threads |
//! | `lsp` (default) | the server for editors, `amperule lsp`; with it, `cli` |
//! | `texts` (default) | the texts of the rulesets beside their compiled form: patches laid over them, their cases, their lines; with it a program is 1.4 MB larger |
//!
//! Without `cli` the library uses no thread, no terminal and no clock, and builds for
//! `wasm32-unknown-unknown`; only [`source::Disk`] touches a file system.
//!
//! Data flows one way: text → syntax tree → the ruleset that it names → design (facts with
//! spans) → derived facts → findings → report. Each module uses only those below it.

// What pest generates without its stack probe, which looks at each call, names it.
extern crate alloc;

pub mod answer;
pub mod check;
pub mod guide;
pub mod report;
pub mod ruleset;
pub mod session;
pub mod source;

#[doc(hidden)]
pub mod design;
#[doc(hidden)]
pub mod expression;
#[doc(hidden)]
pub mod physics;
#[doc(hidden)]
pub mod quantity;
#[doc(hidden)]
pub mod vocabulary;

#[cfg(feature = "cli")]
mod command;
#[cfg(feature = "lsp")]
pub mod lsp;

#[cfg(feature = "cli")]
pub use command::run;
pub use session::{Ask, Checked, Installation, Loaded, Mending, Options, Project};
