//! Words, texts, yes or no, dates.

use super::*;

#[test]
fn words_are_matched_as_they_are_written() {
    assert_eq!(
        cable_fact("method", "C"),
        Possible::Words(WordSet::from_bits(0b100))
    );
    assert_eq!(
        cable_fact("method", "100"),
        Possible::Words(WordSet::from_bits(0b1000))
    );
    assert_eq!(
        cable_fact("method", "A | 101"),
        Possible::Words(WordSet::from_bits(0b1_0001))
    );
    assert_eq!(
        cable_problems("method: E"),
        [
            "error unknown-word: `method` cannot be `E` | E <- expected one of `A`, `B`, `C`, `100` or `101`"
        ]
    );
    assert_eq!(
        cable_problems("method: 104"),
        [
            "error unknown-word: `method` cannot be `104` | 104 <- expected one of `A`, `B`, `C`, `100` or `101` | =did you mean `100`?"
        ]
    );
    assert_eq!(
        cable_problems("method: \"C\""),
        [
            "error wrong-type: `method` takes a word, and this is a text | \"C\" | =leave out the quotes: `method: C`"
        ]
    );
    let design = sound("circuit c { device: rcbo { rcd-type: A\n delay: none } }\n");
    assert_eq!(
        value(&design, "device of c", "rcd-type"),
        Possible::Words(WordSet::from_bits(0b10))
    );
    assert_eq!(
        value(&design, "device of c", "delay"),
        Possible::Words(WordSet::from_bits(1)),
        "`none` is a word of this choice"
    );
    assert_eq!(
        supply_problems("earthing: TNCS"),
        [
            "error unknown-word: `earthing` cannot be `TNCS` | TNCS <- expected one of `TN-C-S`, `TN-S`, `TT` or `IT` | =did you mean `TN-C-S`?"
        ]
    );
    assert_eq!(
        supply_problems("earthing: none"),
        [
            "error not-optional: `earthing` cannot be `none`: there always is one (what is meant by earthing) | none | =write its value, or `earthing: ?` if it is not known"
        ]
    );
    assert_eq!(
        supply_problems("earthing: 5 m"),
        [
            "error unknown-word: `earthing` cannot be `5 m` | 5 m <- expected one of `TN-C-S`, `TN-S`, `TT` or `IT`"
        ]
    );
}

#[test]
fn an_ordered_choice_takes_ranges() {
    let ip = |written: &str| {
        let design = sound(&format!("charge-point x {{ ip-code: {written} }}\n"));
        value(&design, "x", "ip-code")
    };
    assert_eq!(ip("IP44"), Possible::Words(WordSet::from_bits(0b001)));
    assert_eq!(
        ip("at least IP54"),
        Possible::Words(WordSet::from_bits(0b110))
    );
    assert_eq!(
        ip("IP44 .. IP54"),
        Possible::Words(WordSet::from_bits(0b011))
    );
    assert_eq!(
        problems("charge-point x { ip-code: IP65 .. IP44 }\n"),
        [
            "error reversed-range: the range runs backwards | IP65 .. IP44 | =the order of `ip-code` is IP44, IP54, IP65"
        ]
    );
    assert_eq!(
        problems("charge-point x { ip-code: > IP65 }\n"),
        [
            "error empty-range: no word of `ip-code` lies beyond this one | > IP65 | =its order is IP44, IP54, IP65"
        ]
    );
}

#[test]
fn sets_of_words() {
    let lines = |written: &str| {
        let design = sound(&format!("circuit c {{ lines: {written} }}\n"));
        value(&design, "c", "lines")
    };
    assert_eq!(
        lines("L1, L2"),
        Possible::Members(WordSet::from_bits(0b011))
    );
    assert_eq!(lines("L3"), Possible::Members(WordSet::from_bits(0b100)));
    assert_eq!(
        lines("L1 | L2"),
        Possible::OneOf(vec![
            Possible::Members(WordSet::from_bits(0b001)),
            Possible::Members(WordSet::from_bits(0b010))
        ])
    );
    assert_eq!(
        problems("circuit c { lines: L1, L4 }\n"),
        ["error unknown-word: `lines` cannot be `L4` | L4 <- expected any of `L1`, `L2` and `L3`"]
    );
    assert_eq!(
        problems("circuit c { lines: L1, L1 }\n"),
        ["error word-twice: `L1` is listed twice | L1 | =leave one of them out"]
    );
}

#[test]
fn yes_no_texts_and_dates() {
    let design = sound("supply second { looped: no\n meter-point: M17\n seen-on: 2026-03-01 }\n");
    assert_eq!(value(&design, "second", "looped"), Possible::Truth(false));
    assert_eq!(
        value(&design, "second", "meter-point"),
        Possible::Text("M17".to_owned())
    );
    let day = days_from_civil(2026, 3, 1).expect("a day");
    assert_eq!(value(&design, "second", "seen-on"), Possible::Date(day));
    assert_eq!(design.newest_date, Some(day));
    assert_eq!(
        supply_problems("looped: perhaps"),
        [
            "error wrong-type: `looped` takes `yes` or `no`, and `perhaps` is a word | perhaps | =write for example `looped: yes`"
        ]
    );
    assert_eq!(
        supply_problems("seen-on: \"2026-03-01\""),
        [
            "error wrong-type: `seen-on` takes a date, and this is a text | \"2026-03-01\" | =leave out the quotes: `seen-on: 2026-03-01`"
        ]
    );
    assert_eq!(
        supply_problems("meter-point: ?\n looped: none"),
        [
            "error not-optional: `looped` cannot be `none`: there always is one (what is meant by looped) | none | =write its value, or `looped: ?` if it is not known"
        ]
    );
}
