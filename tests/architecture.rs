//! Modules depend only downward: see DEVELOPERS.md.

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot read the sources stops at once"
)]

use std::fs;
use std::path::{Path, PathBuf};

/// From the top; each may use only those after it (and itself).
const FLOORS: [&str; 12] = [
    "command",
    "editor",
    "report",
    "answer",
    "check",
    "design",
    "ruleset",
    "expression",
    "physics",
    "vocabulary",
    "quantity",
    "source",
];

fn rust_files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            rust_files(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

/// The modules that a file's code names with `crate::`.
fn uses(text: &str) -> Vec<String> {
    let mut all = Vec::new();
    for line in text.lines().filter(|l| !l.trim_start().starts_with("//")) {
        let mut rest = line;
        while let Some(at) = rest.find("crate::") {
            rest = &rest[at + "crate::".len()..];
            all.push(
                rest.chars()
                    .take_while(|c| c.is_ascii_lowercase() || *c == '_')
                    .collect(),
            );
        }
    }
    all
}

#[test]
fn arrows_point_down() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = Vec::new();
    let mut arrows = 0;
    for (floor, module) in FLOORS.iter().enumerate() {
        let folder = src.join(module);
        if !folder.is_dir() {
            continue;
        }
        let mut files = Vec::new();
        rust_files(&folder, &mut files);
        for path in files {
            for used in uses(&fs::read_to_string(&path).unwrap()) {
                let Some(below) = FLOORS.iter().position(|m| *m == used) else {
                    continue;
                };
                arrows += 1;
                if below < floor {
                    wrong.push(format!("{}: {module} uses {used}", path.display()));
                }
            }
        }
    }
    assert!(
        arrows > 100,
        "the scan found only {arrows} uses: is it blind?"
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn only_the_terminal_renderer_knows_miette() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    let knowing: Vec<_> = files
        .iter()
        .filter(|p| fs::read_to_string(p).unwrap().contains("miette::"))
        .map(|p| p.strip_prefix(&src).unwrap().display().to_string())
        .collect();
    assert_eq!(knowing, ["report/diagnostic.rs"]);
}
