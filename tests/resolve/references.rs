//! References, nesting, names that mean something.

use super::*;

#[test]
fn references_lead_to_blocks_of_a_fitting_kind() {
    let design = sound(
        "load-limiter lim { members: all charge-point\n guards: supply, main }\ncharge-point two { circuit: shower }\n",
    );
    assert_eq!(
        value(&design, "lim", "members"),
        Possible::List(vec![
            Possible::Object(object(&design, "two")),
            Possible::Object(object(&design, "wall"))
        ])
    );
    assert_eq!(
        value(&design, "lim", "guards"),
        Possible::List(vec![
            Possible::Object(object(&design, "supply")),
            Possible::Object(object(&design, "main"))
        ])
    );
    let design = sound("circuit a { }\ncircuit b { }\ncharge-point x { circuit: a | b }\n");
    assert_eq!(
        value(&design, "x", "circuit"),
        Possible::OneOf(vec![
            Possible::Object(object(&design, "a")),
            Possible::Object(object(&design, "b"))
        ])
    );
    assert_eq!(
        problems("charge-point x { circuit: shwer }\n"),
        [
            "error unknown-name: there is no circuit called `shwer` | shwer | =did you mean `shower`?"
        ]
    );
    assert_eq!(
        problems("charge-point x { circuit: main }\n"),
        [
            "error wrong-kind: `main` is a board, and a circuit is asked for | main | board main <- written here | =write the name of a circuit, such as `shower`"
        ]
    );
    assert_eq!(
        problems("charge-point x { circuit: \"shower\" }\n"),
        [
            "error wrong-type: `circuit` takes a name, and this is a text | \"shower\" | =leave out the quotes: `circuit: shower`"
        ]
    );
    assert_eq!(
        problems("charge-point x { circuit: 3 }\n"),
        [
            "error wrong-type: `circuit` takes the name of a circuit, and `3` is a number | 3 | =write for example `circuit: shower`"
        ]
    );
    assert_eq!(
        problems("charge-point x { circuit: shower, shower }\n"),
        [
            "error one-reference: `circuit` takes one name, and this is several | shower, shower | =write one name, or alternatives with `|`"
        ]
    );
    assert_eq!(
        problems("load-limiter lim { members: all circuit }\n"),
        [
            "error wrong-kind: each name in `members` is that of a charge-point, and a circuit is none | circuit | =write for example `all charge-point`"
        ]
    );
    assert_eq!(
        problems("load-limiter lim { members: wall, wall }\n"),
        [
            "error name-twice: `members` names the same block twice | wall, wall | =leave one of them out"
        ]
    );
    assert_eq!(
        problems("load-limiter lim { members: all chargepoint }\n"),
        [
            "error unknown-kind: there is no kind called `chargepoint` | chargepoint <- expected the name of a kind, such as `charge-point` | =did you mean `charge-point`?"
        ]
    );
}

#[test]
fn an_ambiguous_name_lists_what_it_could_be() {
    assert_eq!(
        problems(
            "board a { circuit ev { } }\nboard b { circuit ev { } }\ncharge-point x { circuit: ev }\n"
        ),
        [
            "error ambiguous-name: `ev` is the name of 2 blocks | ev <- which one is meant? | circuit ev <- this circuit | circuit ev <- this circuit | =write `a.ev` or `b.ev`"
        ]
    );
    let design = sound(
        "board a { circuit ev { } }\nboard b { circuit ev { } }\ncharge-point x { circuit: \"b.ev\" }\n",
    );
    let Possible::Object(ev) = value(&design, "x", "circuit") else {
        panic!("it leads to an object");
    };
    assert_eq!(
        design.object(ev).facts[0].as_ref().map(|w| &w.value),
        Some(&Possible::Object(object(&design, "b")))
    );
    sound(
        "board a[1..2] { circuit ev { load { power: 2 kW } } }\ncharge-point x { circuit: \"a[2].ev\" }\n",
    );
}

/// Blocks of two kinds may have one name: the kind ahead of it tells them apart.
#[test]
fn a_kind_ahead_of_a_name_tells_like_names_apart() {
    let both = "board a { circuit bay { } }\nboard bay { fed-from: a }\n";
    assert_eq!(
        problems(&format!("{both}board x {{ fed-from: bay }}\n")),
        [
            "error ambiguous-name: `bay` is the name of 2 blocks | bay <- which one is meant? | circuit bay <- this circuit | board bay <- this board | =write `circuit.bay` or `board.bay`"
        ]
    );
    let design = sound(&format!("{both}board x {{ fed-from: circuit.bay }}\n"));
    let Possible::Object(of) = value(&design, "x", "fed-from") else {
        panic!("it leads to an object");
    };
    let other = sound(&format!("{both}board x {{ fed-from: board.bay }}\n"));
    assert_ne!(value(&other, "x", "fed-from"), Possible::Object(of));
    assert!(
        problems(&format!("{both}board x {{ fed-from: supply.bay }}\n"))[0]
            .contains("unknown-name")
    );
}

/// The name of a block with those around it, without quotes.
#[test]
fn a_name_may_say_where_its_block_stands() {
    let boards = "board a[1..2] { circuit ev { load { power: 2 kW } } }\nboard b { circuit ev { }\n circuit bay[1..2] { } }\n";
    let leads = |name: &str| {
        let design = sound(&format!("{boards}charge-point x {{ circuit: {name} }}\n"));
        let value = value(&design, "x", "circuit");
        let all = match value {
            Possible::OneOf(all) => all,
            one => vec![one],
        };
        let mut found = Vec::new();
        for one in all {
            let Possible::Object(id) = one else {
                panic!("`{name}` leads to no object");
            };
            let circuit = design.object(id);
            let Some(Possible::Object(board)) = circuit.facts[0].as_ref().map(|w| &w.value) else {
                panic!("the circuit stands in a board");
            };
            found.push(format!(
                "{} in {}",
                circuit.name,
                design.object(*board).name
            ));
        }
        found
    };
    assert_eq!(leads("b.ev"), ["ev in b"]);
    assert_eq!(leads("a[2].ev"), ["ev in a[2]"]);
    assert_eq!(leads("b.bay[2]"), ["bay[2] in b"]);
    assert_eq!(leads("a[1].ev | b.ev"), ["ev in a[1]", "ev in b"]);
    assert_eq!(leads("\"b.ev\""), ["ev in b"]);
    assert_eq!(
        problems(&format!("{boards}charge-point x {{ circuit: b.evv }}\n")),
        [
            "error unknown-name: there is no circuit called `b.evv` | b.evv | =the names here are `ev`, `ev`, `ev`, `bay[1]`, `bay[2]` and `shower`"
        ]
    );
    // In the subject of a departure, too.
    let design = sound(&format!(
        "{boards}departure from r {{ for: b.ev  reason: \"r\"  agreed-by: \"o\" }}\n"
    ));
    let [departure] = design.departures.as_slice() else {
        panic!("one departure");
    };
    let subject = departure.subject.as_ref().expect("it names one");
    assert_eq!(design.object(subject.value).name, "ev");
}

#[test]
fn standing_inside_sets_the_reference() {
    let design = sound("board yard { fed-from: main\n circuit gate { fed-from: yard } }\n");
    let yard = object(&design, "yard");
    assert_eq!(value(&design, "gate", "fed-from"), Possible::Object(yard));
    assert_eq!(
        problems("board yard { fed-from: supply\n circuit gate { fed-from: main } }\n"),
        [
            "error fact-set-twice: `fed-from` is already set to something else by where the block stands | main | circuit gate <- set by this | =leave it out, or move the block"
        ]
    );
    assert_eq!(
        problems("circuit c { charge-point x { } }\n"),
        [
            "error misplaced-block: a charge-point cannot stand inside a circuit | charge-point | circuit c <- the block around it | =move it out, to the outermost level of the file"
        ]
    );
    assert_eq!(
        problems("supply second { circuit c { } }\n"),
        [
            "error misplaced-block: a circuit cannot stand inside a supply | circuit | supply second <- the block around it | =move it into `board`, or out to the outermost level of the file"
        ]
    );
}

#[test]
fn the_feed_has_no_loop() {
    assert_eq!(
        problems("board a { fed-from: b }\nboard b { fed-from: a }\n"),
        [
            "error circular-feed: `b` and `a` feed each other in a circle | b <- says what feeds `a` | a <- says what feeds `b` | =let one of them be fed from the supply, or from another board"
        ]
    );
    assert_eq!(
        problems("board a { fed-from: a }\n"),
        [
            "error circular-feed: `a` feeds itself | a <- says what feeds `a` | =let one of them be fed from the supply, or from another board"
        ]
    );
    let resolved =
        read("board a { fed-from: b }\nboard b { fed-from: c }\nboard c { fed-from: a }\n");
    let poisoned = ["a", "b", "c"]
        .into_iter()
        .filter(|name| value(&resolved.design, name, "fed-from") == Possible::Poison)
        .count();
    assert_eq!(
        poisoned, 1,
        "one reference breaks the loop, the others stay"
    );
}

#[test]
fn a_name_may_be_a_word_or_a_reference() {
    let design = sound("bond water { }\nreadings shower { trip-time: 24 ms }\n");
    assert_eq!(
        value(&design, "water", "is"),
        Possible::Words(WordSet::from_bits(1))
    );
    assert_eq!(
        value(&design, "readings shower", "of"),
        Possible::Object(object(&design, "shower"))
    );
    assert_eq!(
        problems("bond watr { }\n"),
        [
            "error unknown-word: there is no bond called `watr` | watr <- expected one of `water`, `gas` or `other` | =did you mean `water`?"
        ]
    );
    assert_eq!(
        problems("bond water { is: gas }\n"),
        [
            "error fact-set-twice: `is` is already set to something else by the name of the block | gas | water <- set by this | =leave it out, or correct the name"
        ]
    );
    assert_eq!(
        problems("readings showr { }\n"),
        [
            "error unknown-name: there is no circuit called `showr` | showr | =did you mean `shower`?"
        ]
    );
}
