//! The promises that the fuzz targets try by the million, tried here on each design and ruleset in
//! the project and on some thousand inputs made from them. How to try more: DEVELOPERS.md.

#![expect(
    clippy::indexing_slicing,
    clippy::expect_used,
    reason = "a test stops where a text of its own is not as it says"
)]

use std::fs;
use std::path::Path;

#[path = "fuzz/invariants.rs"]
mod invariants;

use invariants::{
    DESIGNS, Invariant, LAB, a_row_is_judged_as_its_design, any_expression_is_typed_or_refused,
    any_ruleset_loads_or_says_why, any_text_is_judged_twice_alike, compared, edited,
    every_answer_ends, layout_keeps_what_is_said, loads, requiring,
};

/// A generator whose inputs are the same on every machine (SplitMix64).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() % end.max(1) as u64).expect("below a usize")
    }

    fn bytes(&mut self, count: usize) -> Vec<u8> {
        (0..count).map(|_| self.next().to_le_bytes()[0]).collect()
    }

    /// Cuts, doubles and swaps stretches of a text, at bytes: what comes out need not be UTF-8.
    fn mangled(&mut self, seed: &str) -> Vec<u8> {
        let mut bytes = seed.as_bytes().to_vec();
        for _ in 0..=self.below(6) {
            let (a, b) = (self.below(bytes.len()), self.below(bytes.len()));
            let (a, b) = (a.min(b), a.max(b).min(a.min(b) + 40));
            match self.below(4) {
                0 => drop(bytes.drain(a..b)),
                1 => {
                    let piece = bytes[a..b].to_vec();
                    let at = self.below(bytes.len());
                    bytes.splice(at..at, piece);
                }
                2 => {
                    let sign = b"{}()[]:,.|?-+*/<>=\"'#\\ \n0123456789";
                    let sign = sign[self.below(sign.len())];
                    bytes.insert(a, sign);
                }
                _ => {
                    let byte = self.bytes(1)[0];
                    bytes.splice(a..b.min(a + 2), [byte]);
                }
            }
        }
        bytes
    }
}

/// Seeds as they are, then mangled.
fn holds(invariant: Invariant, seeds: &[String], each: usize) {
    let mut random = Random(20_261_129);
    for seed in seeds {
        invariant(seed.as_bytes());
        for _ in 0..each {
            invariant(&random.mangled(seed));
        }
    }
}

fn designs() -> Vec<String> {
    DESIGNS.iter().map(|d| (*d).to_owned()).collect()
}

/// Texts that a fuzz target found: a letter that is read as one of another length, in words.
const FOUND: [&str; 3] = [
    ",2,supply ly as \u{3a9}\u{2009}3as \u{3a9} P 3e",
    "supply s { x: 1 A \u{2126}a b: 2 A  \u{2126}\u{2126} c: ?  by-turn \u{2126}\u{3a9}: 1 }",
    "board \u{3a9} as \u{2126}\u{a0}\u{b5} \u{3bc} { }\n\u{2126} \u{3a9}: ?\n",
];

#[test]
fn what_was_found_is_read() {
    for text in FOUND {
        any_text_is_judged_twice_alike(text.as_bytes());
        layout_keeps_what_is_said(text.as_bytes());
    }
}

#[test]
fn texts() {
    holds(any_text_is_judged_twice_alike, &designs(), 60);
}

#[test]
fn layouts() {
    holds(layout_keeps_what_is_said, &designs(), 60);
}

/// Of edits that keep the grammar, most are laid out and judged; else this tries little.
#[test]
fn answers() {
    let mut random = Random(1);
    let mut sound = 0;
    for _ in 0..60 {
        let data = random.bytes(64);
        every_answer_ends(&data);
        layout_keeps_what_is_said(edited(&data).as_bytes());
        let text = edited(&data);
        sound += usize::from(amperule::design::format::format(&text).is_ok());
    }
    assert!(sound > 20, "only {sound} of 60 edits are well-formed");
}

#[test]
fn rulesets() {
    let mut seeds = vec![LAB.to_owned()];
    let core = Path::new(env!("CARGO_MANIFEST_DIR")).join("rulesets/us");
    for entry in fs::read_dir(core).expect("the rulesets") {
        let path = entry.expect("a file").path();
        if path.extension().is_some_and(|e| e == "yaml") {
            seeds.push(fs::read_to_string(path).expect("a ruleset"));
        }
    }
    assert!(seeds.len() > 3);
    assert!(loads(LAB), "what edits start from is a ruleset");
    holds(any_ruleset_loads_or_says_why, &seeds[..1], 400);
    holds(any_ruleset_loads_or_says_why, &seeds[1..], 20);
}

#[test]
fn expressions() {
    let seeds = [
        "x <= 16 A and (y > 2 mm² or sort == red)",
        "(if on then x + 2 A else max(x, 1 A) * 3) <= 30 A",
        "x is written and sort among {red, green}",
        "x <= (rating[y, sort] else 1 A) * 2",
        "not (x / 2 > 1 A) and z == 2 * x",
    ];
    let seeds = seeds.map(str::to_owned);
    for seed in &seeds {
        assert!(loads(&requiring(seed)), "edits start from sense: {seed}");
    }
    holds(any_expression_is_typed_or_refused, &seeds, 300);
}

#[test]
fn rows() {
    let seeds = [
        "18 m",
        "18",
        "1 m .. 30 m",
        "60 ft",
        "18 m | 40 m",
        "?",
        "1E+01",
        " 12 m ",
    ];
    let seeds = seeds.map(str::to_owned);
    for cell in ["18 m", "1 m .. 30 m", "60 ft"] {
        assert!(compared(cell), "{cell}");
    }
    holds(a_row_is_judged_as_its_design, &seeds, 6);
}
