//! Kinds, keys, names, and several statements of one fact.

use super::*;

#[test]
fn unknown_kinds_and_facts_say_what_was_meant() {
    assert_eq!(
        problems("bord yard { fed-from: supply }\n"),
        [
            "error unknown-kind: there is no kind of block called `bord` | bord | =did you mean `board`?"
        ]
    );
    assert_eq!(
        problems("board yard { fedfrom: supply }\n"),
        [
            "error unknown-fact: a board has no fact called `fedfrom` | fedfrom | =did you mean `fed-from`?"
        ]
    );
    assert_eq!(
        problems("board yard { Ze: 0.3 ohm }\n"),
        ["error unknown-fact: a board has no fact called `Ze` | Ze | =`Ze` is a fact of `supply`"]
    );
    assert_eq!(
        problems("board yard { quite-else: 3 }\n"),
        [
            "error unknown-fact: a board has no fact called `quite-else` | quite-else | =its facts are `fed-from` and `main-switch`"
        ]
    );
    assert_eq!(
        problems("node x { }\n"),
        [
            "error abstract-kind: `node` stands for several kinds of things | node <- which one is it? | =write one of `supply`, `board` or `circuit`"
        ]
    );
    assert_eq!(
        problems("rcbo { In: 32 A }\n"),
        [
            "error part-on-its-own: a device is never a block of its own | rcbo | =write it where it belongs, such as `main-switch: rcbo { … }` in a board"
        ]
    );
    assert_eq!(
        problems("device spare { In: 32 A }\n"),
        [
            "error part-on-its-own: a device is never a block of its own | device | =write it where it belongs, such as `main-switch: device { … }` in a board"
        ]
    );
}

#[test]
fn a_key_with_a_slip_spoils_the_fact_it_means() {
    let resolved = read("supply { Zee: 0.3 ohm }");
    assert!(resolved.problems.iter().any(Problem::is_error));
    assert_eq!(value(&resolved.design, "supply", "Ze"), Possible::Poison);
}

#[test]
fn a_name_of_a_block_that_cannot_be_read_is_not_reported_again() {
    let lines = problems("crcuit garage { }\ncharge-point drive { circuit: garage }\n");
    assert_eq!(lines.len(), 1, "{lines:?}");
    let resolved = read("bord yard { circuit ev { } }\ncharge-point drive { circuit: ev }");
    assert_eq!(resolved.problems.len(), 1);
    assert_eq!(value(&resolved.design, "ev", "fed-from"), Possible::Poison);
    assert!(matches!(
        value(&resolved.design, "drive", "circuit"),
        Possible::Object(_)
    ));
}

#[test]
fn derived_and_collected_facts_cannot_be_written() {
    assert_eq!(
        problems("circuit c { Zs: 0.4 ohm }\n"),
        [
            "error derived-fact: `Zs` is worked out from other facts and cannot be written | Zs | =leave the line out"
        ]
    );
    assert_eq!(
        problems("board yard { circuits: shower }\n"),
        [
            "error derived-fact: `circuits` is collected from what refers to this block | circuits | =write `fed-from:` in each `circuit` instead"
        ]
    );
}

#[test]
fn names_are_unique_within_their_kind_and_block() {
    assert_eq!(
        problems("circuit ev { }\ncircuit ev { }\n"),
        [
            "error duplicate-name: the circuit `ev` is written twice | circuit ev <- again | circuit ev <- first here | =give one of them another name"
        ]
    );
    assert_eq!(
        problems("supply { earthing: TT }\n"),
        [
            "error duplicate-name: there are two blocks `supply` without a name | supply <- again | supply <- first here | =name them, as in `supply first { … }`"
        ]
    );
    sound("board a { circuit ev { } }\nboard b { circuit ev { } }\n");
    sound("readings shower { }\nreadings { }\nreadings { }\nbond other { }\nbond other { }\n");
}

#[test]
fn one_fact_is_stated_once_for_each_origin() {
    assert_eq!(
        supply_problems("Ze: 0.3 ohm\n Ze: 0.4 ohm"),
        [
            "error duplicate-fact: `Ze` is written twice | Ze: 0.4 ohm <- again | Ze: 0.3 ohm <- first here | =leave one of them out, or say where each comes from, as in `(measured)` and `(declared)`"
        ]
    );
    let design =
        sound("supply second { Ze: 0.3 ohm (measured)\n Ze: at most 0.35 ohm (declared) }\n");
    let written = fact(&design, "second", "Ze").expect("written");
    assert_eq!(
        written.value,
        Possible::OneOf(vec![point(0.3), Possible::Number(Interval::new(0.0, 0.35))])
    );
    assert_eq!(written.origin, None);
    assert_eq!(
        supply_problems("Ze: 0.3 ohm (measured)\n Ze: 0.8 ohm (declared)"),
        [
            "caution statements-disagree: two statements of `Ze` cannot both hold | 0.8 ohm (declared) | 0.3 ohm (measured) <- the other one | =every verdict must then hold for both; leave out the one that is wrong"
        ]
    );
    assert_eq!(
        supply_problems("earthing: TT (by-enquiry)\n earthing: TN-S (measured)"),
        [
            "caution statements-disagree: two statements of `earthing` cannot both hold | TN-S (measured) | TT (by-enquiry) <- the other one | =every verdict must then hold for both; leave out the one that is wrong"
        ]
    );
}

#[test]
fn origins_travel_with_the_value() {
    let design = sound(
        "supply second { Ze: 0.3 ohm (measured)\n Ipf: 900 A (measured) | 1 kA (assumed)\n earthing: TT | TN-S (declared) }\n",
    );
    let origin = |key| fact(&design, "second", key).and_then(|w| w.origin);
    assert_eq!(origin("Ze"), Some(Origin::Measured));
    assert_eq!(origin("Ipf"), Some(Origin::Assumed));
    assert_eq!(origin("earthing"), Some(Origin::Declared));
}
