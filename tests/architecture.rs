//! Modules depend only downward: see DEVELOPERS.md.

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot read the sources stops at once"
)]

use std::fs;
use std::path::{Path, PathBuf};

/// From the top; each may use only those after it (and itself).
const FLOORS: [&str; 14] = [
    "command",
    "lsp",
    "report",
    "session",
    "answer",
    "check",
    "design",
    "ruleset",
    "expression",
    "physics",
    "vocabulary",
    "quantity",
    "source",
    "guide",
];

/// Files at the root of the crate that stand outside the floors.
const ROOTS: [&str; 3] = ["build.rs", "lib.rs", "main.rs"];

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

/// Where a string literal that begins at `at` ends (after its closing quote), if one begins there.
fn string_end(c: &[char], at: usize) -> Option<usize> {
    let mut i = at;
    if matches!(c.get(i), Some('b' | 'c')) {
        i += 1;
    }
    let raw = c.get(i) == Some(&'r');
    i += usize::from(raw);
    let hashes = c.iter().skip(i).take_while(|x| raw && **x == '#').count();
    i += hashes;
    if c.get(i) != Some(&'"') {
        return None;
    }
    i += 1;
    while let Some(x) = c.get(i) {
        i += 1;
        if *x == '\\' && !raw {
            i += 1;
        } else if *x == '"'
            && c.iter().skip(i).take(hashes).filter(|h| **h == '#').count() == hashes
        {
            return Some(i + hashes);
        }
    }
    Some(c.len())
}

/// Where a comment that begins at `at` ends, if one begins there; block comments nest.
fn comment_end(c: &[char], at: usize) -> Option<usize> {
    match (c.get(at), c.get(at + 1)) {
        (Some('/'), Some('/')) => Some(at + c.iter().skip(at).take_while(|x| **x != '\n').count()),
        (Some('/'), Some('*')) => {
            let (mut i, mut depth) = (at + 2, 1);
            while depth > 0 && i < c.len() {
                match (c.get(i), c.get(i + 1)) {
                    (Some('/'), Some('*')) => (i, depth) = (i + 2, depth + 1),
                    (Some('*'), Some('/')) => (i, depth) = (i + 2, depth - 1),
                    _ => i += 1,
                }
            }
            Some(i)
        }
        _ => None,
    }
}

/// The words and signs of a file's code, without comments, strings and characters; `::` is one.
fn tokens(text: &str) -> Vec<String> {
    let c: Vec<char> = text.chars().collect();
    let mut all = Vec::new();
    let mut i = 0;
    while let Some(x) = c.get(i) {
        if let Some(end) = comment_end(&c, i).or_else(|| string_end(&c, i)) {
            i = end;
        } else if *x == '\'' {
            // A character has its closing quote at once or begins with a backslash; else a lifetime.
            i = if c.get(i + 1) == Some(&'\\') {
                let rest = c.iter().skip(i + 3).take_while(|q| **q != '\'').count();
                i + 4 + rest
            } else if c.get(i + 2) == Some(&'\'') {
                i + 3
            } else {
                i + 1
            };
        } else if x.is_alphanumeric() || *x == '_' {
            let word: String = c
                .iter()
                .skip(i)
                .take_while(|w| w.is_alphanumeric() || **w == '_')
                .collect();
            i += word.chars().count();
            all.push(word);
        } else if *x == ':' && c.get(i + 1) == Some(&':') {
            all.push("::".to_owned());
            i += 2;
        } else {
            if !x.is_whitespace() {
                all.push(x.to_string());
            }
            i += 1;
        }
    }
    all
}

/// What a path from the crate's root names first; each member of a `{ … }` group names its own.
fn first_names(t: &[String], at: usize, into: &mut Vec<String>) {
    let Some(head) = t.get(at) else { return };
    if head != "{" {
        into.push(head.clone());
        return;
    }
    let (mut depth, mut begins) = (0, false);
    for word in t.iter().skip(at) {
        match word.as_str() {
            "{" => {
                depth += 1;
                begins = depth == 1;
            }
            "}" => {
                depth -= 1;
                if depth == 0 {
                    return;
                }
            }
            "," => begins = depth == 1,
            _ if begins => {
                into.push(word.clone());
                begins = false;
            }
            _ => {}
        }
    }
}

/// The names directly under the crate's root that a file's code uses, through `crate::` or through
/// as many `super::` as lead there. `depth` is how many modules deep the file is.
fn uses(text: &str, depth: usize) -> Vec<String> {
    let t = tokens(text);
    let is = |i: usize, word: &str| t.get(i).is_some_and(|w| w == word);
    let mut all = Vec::new();
    // Braces open around this place, and which of them are those of inline modules.
    let (mut braces, mut inline) = (0_usize, Vec::new());
    let mut i = 0;
    while i < t.len() {
        if is(i, "{") {
            if i >= 2 && is(i - 2, "mod") {
                inline.push(braces);
            }
            braces += 1;
        } else if is(i, "}") {
            braces = braces.saturating_sub(1);
            if inline.last() == Some(&braces) {
                inline.pop();
            }
        } else if is(i, "crate") && is(i + 1, "::") {
            first_names(&t, i + 2, &mut all);
        } else if is(i, "super") && is(i + 1, "::") {
            let mut ups = 0;
            while is(i + 2 * ups, "super") && is(i + 2 * ups + 1, "::") {
                ups += 1;
            }
            if ups == depth + inline.len() {
                first_names(&t, i + 2 * ups, &mut all);
            }
            i += 2 * ups - 1;
        }
        i += 1;
    }
    all
}

/// How many modules deep a file under `src/` is: `check/mod.rs` one, `check/judge.rs` two.
fn depth_of(inside: &Path) -> usize {
    inside.components().count() - usize::from(inside.ends_with("mod.rs"))
}

/// What is wrong with the uses of one file, and how many it has.
fn judge(module: &str, name: &str, text: &str, depth: usize) -> (Vec<String>, usize) {
    let place = |m: &str| FLOORS.iter().position(|f| *f == m);
    let used = uses(text, depth);
    let mut wrong = Vec::new();
    for u in &used {
        match (place(module), place(u)) {
            (Some(own), Some(other)) if other < own => {
                wrong.push(format!("{name}: {module} uses {u}, which is above it"));
            }
            (Some(_), Some(_)) => {}
            (None, _) => wrong.push(format!("{name}: {module} has no floor")),
            (_, None) => wrong.push(format!("{name}: `{u}` at the crate's root has no floor")),
        }
    }
    (wrong, used.len())
}

#[test]
fn arrows_point_down() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    files.sort();
    let (mut wrong, mut arrows) = (Vec::new(), 0);
    for path in files {
        let inside = path.strip_prefix(&src).unwrap();
        let name = inside.display().to_string();
        // The door of the page is a crate of its own above all floors.
        if ROOTS.contains(&name.as_str()) || inside.starts_with("page") {
            continue;
        }
        let first = inside.iter().next().unwrap().to_string_lossy();
        let module = first.trim_end_matches(".rs");
        if !FLOORS.contains(&module) {
            wrong.push(format!("{name}: {module} has no floor"));
        }
        let text = fs::read_to_string(&path).unwrap();
        let (faults, uses) = judge(module, &name, &text, depth_of(inside));
        wrong.extend(faults);
        arrows += uses;
    }
    assert!(
        arrows > 100,
        "the scan found only {arrows} uses: is it blind?"
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_scan_sees_every_form_of_an_arrow() {
    let found = |text: &str, depth| uses(text, depth);
    assert_eq!(found("use crate::check::Report;", 1), ["check"]);
    assert_eq!(
        found("use crate::{\n  check::{Report, show},\n  report,\n};", 1),
        ["check", "report"]
    );
    assert_eq!(found("fn f(x: &crate::check::Report) {}", 1), ["check"]);
    assert_eq!(found("use crate :: check;", 1), ["check"]);
    assert_eq!(found("use crate::*;", 1), ["*"]);
    assert_eq!(found("use super::super::check;", 2), ["check"]);
    assert_eq!(found("use super::{check, report};", 1), ["check", "report"]);
    assert_eq!(found("let q = '\"'; crate::check::f('\\'')", 1), ["check"]);
    assert_eq!(
        found("mod tests { use super::super::check; }", 1),
        ["check"]
    );
    assert_eq!(
        found("mod tests { use super::check; } use super::report;", 1),
        ["report"]
    );
}

#[test]
fn the_scan_reads_code_only() {
    for text in [
        "// crate::check",
        "let x = 1; // crate::check",
        "/* crate::check /* crate::report */ crate::check */",
        r#"let s = "crate::check \" crate::check";"#,
        r##"let s = r#"crate::check " crate::check"#;"##,
        "use super::check;\nfn f<'a>(x: &'a str) {}",
    ] {
        assert_eq!(uses(text, 2), Vec::<String>::new(), "{text}");
    }
}

#[test]
fn an_arrow_up_is_a_fault() {
    let faults = |module, text| judge(module, "x.rs", text, 2).0.len();
    assert_eq!(faults("design", "use crate::check::Report;"), 1);
    assert_eq!(faults("source", "use crate::{quantity, command};"), 2);
    assert_eq!(faults("check", "use crate::nowhere::X;"), 1);
    assert_eq!(faults("check", "use crate::{check, design, source};"), 0);
}

#[test]
fn only_the_terminal_renderer_knows_miette() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    let knowing: Vec<_> = files
        .iter()
        .filter(|p| {
            tokens(&fs::read_to_string(p).unwrap())
                .iter()
                .any(|t| t == "miette")
        })
        .map(|p| p.strip_prefix(&src).unwrap().display().to_string())
        .collect();
    assert_eq!(knowing, ["report/diagnostic.rs"]);
}

/// Every file that a command writes goes through one place, which loses nothing.
#[test]
fn only_one_place_writes_files() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    let writes = |text: &str| {
        let t = tokens(text);
        let called =
            |a: &str, b: &str| t.windows(3).any(|w| w[0] == a && w[1] == "::" && w[2] == b);
        t.iter()
            .any(|x| x == "tempfile" || x == "OpenOptions" || x == "create_new")
            || ["write", "rename", "copy", "remove_file", "hard_link"]
                .iter()
                .any(|f| called("fs", f))
            || called("File", "create")
    };
    let mut writing: Vec<_> = files
        .iter()
        .filter(|p| writes(&fs::read_to_string(p).unwrap()))
        .map(|p| p.strip_prefix(&src).unwrap().display().to_string())
        .collect();
    writing.sort();
    // What the build script writes is the build's.
    assert_eq!(writing, ["build.rs", "command/write.rs"]);
}

/// Tests and benchmarks open designs as hosts do; those of lower floors have vocabularies of
/// their own.
#[test]
fn only_tests_of_lower_floors_go_below_the_session() {
    const BELOW: [&str; 2] = ["frozen.rs", "resolve"];
    let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let mut files = Vec::new();
    rust_files(&tests, &mut files);
    let mut going = Vec::new();
    for path in &files {
        let name = path.strip_prefix(&tests).unwrap().display().to_string();
        let tokens = tokens(&fs::read_to_string(path).unwrap());
        let below = ["Library", "rules_named"];
        if below.iter().any(|b| tokens.iter().any(|t| t == b)) {
            going.push(name);
        }
    }
    assert!(!going.is_empty(), "is the scan blind?");
    going.retain(|name| !BELOW.iter().any(|b| name.starts_with(b)));
    assert_eq!(going, Vec::<String>::new());
}
