//! The limits on one design, one ruleset and one run, each on both sides: at the limit accepted,
//! one beyond refused with a message that says what to do. Whatever is within them ends soon.

#![expect(clippy::panic, reason = "a helper of tests stops with what it found")]

use crate::common;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use amperule::check::{Finding, Outcome, Reason, Settings, check};
use amperule::expression::{Fuel, parse};
use amperule::session::{Loaded, Options, Project};
use amperule::source::Memory;
use amperule::source::limits::{
    DESIGN_BYTES, EXPRESSION_BYTES, EXPRESSION_DEPTH, FEEDS, FILES, FOLDERS, OPERATORS, THINGS,
};

const HEAD: &str =
    "installation \"x\" { rules: gb  premises: dwelling  designed-on: 2026-05-12 }\n";

fn open(text: &str) -> Arc<Loaded> {
    common::open(&format!("{HEAD}{text}"), &Options::default())
}

/// The errors with their messages and helps, one a line.
fn errors(loaded: &Loaded) -> Vec<String> {
    let errors = loaded.problems.iter().filter(|p| p.is_error());
    errors
        .map(|p| format!("{}: {} | {}", p.code, p.message, p.help.join("; ")))
        .collect()
}

fn accepted(text: &str) -> Arc<Loaded> {
    let loaded = open(text);
    assert_eq!(errors(&loaded), [""; 0]);
    assert!(loaded.sound().is_some());
    loaded
}

/// Refused with one error of this code, message and help.
fn refused(text: &str, code: &str, message: &str, help: &str) -> Arc<Loaded> {
    let loaded = open(text);
    let all = errors(&loaded);
    let [only] = all.as_slice() else {
        panic!("one error is expected, not {all:?}");
    };
    assert!(only.starts_with(&format!("{code}: ")), "{only}");
    assert!(only.contains(message) && only.contains(help), "{only}");
    assert!(loaded.sound().is_none());
    loaded
}

const SPLIT: &str = "split it into several designs, each an installation of its own";

#[test]
fn blocks_are_counted_before_they_are_made() {
    // Those of the head and the supply count.
    let loads = |count: usize| {
        let mut text = String::from("supply { }\n");
        let (mut left, mut row) = (count - 2, 0);
        while left > 0 {
            let these = left.min(1000);
            row += 1;
            left -= these;
            text.push_str(&format!("load b{row}[1..{these}] {{ }}\n"));
        }
        text
    };
    // So many take too many operations, which is another matter.
    let at_limit = errors(&open(&loads(THINGS)));
    assert!(
        at_limit.iter().all(|e| e.starts_with("too-large: ")),
        "{at_limit:?}"
    );
    accepted(&loads(1000));
    let message = format!("the design has {} blocks, more than {THINGS}", THINGS + 1);
    let over = refused(&loads(THINGS + 1), "too-many-objects", &message, SPLIT);
    assert!(over.installation.is_none(), "nothing of it is judged");
    let nested = "board b[1..1000] { circuit c[1..1000] { } }\n";
    let message = format!("the design has 1001001 blocks, more than {THINGS}");
    refused(nested, "too-many-objects", &message, SPLIT);
}

/// Members of lists count like blocks: they are told of when they are made.
#[test]
fn members_of_lists_count() {
    let limiters = |count: usize| {
        format!(
            "supply {{ }}\nload-limiter m[1..{count}] {{ guards: supply members: all charge-point }}\n\
             charge-point q[1..{count}] {{ In: 32 A }}\n"
        )
    };
    accepted(&limiters(60));
    let message = format!("the design grows beyond {THINGS} blocks, parts and list members");
    refused(&limiters(160), "too-many-objects", &message, SPLIT);
}

#[test]
fn a_design_that_takes_too_many_operations_is_refused() {
    let circuits = |rows: usize| {
        let rows: Vec<String> = (0..rows)
            .map(|r| format!("circuit c{r}[1..500] {{ }}"))
            .collect();
        format!(
            "board b {{ fed-from: supply {} }}\nsupply {{ }}\n",
            rows.join("\n")
        )
    };
    accepted(&circuits(3));
    refused(
        &circuits(6),
        "too-large",
        "judging this design takes more than",
        SPLIT,
    );
}

fn chain(boards: usize) -> String {
    let mut text = String::from("supply { }\nboard b1 { fed-from: supply }\n");
    for i in 2..=boards {
        text.push_str(&format!("board b{i} {{ fed-from: b{} }}\n", i - 1));
    }
    text
}

#[test]
fn feeds_one_behind_the_other_have_an_end() {
    let loaded = accepted(&chain(FEEDS));
    // All that is worked out along them, too: threads of tests have as little room as any.
    let design = loaded.sound().expect("sound");
    assert!(design.check(Default::default()).report.findings.len() > FEEDS);
    let message = format!("`b{}` is fed through more than {FEEDS} others", FEEDS + 1);
    let help = "feed it from something nearer to the supply";
    let over = refused(&chain(FEEDS + 1), "feed-too-long", &message, help);
    let rest = over
        .check(Default::default())
        .judged
        .expect("the rest is judged");
    assert!(!rest.report.findings.is_empty());
    // However long it is, it is told once.
    refused(&chain(1000), "feed-too-long", &message, help);
}

/// What does not say what feeds it may be fed from anything, and is looked at from everywhere.
#[test]
fn things_without_a_feed_are_not_gone_through_without_end() {
    let some = |count: usize| format!("supply {{ }}\ntransformer t[1..{count}] {{ }}\n");
    accepted(&some(20));
    let help = "write `fed-from` where it is left out";
    refused(&some(1000), "too-large", "one inside the other", help);
}

/// Boards on circuits of boards, in choices: what is looked at along them must not double with
/// each step.
#[test]
fn choices_along_the_feed_end() {
    let mut text =
        String::from("supply { }\nboard b1 { fed-from: supply }\nboard c1 { fed-from: supply }\n");
    for i in 2..=FEEDS {
        let before = i - 1;
        for name in ["b", "c"] {
            text.push_str(&format!(
                "board {name}{i} {{ fed-from: b{before} | c{before} }}\n"
            ));
        }
    }
    let loaded = open(&text);
    assert!(
        loaded
            .check(Default::default())
            .problems
            .iter()
            .any(|p| p.code == "too-large")
    );
}

#[test]
fn a_circle_of_feeds_is_told_once_however_long() {
    for boards in [2, FEEDS + 1, 1600] {
        let text: String = (1..=boards)
            .map(|i| format!("board b{i} {{ fed-from: b{} }}\n", i % boards + 1))
            .collect();
        let loaded = refused(
            &text,
            "circular-feed",
            "feed each other in a circle",
            "be fed from the supply",
        );
        assert!(loaded.check(Default::default()).judged.is_some());
    }
}

#[test]
fn a_sum_has_so_many_operators() {
    let sum = |operators: usize| {
        format!(
            "supply {{ }}\nboard b {{ circuit c {{ cables: armoured {{ length: 1 m{} }} }} }}\n",
            " + 1 m".repeat(operators)
        )
    };
    accepted(&sum(OPERATORS));
    let message = format!(
        "one value has {} operators, more than {OPERATORS}",
        OPERATORS + 1
    );
    refused(
        &sum(OPERATORS + 1),
        "too-many-operators",
        &message,
        "split it over parameters",
    );
}

/// A project of a design and parts files that it uses.
fn with_parts(parts: &[String]) -> Arc<Loaded> {
    let mut main = String::from(HEAD);
    let mut texts: Vec<(PathBuf, String)> = Vec::new();
    for (i, text) in parts.iter().enumerate() {
        main.push_str(&format!("use \"p{i}.amp\"\n"));
        texts.push((PathBuf::from(format!("p{i}.amp")), text.clone()));
    }
    texts.push((PathBuf::from("main.amp"), main));
    let project = Project::in_memory(texts.into_iter().collect::<Memory>());
    project.open(Path::new("main.amp"), &Options::default())
}

#[test]
fn no_file_that_is_used_is_dropped_in_silence() {
    let parts = |count: usize| -> Vec<String> {
        (0..count).map(|i| format!("load b{i} {{ }}\n")).collect()
    };
    // The design itself is one of them.
    let all = with_parts(&parts(FILES - 1));
    assert_eq!(errors(&all), [""; 0]);
    let design = all.sound().expect("sound").design();
    assert!(
        design
            .objects
            .iter()
            .any(|o| o.name == format!("b{}", FILES - 2))
    );
    let over = with_parts(&parts(FILES));
    let [only] = &errors(&over)[..] else {
        panic!("one error: {:?}", errors(&over));
    };
    assert!(
        only.contains(&format!("a design uses at most {FILES} files")),
        "{only}"
    );
    assert!(only.ends_with("join some of the parts files"), "{only}");
}

#[test]
fn all_files_of_a_design_have_so_many_bytes_together() {
    let main = format!("{HEAD}use \"p0.amp\"\nuse \"p1.amp\"\n").len();
    let part = |bytes: usize| format!("#{}\n", " ".repeat(bytes - 2));
    // Lines have an end of their own.
    let lines = |bytes: usize| -> String {
        let mut text = String::new();
        while text.len() < bytes {
            text.push_str(&part((bytes - text.len()).clamp(2, 60_000)));
        }
        text
    };
    let half = DESIGN_BYTES / 2;
    let rest = DESIGN_BYTES - half - main;
    assert_eq!(errors(&with_parts(&[lines(half), lines(rest)])), [""; 0]);
    let over = errors(&with_parts(&[lines(half), lines(rest + 2)]));
    let [only] = &over[..] else {
        panic!("one error: {over:?}");
    };
    assert!(
        only.contains("`p1.amp` is not read: the files of this design have"),
        "{only}"
    );
    assert!(only.ends_with(SPLIT), "{only}");
}

#[test]
fn folders_that_are_not_looked_through_are_told_of() {
    let at = |depth: usize| {
        let mut path = PathBuf::from("top");
        path.extend(std::iter::repeat_n("d", depth));
        path.join("deep.amp")
    };
    let look = |depth: usize| {
        let texts = [
            (PathBuf::from("top/near.amp"), String::new()),
            (at(depth), String::new()),
        ];
        let project = Project::in_memory(texts.into_iter().collect::<Memory>());
        project.designs(&[PathBuf::from("top")])
    };
    let (files, problems) = look(FOLDERS - 1);
    assert_eq!((files.len(), problems.len()), (2, 0));
    let (files, problems) = look(FOLDERS);
    assert_eq!(files.len(), 1);
    let [(_, problem)] = &problems[..] else {
        panic!("one problem: {problems:?}");
    };
    assert!(problem.is_error() && problem.message.contains("is not looked through"));
}

#[test]
fn an_expression_has_an_end() {
    let chain = |bytes: usize| format!("{:<1$}", "1 A", bytes);
    assert!(parse(&chain(EXPRESSION_BYTES)).is_ok());
    let over = parse(&chain(EXPRESSION_BYTES + 1)).expect_err("too long");
    assert!(
        over.message
            .contains(&format!("the most is {EXPRESSION_BYTES}")),
        "{}",
        over.message
    );
    let nested = |depth: usize| format!("{}1 A{}", "(".repeat(depth), ")".repeat(depth));
    assert!(parse(&nested(EXPRESSION_DEPTH)).is_ok());
    let over = parse(&nested(EXPRESSION_DEPTH + 1)).expect_err("too deep");
    assert!(
        over.message
            .contains(&format!("more than {EXPRESSION_DEPTH} deep")),
        "{}",
        over.message
    );
}

/// With less work fewer verdicts are decided, and none otherwise; how many are left is told.
#[test]
fn the_work_limit_leaves_open_and_says_so() {
    let text = format!(
        "{HEAD}supply {{ }}\nboard b {{ fed-from: supply circuit c[1..3] {{ }} }}\ncharge-point p {{ }}\n"
    );
    let design = common::sound(&text, &Options::default()).expect("sound");
    let judge = |work: Option<u64>| {
        let mut settings = Settings {
            stage: design.stage(),
            on: design.on(),
            ..Settings::default()
        };
        settings.work = work.map_or(settings.work, Fuel);
        check(design.ruleset(), design.design(), &settings)
    };
    let whole = judge(None);
    assert!(whole.problems.iter().all(|p| p.code != "work-limit"));
    let of = |all: &[Finding], this: &Finding| -> Outcome {
        let same = |f: &&Finding| f.fingerprint == this.fingerprint;
        all.iter().find(same).expect("the same verdicts").outcome
    };
    let mut left = Vec::new();
    let all = whole.report.findings.iter();
    let never = all.filter(|f| f.reason == Some(Reason::Unresolved)).count();
    for work in [0, 20_000, 200_000, 2_000_000] {
        let less = judge(Some(work));
        assert_eq!(less.report.findings.len(), whole.report.findings.len());
        let mut unresolved = 0;
        for finding in &less.report.findings {
            let outcome = of(&whole.report.findings, finding);
            if finding.outcome == Outcome::Undecided {
                unresolved += usize::from(finding.reason == Some(Reason::Unresolved));
                continue;
            }
            assert!(
                finding.outcome == outcome
                    || finding.outcome == Outcome::Met && outcome == Outcome::NotApplicable,
                "{} for {}: {:?}, and {outcome:?} with more work",
                finding.rule,
                finding.subject,
                finding.outcome
            );
        }
        let told = less.problems.iter().find(|p| p.code == "work-limit");
        assert_eq!(told.is_some(), unresolved > 0, "{work}: {unresolved}");
        // It says how many: all but those that no work would decide.
        if let Some(told) = told {
            let count = told.message.split(' ').next().and_then(|n| n.parse().ok());
            let count: usize = count.expect("how many they are");
            let enough = unresolved.saturating_sub(never);
            assert!((enough..=unresolved).contains(&count), "{told:?}");
        }
        left.push(unresolved);
    }
    assert!(left.is_sorted_by(|a, b| a >= b) && left[0] > 0, "{left:?}");
}
