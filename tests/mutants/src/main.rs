//! Puts small faults into the engine and counts how many of them the suite notices.
//!
//! `cargo run --manifest-path tests/mutants/Cargo.toml -- COUNT [FIRST-NUMBER]` copies the project to
//! `target/mutants`, picks COUNT operators at random in the folders of `WHERE`, and writes each of them
//! twice: as it is, and changed, with a switch between them. So all mutants are built once, and the
//! suite is run once for each with its switch set. The same numbers pick the same mutants of the same
//! text. Each is printed with its place.

mod build;
mod places;

use std::env;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

type Failed = Box<dyn std::error::Error>;

/// What is tried: what works out figures and verdicts.
const WHERE: [&str; 4] = ["src/quantity", "src/expression", "src/physics", "src/check"];
/// Tests in the order in which they are run, until one notices: those that take a second, those that
/// take some, and last all of them.
const STAGES: [&[&str]; 3] = [
    &[
        "expressions::",
        "semantics::",
        "lookups::",
        "designs::",
        "check_values::",
        "resolve::",
        "physics::",
        "faults::",
    ],
    &["quantity::", "oracle::", "language::", "answers::"],
    &[],
];

/// Tests of how long something takes: beside other work they fail without a mutant. One that makes
/// something slow meets the limit of its run.
const TIMED: [&str; 2] = ["big_files_of_junk", "growth::"];

/// What the suite said of one mutant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Verdict {
    Noticed,
    TooSlow,
    Unseen,
}

fn main() -> ExitCode {
    match tried() {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("{e}");
            ExitCode::FAILURE
        }
    }
}

fn tried() -> Result<(), Failed> {
    let mut numbers = env::args().skip(1).map(|word| word.parse::<u64>());
    let count = numbers.next().ok_or("how many mutants?")??;
    let seed = numbers.next().transpose()?.unwrap_or(1);
    let project = Path::new(env!("CARGO_MANIFEST_DIR"))
        .ancestors()
        .nth(2)
        .ok_or("no project above")?;
    let tree = project.join("target/mutants/tree");
    build::copied(project, &tree)?;

    let mut all = Vec::new();
    for folder in WHERE {
        places::of_folder(project, Path::new(folder), &mut all)?;
    }
    let mut picked = places::picked(&all, usize::try_from(count)?, seed);
    println!("{} places, {} picked", all.len(), picked.len());
    let suite = build::built(project, &tree, &mut picked)?;
    println!("{} of them are Rust that compiles", picked.len());

    let (whole, baseline) = run(&suite, &tree, None, &[])?;
    if whole != Verdict::Unseen {
        return Err("the suite fails without a mutant".into());
    }
    let limit = baseline * 4 + Duration::from_secs(20);
    println!("the suite takes {:.0} s", baseline.as_secs_f64());
    // One line each, so that a run that is cut short has said what it knows.
    let mut counts = [0; 3];
    for (n, place) in picked.iter().enumerate() {
        let mut verdict = Verdict::Unseen;
        for stage in STAGES {
            if verdict == Verdict::Unseen {
                verdict = run(&suite, &tree, Some((n, limit)), stage)?.0;
            }
        }
        counts[verdict as usize] += 1;
        println!("{verdict:?}: {place}");
    }
    // What one mutant leaves behind must not fail for the next.
    if run(&suite, &tree, None, &[])?.0 != Verdict::Unseen {
        return Err("the suite now fails without a mutant: none of this counts".into());
    }
    let [noticed, slow, unseen] = counts;
    println!("{noticed} noticed, {slow} too slow, {unseen} unseen");
    Ok(())
}

/// Runs tests of the suite with one mutant switched on, to the first that fails.
fn run(
    suite: &Path,
    tree: &Path,
    mutant: Option<(usize, Duration)>,
    tests: &[&str],
) -> Result<(Verdict, Duration), Failed> {
    let begun = Instant::now();
    // What a mutant has passed already is not run again.
    let skipped = STAGES.concat().into_iter().flat_map(|t| ["--skip", t]);
    let skipped = skipped.filter(|_| mutant.is_some() && tests.is_empty());
    let timed = TIMED.into_iter().flat_map(|t| ["--skip", t]);
    let mut command = Command::new(suite);
    command
        .current_dir(tree)
        .args(tests)
        .args(skipped)
        .args(timed)
        .args(["--quiet", "-Zunstable-options", "--fail-fast"]);
    // A flag of the test program that is not settled yet asks for this.
    command
        .env("RUSTC_BOOTSTRAP", "1")
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    command.env("CARGO_MANIFEST_DIR", tree);
    // An input that fails under one mutant is not kept for the others.
    command.env("PROPTEST_DISABLE_FAILURE_PERSISTENCE", "1");
    if let Some((n, _)) = mutant {
        command.env("AMPERULE_MUTANT", n.to_string());
    }
    let mut child = command.spawn()?;
    loop {
        if let Some(status) = child.try_wait()? {
            let verdict = if status.success() {
                Verdict::Unseen
            } else {
                Verdict::Noticed
            };
            return Ok((verdict, begun.elapsed()));
        }
        if let Some((_, limit)) = mutant
            && begun.elapsed() > limit
        {
            child.kill()?;
            child.wait()?;
            return Ok((Verdict::TooSlow, begun.elapsed()));
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// A file of the project, as a path inside it.
fn inside(project: &Path, file: &Path) -> PathBuf {
    file.strip_prefix(project).unwrap_or(file).to_owned()
}

fn text(file: &Path) -> Result<String, Failed> {
    fs::read_to_string(file).map_err(|e| format!("{}: {e}", file.display()).into())
}
