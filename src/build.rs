//! Puts the rulesets into the program: their texts and jobs, so that none is forgotten, and the
//! rules compiled in each edition, so that a run need not compile them.
//!
//! The compiler is the program's own: these modules are included here and know nothing of
//! designs, reports or the command line. They are public here as in the library, so that
//! what the build script does not use is not taken for dead.

// What pest generates without its stack probe, which looks at each call, names it.
extern crate alloc;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

#[path = "expression/mod.rs"]
pub mod expression;
#[path = "physics/mod.rs"]
pub mod physics;
#[path = "quantity/mod.rs"]
pub mod quantity;
#[path = "ruleset/mod.rs"]
pub mod ruleset;
#[path = "source/mod.rs"]
pub mod source;
#[path = "vocabulary/mod.rs"]
pub mod vocabulary;

fn files_of_rulesets(folder: &Path, into: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            files_of_rulesets(&path, into)?;
        } else if path.extension().is_some_and(|e| e == "yaml" || e == "amp") {
            into.push(path);
        }
    }
    Ok(())
}

/// The files as a list of name and text, in Rust: the jobs, and the texts of the rules where wanted.
fn list(root: &Path, texts: bool) -> Result<String, Box<dyn std::error::Error>> {
    let mut files = Vec::new();
    files_of_rulesets(&root.join("rulesets"), &mut files)?;
    files.retain(|path| texts || path.extension().is_some_and(|e| e == "amp"));
    files.sort();
    let mut code = String::from("&[\n");
    for path in files {
        let name = path
            .strip_prefix(root)?
            .to_string_lossy()
            .replace('\\', "/");
        writeln!(
            code,
            "    ({name:?}, include_str!({:?})),",
            path.to_string_lossy()
        )?;
    }
    code.push_str("]\n");
    Ok(code)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = PathBuf::from(env::var("CARGO_MANIFEST_DIR")?);
    let out = PathBuf::from(env::var("OUT_DIR")?);
    println!("cargo::rerun-if-changed=rulesets");
    println!("cargo::rerun-if-changed=grammar");
    println!("cargo::rerun-if-changed=src/build.rs");
    println!("cargo::rustc-cfg=rulesets_inside");
    let texts = env::var_os("CARGO_FEATURE_TEXTS").is_some();
    fs::write(out.join("rulesets.in"), list(&root, texts)?)?;
    let library = ruleset::Library::new(vec![root.join("rulesets")]);
    let made = ruleset::freeze::freeze(&library, &library.names())?;
    for (name, problem) in made.wrong {
        println!(
            "cargo::warning=the ruleset `{name}` has a mistake: {} (`amperule rules check` shows where)",
            problem.message
        );
    }
    fs::write(out.join("rulesets.bin"), made.bytes)?;
    Ok(())
}
