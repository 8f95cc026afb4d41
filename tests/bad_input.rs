//! Bad input: whatever a file holds, the program says what is wrong and where, ends in time, does
//! not panic, and still judges the other files of the same run.

#![expect(
    clippy::expect_used,
    reason = "a run that cannot be started is a fault of the test"
)]

use std::fs;
use std::io::Read;
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// No input may keep the program longer than this.
const LONGEST: Duration = Duration::from_secs(20);

/// What came of one run.
struct Run {
    code: Option<i32>,
    out: String,
    err: String,
    ended: bool,
}

/// Runs the program in a folder and stops it after [`LONGEST`].
fn run(folder: &Path, args: &[&str]) -> Run {
    // Every message and verdict is looked at, not those of the first screen.
    let full = args.first() == Some(&"check") && !args.contains(&"--format");
    let mut child = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(args)
        .args(full.then_some("--full"))
        .current_dir(folder)
        .env_remove("NO_COLOR")
        .env_remove("FORCE_COLOR")
        .env_remove("CLICOLOR_FORCE")
        // Wide enough that no message is broken over lines.
        .env("COLUMNS", "1000")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let (mut out, mut err) = (
        child.stdout.take().expect("a pipe"),
        child.stderr.take().expect("a pipe"),
    );
    let out = thread::spawn(move || {
        let mut all = Vec::new();
        out.read_to_end(&mut all).map(|_| all)
    });
    let err = thread::spawn(move || {
        let mut all = Vec::new();
        err.read_to_end(&mut all).map(|_| all)
    });
    let start = Instant::now();
    let mut ended = true;
    let status = loop {
        if let Some(status) = child.try_wait().expect("the program can be waited for") {
            break status;
        }
        if start.elapsed() > LONGEST {
            ended = false;
            child.kill().expect("the program can be stopped");
            break child.wait().expect("the program can be waited for");
        }
        thread::sleep(Duration::from_millis(5));
    };
    let text = |t: thread::JoinHandle<std::io::Result<Vec<u8>>>| {
        let bytes = t
            .join()
            .expect("the reader ends")
            .expect("the pipe is read");
        String::from_utf8(bytes).expect("the output is UTF-8")
    };
    Run {
        code: status.code(),
        out: text(out),
        err: text(err),
        ended,
    }
}

impl Run {
    /// What both streams say.
    fn all(&self) -> String {
        format!("{}\n{}", self.out, self.err)
    }

    /// What holds for every run.
    fn is_orderly(&self, what: &str) {
        assert!(self.ended, "{what}: did not end within {LONGEST:?}");
        assert!(
            !self.err.contains("panicked"),
            "{what}: panicked\n{}",
            self.err
        );
        assert!(
            self.code.is_some_and(|c| (0..=3).contains(&c)),
            "{what}: ended with {:?}\n{}",
            self.code,
            self.err
        );
    }

    /// The closing line of a file, without its name.
    fn closing(&self, file: &str) -> Option<&str> {
        self.out
            .lines()
            .filter_map(|l| l.strip_prefix(file)?.strip_prefix(": "))
            .find(|l| l.contains(" breaches, ") || l.contains(" breach, ") || *l == "not judged")
    }

    fn says(&self, what: &str, message: &str) {
        assert!(
            self.all().contains(message),
            "{what}: `{message}` is not said in\n{}",
            cut(&self.all())
        );
    }

    fn points_at(&self, what: &str, place: &str) {
        assert!(
            self.all().contains(&format!("─[{place}]")),
            "{what}: `{place}` is not pointed at in\n{}",
            cut(&self.all())
        );
    }
}

/// The beginning of a long text.
fn cut(text: &str) -> String {
    text.chars().take(4000).collect()
}

fn sound() -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/quarry-cottage.amp");
    fs::read_to_string(path).expect("the example is there")
}

/// The sound design with one thing changed.
fn changed(from: &str, to: &str) -> String {
    let text = sound();
    assert!(text.contains(from), "`{from}` is not in the example");
    text.replacen(from, to, 1)
}

/// Line and column of the first `needle`, offset by some characters, counted from one.
fn place(text: &str, needle: &str, plus: usize) -> String {
    let at = text.find(needle).expect("the needle is in the text");
    let before = text.get(..at).expect("a match begins a character");
    let line = before.matches('\n').count() + 1;
    let column = before.chars().rev().take_while(|c| *c != '\n').count() + 1 + plus;
    format!("{line}:{column}")
}

/// A folder that holds the sound design as `good.amp`, and its closing line when it is alone.
fn folder() -> (TempDir, String) {
    let dir = tempfile::tempdir().expect("a folder");
    fs::write(dir.path().join("good.amp"), sound()).expect("written");
    let alone = run(dir.path(), &["check", "--color", "never", "good.amp"]);
    alone.is_orderly("good.amp alone");
    let closing = alone.closing("good.amp").expect("it is judged").to_owned();
    assert!(closing.starts_with("0 breaches, "), "{closing}");
    (dir, closing)
}

/// Checks `bad.amp` beside the sound design: the sound one is judged as if it were alone.
fn beside(bad: &[u8], what: &str) -> Run {
    let (dir, closing) = folder();
    fs::write(dir.path().join("bad.amp"), bad).expect("written");
    let r = run(
        dir.path(),
        &["check", "--color", "never", "bad.amp", "good.amp"],
    );
    r.is_orderly(what);
    assert_eq!(
        r.closing("good.amp"),
        Some(closing.as_str()),
        "{what}: the sound file must be judged as always"
    );
    r
}

/// `bad` is refused with a message, at a place of `bad.amp`.
fn refused(bad: &str, message: &str, at: &str) -> Run {
    let r = beside(bad.as_bytes(), message);
    assert_eq!(r.code, Some(2), "{message}\n{}", cut(&r.all()));
    r.says(message, message);
    r.points_at(message, &format!("bad.amp:{at}"));
    assert!(r.closing("bad.amp").is_some(), "{message}: no closing line");
    r
}

// Files cut off.

/// How deep brackets are open at the end of a text, and whether it names its rules.
fn open_at_end(text: &str) -> (usize, bool) {
    let (mut depth, mut rules) = (0_usize, false);
    for line in text.split_inclusive('\n') {
        let code = line.split('#').next().unwrap_or("");
        rules |= code.contains("rules: gb\n");
        depth = (depth + code.matches('{').count()).saturating_sub(code.matches('}').count());
    }
    (depth, rules)
}

#[test]
fn a_file_cut_off_anywhere_is_refused_or_read() {
    let (dir, closing) = folder();
    let whole = sound().into_bytes();
    let mut refused = 0;
    for end in (200..whole.len()).step_by(200) {
        let what = format!("cut off after {end} bytes");
        let part = whole.get(..end).expect("within the file");
        fs::write(dir.path().join("bad.amp"), part).expect("written");
        let r = run(
            dir.path(),
            &["check", "--color", "never", "bad.amp", "good.amp"],
        );
        r.is_orderly(&what);
        assert_eq!(r.closing("good.amp"), Some(closing.as_str()), "{what}");
        assert!(r.closing("bad.amp").is_some(), "{what}: no closing line");
        let Ok(text) = std::str::from_utf8(part) else {
            assert_eq!(r.code, Some(2), "{what}");
            r.says(&what, "it is not UTF-8 text");
            refused += 1;
            continue;
        };
        let (depth, rules) = open_at_end(text);
        if depth > 0 || !rules {
            assert_eq!(r.code, Some(2), "{what}\n{}", cut(&r.all()));
        }
        if depth > 0 && rules {
            r.says(&what, "is not closed");
            assert!(r.out.contains("─[bad.amp:"), "{what}: no place");
        }
        if !rules {
            r.says(&what, "does not say by which rules it is judged");
        }
        refused += usize::from(r.code == Some(2));
    }
    assert!(refused > 10, "only {refused} of the parts were refused");
}

// Units.

#[test]
fn a_resistance_is_no_length() {
    let bad = changed("length: 18 m ", "length: 18 ohm ");
    let at = place(&bad, "18 ohm", 0);
    refused(
        &bad,
        "`length` is a length, and `18 ohm` is a resistance",
        &at,
    );
}

#[test]
fn a_length_in_the_wrong_prefix_is_a_caution() {
    let odd = changed("length: 18 m ", "length: 18 mm ");
    let r = beside(odd.as_bytes(), "18 mm");
    assert_eq!(r.code, Some(0), "{}", cut(&r.all()));
    r.says("18 mm", "implausible");
    r.says("18 mm", "`length` of `0.018 m` is unusual");
    let at = place(&odd, "18 mm", 0);
    r.points_at("18 mm", &format!("bad.amp:{at}"));
}

#[test]
fn an_unknown_unit_is_named() {
    let bad = changed("length: 18 m ", "length: 18 furlong ");
    let at = place(&bad, "furlong", 0);
    refused(&bad, "`furlong` is not a unit", &at);
}

#[test]
fn a_number_without_a_unit_is_refused() {
    let bad = changed("length: 18 m ", "length: 18 ");
    let at = place(&bad, "length: 18 ", 8);
    refused(&bad, "and `18` has no", &at);
}

#[test]
fn numbers_beyond_all_bounds_are_refused() {
    for number in ["1e999999999".to_owned(), "9".repeat(50_000)] {
        let bad = changed("U0: 230 V", &format!("U0: {number} V"));
        let at = place(&bad, "U0: ", 4);
        refused(&bad, "is not a number that can be used", &at);
    }
}

// Brackets.

#[test]
fn a_block_that_is_not_closed_is_pointed_at_where_it_opens() {
    let bad = changed("heating: gas\n", "heating: gas\n").replacen(
        "lightning-protection: no\n}\n",
        "lightning-protection: no\n",
        1,
    );
    let at = place(&bad, "installation \"Quarry Cottage\" {", 30);
    let r = refused(
        &bad,
        "the `{` of `installation \"Quarry Cottage\"` is not closed",
        &at,
    );
    r.says("the place to write it", "the next item begins here");
}

#[test]
fn a_bracket_that_closes_nothing_is_pointed_at() {
    let bad = format!("{}\n}}\n", sound());
    let line = bad.lines().count();
    let r = beside(bad.as_bytes(), "stray brace");
    assert_eq!(r.code, Some(2));
    r.says("stray brace", "`}`");
    r.points_at("stray brace", &format!("bad.amp:{line}:1"));
}

#[test]
fn ten_thousand_nested_brackets_are_refused() {
    for (text, at) in [
        ("a {\n".repeat(10_000), "65:3"),
        ("a { ".repeat(10_000), "1:259"),
        (
            format!("{}{}", "a {\n".repeat(10_000), "}\n".repeat(10_000)),
            "65:3",
        ),
    ] {
        let r = refused(&text, "brackets nest more than 64 deep", at);
        assert_eq!(r.closing("bad.amp"), Some("not judged"));
    }
    refused(&"{".repeat(10_000), "a `{` has no head before it", "1:1");
}

// Words and names.

#[test]
fn an_unknown_fact_is_named_with_the_nearest() {
    let bad = changed("heating: gas", "heeting: gas");
    let at = place(&bad, "heeting", 0);
    let r = refused(&bad, "an installation has no fact called `heeting`", &at);
    r.says("help", "did you mean `heating`?");
}

#[test]
fn an_unknown_word_is_named_with_those_that_fit() {
    let bad = changed("heating: gas", "heating: gaz");
    let at = place(&bad, "gaz", 0);
    let r = refused(&bad, "`heating` cannot be `gaz`", &at);
    r.says("help", "expected one of `gas`, `oil`");
    r.says("help", "did you mean `gas`?");
}

#[test]
fn an_unknown_block_is_named_with_the_nearest() {
    let bad = changed("bond gas {", "bund gas {");
    let at = place(&bad, "bund gas {", 0);
    let r = refused(&bad, "there is no kind of block called `bund`", &at);
    r.says("help", "did you mean `bond`?");
}

#[test]
fn every_mistake_of_a_file_is_told_in_one_run() {
    let bad = changed("heating: gas", "heating: gaz")
        .replacen("bond gas {", "bund gas {", 1)
        .replacen("length: 18 m ", "length: 18 ohm ", 1);
    let at = place(&bad, "gaz", 0);
    let r = refused(&bad, "`heating` cannot be `gaz`", &at);
    r.says("second", "there is no kind of block called `bund`");
    r.says("third", "`18 ohm` is a resistance");
}

#[test]
fn a_name_given_twice_is_shown_at_both_places() {
    let bad = changed("circuit lights", "circuit cooker");
    let first = bad.find("circuit cooker").expect("there") + 1;
    let rest = bad.get(first..).expect("a boundary");
    let second = rest.find("circuit cooker").expect("twice") + first;
    let line = bad.get(..second).expect("a boundary").matches('\n').count() + 1;
    let r = refused(
        &bad,
        "the circuit `cooker` is written twice",
        &format!("{line}:3"),
    );
    r.says("label", "first here");
    r.says("help", "give one of them another name");
}

#[test]
fn a_fact_given_twice_is_shown_at_both_places() {
    let bad = changed("  phases: 1\n", "  phases: 1\n  phases: 3\n");
    let at = place(&bad, "phases: 3", 0);
    let r = refused(&bad, "`phases` is written twice", &at);
    r.says("label", "first here");
}

#[test]
fn a_reference_to_nothing_is_named_with_the_nearest() {
    let bad = changed("  circuit: ev\n", "  circuit: evv\n");
    let at = place(&bad, "evv", 0);
    let r = refused(&bad, "there is no circuit called `evv`", &at);
    r.says("help", "did you mean `ev`?");
}

#[test]
fn a_board_that_feeds_itself_is_refused() {
    let bad = changed("fed-from: supply", "fed-from: main");
    let at = place(&bad, "fed-from: main", 10);
    refused(&bad, "`main` feeds itself", &at);
}

#[test]
fn boards_that_feed_each_other_are_refused() {
    let mut bad = changed("fed-from: supply", "fed-from: other");
    bad.push_str("\nboard other { fed-from: main }\n");
    let at = place(&bad, "fed-from: other", 10);
    let r = refused(&bad, "feed each other in a circle", &at);
    r.says("label", "says what feeds `other`");
}

#[test]
fn a_parts_file_that_uses_itself_ends() {
    let bad = format!("use \"bad.amp\"\n{}", sound());
    beside(bad.as_bytes(), "use of itself");
}

#[test]
fn a_parts_file_that_is_missing_is_pointed_at() {
    let bad = format!("use \"nowhere.amp\"\n{}", sound());
    refused(&bad, "`nowhere.amp` cannot be read", "1:5");
}

#[test]
fn a_design_without_rules_is_refused() {
    for text in [
        String::new(),
        "# nothing\n".to_owned(),
        changed("  rules: gb\n", ""),
    ] {
        let r = beside(text.as_bytes(), "no rules");
        assert_eq!(r.code, Some(2));
        r.says(
            "no rules",
            "`bad.amp` does not say by which rules it is judged",
        );
        assert_eq!(r.closing("bad.amp"), Some("not judged"));
    }
}

#[test]
fn rules_that_do_not_exist_are_pointed_at() {
    let bad = changed("rules: gb", "rules: gbb");
    let at = place(&bad, "gbb", 0);
    refused(&bad, "there is no ruleset `gbb`", &at);
}

// Encodings.

#[test]
fn text_that_is_not_utf_8_is_refused() {
    let mut bad = sound().into_bytes();
    let at = sound().find("Quarry Cottage\" {").expect("there");
    if let Some(b) = bad.get_mut(at) {
        *b = 0xff;
    }
    let r = beside(&bad, "not UTF-8");
    assert_eq!(r.code, Some(2));
    let message =
        format!("`bad.amp` cannot be read: it is not UTF-8 text (byte {at} does not fit)");
    r.says("not UTF-8", &message);
    assert_eq!(r.closing("bad.amp"), Some("not judged"));
}

#[test]
fn line_ends_and_a_byte_order_mark_change_nothing() {
    let plain = sound();
    for (what, text) in [
        ("CRLF", plain.replace('\n', "\r\n")),
        ("BOM", format!("\u{feff}{plain}")),
        ("both", format!("\u{feff}{}", plain.replace('\n', "\r\n"))),
        ("no line end at the end", plain.trim_end().to_owned()),
    ] {
        let r = beside(text.as_bytes(), what);
        assert_eq!(r.code, Some(0), "{what}\n{}", cut(&r.all()));
        assert_eq!(r.closing("bad.amp"), r.closing("good.amp"), "{what}");
    }
}

#[test]
fn places_are_right_behind_crlf_and_a_byte_order_mark() {
    let bad = changed("heating: gas", "heating: gaz");
    let at = place(&bad, "gaz", 0);
    let odd = format!("\u{feff}{}", bad.replace('\n', "\r\n"));
    refused(&odd, "`heating` cannot be `gaz`", &at);
}

#[test]
fn control_characters_do_not_reach_the_terminal() {
    let bad = changed("heating: gas", "heating: \u{1b}[31mred\u{1b}[2J");
    let r = beside(bad.as_bytes(), "escape");
    assert_eq!(r.code, Some(2));
    assert!(!r.all().contains('\u{1b}'), "an escape is passed on");
}

// Sizes.

/// Characters that look random and are the same on every run.
fn junk(bytes: usize, alphabet: &str) -> String {
    let all: Vec<char> = alphabet.chars().collect();
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    let mut out = String::with_capacity(bytes + 4);
    while out.len() < bytes {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        let n = usize::try_from(state >> 33).unwrap_or(0) % all.len();
        out.extend(all.get(n));
    }
    out
}

const SIGNS: &str = "abcdefghijklmnop {}[]():,|?#\"\n0123456789.±°²";

#[test]
fn ten_megabytes_of_junk_are_refused() {
    let text = junk(10 << 20, SIGNS);
    let r = refused(&text, "bytes is not read, the most is", "1:1");
    assert_eq!(r.closing("bad.amp"), Some("not judged"));
    let mut bytes = text.into_bytes();
    bytes.insert(100, 0xc3);
    let r = beside(&bytes, "bytes");
    assert_eq!(r.code, Some(2));
    r.says("bytes", "it is not UTF-8 text");
}

#[test]
fn junk_of_the_largest_size_that_is_read_is_refused() {
    let r = beside(junk(4_100_000, SIGNS).as_bytes(), "junk");
    assert_eq!(r.code, Some(2));
    assert!(r.out.contains("─[bad.amp:"), "no place is given");
    let r = beside(&[0; 1_000], "zeros");
    assert_eq!(r.code, Some(2));
    r.points_at("zeros", "bad.amp:1:1");
}

#[test]
fn a_line_without_end_is_refused() {
    let text = format!("{}# {}\n", sound(), "x".repeat(1_000_000));
    let line = text.lines().count();
    refused(
        &text,
        "a line of 1000002 bytes is not read",
        &format!("{line}:1"),
    );
}

#[test]
fn ten_thousand_alternatives_are_refused() {
    let many = format!("heating: {}", vec!["gas"; 10_000].join(" | "));
    let bad = changed("heating: gas", &many);
    let at = place(&bad, "heating: gas", 9);
    refused(&bad, "a value has 10000 alternatives, more than 62", &at);
}

#[test]
fn ten_thousand_mistakes_end() {
    let bad = format!("{}\n{}", sound(), "bund x { y: 1 }\n".repeat(10_000));
    let at = place(&bad, "bund", 0);
    refused(&bad, "there is no kind of block called `bund`", &at);
}

#[test]
fn fifty_thousand_blocks_end() {
    let bad = format!(
        "{}\n{}",
        sound(),
        "bond water { size: 10 mm² }\n".repeat(50_000)
    );
    let r = beside(bad.as_bytes(), "many blocks");
    assert_eq!(r.code, Some(2));
    r.says("many blocks", "blocks, more than 20000");
}

// Files and folders.

#[test]
fn a_file_that_is_missing_is_named() {
    let (dir, closing) = folder();
    let r = run(
        dir.path(),
        &["check", "--color", "never", "missing.amp", "good.amp"],
    );
    r.is_orderly("missing");
    assert_eq!(r.code, Some(2));
    r.says("missing", "`missing.amp` cannot be read: ");
    assert_eq!(r.closing("missing.amp"), Some("not judged"));
    assert_eq!(r.closing("good.amp"), Some(closing.as_str()));
}

#[test]
fn a_folder_without_a_design_is_named() {
    let (dir, closing) = folder();
    // A folder may be called like a design.
    for name in ["empty", "x.amp"] {
        fs::create_dir(dir.path().join(name)).expect("made");
        let r = run(dir.path(), &["check", "--color", "never", name, "good.amp"]);
        r.is_orderly(name);
        assert_eq!(r.code, Some(2));
        r.says(name, &format!("the folder `{name}` holds no design"));
        r.says(name, "the name of a design file ends in .amp");
        assert_eq!(r.closing("good.amp"), Some(closing.as_str()));
    }
}

#[test]
fn a_folder_without_a_design_is_told_to_programs_too() {
    let (dir, _) = folder();
    fs::create_dir(dir.path().join("empty")).expect("made");
    for (args, paths) in [
        (vec!["empty"], vec!["empty"]),
        (vec!["empty", "good.amp"], vec!["empty", "good.amp"]),
        (vec!["good.amp", "empty"], vec!["empty", "good.amp"]),
    ] {
        let all = [vec!["check", "--format", "json"], args].concat();
        let r = run(dir.path(), &all);
        assert_eq!(r.code, Some(2), "{all:?}");
        let json: serde_json::Value = serde_json::from_str(&r.out).expect("it is JSON");
        let files = json["files"].as_array().expect("a list");
        let found: Vec<_> = files.iter().filter_map(|f| f["path"].as_str()).collect();
        assert_eq!(found, paths, "{all:?}");
        let problem = &files[0]["problems"][0];
        assert_eq!(problem["code"], "no-designs");
        assert_eq!(problem["weight"], "error");
        assert_eq!(problem["message"], "the folder `empty` holds no design");
        assert!(files[0]["ruleset"].is_null());
    }
}

/// What the command line names is not looked for in the design.
#[test]
fn a_ruleset_that_is_missing_is_pointed_at_where_it_is_named() {
    let (dir, _) = folder();
    let r = run(
        dir.path(),
        &["check", "--color", "never", "--rules", "mine", "good.amp"],
    );
    assert_eq!(r.code, Some(2));
    r.says("mine", "mine");
    assert!(!r.all().contains("named here"), "{}", cut(&r.all()));
    let bad = changed("rules: gb", "rules: mine");
    let at = place(&bad, "rules: mine", 7);
    let r = beside(bad.as_bytes(), "mine");
    r.says("mine", "named here");
    r.points_at("mine", &format!("bad.amp:{at}"));
}

#[test]
fn a_folder_named_like_a_design_hides_nothing() {
    let (dir, closing) = folder();
    let inner = dir.path().join("x.amp");
    fs::create_dir(&inner).expect("made");
    fs::write(inner.join("good.amp"), sound()).expect("written");
    let r = run(dir.path(), &["check", "--color", "never", "."]);
    r.is_orderly("folders");
    assert_eq!(r.code, Some(0), "{}", cut(&r.all()));
    assert_eq!(r.closing("./good.amp"), Some(closing.as_str()));
    assert_eq!(r.closing("./x.amp/good.amp"), Some(closing.as_str()));
}

#[cfg(unix)]
#[test]
fn a_pipe_named_like_a_design_does_not_stop_the_run() {
    let (dir, closing) = folder();
    let made = Command::new("mkfifo")
        .arg(dir.path().join("bad.amp"))
        .status()
        .expect("mkfifo is there");
    assert!(made.success());
    let r = run(
        dir.path(),
        &["check", "--color", "never", "bad.amp", "good.amp"],
    );
    r.is_orderly("pipe");
    assert_eq!(r.code, Some(2));
    r.says("pipe", "`bad.amp`");
    assert_eq!(r.closing("good.amp"), Some(closing.as_str()));
}

/// Nor does one beside rulesets or parts, and `format` does not wait for it either.
#[cfg(unix)]
#[test]
fn a_pipe_is_never_waited_for() {
    let (dir, _) = folder();
    let sets = dir.path().join("sets/mine");
    fs::create_dir_all(&sets).expect("made");
    fs::write(sets.join("ruleset.yaml"), ruleset("In <= 40 A")).expect("written");
    for pipe in [dir.path().join("bad.amp"), sets.join("x.yaml")] {
        let made = Command::new("mkfifo").arg(pipe).status();
        assert!(made.expect("mkfifo is there").success());
    }
    fs::write(
        dir.path().join("user.amp"),
        format!("use \"bad.amp\"\n{}", sound()),
    )
    .expect("written");
    let rules = ["rules", "check", "--rulesets", "sets", "--rules", "mine"];
    for (args, name) in [
        (&["format", "--check", "."][..], "bad.amp"),
        (&["format", "bad.amp"], "bad.amp"),
        (&["format", "/dev/zero"], "/dev/zero"),
        (&["check", "user.amp"], "bad.amp"),
        (&rules, "x.yaml"),
    ] {
        let r = run(dir.path(), args);
        r.is_orderly(name);
        assert_eq!(r.code, Some(2), "{args:?}: {}", cut(&r.all()));
        r.says(name, "it is not a file");
        r.says(name, name);
    }
}

#[test]
fn json_stays_json_whatever_a_file_holds() {
    let (dir, _) = folder();
    let with = |bytes: &[u8]| fs::write(dir.path().join("bad.amp"), bytes).expect("written");
    let inputs: [(&str, Vec<u8>); 5] = [
        (
            "wrong-dimension",
            changed("length: 18 m ", "length: 18 ohm ").into_bytes(),
        ),
        (
            "unclosed-brace",
            sound()
                .replacen("lightning-protection: no\n}", "", 1)
                .into_bytes(),
        ),
        ("not-understood", vec![0; 500]),
        ("unreadable", vec![0xff; 500]),
        ("no-rules", Vec::new()),
    ];
    for (code, bytes) in inputs {
        with(&bytes);
        let args = ["check", "--format", "json", "bad.amp", "good.amp"];
        let r = run(dir.path(), &args);
        r.is_orderly(code);
        assert_eq!(r.code, Some(2), "{code}");
        let v: serde_json::Value = serde_json::from_str(&r.out).expect("it is JSON");
        let codes: Vec<&str> = v["files"][0]["problems"]
            .as_array()
            .expect("a list")
            .iter()
            .filter_map(|p| p["code"].as_str())
            .collect();
        assert!(codes.contains(&code), "{code} is not among {codes:?}");
        assert!(
            v["files"][1]["counts"]
                .as_object()
                .is_some_and(|c| !c.is_empty()),
            "{code}: the sound file is not judged"
        );
    }
}

// Rulesets.

const HEAD: &str = "ruleset: mine
title: Rules of our own
parent: gb
editions:
  - {id: '1', title: 'Rules of our own, first edition', usable-from: 2020-01-01}
";

fn rule(id: &str, require: &str, more: &str) -> String {
    format!(
        "  - id: {id}
    title: A point is not too strong
    stage: design
    severity: breach
    each: charge-point
    require: '{require}'
    message: 'point {{subject}} takes {{In}}'
    topic: disconnection
    clause: 'own handbook 1'
    source: 'common practice, no source'
    confidence: common-practice
    because: the owner asks for it
{more}"
    )
}

fn ruleset(require: &str) -> String {
    format!("{HEAD}rules:\n{}", rule("mine-strong", require, ""))
}

/// A folder with a ruleset `mine`, the sound design, and one that names `mine` itself.
fn shelf(yaml: &[u8]) -> (TempDir, String) {
    let (dir, closing) = folder();
    let mine = dir.path().join("sets").join("mine");
    fs::create_dir_all(&mine).expect("made");
    fs::write(mine.join("ruleset.yaml"), yaml).expect("written");
    fs::write(
        dir.path().join("mine.amp"),
        changed("rules: gb", "rules: mine"),
    )
    .expect("written");
    (dir, closing)
}

/// The ruleset is refused, whether the command line or the design names it; a design that names
/// another one is judged.
fn ruleset_refused(yaml: &str, message: &str, at: Option<&str>) -> Run {
    let (dir, closing) = shelf(yaml.as_bytes());
    let by_line = [
        "check",
        "--color",
        "never",
        "--rulesets",
        "sets",
        "--rules",
        "mine",
        "good.amp",
    ];
    let by_design = [
        "check",
        "--color",
        "never",
        "--rulesets",
        "sets",
        "mine.amp",
        "good.amp",
    ];
    let named = run(dir.path(), &by_line);
    named.is_orderly(message);
    assert_eq!(named.code, Some(2), "{message}");
    assert_eq!(named.closing("good.amp"), Some("not judged"), "{message}");
    let r = run(dir.path(), &by_design);
    r.is_orderly(message);
    assert_eq!(r.code, Some(2), "{message}");
    assert_eq!(r.closing("mine.amp"), Some("not judged"), "{message}");
    assert_eq!(r.closing("good.amp"), Some(closing.as_str()), "{message}");
    for r in [&named, &r] {
        r.says(message, message);
        if let Some(at) = at {
            r.points_at(message, &format!("sets/mine/ruleset.yaml:{at}"));
        }
    }
    r
}

#[test]
fn a_sound_ruleset_of_the_user_is_applied() {
    for (require, code, breaches) in [
        ("In <= 40 A", 0, "0 breaches, "),
        ("In <= 20 A", 1, "1 breach, "),
    ] {
        let (dir, _) = shelf(ruleset(require).as_bytes());
        let r = run(
            dir.path(),
            &[
                "check",
                "--color",
                "never",
                "--rulesets",
                "sets",
                "mine.amp",
            ],
        );
        r.is_orderly(require);
        assert_eq!(r.code, Some(code), "{require}\n{}", cut(&r.all()));
        let closing = r.closing("mine.amp").expect("it is judged");
        assert!(closing.starts_with(breaches), "{closing}");
    }
}

#[test]
fn a_bomb_of_aliases_is_refused() {
    let mut yaml = HEAD.to_owned();
    yaml.push_str("a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n");
    for i in 1..12 {
        let before = vec![format!("*a{}", i - 1); 9].join(", ");
        yaml.push_str(&format!("a{i}: &a{i} [{before}]\n"));
    }
    let r = ruleset_refused(&yaml, "the YAML cannot be read", None);
    assert!(r.out.contains("─[sets/mine/ruleset.yaml:"), "no place");
}

#[test]
fn yaml_that_is_not_closed_is_refused() {
    let yaml = format!("{HEAD}rules: [\n");
    let r = ruleset_refused(&yaml, "the YAML cannot be read", None);
    assert!(r.out.contains("─[sets/mine/ruleset.yaml:"), "no place");
}

#[test]
fn deeply_nested_yaml_is_refused() {
    let yaml = format!("{HEAD}rules: {}\n", "[".repeat(10_000));
    ruleset_refused(&yaml, "the YAML cannot be read", None);
    let yaml = format!(
        "{HEAD}rules: {}{}\n",
        "[".repeat(10_000),
        "]".repeat(10_000)
    );
    ruleset_refused(&yaml, "the YAML cannot be read", None);
}

#[test]
fn a_ruleset_that_is_not_utf_8_is_refused() {
    let (dir, closing) = shelf(b"ruleset: \xff\n");
    let r = run(
        dir.path(),
        &[
            "check",
            "--color",
            "never",
            "--rulesets",
            "sets",
            "mine.amp",
            "good.amp",
        ],
    );
    r.is_orderly("not UTF-8");
    assert_eq!(r.code, Some(2));
    r.says("not UTF-8", "it is not UTF-8 text");
    assert_eq!(r.closing("good.amp"), Some(closing.as_str()));
}

#[test]
fn derivations_that_need_each_other_are_refused() {
    let one = |name: &str, formula: &str| {
        format!(
            "  charge-point.{name}: {{is: A, means: 'a figure', formula: '{formula}', \
             clause: 'own handbook 2', source: 'common practice, no source'}}\n"
        )
    };
    let yaml = format!(
        "{HEAD}derive:\n{}{}",
        one("x-one", "x-two + 1 A"),
        one("x-two", "x-one + 1 A")
    );
    let at = place(&yaml, "'x-two + 1 A'", 0);
    let line = at.split(':').next().expect("a line");
    let r = ruleset_refused(
        &yaml,
        "these derivations need each other: charge-point.x-one, charge-point.x-two",
        None,
    );
    assert!(
        r.out.contains(&format!("─[sets/mine/ruleset.yaml:{line}:")),
        "{}",
        cut(&r.out)
    );
    let yaml = format!("{HEAD}derive:\n{}", one("x-one", "x-one + 1 A"));
    ruleset_refused(
        &yaml,
        "these derivations need each other: charge-point.x-one",
        None,
    );
}

#[test]
fn an_unknown_key_is_refused() {
    let yaml = format!(
        "{HEAD}rules:\n{}",
        rule("mine-strong", "In <= 40 A", "    colour: red\n")
    );
    let at = place(&yaml, "colour", 0);
    ruleset_refused(&yaml, "a rule has no key `colour`", Some(&at));
}

#[test]
fn a_bad_expression_is_refused() {
    let yaml = ruleset("In <= <= 40 A");
    let at = place(&yaml, "In <= <=", 6);
    ruleset_refused(&yaml, "`<=` is not expected here", Some(&at));
}

#[test]
fn expressions_that_nest_without_end_are_refused() {
    for (require, message) in [
        (
            format!("{}In <= 0 A", "- ".repeat(5_000)),
            "an expression of 10009 bytes is not read, the most is 4096",
        ),
        (
            format!("{}1 > 0", "sum p in circuit.charge-points: ".repeat(100)),
            "aggregates are nested too deep",
        ),
        (
            format!("{}In{} <= 40 A", "(".repeat(80), ")".repeat(80)),
            "brackets are nested more than 60 deep",
        ),
    ] {
        ruleset_refused(&ruleset(&require), message, None);
    }
    // As long as an expression may be, in one chain.
    for require in [
        format!("In{} <= 99999 A", " + In".repeat(800)),
        format!("{}In <= 0 A", "- ".repeat(1_999)),
        format!("In <= 40 A{}", " and In <= 40 A".repeat(260)),
    ] {
        let (dir, _) = shelf(ruleset(&require).as_bytes());
        let args = [
            "check",
            "--color",
            "never",
            "--rulesets",
            "sets",
            "mine.amp",
        ];
        let r = run(dir.path(), &args);
        r.is_orderly(&require[..20]);
        assert_eq!(r.code, Some(0), "{}", cut(&r.all()));
    }
}

#[test]
fn a_comparison_of_unlike_dimensions_is_refused() {
    let yaml = ruleset("In <= 40 V");
    let at = place(&yaml, "In <= 40 V", 0);
    ruleset_refused(&yaml, "a current is compared with a voltage", Some(&at));
}

#[test]
fn an_unknown_name_is_refused() {
    let yaml = ruleset("Imm <= 40 A");
    let at = place(&yaml, "Imm", 0);
    ruleset_refused(&yaml, "`charge-point` has no fact `Imm`", Some(&at));
}

#[test]
fn a_rule_id_given_twice_is_refused() {
    let yaml = format!(
        "{HEAD}rules:\n{}{}",
        rule("mine-strong", "In <= 40 A", ""),
        rule("mine-strong", "In <= 20 A", "")
    );
    let at = place(&yaml, "mine-strong", 0);
    let r = ruleset_refused(&yaml, "`mine-strong` is stated twice", Some(&at));
    r.says("label", "the second time");
}

#[test]
fn a_rule_id_of_the_parent_is_refused() {
    let yaml = format!(
        "{HEAD}rules:\n{}",
        rule("iec-voltage-drop", "In <= 40 A", "")
    );
    let at = place(&yaml, "iec-voltage-drop", 0);
    ruleset_refused(
        &yaml,
        "the rule `iec-voltage-drop` exists already",
        Some(&at),
    );
}

#[test]
fn a_ruleset_that_is_its_own_parent_is_refused() {
    let yaml = ruleset("In <= 40 A").replacen("parent: gb", "parent: mine", 1);
    ruleset_refused(&yaml, "the ruleset `mine` is its own ancestor", None);
}

#[test]
fn a_ruleset_that_is_not_there_is_named() {
    let (dir, closing) = shelf(ruleset("In <= 40 A").as_bytes());
    let r = run(
        dir.path(),
        &["check", "--color", "never", "mine.amp", "good.amp"],
    );
    r.is_orderly("not there");
    assert_eq!(r.code, Some(2));
    r.says("not there", "there is no ruleset `mine`");
    let at = place(&changed("rules: gb", "rules: mine"), "rules: mine", 7);
    r.points_at("not there", &format!("mine.amp:{at}"));
    assert_eq!(r.closing("good.amp"), Some(closing.as_str()));
}

#[test]
fn a_folder_of_rulesets_that_is_not_there_is_told() {
    let (dir, _) = folder();
    let r = run(
        dir.path(),
        &[
            "check",
            "--color",
            "never",
            "--rulesets",
            "nowhere",
            "good.amp",
        ],
    );
    r.is_orderly("folder of rulesets");
    assert_eq!(r.code, Some(2), "{}", cut(&r.all()));
    r.says("folder of rulesets", "`nowhere`");
}
