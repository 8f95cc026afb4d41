//! The copy of the project that holds the mutants, and its suite.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::places::{self, Place};
use crate::{Failed, text};

/// The switch, in a module that the build script includes as well.
const SWITCH: &str = "
/// Whether this mutant is switched on.
pub fn mutant(number: u32) -> bool {
    static WHICH: std::sync::OnceLock<Option<u32>> = std::sync::OnceLock::new();
    *WHICH.get_or_init(|| std::env::var(\"AMPERULE_MUTANT\").ok().and_then(|n| n.parse().ok())) == Some(number)
}
";

/// Copies what is kept in the repository; what is there and alike stays untouched.
pub fn copied(project: &Path, tree: &Path) -> Result<(), Failed> {
    let list = Command::new("git")
        .arg("-C")
        .arg(project)
        .args(["ls-files", "-z"])
        .output()?;
    if !list.status.success() {
        return Err("the files of the project cannot be listed".into());
    }
    for name in String::from_utf8(list.stdout)?.split_terminator('\0') {
        let (from, to) = (project.join(name), tree.join(name));
        if !from.exists() || name == "src/source/mod.rs" {
            continue;
        }
        put(&to, &fs::read(&from)?)?;
    }
    let switch = text(&project.join("src/source/mod.rs"))? + SWITCH;
    put(&tree.join("src/source/mod.rs"), switch.as_bytes())
}

fn put(to: &Path, bytes: &[u8]) -> Result<(), Failed> {
    if fs::read(to).is_ok_and(|old| old == bytes) {
        return Ok(());
    }
    if let Some(folder) = to.parent() {
        fs::create_dir_all(folder)?;
    }
    Ok(fs::write(to, bytes)?)
}

/// Builds the suite with all mutants; those that are no valid Rust are left out.
pub fn built(project: &Path, tree: &Path, picked: &mut Vec<Place>) -> Result<PathBuf, Failed> {
    loop {
        let files: BTreeSet<PathBuf> = picked.iter().map(|p| p.file.clone()).collect();
        for file in &files {
            put(
                &tree.join(file),
                places::written(file, &text(&project.join(file))?, picked).as_bytes(),
            )?;
        }
        let out = Command::new("cargo")
            .current_dir(tree)
            .args([
                "test",
                "--locked",
                "--release",
                "--test",
                "suite",
                "--no-run",
                "--message-format=json",
            ])
            .args([
                "--config",
                "profile.release.lto=false",
                "--config",
                "profile.release.codegen-units=16",
            ])
            .env("CARGO_TARGET_DIR", project.join("target/mutants/build"))
            .output()?;
        let mut wrong: BTreeSet<(PathBuf, usize)> = BTreeSet::new();
        let mut suite = None;
        for line in String::from_utf8_lossy(&out.stdout).lines() {
            let message: serde_json::Value = serde_json::from_str(line)?;
            if message["message"]["level"] == "error" {
                for span in message["message"]["spans"].as_array().into_iter().flatten() {
                    if let (Some(file), Some(first), Some(last)) = (
                        span["file_name"].as_str(),
                        span["line_start"].as_u64(),
                        span["line_end"].as_u64(),
                    ) {
                        wrong.extend(
                            (first..=last).filter_map(|n| {
                                Some((PathBuf::from(file), usize::try_from(n).ok()?))
                            }),
                        );
                    }
                }
            }
            if message["target"]["name"] == "suite" && message["executable"].is_string() {
                suite = message["executable"].as_str().map(PathBuf::from);
            }
        }
        if let (true, Some(suite)) = (out.status.success(), suite) {
            return Ok(suite);
        }
        let before = picked.len();
        let gone: BTreeSet<PathBuf> = picked
            .iter()
            .filter(|p| at_fault(p, &wrong))
            .map(|p| p.file.clone())
            .collect();
        picked.retain(|p| !at_fault(p, &wrong));
        if picked.len() == before {
            return Err(format!(
                "the project does not build:\n{}",
                String::from_utf8_lossy(&out.stderr)
            )
            .into());
        }
        for file in gone {
            put(&tree.join(&file), text(&project.join(&file))?.as_bytes())?;
        }
    }
}

/// Whether an error points at the line of a place. A switch adds no line.
fn at_fault(place: &Place, wrong: &BTreeSet<(PathBuf, usize)>) -> bool {
    wrong
        .iter()
        .any(|(file, line)| *file == place.file && place.lines.contains(line))
}
