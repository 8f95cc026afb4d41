//! How tests open designs: as any host does, under rulesets that each process loads once.

pub mod program;

use std::path::Path;
use std::sync::{Arc, LazyLock};

use amperule::session::{Installation, Loaded, Options, Project};
use amperule::source::Memory;

/// The rulesets in the program.
static SHIPPED: LazyLock<Project> = LazyLock::new(|| Project::in_memory(Memory::default()));

/// Where the text of a test stands.
pub const PATH: &str = "design.amp";

/// A project that holds one text.
pub fn project(text: &str) -> Project {
    SHIPPED.beside([(PATH, text)].into_iter().collect())
}

/// Opens a text, whatever is wrong with it.
pub fn open(text: &str, options: &Options) -> Arc<Loaded> {
    project(text).open(Path::new(PATH), options)
}

/// What can be asked about a text without mistakes; else its mistakes, one a line.
pub fn sound(text: &str, options: &Options) -> Result<Installation, String> {
    let loaded = open(text, options);
    let mistakes = loaded.problems.iter().filter(|p| p.is_error());
    let mistakes: Vec<&str> = mistakes.map(|p| p.message.as_str()).collect();
    let of = loaded.sound().cloned();
    of.ok_or_else(|| mistakes.join("\n"))
}
