//! What the design language promises: every lexical rule, every kind of mistake with its place
//! and its help, and a formatter that changes the layout and nothing else.
//!
//! `tests/language/sound` holds files without mistakes, `tests/language/faults` files with the
//! problems that each must give, in `NAME.problems`. With `AMPERULE_WRITE_EXPECTED=1` the
//! expected problems are written anew, to be reviewed as a diff.

#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "helpers of tests fail loudly, as tests do"
)]

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

mod units;

use amperule::design::format::format;
use amperule::design::parse::{MOST_PROBLEMS, parse, parse_items, parse_value};
use amperule::design::tree::{Entry, Item, Value, ValueKind};
use amperule::source::limits::DESIGN_BYTES;
use amperule::source::{FileId, Problem};
use proptest::prelude::*;

const FILE: FileId = FileId(0);

fn corpus(folder: &str) -> Vec<(PathBuf, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/language")
        .join(folder);
    let mut files: Vec<_> = fs::read_dir(folder)
        .expect("the corpus folder is there")
        .map(|entry| entry.expect("readable").path())
        .filter(|path| path.extension().is_some_and(|e| e == "amp"))
        .map(|path| {
            let text = fs::read_to_string(&path).expect("readable text");
            (path, text)
        })
        .collect();
    files.sort();
    assert!(!files.is_empty());
    files
}

/// Problems as text: message, underlined words, help.
fn shown(text: &str, problems: &[Problem]) -> String {
    let mut out = String::new();
    for problem in problems {
        writeln!(out, "{}: {}", problem.code, problem.message).expect("a string");
        for label in &problem.labels {
            let slice = text
                .get(label.span.from()..label.span.until())
                .expect("labels lie on character boundaries inside the text");
            let line = text[..label.span.from()].matches('\n').count() + 1;
            let colon = if label.text.is_empty() { "" } else { ": " };
            writeln!(out, "  {line} `{slice}`{colon}{}", label.text).expect("a string");
        }
        for help in &problem.help {
            writeln!(out, "  help: {help}").expect("a string");
        }
    }
    out
}

/// A value as written, without its origin's brackets or blanks.
fn bare<'t>(value: &Value, text: &'t str) -> &'t str {
    let origin = value.origin.as_ref();
    let until = origin.map_or(value.span.until(), |o| o.span.from());
    text.get(value.span.from()..until).unwrap_or("").trim()
}

/// The outline of a sound text.
fn sound(text: &str) -> String {
    let parsed = parse(FILE, text);
    assert_eq!(shown(text, &parsed.problems), "", "in {text:?}");
    parsed.tree.outline().trim_end().to_owned()
}

/// The outline of one fact's value in a block, without mistakes.
fn value(text: &str) -> String {
    let outline = sound(&format!("x {{ f: {text} }}"));
    outline
        .strip_prefix("(block x f: ")
        .and_then(|o| o.strip_suffix(')'))
        .unwrap_or_else(|| panic!("`{text}` is not one value: {outline}"))
        .to_owned()
}

/// A name with those of the blocks around it is one word; two dots stay a range.
#[test]
fn names_may_be_joined_by_a_dot() {
    assert_eq!(value("main.ev"), "main.ev");
    assert_eq!(value("yard.main.ev"), "yard.main.ev");
    assert_eq!(value("bay[2].ev"), "bay[2].ev");
    assert_eq!(value("main.bay[n]"), "main.bay[n]");
    assert_eq!(value("main.ev | sub.ev"), "(| main.ev sub.ev)");
    assert_eq!(value("main.ev, sub.ev"), "(, main.ev sub.ev)");
    assert_eq!(value("low..high"), "(.. low high)");
    assert_eq!(value("low .. high"), "(.. low high)");
    for faulty in ["main.", "main..", "main .ev", "main. ev", "main.3", ".ev"] {
        let text = format!("x {{ f: {faulty} }}");
        assert!(!parse(FILE, &text).problems.is_empty(), "{faulty}");
    }
    let text = "x { f: bay[1 + 1].ev }";
    assert_eq!(
        shown(text, &parse(FILE, text).problems),
        "wrong-index: a number in square brackets before a `.` must be written out\n  1 `[1 + 1]`\n  help: write a whole number, as in `bay[2].ev`\n"
    );
    let text = "x { f: bay[2].ev   g: main.ev|sub.ev }\n";
    let tidy = format(text).expect("sound");
    assert!(tidy.contains("f: bay[2].ev"), "{tidy}");
    assert!(tidy.contains("g: main.ev | sub.ev"), "{tidy}");
    assert_eq!(sound(&tidy), sound(text));
}

/// What a departure pins is kept.
#[test]
fn what_a_departure_pins_is_formatted() {
    let text = "departure from it { for: ev reason: \"no room\"  agreed-by: \"owner\"\nas-found { length: 18m   cable: armoured { size: 4mm2 } } }\n";
    let tidy = format(text).expect("sound");
    assert!(
        tidy.contains("as-found { length: 18 m  cable: armoured { size: 4 mm² } }"),
        "{tidy}"
    );
    assert_eq!(sound(&tidy), sound(text));
    assert_eq!(format(&tidy).expect("sound"), tidy);
}

/// Codes of the problems of one fact's value.
fn codes(text: &str) -> Vec<&'static str> {
    let parsed = parse(FILE, &format!("x {{ f: {text} }}"));
    parsed.problems.iter().map(|p| p.code).collect()
}

#[test]
fn sound_files_parse_clean_and_survive_formatting() {
    for (path, text) in corpus("sound") {
        let parsed = parse(FILE, &text);
        assert_eq!(
            shown(&text, &parsed.problems),
            "",
            "{} has no mistakes",
            path.display()
        );
        let once = format(&text).expect("formats");
        assert_eq!(sound(&once), sound(&text), "{}", path.display());
        assert_eq!(format(&once).expect("formats"), once, "{}", path.display());
        let again = parse(FILE, &once);
        let comments = |p: &amperule::design::parse::Parsed| {
            p.comments
                .iter()
                .map(|c| c.value.clone())
                .collect::<Vec<_>>()
        };
        assert_eq!(comments(&again), comments(&parsed));
    }
}

#[test]
fn faulty_files_give_every_mistake_at_its_place() {
    let write = std::env::var_os("AMPERULE_WRITE_EXPECTED").is_some();
    for (path, text) in corpus("faults") {
        let parsed = parse(FILE, &text);
        let mut found = shown(&text, &parsed.problems);
        assert!(!found.is_empty(), "{} has mistakes", path.display());
        write!(found, "---\n{}", parsed.tree.outline()).expect("a string");
        assert!(format(&text).is_err(), "a faulty file is not formatted");
        let expected_path = path.with_extension("problems");
        if write {
            fs::write(&expected_path, &found).expect("writable");
        }
        let expected = fs::read_to_string(&expected_path).unwrap_or_default();
        assert_eq!(found, expected, "{}", path.display());
    }
}

#[test]
fn messages_keep_the_house_style() {
    for (path, text) in corpus("faults") {
        for problem in parse(FILE, &text).problems {
            let message = &problem.message;
            assert!(
                !message.ends_with('.') && !message.starts_with(char::is_uppercase),
                "{}: {message}",
                path.display()
            );
            assert!(
                problem
                    .code
                    .chars()
                    .all(|c| c.is_ascii_lowercase() || c == '-'),
                "{}",
                problem.code
            );
            let says_what_to_do = !problem.help.is_empty()
                || problem.labels.iter().any(|l| l.text.contains("expected"));
            assert!(says_what_to_do, "{}: {message}", path.display());
        }
    }
}

// ---- the lexical rules, one test each

#[test]
fn a_word_before_a_colon_is_a_key() {
    assert_eq!(
        sound("x { a: v b: w  c : 3 A d: 4 }"),
        "(block x a: v b: w c: 3_A d: 4)"
    );
    assert_eq!(sound("x { a: 1 A: 2 }"), "(block x a: 1 A: 2)");
    assert_eq!(
        sound("x { use: lighting no: 1 define: a }"),
        "(block x use: lighting no: 1 define: a)"
    );
}

#[test]
fn a_new_line_ends_an_entry_unless_something_is_open() {
    assert_eq!(
        sound("b m {\n ways: 12\n circuit ev { }\n}"),
        "(block b m ways: 12 (block circuit ev))"
    );
    for text in [
        "1 A |\n 2 A",
        "1 A ..\n 2 A",
        "1 A,\n\n # why\n 2 A",
        "a +\n 2 A",
        "(1 A\n | 2 A\n)",
        "(a\n + b\n - c)",
        "(1 A # low\n .. 2 A\n (measured))",
        "1 A ± # wide\n 5 %",
    ] {
        assert!(!value(text).is_empty());
    }
    assert_eq!(codes("(1 A ± 5 %\n + 2 A)"), ["trailing-text"]);
    assert_eq!(codes("1 A\n | 2 A"), ["line-begins-with-sign"]);
    assert_eq!(codes("\n 2 A"), ["missing-value", "not-understood"]);
}

#[test]
fn a_word_that_heads_a_block_is_no_unit() {
    assert_eq!(
        sound("b m { ways: 12 circuit ev { a: 1 } }"),
        "(block b m ways: 12 (block circuit ev a: 1))"
    );
    assert_eq!(
        sound("b m { ways: 12 circuit { } n: 12 circuit \"x\" { } }"),
        "(block b m ways: 12 (block circuit) n: 12 (block circuit \"x\"))"
    );
    assert_eq!(
        sound("b m { In: 100 A  circuit { a: 1 } }"),
        "(block b m In: 100_A (block circuit a: 1))"
    );
    assert_eq!(
        sound("b m { size: 6 mm² circuit \"x\" { } }"),
        "(block b m size: 6_mm² (block circuit \"x\"))"
    );
}

#[test]
fn a_fact_name_after_a_value_needs_its_colon() {
    let text = "x { cores: 3 length 18 m  size: 6 mm² }";
    let parsed = parse(FILE, text);
    assert_eq!(parsed.problems.len(), 1);
    assert_eq!(parsed.problems[0].help, ["write `length: 18 m`"]);
    assert_eq!(
        parsed.tree.outline().trim_end(),
        "(block x cores: 3 length: 18_m size: 6_mm²)"
    );
}

#[test]
fn minus_has_blanks_and_a_hyphen_belongs_to_its_word() {
    assert_eq!(value("house-rcbo"), "house-rcbo");
    assert_eq!(value("run - 2 m"), "(- run 2_m)");
    assert_eq!(value("-5 °C"), "-5_°C");
    assert_eq!(value("a - -5 m"), "(- a -5_m)");
    for text in ["run-2 m", "run -2 m", "run- 2 m", "12 m-2 m", "12 m -2 m"] {
        assert_eq!(codes(text), ["minus-without-blanks"], "{text}");
    }
    let parsed = parse(FILE, "x { f: run-2 m }");
    assert_eq!(parsed.problems[0].help, ["write `run - 2 m`"]);
}

#[test]
fn a_date_is_read_before_a_number() {
    assert_eq!(value("2026-10-12"), "2026-10-12");
    assert_eq!(value("2024-02-29"), "2024-02-29");
    for text in [
        "2026-02-29",
        "2026-13-01",
        "2026-00-10",
        "2026-04-31",
        "1900-02-29",
    ] {
        assert_eq!(codes(text), ["no-such-date"], "{text}");
    }
}

#[test]
fn a_unit_stands_only_after_a_number() {
    for word in ["A", "C", "m", "K", "in"] {
        assert_eq!(value(word), word);
    }
    assert_eq!(value("6 A"), "6_A");
    assert_eq!(value("C | 101"), "(| C 101)");
}

#[test]
fn units_and_names_keep_their_case() {
    assert_eq!(
        sound("x { In: 5 min in: 6 in min: 7 }"),
        "(block x In: 5_min in: 6_in min: 7)"
    );
    assert_eq!(value("3 mohm"), "3_mohm");
    assert_eq!(value("3 Mohm"), "3_Mohm");
}

#[test]
fn the_blank_before_a_unit_is_optional_and_an_exponent_is_glued() {
    assert_eq!(value("18m"), "18_m");
    assert_eq!(value("2e3"), "2e3");
    assert_eq!(value("2e-3 ohm"), "2e-3_ohm");
    assert_eq!(value("2e3 V"), "2e3_V");
    assert_eq!(value("5%"), "5_%");
}

#[test]
fn ranges_include_their_ends_and_share_a_unit() {
    assert_eq!(value("5..40 m"), "(.. 5_m 40_m)");
    assert_eq!(value("5 m .. 40 m"), "(.. 5_m 40_m)");
    assert_eq!(value("-10 .. 40 °C"), "(.. -10_°C 40_°C)");
    assert_eq!(value("2..5"), "(.. 2 5)");
    assert_eq!(
        value("run + 1 m .. run + 2 m"),
        "(.. (+ run 1_m) (+ run 2_m))"
    );
    // Order needs units: it is judged later.
    assert_eq!(value("5 .. 3 m"), "(.. 5_m 3_m)");
    assert_eq!(codes("1. m"), ["trailing-dot"]);
    assert_eq!(codes(".5 m"), ["leading-dot"]);
    assert_eq!(codes("5 m ... 6 m"), ["wrong-operand"]);
}

#[test]
fn one_sided_values_have_words_and_signs() {
    assert_eq!(value("at most 0.35 ohm"), "(<= 0.35_ohm)");
    assert_eq!(value("<= 0.35 ohm"), "(<= 0.35_ohm)");
    assert_eq!(value("≤0.35 ohm"), "(<= 0.35_ohm)");
    assert_eq!(value("< 0.35 ohm"), "(< 0.35_ohm)");
    assert_eq!(value("at least 500 Mohm"), "(>= 500_Mohm)");
    assert_eq!(value(">= 500 Mohm"), "(>= 500_Mohm)");
    assert_eq!(value("> 500 Mohm"), "(> 500_Mohm)");
    assert_eq!(value("at most run + 2 m"), "(<= (+ run 2_m))");
    assert_eq!(sound("x { at: most  of: at }"), "(block x at: most of: at)");
}

#[test]
fn tolerance_range_origin_and_alternatives_bind_in_that_order() {
    assert_eq!(
        value("0.28 ohm ± 5 % (measured)"),
        "(± 0.28_ohm 5_%)@measured"
    );
    assert_eq!(value("0.28 ohm +- 5 %"), "(± 0.28_ohm 5_%)");
    assert_eq!(
        value("0.21 ohm ± 5 % ± 0.02 ohm"),
        "(± 0.21_ohm 5_% 0.02_ohm)"
    );
    assert_eq!(value("2 m (assumed)"), "2_m@assumed");
    assert_eq!(value("5 m .. 10 m | 20 m"), "(| (.. 5_m 10_m) 20_m)");
    assert_eq!(
        value("1 A (measured) | 2 A (declared)"),
        "(| 1_A@measured 2_A@declared)"
    );
    assert_eq!(value("60 A | 80 A (declared)"), "(| 60_A 80_A)@declared");
    for origin in [
        "measured",
        "calculated",
        "by-enquiry",
        "declared",
        "assumed",
    ] {
        assert_eq!(value(&format!("? ({origin})")), format!("?@{origin}"));
    }
    assert_eq!(codes("2 m (messured)"), ["unknown-origin"]);
    assert_eq!(codes("2 m (measured) (assumed)"), ["second-origin"]);
}

#[test]
fn per_cent_stands_only_after_a_number() {
    assert_eq!(value("5 %"), "5_%");
    assert_eq!(codes("a % b"), ["trailing-text"]);
    assert_eq!(codes("%"), ["wrong-value"]);
}

#[test]
fn a_fraction_is_one_token() {
    assert_eq!(value("1/0 AWG"), "1/0_AWG");
    assert_eq!(value("250 kcmil"), "250_kcmil");
    assert_eq!(value("450/750"), "450/750");
    assert_eq!(value("run / 2"), "(/ run 2)");
    assert_eq!(value("6 m / 2"), "(/ 6_m 2)");
    assert_eq!(value("10 mohm/m"), "10_mohm/m");
    assert_eq!(value("0.8 /km²/a"), "0.8_/km²/a");
}

#[test]
fn only_declared_units_stand_side_by_side() {
    assert_eq!(value("3 ft 6 in"), "3_ft_6_in");
    assert_eq!(value("1 h 30 min"), "1_h_30_min");
    // Two quantities then, of which only a part may make sense.
    assert_eq!(value("3 m 6 mm"), "(row 3_m 6_mm))");
    assert_eq!(value("3 in 6 ft"), "(row 3_in 6_ft))");
}

#[test]
fn a_number_may_be_a_choice_and_its_raw_text_is_kept() {
    let text = "x { method: 100  scheme: 4a (declared)  grade: 0.6/1kV }";
    let parsed = parse(FILE, text);
    assert!(parsed.is_sound());
    let Some(Item::Block(block)) = parsed.tree.items.first() else {
        panic!("one block");
    };
    let raw: Vec<_> = block
        .entries
        .iter()
        .map(|e| match e {
            Entry::Fact(fact) => bare(&fact.value, text),
            _ => "",
        })
        .collect();
    assert_eq!(raw, ["100", "4a", "0.6/1kV"]);
}

#[test]
fn a_hash_begins_a_comment_even_before_a_number() {
    let parsed = parse(FILE, "x { size: #6 AWG\n }");
    assert_eq!(parsed.problems.len(), 1);
    assert_eq!(
        parsed.problems[0].help,
        ["`#` begins a comment: write `size: 6 AWG`"]
    );
    assert_eq!(value("\"no # comment\""), "\"no # comment\"");
}

#[test]
fn one_of_and_in_order_are_not_mixed_without_brackets() {
    assert_eq!(value("a { n: 1 } | b { }"), "(| (part a n: 1) (part b))");
    assert_eq!(value("a, b"), "(, a b)");
    assert_eq!(value("(a | b), c"), "(, (| a b) c)");
    assert_eq!(codes("a | b, c"), ["mixed-separators"]);
    assert_eq!(codes("a, b | c"), ["mixed-separators"]);
}

#[test]
fn values_per_line_conductor() {
    assert_eq!(
        value("L1 61 A, L2 ?, N at most 3 A"),
        "(lines L1 61_A L2 ? N (<= 3_A))"
    );
    assert_eq!(
        value("L1 61 A, L2 38 A (measured)"),
        "(lines L1 61_A L2 38_A)@measured"
    );
    assert_eq!(
        value("L1 (5 A | 6 A), L2 load"),
        "(lines L1 (| 5_A 6_A) L2 load)"
    );
    assert_eq!(
        sound("x { lines: L1, L2  neutral: no }"),
        "(block x lines: (, L1 L2) neutral: no)"
    );
    assert_eq!(
        sound("x { lines: L2 circuit a { } }"),
        "(block x lines: L2 (block circuit a))"
    );
    assert_eq!(value("by-turn L1, L2, L3"), "(by-turn L1 L2 L3)");
    assert_eq!(value("all charge-point"), "(all charge-point)");
    assert_eq!(sound("x { seen: all  n: 1 }"), "(block x seen: all n: 1)");
    assert_eq!(value("bay[n]"), "bay[n]");
    assert_eq!(value("bay[n + 1]"), "bay[(+ n 1)]");
}

#[test]
fn look_alike_signs_are_folded() {
    assert_eq!(value("0.28 Ω"), "0.28_ohm");
    assert_eq!(value("0.28 \u{2126}"), "0.28_ohm");
    assert_eq!(value("3 MΩ"), "3_Mohm");
    assert_eq!(value("3 \u{3BC}A"), "3_\u{B5}A");
    assert_eq!(value("6 mm2"), "6_mm²");
    assert_eq!(value("50 N⋅m"), "50_N·m");
    assert_eq!(value("10 A²·s"), value("10 A2·s"));
    assert_eq!(
        sound("x { I\u{2206}n: 30\u{A0}mA }"),
        "(block x I\u{394}n: 30_mA)"
    );
    assert_eq!(codes("0,28 ohm"), ["decimal-comma"]);
}

#[test]
fn words_of_the_language_are_told_by_their_form() {
    assert_eq!(
        sound("define d as rcbo { In: 32 A }\nuse \"p.amp\"\nparameter run: 5..40 m\nno bond\n"),
        "(define d rcbo In: 32_A)\n(use \"p.amp\")\n(parameter run (.. 5_m 40_m))\n(no bond)"
    );
    assert_eq!(
        sound(
            "x { use: lighting\n no bond\n no: 1 }\nno-bond { } user { } parameter-x { } defined { }"
        ),
        "(block x use: lighting (no bond) no: 1)\n(block no-bond)\n(block user)\n(block parameter-x)\n(block defined)"
    );
    assert_eq!(value("nonesuch"), "nonesuch");
    assert_eq!(value("all-listed"), "all-listed");
    assert_eq!(value("by-turner"), "by-turner");
    assert_eq!(
        sound("departure from gb-bond { for: water }"),
        "(block departure from gb-bond for: water)"
    );
}

#[test]
fn arithmetic_of_templates() {
    assert_eq!(value("12 m + n * 3 m"), "(+ 12_m (* n 3_m))");
    assert_eq!(value("a - b - c"), "(- (- a b) c)");
    assert_eq!(value("(a + b) * 2"), "(* (+ a b) 2)");
    let long = format!("1{}", " + 1".repeat(65));
    assert_eq!(codes(&long), ["too-many-operators"]);
    assert!(codes(&format!("1{}", " + 1".repeat(64))).is_empty());
}

#[test]
fn texts_have_two_escapes() {
    assert_eq!(value(r#""a \"b\" \\ c""#), r#""a \"b\" \\ c""#);
    assert_eq!(codes(r#""a\nb""#), ["unknown-escape"]);
}

#[test]
fn line_ends_tabs_and_a_byte_order_mark_make_no_difference() {
    let plain = "supply {\n  phases: 1\n  U0: 230 V # nominal\n}\n\nboard main {\n}\n";
    let outline = sound(plain);
    assert_eq!(sound(&plain.replace('\n', "\r\n")), outline);
    assert_eq!(sound(&plain.replace('\n', "\r")), outline);
    assert_eq!(sound(&plain.replace("  ", "\t")), outline);
    assert_eq!(sound(&format!("\u{FEFF}{plain}")), outline);
    // The layout keeps the line ends of the file.
    assert_eq!(
        format(&plain.replace('\n', "\r\n")).expect("sound"),
        format(plain).expect("sound").replace('\n', "\r\n")
    );
    assert_eq!(
        sound("größe überblick { länge: 3 m }"),
        "(block größe überblick länge: 3_m)"
    );
    assert_eq!(sound(""), "");
    assert_eq!(format("").expect("sound"), "");
    assert_eq!(format("# only this").expect("sound"), "# only this\n");
}

#[test]
fn spans_cover_what_was_written() {
    let text = "\u{FEFF}# µ\nsupply { Ze: 0.28 Ω ± 5 % (measured) }";
    let parsed = parse(FILE, text);
    let Some(Item::Block(block)) = parsed.tree.items.first() else {
        panic!("one block");
    };
    let Some(Entry::Fact(fact)) = block.entries.first() else {
        panic!("one fact");
    };
    let slice = |s: amperule::source::Span| &text[s.from()..s.until()];
    assert_eq!(slice(block.kind.span), "supply");
    assert_eq!(slice(fact.key.span), "Ze");
    assert_eq!(slice(fact.value.span), "0.28 Ω ± 5 % (measured)");
    assert_eq!(slice(fact.span), "Ze: 0.28 Ω ± 5 % (measured)");
    let ValueKind::Tolerance { base, terms } = &fact.value.kind else {
        panic!("a tolerance");
    };
    assert_eq!(slice(base.span), "0.28 Ω");
    assert_eq!(slice(terms[0].span), "5 %");
    assert_eq!(slice(parsed.comments[0].span), "# µ");
}

#[test]
fn a_value_or_items_may_stand_inside_another_file() {
    let (value, problems) = parse_value(FILE, "6 mm² | 10 mm²", 100);
    assert!(problems.is_empty());
    assert_eq!(value.outline(), "(| 6_mm² 10_mm²)");
    assert_eq!(value.span.from(), 100);
    let (value, problems) = parse_value(FILE, "0,28 ohm", 100);
    assert_eq!(value.kind, ValueKind::Bad);
    assert_eq!(problems[0].labels[0].span.from(), 100);
    let (_, problems) = parse_value(FILE, "3 A }", 0);
    assert_eq!(problems[0].code, "trailing-text");
    let (value, problems) = parse_value(FILE, "  ", 7);
    assert_eq!(
        (value.kind, problems[0].code),
        (ValueKind::Bad, "missing-value")
    );
    let parsed = parse_items(FILE, "bond gas { size 6 mm² }", 50);
    assert_eq!(parsed.problems[0].labels[0].span.from(), 61);
    assert!(matches!(&parsed.tree.items[0], Item::Block(b) if b.span.from() == 50));
}

// ---- texts that nobody means

#[test]
fn nesting_is_refused_beyond_a_depth_and_its_neighbours_are_kept() {
    let nested = |n: usize| {
        format!(
            "before {{ }}\n{}{}\nafter {{ }}",
            "a { ".repeat(n),
            "} ".repeat(n)
        )
    };
    assert!(parse(FILE, &nested(64)).is_sound());
    let text = nested(65);
    let parsed = parse(FILE, &text);
    let found: Vec<_> = parsed.problems.iter().map(|p| p.code).collect();
    assert_eq!(found, ["nested-too-deep"]);
    assert_eq!(parsed.tree.items.len(), 3);
    for text in [
        "{".repeat(10_000),
        "a {".repeat(10_000),
        "x: a {".repeat(10_000),
        format!("a {{ x: {} }}", "(".repeat(10_000)),
        "x: (a { ".repeat(10_000),
        format!("{}{}", "a { x: b { ".repeat(5_000), "} ; }".repeat(5_000)),
    ] {
        let parsed = parse(FILE, &text);
        assert!(!parsed.is_sound());
    }
}

#[test]
fn mistakes_do_not_multiply_the_work() {
    // Each was chosen because a grammar that reads a nested part twice takes 2^n steps on it.
    for (open, close) in [
        ("x: (a { ", "} ; "),
        ("a 3, b { ", "} { "),
        ("x: a { y 3 ", "} ) "),
        ("a\n{ ", "} = "),
        ("a b/c { ", "} "),
        ("x: 1 | a { ", "} | "),
        ("| a { ", "} "),
    ] {
        let start = Instant::now();
        let text = format!("{}{}", open.repeat(60), close.repeat(60));
        assert!(!parse(FILE, &text).is_sound());
        assert!(start.elapsed() < Duration::from_secs(2), "{open}");
    }
}

#[test]
fn big_files_of_junk_end_soon() {
    let size = if cfg!(debug_assertions) {
        400_000
    } else {
        DESIGN_BYTES
    };
    for piece in [
        "a {\n",
        "a: 1\n",
        "a\n",
        "(\n",
        "\"\n",
        "\" {\n",
        "}\n",
        "x y z\n",
        "a: 1 | 2 ; \n",
        "\u{FEFF}\n",
        "🙂\n",
        "1 2 3 4\n",
        "x: 1,\n",
        "a {\n  b: 1\n",
        "a{b{c{d{e{f{\n",
        "\r",
        "\t",
        "a { ",
        "} ",
        "a:",
    ] {
        let start = Instant::now();
        let text = piece.repeat(size / piece.len());
        let parsed = parse(FILE, &text);
        assert!(parsed.problems.len() <= MOST_PROBLEMS + 1, "{piece:?}");
        assert!(
            start.elapsed() < Duration::from_secs(20),
            "{piece:?} took {:?}",
            start.elapsed()
        );
    }
    let text = "a ".repeat(DESIGN_BYTES);
    let parsed = parse(FILE, &text);
    assert_eq!(parsed.problems[0].code, "file-too-large");
}

#[test]
fn problems_are_counted_beyond_a_number() {
    let text = format!("x {{\n{}}}\n", "In 32 A\n".repeat(200));
    let parsed = parse(FILE, &text);
    assert_eq!(parsed.problems.len(), MOST_PROBLEMS + 1);
    let last = parsed.problems.last().expect("one");
    assert_eq!(last.code, "more-mistakes");
    assert!(last.message.contains("150 more"), "{}", last.message);
}

#[test]
fn a_long_file_is_read_in_pieces_with_true_places() {
    let (_, one) = corpus("sound").remove(0);
    let mut text = String::new();
    while text.len() < 400_000 {
        text.push_str(&one);
    }
    let whole = sound(&text);
    assert_eq!(whole.lines().count() % sound(&one).lines().count(), 0);
    text.push_str("board last {\n  In 32 A\n}\n");
    let parsed = parse(FILE, &text);
    assert_eq!(parsed.problems.len(), 1);
    let span = parsed.problems[0].labels[0].span;
    assert_eq!(&text[span.from()..span.until()], "In");
    assert!(span.from() > 400_000);
}

// ---- the formatter

#[test]
fn layout() {
    let messy = "\
#  head
supply{phases:1   Ze:0.28ohm+-5%(measured)   # so it was
  size: 6mm2


  # alone
  limit:   at   most 5..  40 m

  cables: a { n: 1 },   # first
     b {
  n: 2 }   | x

}
bond   gas  \"Gas\"{size:?}   bond water { }
circuit bay[ 1 .. 6 ]{ x: (a|b) ,c  y: bay[ n+1 ]  z: 3ft 6in  s: 4a  t: 0.28 Ω }
";
    let messy = messy
        .replace("at   most 5..  40 m", "5..  40 m")
        .replace("   | x", "");
    let tidy = "\
#  head
supply {
  phases: 1  Ze: 0.28 ohm ± 5 % (measured)  # so it was
  size: 6 mm²

  # alone
  limit: 5 .. 40 m

  cables: a { n: 1 },  # first
      b {
        n: 2
      }
}
bond gas \"Gas\" { size: ? }
bond water {}
circuit bay[1..6] { x: (a | b), c  y: bay[n + 1]  z: 3 ft 6 in  s: 4a  t: 0.28 Ω }
";
    assert_eq!(format(&messy).expect("sound"), tidy);
    assert_eq!(format(tidy).expect("sound"), tidy);
}

#[test]
fn long_one_line_blocks_are_broken() {
    let text = format!("x {{ {}}}\n", "key: value  ".repeat(9));
    let tidy = format(&text).expect("sound");
    assert_eq!(tidy.lines().count(), 11);
    let short = format!("x {{ {}}}\n", "key: value  ".repeat(7)).replace("  }", " }");
    assert_eq!(format(&short).expect("sound"), short);
}

// ---- laws

fn fragments() -> impl Strategy<Value = String> {
    let pieces: Vec<&'static str> = vec![
        "{",
        "}",
        "(",
        ")",
        "[",
        "]",
        ":",
        ",",
        "|",
        ";",
        "=",
        "..",
        "±",
        "+-",
        " + ",
        " - ",
        "-",
        "*",
        "/",
        "\n",
        "\r\n",
        "\n\n",
        " ",
        "  ",
        "\t",
        "\u{A0}",
        "# note\n",
        "#6 AWG\n",
        "\"text\"",
        "\"",
        "'",
        "“",
        "?",
        "none",
        "supply",
        "circuit ev",
        "board main",
        "Ze",
        "In",
        "L1",
        "L2 ",
        "N ",
        "define x as y ",
        "use \"p\"",
        "use",
        "no bond",
        "parameter run: ",
        "departure from r ",
        "by-turn ",
        "all ",
        "at most ",
        "<= ",
        ">",
        "key: ",
        "k: 1 ",
        "6 mm²",
        "0,28",
        "1.",
        ".5",
        "3 ft 6 in",
        "2026-10-12",
        "2026-02-30",
        "5..40 m",
        "1/0 AWG",
        "18m",
        "2e3",
        "%",
        "°C",
        "(measured)",
        "(messured)",
        "bay[1..6]",
        "bay[n]",
        "[9..1]",
        "Ω",
        "é",
        "🙂",
        "\u{FEFF}",
        "\0",
        "a { b: c }",
        "x: a { ",
        "–",
    ];
    proptest::collection::vec(proptest::sample::select(pieces), 0..40).prop_map(|v| v.concat())
}

/// Sound files of every form, in any layout.
fn sound_texts() -> impl Strategy<Value = String> {
    let blank = proptest::sample::select(vec!["", " ", "  ", "\t"]);
    let unit = proptest::sample::select(vec!["", " A", "m", " mm2", " Ω", " %", " ohm/km", " AWG"]);
    let number = ("-?[0-9]{1,3}(\\.[0-9]{1,2})?", unit).prop_map(|(n, u)| format!("{n}{u}"));
    let word = "[a-z]{1,5}(-[a-z0-9]{1,3})?".prop_filter("a word of the language", |w| {
        !["all", "at", "no", "use", "define"].contains(&w.as_str()) && !w.starts_with("parameter")
    });
    let leaf = prop_oneof![
        number.clone(),
        word.clone(),
        Just("?".to_owned()),
        Just("none".to_owned()),
        Just("2026-11-02".to_owned()),
        "\"[a-z #{}]{0,8}\"",
        (number.clone(), number.clone()).prop_map(|(a, b)| format!("{a} .. {b}")),
        (number.clone(), number.clone()).prop_map(|(a, b)| format!("{a}+-{b} (measured)")),
        (word.clone(), number.clone()).prop_map(|(a, b)| format!("{a} + {b}")),
        number.clone().prop_map(|n| format!("at most {n}")),
        number.clone().prop_map(|n| format!("L1 {n}, L2 ?")),
        (word.clone(), word.clone()).prop_map(|(a, b)| format!("({a}|\n {b}), {a}")),
        (number.clone(), number).prop_map(|(a, b)| format!("{a} |  # why\n\n  {b}")),
    ];
    let end = proptest::sample::select(vec![
        "\n",
        "\n\n",
        "\n\n\n",
        " # c\n",
        "\r\n",
        "\n  # own line\n",
    ]);
    let fact = (word.clone(), blank, leaf, end.clone())
        .prop_map(|(k, b, v, e)| format!("{k}{b}:{b}{v}{e}"));
    let entry = fact.prop_recursive(3, 24, 4, move |inner| {
        let open = proptest::sample::select(vec!["{", "{ ", "{\n", "{ # c\n"]);
        let entries = proptest::collection::vec(inner, 0..4).prop_map(|v| v.concat());
        prop_oneof![
            (
                word.clone(),
                word.clone(),
                open.clone(),
                entries.clone(),
                end.clone()
            )
                .prop_map(|(k, n, o, e, z)| format!("{k} {n} {o}{e}}}{z}")),
            (word.clone(), word.clone(), open, entries, end.clone())
                .prop_map(|(k, n, o, e, z)| format!("{k}: {n} {o}{e}}}{z}")),
        ]
    });
    proptest::collection::vec(entry, 0..5).prop_map(|v| format!("x {{\n{}}}\n", v.concat()))
}

fn check_places(text: &str) {
    let parsed = parse(FILE, text);
    for problem in &parsed.problems {
        assert!(!problem.labels.is_empty() || problem.code == "more-mistakes");
        for label in &problem.labels {
            assert!(
                text.get(label.span.from()..label.span.until()).is_some(),
                "{} of {text:?}",
                problem.code
            );
        }
    }
    if parsed.is_sound() {
        let once = format(text).expect("a sound file can be formatted");
        assert_eq!(format(&once).expect("and again"), once, "of {text:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_text_is_read_without_panic(text in "\\PC{0,200}") {
        check_places(&text);
    }

    #[test]
    fn any_row_of_fragments_is_read_without_panic(text in fragments()) {
        check_places(&text);
    }

    #[test]
    fn a_mutated_file_is_read_without_panic(
        pick in any::<proptest::sample::Index>(),
        edits in proptest::collection::vec((any::<proptest::sample::Index>(), 0usize..6, fragments()), 1..4),
    ) {
        let files: Vec<_> = corpus("sound").into_iter().chain(corpus("faults")).collect();
        let mut text = files[pick.index(files.len())].1.clone();
        for (at, cut, add) in edits {
            let mut at = at.index(text.len() + 1);
            while !text.is_char_boundary(at) { at -= 1; }
            let mut end = (at + cut).min(text.len());
            while !text.is_char_boundary(end) { end += 1; }
            text.replace_range(at..end, &add);
        }
        check_places(&text);
    }

    #[test]
    fn formatting_keeps_the_tree_and_is_idempotent(text in sound_texts()) {
        let parsed = parse(FILE, &text);
        prop_assert!(parsed.is_sound(), "{}", shown(&text, &parsed.problems));
        let once = format(&text).map_err(|p| TestCaseError::fail(format!("{p:?}")))?;
        prop_assert_eq!(parse(FILE, &once).tree.outline(), parsed.tree.outline());
        prop_assert_eq!(format(&once).map_err(|p| TestCaseError::fail(format!("{p:?}")))?, once);
    }

    #[test]
    fn a_mistake_in_one_block_leaves_its_neighbours(junk in "[a-z0-9=;,|<>*+/ .-]{1,20}") {
        let text = format!("a {{ k: 1 A }}\nb {{\n  {junk}\n}}\nc {{ k: 2 A }}\n");
        let outline = parse(FILE, &text).tree.outline();
        prop_assert!(outline.starts_with("(block a k: 1_A)\n"), "{}", outline);
        prop_assert!(outline.ends_with("(block c k: 2_A)\n"), "{}", outline);
    }
}

/// What stands behind `by-turn` is missing: that is told, in one mistake wherever the next key stands.
#[test]
fn values_are_missing_behind_by_turn() {
    for text in [
        "circuit b {\n  lines: by-turn\n  device: ? }",
        "circuit b { lines: by-turn  device: ? }",
        "circuit b { lines: by-turn device: rcbo B40 }",
    ] {
        let problems = parse(FILE, text).problems;
        for p in &problems {
            assert_eq!(p.code, "wrong-value", "{text}: {p:?}");
            assert!(
                p.help.iter().any(|h| h.contains("by-turn L1, L2, L3")),
                "{p:?}"
            );
        }
        assert!(problems.len() <= 1, "{text}: {problems:?}");
    }
}
