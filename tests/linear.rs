//! The work of reading a design grows with its length and no faster, whatever stands in it.
//!
//! The parser can count its steps, by a limit for the whole process: so these tests have a
//! process of their own.

use std::num::NonZeroUsize;

use amperule::design::parse::{parse, parse_value};
use amperule::source::{FileId, Problem};

/// The most steps for each byte; the costliest pair of signs takes about a hundred.
const STEPS: usize = 200;

/// What a line may be made of: each sign and keyword of the grammar, and what looks like one.
const TOKENS: [&str; 64] = [
    "a",
    "b1",
    "L1",
    "N",
    "x:",
    "y :",
    "{",
    "}",
    "(",
    ")",
    "[",
    "]",
    "1",
    "1.5",
    "-2",
    "1,5",
    ".5",
    "3 ft",
    "6 in",
    "5 kA",
    "5Gohm",
    "1/0 AWG",
    "2020-01-02",
    "?",
    "|",
    "||",
    ",",
    ";",
    "=",
    ":=",
    "==",
    ":",
    "..",
    "...",
    ".",
    "±",
    "+-",
    "+",
    "-",
    "–",
    "*",
    "/",
    "<",
    "<=",
    "at most",
    "at least",
    "\"",
    "\"t\"",
    "'",
    "'t'",
    "“",
    "”",
    "«",
    "#",
    "# c\n",
    "\n",
    " ",
    "\t",
    "use",
    "define",
    "no",
    "departure from",
    "by-turn",
    "all",
];

/// A small generator of numbers, the same on each machine.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % sides
    }

    /// Some tokens, with blanks between some of them.
    fn piece(&mut self, most: usize) -> String {
        let mut out = String::new();
        for _ in 0..=self.roll(most) {
            out.push_str(TOKENS[self.roll(TOKENS.len())]);
            out.push_str(["", " ", " ", "\n"][self.roll(4)]);
        }
        out
    }
}

/// Reads a text as a file and as a value within its share of steps.
fn is_read(text: &str) {
    pest::set_call_limit(NonZeroUsize::new(STEPS * text.len().max(100)));
    let file = parse(FileId(0), text).problems;
    let value = parse_value(FileId(0), text, 0).1;
    let given_up = |p: &Problem| p.code == "text-too-complex";
    let seed: String = text.chars().take(60).collect();
    assert!(!file.iter().any(given_up), "{seed:?} …");
    assert!(!value.iter().any(given_up), "{seed:?} …");
}

#[test]
fn the_work_grows_with_the_length() {
    // Each token alone and each pair, over and over.
    for a in TOKENS {
        for b in TOKENS.iter().copied().chain([""]) {
            for blank in ["", " "] {
                let piece = format!("{a}{blank}{b}{blank}");
                is_read(&piece.repeat(1_000 / piece.len()));
            }
        }
    }
    let mut dice = Dice(7);
    for round in 0..800 {
        // Now and then a long one: what grows faster than the length shows there.
        let length = if round % 40 == 0 { 60_000 } else { 6_000 };
        // A piece over and over, before and behind others that stand once.
        let (first, piece, last) = (dice.piece(8), dice.piece(8), dice.piece(8));
        is_read(&format!(
            "{first}{}{last}",
            piece.repeat(length / piece.len().max(1))
        ));
        // And nothing twice.
        let mut text = String::new();
        while text.len() < length {
            text.push_str(&dice.piece(8));
        }
        is_read(&text);
    }
    // Rows that go on in a calculation: what they hold is no block, as they might be none themselves.
    for calculation in [
        "0h/ nm",
        "2 * a",
        "2 m + (b",
        "3 A .. c",
        "3 A ± d",
        "1 A - e[2].f",
    ] {
        for around in [
            ["m n ", "{"],
            ["m n: ", "{"],
            ["m ", " {{"],
            ["m n ", "| {"],
        ] {
            let line = format!("{}{calculation} {}\n", around[0], around[1]);
            is_read(&line.repeat(40));
        }
    }
    // The count is no formality.
    pest::set_call_limit(NonZeroUsize::new(10));
    let problems = parse(FileId(0), "a { x: 1 A }").problems;
    assert_eq!(problems.first().expect("given up").code, "text-too-complex");
}
