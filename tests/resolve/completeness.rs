//! Status, completeness, evidence, departures, phantoms.

use super::*;

#[test]
fn status_is_inherited() {
    let design = sound(
        "board yard { status: existing\n circuit a { }\n circuit b { status: altered\n device: rcbo { } } }\n",
    );
    let status = |name| design.object(object(&design, name)).status;
    assert_eq!(status("a"), Status::Existing);
    assert_eq!(status("b"), Status::Altered);
    assert_eq!(status("device of b"), Status::Altered);
    assert_eq!(status("main"), Status::New);
    // What stands in a thing that the works alter is old, unless it says otherwise.
    let design = sound(
        "board yard { status: altered\n circuit a { }\n circuit b { status: new }\n main-switch: mcb { } }\n",
    );
    let status = |name| design.object(object(&design, name)).status;
    assert_eq!(status("a"), Status::Existing);
    assert_eq!(status("b"), Status::New);
    assert_eq!(status("main-switch of yard"), Status::Altered);
    assert_eq!(
        problems("board yard { status: exsting }\n"),
        [
            "error wrong-status: `status` takes one of `new`, `existing`, `altered` or `to-go` | exsting | =did you mean `existing`?"
        ]
    );
    assert_eq!(
        problems("board yard { status: ? }\n"),
        [
            "error wrong-status: `status` takes one of `new`, `existing`, `altered` or `to-go` | ? | =what stands there already is `existing`, seen or not"
        ]
    );
    assert_eq!(
        problems("board yard { status: new\n status: existing }\n"),
        [
            "error duplicate-fact: `status` is written twice | status <- again | status <- first here | =leave one of them out"
        ]
    );
}

#[test]
fn collections_are_closed_by_what_is_written() {
    let design = sound("no bond\nboard yard { all-listed: circuit, load\n no charge-point }\n");
    let vocabulary = vocabulary();
    let kind = |name| vocabulary.kind_named(name).expect("a kind");
    assert_eq!(design.closed, [kind("bond")]);
    assert_eq!(
        design.object(object(&design, "yard")).closed,
        [kind("charge-point"), kind("circuit"), kind("load")]
    );
    assert_eq!(
        problems("board yard { all-listed: circuits }\n"),
        [
            "error unknown-kind: there is no kind called `circuits` | circuits <- expected the name of a kind, such as `circuit` | =write `circuit`"
        ]
    );
    assert_eq!(
        problems("no bonds\n"),
        [
            "error unknown-kind: there is no kind called `bonds` | bonds <- expected the name of a kind, such as `circuit` | =did you mean `bond`?"
        ]
    );
    assert_eq!(
        problems("board yard { all-listed: 3 }\n"),
        [
            "error wrong-type: `all-listed` takes names of kinds | 3 | =write for example `all-listed: circuit, load`"
        ]
    );
}

#[test]
fn every_block_may_say_what_shows_it() {
    let design = sound("board yard { evidence: \"photo 12\" }\n");
    let yard = design.object(object(&design, "yard"));
    assert_eq!(
        yard.evidence.as_ref().map(|t| t.value.as_str()),
        Some("photo 12")
    );
}

#[test]
fn departures_are_recorded() {
    let design = sound(
        "departure from gb-bond-near-entry { for: shower\n reason: \"no room\"\n agreed-by: \"designer\"\n until: 2027-03-31 }\n",
    );
    let departure = &design.departures[0];
    assert_eq!(departure.rule.value, "gb-bond-near-entry");
    assert_eq!(
        departure.subject.as_ref().map(|s| s.value),
        Some(object(&design, "shower"))
    );
    assert_eq!(
        departure.until.as_ref().map(|u| u.value),
        days_from_civil(2027, 3, 31)
    );
    assert_eq!(design.newest_date, None, "its last day lies in the future");
    assert_eq!(
        problems("departure from r { }\n"),
        [
            "error incomplete-departure: this departure from `r` does not say who agreed | departure | =add `agreed-by: \"…\"`",
            "error incomplete-departure: this departure from `r` does not give its reason | r | =add `reason: \"…\"`"
        ]
    );
    assert_eq!(
        problems("departure from r { for: showr\n reason: \"x\"\n agreed-by: \"y\" }\n"),
        ["error unknown-name: there is no block called `showr` | showr | =did you mean `shower`?"]
    );
    assert_eq!(
        problems(
            "departure from r { raison: \"x\"\n reason: \"x\"\n agreed-by: \"y\"\n until: soon }\n"
        ),
        [
            "error unknown-fact: a departure has no fact called `raison` | raison <- expected `for`, `reason`, `agreed-by`, `until` or `as-found { … }` | =did you mean `reason`?",
            "error wrong-type: `until` takes a date | soon | =write the last day, as in `until: 2027-03-31`"
        ]
    );
}

#[test]
fn a_departure_with_a_wrong_subject_covers_nothing() {
    let resolved =
        read("departure from r { for: nothing-here\n reason: \"x\"\n agreed-by: \"y\" }");
    assert!(resolved.problems.iter().any(Problem::is_error));
    assert!(resolved.design.departures.is_empty());
}

#[test]
fn what_must_exist_is_judged_even_if_unwritten() {
    let design = read("supply { earthing: TT }").design;
    let phantoms: Vec<_> = design
        .objects
        .iter()
        .filter(|o| o.phantom)
        .map(|o| o.name.as_str())
        .collect();
    assert_eq!(
        phantoms,
        ["installation", "board", "circuit", "charge-point"]
    );
    let to = |name: &str| Possible::Object(object(&design, name));
    assert_eq!(value(&design, "board", "fed-from"), to("supply"));
    assert_eq!(value(&design, "circuit", "fed-from"), to("board"));
    assert_eq!(value(&design, "charge-point", "circuit"), to("circuit"));
}

#[test]
fn a_phantom_with_two_possible_parents_has_an_unknown_one() {
    let design = read("supply { }\nboard a { }\nboard b { }").design;
    assert_eq!(value(&design, "circuit", "fed-from"), Possible::Unknown);
}

#[test]
fn what_is_said_not_to_exist_has_no_phantom() {
    let count = |text: &str| {
        read(text)
            .design
            .objects
            .iter()
            .filter(|o| o.phantom && o.name == "circuit")
            .count()
    };
    assert_eq!(count("board main { }"), 1);
    assert_eq!(count("no circuit\nboard main { }"), 0);
    assert_eq!(count("board main { all-listed: circuit }"), 0);
    assert_eq!(
        count("board main { all-listed: circuit }\nboard yard { }"),
        1
    );
}
