//! Lists the ruleset files, so that all of them ship inside the binary and none is forgotten.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

fn yaml_files(folder: &Path, into: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            yaml_files(&path, into)?;
        } else if path.extension().is_some_and(|e| e == "yaml") {
            into.push(path);
        }
    }
    Ok(())
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = PathBuf::from(env::var("CARGO_MANIFEST_DIR")?);
    println!("cargo::rerun-if-changed=rulesets");
    println!("cargo::rerun-if-changed=grammar");
    println!("cargo::rerun-if-changed=src/build.rs");
    let mut files = Vec::new();
    yaml_files(&root.join("rulesets"), &mut files)?;
    files.sort();
    let mut code = String::from("&[\n");
    for path in files {
        let name = path
            .strip_prefix(&root)?
            .to_string_lossy()
            .replace('\\', "/");
        writeln!(
            code,
            "    ({name:?}, include_str!({:?})),",
            path.to_string_lossy()
        )?;
    }
    code.push_str("]\n");
    fs::write(
        PathBuf::from(env::var("OUT_DIR")?).join("rulesets.in"),
        code,
    )?;
    Ok(())
}
