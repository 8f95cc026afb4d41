//! Modules depend only downward: see DEVELOPERS.md.

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot read the sources stops at once"
)]

use std::collections::{BTreeMap, BTreeSet};
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

pub(crate) fn rust_files(folder: &Path, into: &mut Vec<PathBuf>) {
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

/// All paths that begin here: one, or one for each member of its `{ … }` groups.
fn expand(t: &[String], at: usize, mut path: Vec<String>, into: &mut Vec<Vec<String>>) {
    match t.get(at).map(String::as_str) {
        None => {}
        Some("{") => {
            let (mut depth, mut begins) = (0, false);
            for (i, word) in t.iter().enumerate().skip(at) {
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
                        expand(t, i, path.clone(), into);
                        begins = false;
                    }
                    _ => {}
                }
            }
        }
        Some(word) => {
            path.push(word.to_owned());
            if t.get(at + 1).is_some_and(|next| next == "::") {
                expand(t, at + 2, path, into);
            } else {
                into.push(path);
            }
        }
    }
}

/// What the code of a module names, by paths from the crate's root.
#[derive(Default)]
struct Names {
    uses: Vec<Vec<String>>,
    /// What it takes in to be found in it: `pub use`.
    passes_on: Vec<Vec<String>>,
}

/// The paths in the text of the module at `module` that begin with `crate::`, `super::`, `self::` or
/// a module that stands in it.
fn names(text: &str, module: &[String]) -> Names {
    let t = tokens(text);
    let is = |i: usize, word: &str| t.get(i).is_some_and(|w| w == word);
    let word = |i: usize| t.get(i).map_or("", String::as_str);
    let within: Vec<&String> = (0..t.len())
        .filter(|i| is(*i, "mod") && is(i + 2, ";"))
        .filter_map(|i| t.get(i + 1))
        .collect();
    let mut all = Names::default();
    // Braces open around this place, and which of them are those of inline modules.
    let (mut braces, mut inline) = (0_usize, Vec::new());
    let (mut i, mut passed_on) = (0, false);
    while i < t.len() {
        let follows = i > 0 && is(i - 1, "::");
        let into = if passed_on {
            &mut all.passes_on
        } else {
            &mut all.uses
        };
        match word(i) {
            "{" => {
                if i >= 2 && is(i - 2, "mod") {
                    inline.push(braces);
                }
                braces += 1;
            }
            "}" => {
                braces = braces.saturating_sub(1);
                if inline.last() == Some(&braces) {
                    inline.pop();
                }
            }
            "use" => passed_on = i > 0 && (is(i - 1, "pub") || is(i - 1, ")")),
            ";" => passed_on = false,
            "crate" if is(i + 1, "::") => expand(&t, i + 2, Vec::new(), into),
            "super" | "self" if is(i + 1, "::") && !follows => {
                let mut ups = 0;
                while is(i + 2 * ups, "super") && is(i + 2 * ups + 1, "::") {
                    ups += 1;
                }
                let skip = ups.max(1);
                if let Some(left) = (module.len() + inline.len()).checked_sub(ups) {
                    let from = module.iter().take(left).cloned().collect();
                    // Inside an inline module what is meant may be the file itself.
                    if left <= module.len() {
                        expand(&t, i + 2 * skip, from, into);
                    }
                }
                i += 2 * skip - 1;
            }
            w if is(i + 1, "::") && !follows && within.iter().any(|m| *m == w) => {
                expand(&t, i, module.to_vec(), into);
            }
            _ => {}
        }
        i += 1;
    }
    all
}

/// The names directly under the crate's root that the code of a module uses; `depth` is how many
/// modules deep it stands.
fn uses(text: &str, depth: usize) -> Vec<String> {
    let here: Vec<String> = (0..depth).map(|_| String::new()).collect();
    let found = names(text, &here);
    let firsts = found.uses.into_iter().chain(found.passes_on);
    firsts
        .filter_map(|path| path.into_iter().next())
        .filter(|first| !first.is_empty())
        .collect()
}

/// The module in which what a path names stands, going through what modules pass on.
fn home(path: &[String], modules: &BTreeMap<Vec<String>, Names>, most: usize) -> Vec<String> {
    let known = (0..=path.len()).rev().map(|n| &path[..n]);
    let module = known.into_iter().find(|p| modules.contains_key(*p));
    let module = module.unwrap_or_default();
    let (Some(names), Some(name)) = (modules.get(module), path.get(module.len())) else {
        return module.to_vec();
    };
    match names.passes_on.iter().find(|p| p.last() == Some(name)) {
        Some(from) if most > 0 && from.as_slice() != path => home(from, modules, most - 1),
        _ => module.to_vec(),
    }
}

/// A circle among modules, if there is one behind this one.
fn circle(
    at: &[String],
    arrows: &BTreeMap<Vec<String>, BTreeSet<Vec<String>>>,
    way: &mut Vec<Vec<String>>,
    done: &mut BTreeSet<Vec<String>>,
) -> Option<Vec<Vec<String>>> {
    if let Some(from) = way.iter().position(|m| m == at) {
        return Some(way.split_off(from));
    }
    if !done.insert(at.to_vec()) {
        return None;
    }
    way.push(at.to_vec());
    for next in arrows.get(at).into_iter().flatten() {
        if let Some(found) = circle(next, arrows, way, done) {
            return Some(found);
        }
    }
    way.pop();
    None
}

/// The modules of some texts that use each other in a circle. A module may use what those that it
/// stands in declare.
fn circles(texts: &[(Vec<String>, String)]) -> Option<Vec<Vec<String>>> {
    let modules: BTreeMap<Vec<String>, Names> = texts
        .iter()
        .map(|(module, text)| (module.clone(), names(text, module)))
        .collect();
    let arrows = modules.iter().map(|(module, of)| {
        let used = of.uses.iter().map(|path| home(path, &modules, 4));
        let used = used.filter(|u| !u.is_empty() && !module.starts_with(u));
        (module.clone(), used.collect::<BTreeSet<_>>())
    });
    let arrows: BTreeMap<_, _> = arrows.collect();
    let mut done = BTreeSet::new();
    let found = arrows.keys();
    found
        .into_iter()
        .find_map(|m| circle(m, &arrows, &mut Vec::new(), &mut done))
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

/// Inside a floor what two files need stands below both.
#[test]
fn no_files_use_each_other_in_a_circle() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    let texts = files.iter().filter_map(|path| {
        let inside = path.strip_prefix(&src).unwrap().with_extension("");
        let mut module: Vec<String> = inside
            .iter()
            .map(|part| part.to_string_lossy().into_owned())
            .collect();
        if module.last().is_some_and(|name| name == "mod") {
            module.pop();
        }
        let floor = FLOORS.contains(&module.first()?.as_str());
        floor.then(|| (module, fs::read_to_string(path).unwrap()))
    });
    let texts: Vec<_> = texts.collect();
    assert_eq!(circles(&texts), None);
}

#[test]
fn a_circle_is_seen_through_what_a_module_passes_on() {
    let module = |path: &str| path.split('/').map(str::to_owned).collect::<Vec<_>>();
    let found = |texts: &[(&str, &str)]| {
        let texts: Vec<_> = texts
            .iter()
            .map(|(path, text)| (module(path), (*text).to_owned()))
            .collect();
        circles(&texts)
    };
    let top = "mod one;\nmod two;\npub use two::Two;\nfn helps() {}";
    let circle = [
        ("check", top),
        ("check/one", "use super::{Two, helps};"),
        ("check/two", "fn f() { super::one::f(); }"),
    ];
    let around = Some(vec![module("check/one"), module("check/two")]);
    assert_eq!(found(&circle), around);
    let [_, one, _] = circle;
    let down = ("check/two", "use crate::source::Span;\nuse super::helps;");
    assert_eq!(found(&[("check", top), one, down]), None);
    let child = ("check/one/child", "use super::super::Two;");
    let back = ("check/two", "use crate::check::one::child::f;");
    assert_eq!(
        found(&[("check", top), child, back]).map(|c| c.len()),
        Some(2)
    );
}

#[test]
fn the_scan_sees_every_form_of_an_arrow() {
    let found = |text: &str, depth| uses(text, depth);
    assert_eq!(found("use crate::check::Report;", 1), ["check"]);
    assert_eq!(
        found("use crate::{\n  check::{Report, show},\n  report,\n};", 1),
        ["check", "check", "report"]
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
