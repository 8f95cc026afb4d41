//! What a design says shortly: values without keys, marks, other words of the trade, and that
//! each means what the long form means, or is refused.

#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "helpers of tests fail loudly, as tests do"
)]

use crate::common;

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use amperule::design::format::{format, format_by};
use amperule::design::model::Design;
use amperule::design::parse::{parse, parse_value};
use amperule::design::resolve::{Settings, resolve};
use amperule::session::{Loaded, Options};
use amperule::source::{FileId, Span};
use amperule::vocabulary::Vocabulary;

fn options() -> Options {
    Options {
        rules: Some("gb".to_owned()),
        ..Options::default()
    }
}

fn open(text: &str) -> Arc<Loaded> {
    common::open(text, &options())
}

fn vocabulary() -> Vocabulary {
    open("")
        .ruleset
        .clone()
        .expect("gb is there")
        .vocabulary
        .clone()
}

/// All facts of a text, one a line, and the codes and help of what is wrong with it.
fn read(text: &str, v: &Vocabulary) -> (String, Vec<String>) {
    let parsed = parse(FileId(0), text);
    let resolved = resolve(&[&parsed.tree], v, &Settings::default());
    let problems = parsed
        .problems
        .iter()
        .chain(&resolved.problems)
        .filter(|p| p.is_error());
    let problems = problems.map(|p| format!("{}: {} | {}", p.code, p.message, p.help.join(" | ")));
    (facts(&resolved.design, v), problems.collect())
}

fn facts(design: &Design, v: &Vocabulary) -> String {
    let mut out = String::new();
    for id in design.ids().filter(|id| !design.object(*id).phantom) {
        let object = design.object(id);
        let kind = v.kind(object.kind);
        let place = object.owner.map(|o| design.object(o).name.clone());
        writeln!(
            out,
            "{} {} {place:?} {:?} {:?}",
            kind.name, object.name, object.status, object.closed
        )
        .expect("a string");
        for (fact, written) in kind.facts.iter().zip(&object.facts) {
            if let Some(w) = written {
                writeln!(out, "  {}: {:?} {:?}", fact.name, w.value, w.origin).expect("a string");
            }
        }
    }
    out
}

/// The short text says what the long one says, and `--long` writes that.
fn same(short: &str, long: &str) {
    let v = vocabulary();
    let (said, wrong) = read(short, &v);
    assert!(wrong.is_empty(), "{short}\n{wrong:#?}");
    let (meant, wrong) = read(long, &v);
    assert!(wrong.is_empty(), "{long}\n{wrong:#?}");
    assert_eq!(said, meant, "{short}");
    let written = format_by(short, &[], &v, true).unwrap_or_else(|p| panic!("{short}\n{p:#?}"));
    let (again, wrong) = read(&written, &v);
    assert!(wrong.is_empty(), "{written}\n{wrong:#?}");
    assert_eq!(again, said, "{written}");
    assert_eq!(
        format_by(&written, &[], &v, true).expect("sound"),
        written,
        "nothing short is left"
    );
}

/// The text is refused: the one mistake has this code, and names what to write.
fn refused(text: &str, code: &str, names: &[&str]) {
    let (_, wrong) = read(text, &vocabulary());
    let [only] = wrong.as_slice() else {
        panic!("{text}\n{wrong:#?}")
    };
    assert!(only.starts_with(&format!("{code}: ")), "{text}\n{only}");
    for name in names {
        assert!(only.contains(name), "{text}: {name} in {only}");
    }
}

#[test]
fn values_in_the_head_of_a_block_need_no_key() {
    same(
        "bond water 10 mm² metal",
        "bond water { size: 10 mm²  entry: metal }",
    );
    same(
        "board main existing sound { ways-free: 2 }",
        "board main { status: existing  condition: sound  ways-free: 2 }",
    );
    same(
        "board b { circuit ev \"Drive\" new { demand: 5 A } }",
        "board b { circuit ev \"Drive\" { status: new  demand: 5 A } }",
    );
    same(
        "circuit bay[1..3] new { lines: by-turn L1, L2, L3 }",
        "circuit bay[1..3] { status: new  lines: by-turn L1, L2, L3 }",
    );
    same(
        "load oven 7 kW ± 5 % (measured)",
        "load oven { power: 7 kW ± 5 % (measured) }",
    );
    same(
        "bond gas 6 mm² .. 16 mm² # seen in part",
        "bond gas { size: 6 mm² .. 16 mm² }",
    );
}

#[test]
fn what_stands_first_is_a_value_where_its_kind_says_so() {
    same(
        "installation \"Larch\" dwelling { designed-on: 2026-05-12 }",
        "installation \"Larch\" { premises: dwelling  designed-on: 2026-05-12 }",
    );
    same(
        "supply PME 1-phase { U0: 230 V }",
        "supply { earthing: TN-C-S  phases: 1  U0: 230 V }",
    );
    same(
        "supply TT { phases: 3 }",
        "supply { earthing: TT  phases: 3 }",
    );
    same(
        "supply 3-phase TN-S { }",
        "supply { phases: 3  earthing: TN-S }",
    );
    same(
        "supply existing PME { phases: 1 }",
        "supply { status: existing  earthing: TN-C-S  phases: 1 }",
    );
    same(
        "supply north TN-S existing { }",
        "supply north { earthing: TN-S  status: existing }",
    );
    // Elsewhere it is the name, as ever.
    same(
        "charge-point drive outdoors 32 A",
        "charge-point drive { location: outdoors  In: 32 A }",
    );
    for (text, key) in [
        ("charge-point outdoors { mode: 3 }", "location: outdoors"),
        ("circuit new { demand: 5 A }", "status: new"),
        ("board existing sound { }", "status: existing"),
        ("charge-point outside { }", "location: outside"),
    ] {
        refused(text, "name-or-value", &[key, "a name before it"]);
    }
}

#[test]
fn values_of_a_part_need_no_key() {
    let circuit = |device: &str| format!("circuit ev {{ {device} }}");
    for (short, long) in [
        (
            "device: RCBO B32 30 mA type-A 2-pole 6 kA",
            "device: rcbo { curve: B  In: 32 A  IΔn: 30 mA  rcd-type: A  poles: 2  Icn: 6 kA }",
        ),
        (
            "device: rcbo B32 { isolates: yes }",
            "device: rcbo { curve: B  In: 32 A  isolates: yes }",
        ),
        (
            "device: mcb 6 A | rcbo C10",
            "device: mcb { In: 6 A } | rcbo { curve: C  In: 10 A }",
        ),
        (
            "cables: SWA 6 mm² 3-core 18 m clipped",
            "cables: armoured { size: 6 mm²  cores: 3  length: 18 m  method: C }",
        ),
        (
            "cables: twin-and-earth 6 mm² 4 m clipped { guard: cover }, SWA 6 mm² 18 m existing",
            "cables: twin-and-earth { size: 6 mm²  length: 4 m  method: C  guard: cover }, armoured { size: 6 mm²  length: 18 m  status: existing }",
        ),
        (
            "cables: (SWA 6 mm² | SWA 10 mm²), singles 6 mm² 2 m",
            "cables: (armoured { size: 6 mm² } | armoured { size: 10 mm² }), singles { size: 6 mm²  length: 2 m }",
        ),
        (
            "cables: twin-and-earth 6/2.5 mm² PVC  demand: 5 A",
            "cables: twin-and-earth { size: 6 mm²  cpc-size: 2.5 mm²  insulation: PVC }  demand: 5 A",
        ),
    ] {
        same(&circuit(short), &circuit(long));
    }
    same(
        "supply { service-fuse: BS-88-3 80 A  tails: 25 mm² 1.5 m }",
        "supply { service-fuse: fuse { standard: BS-88-3  In: 80 A }  tails: cable { size: 25 mm²  length: 1.5 m } }",
    );
    same(
        "supply { tails: 25 mm² { length: 1.5 m } }",
        "supply { tails: cable { size: 25 mm²  length: 1.5 m } }",
    );
    same(
        "supply { tails: 25 mm² }",
        "supply { tails: cable { size: 25 mm² } }",
    );
    same(
        "board b { main-switch: switch 100 A 2-pole  surge-protection: type-2 { lead: 0.4 m } }",
        "board b { main-switch: switch { In: 100 A  poles: 2 }  surge-protection: spd { type: 2  lead: 0.4 m } }",
    );
}

#[test]
fn what_does_not_say_its_fact_is_refused_with_the_key() {
    let device = |row: &str| format!("circuit ev {{ device: mcb {row} }}");
    let cable = |row: &str| format!("circuit ev {{ cables: SWA {row} }}");
    refused(&device("0.03 A"), "no-key", &["`In`", "IΔn"]);
    refused(&device("6000 A"), "no-key", &["In", "Icn"]);
    refused(&cable("500 mm"), "no-key", &["length"]);
    refused(
        &cable("22 clipped"),
        "no-key",
        &["unit behind the number", "`22 mm²` or `22 m`"],
    );
    refused(&cable("6 mm² 10 mm²"), "duplicate-fact", &["`size`"]);
    refused(
        "bond gas 10 mm² { size: 10 mm² }",
        "duplicate-fact",
        &["`size`"],
    );
    refused("board b new existing { }", "duplicate-fact", &["`status`"]);
    refused(
        &cable("6 mm² 4 m + 2 m"),
        "no-key",
        &["a calculation", "size"],
    );
    refused(&cable("6 mm² ?"), "no-key", &["`?`", "size"]);
    refused(
        "charge-point drive interlocked { }",
        "no-key",
        &["`interlocked:"],
    );
    refused("charge-point drive none { }", "no-key", &["key"]);
    refused(
        "circuit ev sockets { }",
        "no-key",
        &["outlet-kind: sockets"],
    );
    refused("board main other { }", "no-key", &["enclosure: other"]);
    refused(
        "charge-point drive mineral { }",
        "no-key",
        &["says nothing of a charge-point"],
    );
    refused(
        "circuit ev extra { }",
        "no-key",
        &["extra", "`circuit ev-extra {`"],
    );
    refused("position ev outdoors { }", "no-key", &["outdoors"]);
    refused(
        "circuit ev { device: mcb circuit }",
        "no-key",
        &["`circuit` is a block of its own", "two blanks"],
    );
    refused(
        "parameter run: 5 m .. 9 m\ncircuit ev { cables: SWA 6 mm² run }",
        "no-key",
        &["`run` is a name"],
    );
    refused(
        "supply { Ze: 0.28 ohm phases }",
        "trailing-text",
        &["write `phases:`"],
    );
    refused(
        "circuit ev { cables: 6 mm² | 10 mm² SWA }",
        "no-key",
        &["write `SWA` first"],
    );
    refused("supply { tails: 25 mm }", "no-key", &["25 mm²"]);
    for inner in ["ev", "oven", "\"Oven\"", "oven \"Oven\"", "b[1..2]"] {
        same(
            &format!("board b {{ fed-from: supply circuit {inner} {{ }} }}\nsupply {{ }}"),
            &format!("board b {{ fed-from: supply  circuit {inner} {{ }} }}\nsupply {{ }}"),
        );
    }
    same(
        "board b { fed-from: supply circuit ev { } }\nsupply { }",
        "board b { fed-from: supply  circuit ev { } }\nsupply { }",
    );
    refused(
        "board b { tails singles 25 mm² }",
        "unknown-kind",
        &["tails"],
    );
    refused(
        "supply { tails singles 25 mm² }",
        "missing-colon",
        &["write `tails: …`"],
    );
    refused(
        "supply { service-fuse: fuse BS 88 }",
        "no-key",
        &["`BS 88` says nothing of a device", "`BS-88-2` or `BS-88-3`"],
    );
    refused(&cable("6 mm 12 m"), "no-key", &["`6 mm²`"]);
    refused(
        "charge-point drive 7.4 kW { }",
        "no-key",
        &["write `In` in A"],
    );
    refused(
        "installation site allotment { }",
        "no-key",
        &[
            "may stand `premises`",
            "`amperule rules words installation`",
        ],
    );
    refused(
        "circuit ev { device: mcb 32 A { rest: as required } }",
        "trailing-text",
        &["`as required` cannot follow"],
    );
}

#[test]
fn a_mark_is_a_whole_word_and_its_values_are_real_ones() {
    let device = |row: &str| format!("circuit ev {{ device: mcb {row} }}");
    refused(&device("B33"), "not-in-series", &["33"]);
    refused(&device("B32x"), "no-key", &["B32x"]);
    refused(&device("L16"), "no-key", &["L16"]);
    refused(&device("7-pole"), "outside-domain", &["1 .. 4"]);
    refused("circuit ev { cables: SWA 6-core }", "not-in-series", &["6"]);
}

#[test]
fn other_words_of_the_trade_are_understood_in_any_case() {
    same(
        "charger drive { location: Outside  case: tethered }",
        "charge-point drive { location: outdoors  case: C }",
    );
    same(
        "circuit ev { device: Rcbo { amps: 32 A }  cables: swa { method: clipped } }",
        "circuit ev { device: rcbo { In: 32 A }  cables: armoured { method: C } }",
    );
    same(
        "installation { premises: house }",
        "installation { premises: dwelling }",
    );
    same("supply { earthing: pme }", "supply { earthing: TN-C-S }");
    same(
        "circuit a { device: RCCB 63 A }\nsupply TNCS { }",
        "circuit a { device: rcd { In: 63 A } }\nsupply { earthing: TN-C-S }",
    );
    same(
        "electrode rod { RA: 80 ohm }\ngenerator roof { kind: solar  circuit: pv }\ncircuit pv { }",
        "electrode rod { R: 80 ohm }\ngenerator roof { form: PV  at: pv }\ncircuit pv { }",
    );
    same(
        "charge-point drive { guard: bollard }",
        "charge-point drive { guard: barrier }",
    );
    // A name of the design comes first, and the ruleset's own words keep their case.
    same(
        "define SWA as singles { size: 6 mm² }\ncircuit ev { cables: SWA }",
        "circuit ev { cables: singles { size: 6 mm² } }",
    );
    refused("supply { earthing: tn-s }", "unknown-word", &["`TN-S`"]);
    refused("bond water 10 MM²", "no-key", &[]);
    same(
        "circuit ev { cables: SWA 9 m clipped direct }",
        "circuit ev { cables: armoured { length: 9 m  method: C } }",
    );
    for (text, names) in [
        ("supply { phases: single }", &["1-phase", "outlets: 1"][..]),
        (
            "circuit ev { device: breaker 32 A }",
            &["`mcb`", "`rcbo`", "`mccb`"],
        ),
        ("circuit ev { device: breaker }", &["`mcb`"]),
        ("supply { PSCC: 0.9 kA }", &["`Ipf`", "`Ipf-line`"]),
        ("breaker main { }", &["`mccb`"]),
        ("circuit ev { cables: SWA 9 m buried }", &["`method: D`"]),
        ("board b { main-switch: switch 63 A TPN }", &["`4-pole`"]),
        ("electrode rod { type: rod }", &["`form`"]),
    ] {
        refused(text, "which-meaning", names);
    }
}

#[test]
fn format_writes_the_words_of_the_ruleset_and_the_short_head_as_written() {
    let v = vocabulary();
    let text = "charger drive  outside   32A { case: tethered }\ncircuit ev { cables: SWA 6mm2 18m clipped, twin-and-earth 6 mm² {length: 4m} }\n";
    let tidy = format_by(text, &[], &v, false).expect("sound");
    assert_eq!(
        tidy,
        "charge-point drive outdoors 32 A { case: C }\ncircuit ev { cables: armoured 6 mm² 18 m clipped, twin-and-earth 6 mm² { length: 4 m } }\n"
    );
    assert_eq!(format_by(&tidy, &[], &v, false).expect("sound"), tidy);
    let used = parse(FileId(1), "define SWA as singles { }").tree;
    let kept = format_by("circuit ev { cables: SWA }\n", &[used], &v, false).expect("sound");
    assert_eq!(
        kept, "circuit ev { cables: SWA }\n",
        "a name from a file of parts is no word"
    );
    assert!(format(text).is_ok(), "a file of parts has no ruleset");
}

#[test]
fn members_of_a_repeated_block_are_listed_in_a_row() {
    let blocks = "circuit ev { }\ncharge-point post[1..3] { circuit: ev }\ncharge-point gate { circuit: ev }\n";
    let listed = |members: &str| format!("{blocks}load-limiter l {{ members: {members} }}\n");
    same(&listed("post[1..3]"), &listed("post[1], post[2], post[3]"));
    same(
        &listed("gate, post[2..3]"),
        &listed("gate, post[2], post[3]"),
    );
    same(&listed("post[ 1 .. 1 ]"), &listed("post[1]"));
    let tidy = format(&listed("post[ 1 .. 3 ]")).expect("sound");
    assert!(tidy.contains("members: post[1..3]"), "{tidy}");
    refused(&listed("post[1..5]"), "unknown-name", &["post[4]"]);
    refused(&listed("post[3..1]"), "reversed-repeat", &["[1..3]"]);
    refused(&listed("post[1..2].x"), "wrong-index", &["bay[2].ev"]);
    refused(
        &format!("{blocks}position p {{ of: post }}"),
        "which-of-many",
        &["post[1..3]"],
    );
    refused(
        "charge-point p { circuit: bay[1..2] }\ncircuit bay[1..2] { }",
        "one-reference",
        &[],
    );
    let (value, wrong) = parse_value(FileId(0), "post[1..3]", 0);
    assert!(wrong.is_empty());
    assert_eq!(value.outline(), "(, post[1] post[2] post[3])");
}

/// What the trade writes with blanks, or as a code, is the word that it is.
#[test]
fn words_that_a_blank_takes_apart_are_one() {
    let cable = |row: &str| format!("circuit ev {{ cables: {row} }}");
    let device = |row: &str| format!("circuit ev {{ device: {row} }}");
    let twin = cable("twin-and-earth { size: 6 mm²  length: 4 m  method: C }");
    same(&cable("T&E 6 mm² 4 m clipped"), &twin);
    same(&cable("twin and earth 6 mm² 4 m clipped"), &twin);
    same(&cable("T&E"), &cable("twin-and-earth { }"));
    same(&cable("T+E 6 mm² 4 m clipped"), &twin);
    same(
        &cable("SWA 6 mm² 3 core 18 m clipped"),
        &cable("armoured { size: 6 mm²  cores: 3  length: 18 m  method: C }"),
    );
    for area in [
        "25 sq mm",
        "25sqmm",
        "25 sq. mm",
        "25 mm sq",
        "25 mm2",
        "25mm²",
    ] {
        same(
            &cable(&format!("SWA {area} 4 m")),
            &cable("armoured { size: 25 mm²  length: 4 m }"),
        );
        let keyed = format!("SWA {{ size: {area}  length: 4 m }}");
        same(
            &cable(&keyed),
            &cable("armoured { size: 25 mm²  length: 4 m }"),
        );
    }
    same(&device("mcb C 32"), &device("mcb C32"));
    same(&device("fuse gG 63 A"), &device("fuse 63 A { curve: gG }"));
    same(&device("mcb 2 P B 40"), &device("mcb 2P B40"));
    same(
        "electrode rods { resistance: 60 ohm }",
        "electrode rods { R: 60 ohm }",
    );
    // What it is may stand behind a value.
    same(
        &cable("6 mm² SWA 4 m clipped"),
        &cable("armoured { size: 6 mm²  length: 4 m  method: C }"),
    );
    same(&cable("6 mm² twin and earth 4 m clipped"), &twin);
    same(
        &device("32 A RCBO B curve DP 30 mA type A"),
        &device("rcbo { In: 32 A  curve: B  poles: 2  IΔn: 30 mA  rcd-type: A }"),
    );
    same(
        &device("B32 rcbo 30 mA { isolates: yes }"),
        &device("rcbo { curve: B  In: 32 A  IΔn: 30 mA  isolates: yes }"),
    );
    same(&device("40 A RCBO"), &device("rcbo { In: 40 A }"));
    same("circuit ev { phase: L1 }", "circuit ev { lines: L1 }");
    same("bond water 10 sq mm", "bond water { size: 10 mm² }");
    for (short, poles) in [
        ("DP", 2),
        ("SP", 1),
        ("TP", 3),
        ("2P", 2),
        ("double pole", 2),
        ("4 pole", 4),
    ] {
        same(
            &device(&format!("mcb 32A B curve {short} {{ isolates: yes }}")),
            &device(&format!(
                "mcb {{ In: 32 A  curve: B  poles: {poles}  isolates: yes }}"
            )),
        );
    }
    same(
        &device("RCBO 32A B curve DP 30mA type A"),
        &device("rcbo { In: 32 A  curve: B  poles: 2  IΔn: 30 mA  rcd-type: A }"),
    );
    same(
        &device("RCBO B 32 A"),
        &device("rcbo { curve: B  In: 32 A }"),
    );
    same(
        "board b { surge-protection: SPD type 2 }",
        "board b { surge-protection: spd { type: 2 } }",
    );
    same(
        "supply { service-fuse: BS 88-3 80 A }",
        "supply { service-fuse: fuse { standard: BS-88-3  In: 80 A } }",
    );
    for (three, one) in [
        ("3 phase", "1 phase"),
        ("three phase", "single phase"),
        ("3-phase", "Single-Phase"),
    ] {
        same(
            &format!("supply PME {three} existing {{ }}"),
            "supply { earthing: TN-C-S  phases: 3  status: existing }",
        );
        same(
            &format!("supply PME {one}"),
            "supply { earthing: TN-C-S  phases: 1 }",
        );
        same(
            &format!("supply {{ phases: {three} }}"),
            "supply { phases: 3 }",
        );
    }
}

/// A cable's code is the product that it stands for.
#[test]
fn a_cable_code_is_a_product() {
    let v = vocabulary();
    for (code, holds) in [("6242Y", "insulation"), ("6943X", "cores")] {
        let text = format!("circuit ev {{ cables: {code} 6 mm² 4 m clipped }}");
        let (said, wrong) = read(&text, &v);
        assert!(wrong.is_empty(), "{wrong:?}");
        assert!(said.contains(holds) && said.contains("size"), "{said}");
        assert!(format_by(&text, &[], &v, false).is_ok());
    }
}

/// One mistake, with the words that it is about under it.
fn underlined(text: &str, code: &str, words: &str, help: &str) {
    let parsed = parse(FileId(0), text);
    let resolved = resolve(&[&parsed.tree], &vocabulary(), &Settings::default());
    let all = parsed.problems.iter().chain(&resolved.problems);
    let all: Vec<_> = all.filter(|p| p.is_error()).collect();
    let [only] = all.as_slice() else {
        panic!("{text}\n{all:#?}")
    };
    let label = only.labels.first().expect("a place");
    let under = &text[label.span.from()..label.span.until()];
    assert_eq!((only.code, under), (code, words), "{text}");
    assert!(only.help.iter().any(|h| h.contains(help)), "{only:#?}");
}

/// Words behind a product's name may be a part of it, or belong before it.
#[test]
fn a_word_behind_a_product_is_told_where_it_belongs() {
    let parsed = parse(FileId(0), "charge-point drive as wall-7kW-socket outdoors");
    let [only] = parsed.problems.as_slice() else {
        panic!("{:#?}", parsed.problems)
    };
    let help = "what is no part of the name stands before it: `outdoors as wall-7kW-socket`";
    assert_eq!(only.code, "name-in-words");
    assert!(only.help.iter().any(|h| h == help), "{only:#?}");
}

#[test]
fn what_a_stranger_writes_wrongly_is_one_mistake() {
    let cable = |row: &str| format!("circuit ev {{ cables: {row} }}");
    underlined(
        &cable("flat twin 6 mm² 4 m"),
        "no-key",
        "flat twin",
        "without a key may stand",
    );
    underlined(
        &cable("SWA 6 mm² -4 m"),
        "less-than-nothing",
        "-4 m",
        "write `4 m`",
    );
    underlined(
        &cable("SWA { length: -4 m }"),
        "outside-domain",
        "-4 m",
        "more than `0 m`",
    );
    underlined(
        "supply { phases: 3 lines }",
        "unknown-unit",
        "lines",
        "write `3` alone",
    );
    underlined(
        "circuit ev { device: mcb 32 A type B }",
        "which-meaning",
        "type B",
        "`type-A`",
    );
    underlined(
        "circuit ev { device: mcb 32 A SP&N }",
        "which-meaning",
        "SP&N",
        "`2-pole`",
    );
    underlined(
        "charge-point drive wall outside { }",
        "no-key",
        "wall",
        "`charge-point drive-wall {`",
    );
    underlined(
        "circuit bay[1..2] new spare { }",
        "no-key",
        "spare",
        "write its key before it",
    );
    underlined(
        "circuit ev { device: RCBO C32 type B 4P }",
        "which-meaning",
        "type B",
        "`B32`",
    );
    underlined(
        "circuit bay 1 new { demand: 5 A }",
        "no-key",
        "1",
        "`circuit bay-1 {`",
    );
    underlined(
        "charge-point 1 outdoors { }",
        "wrong-head",
        "charge-point 1 outdoors",
        "`charge-point charge-point-1 {`",
    );
    underlined(
        "supply { service fuse: fuse { In: 80 A }  phases: 1 }",
        "key-in-two-words",
        "service fuse",
        "`service-fuse:`",
    );
    underlined(
        "supply { Ze: 0.3 ohm measured }",
        "trailing-text",
        "measured",
        "`(measured)`",
    );
    underlined(
        "circuit \"Charge point\" ev { }",
        "no-key",
        "ev",
        "`circuit ev \"…\" {`",
    );
    underlined(
        "installation \"Yard\" commercial { }",
        "no-key",
        "commercial",
        "one of dwelling,",
    );
    let (_, wrong) = read("circuit ev new spare { }", &vocabulary());
    assert!(!wrong.join("").contains("a name is one word"), "{wrong:?}");
    for place in [
        "in trunking",
        "on a tray",
        "in conduit in the wall",
        "trunking",
    ] {
        underlined(
            &cable(&format!("SWA 6 mm² 22 m {place}")),
            "which-meaning",
            place,
            "reference method",
        );
    }
    underlined(
        "board existing main { ways-free: 2 }",
        "name-or-value",
        "existing",
        "write `board main existing`",
    );
    underlined(
        "define wall-7kW-socket as charge-point { mode: 3 }\ncharge-point drive outdoors as wall 7kW socket",
        "name-in-words",
        "wall 7kW socket",
        "`as wall-7kW-socket`",
    );
    underlined(
        "board barn { fed by: main }  board main { }",
        "key-in-two-words",
        "fed by",
        "`fed-by:`",
    );
    underlined("supply { Ze: tbc }", "which-meaning", "tbc", "`?`");
    underlined(
        "board main existing poor { }",
        "which-meaning",
        "poor",
        "`sound`",
    );
    underlined(
        "charge-point drive { fitted: yes }",
        "which-meaning",
        "fitted",
        "named behind `as`",
    );
    underlined(
        "circuit ev { device: rcbo B32 { conforms: BS-EN-61009 } }",
        "which-meaning",
        "conforms",
        "`(declared)`",
    );
    underlined(
        "charge-point drive under the car port { }",
        "which-meaning",
        "under the car port",
        "`outdoors`",
    );
    underlined(
        "circuit 6 the drive point new { }",
        "wrong-head",
        "circuit 6 the drive point new",
        "`circuit circuit-6 {`",
    );
    underlined(
        "supply { Ze: 0.3 ohm at the cut-out }",
        "trailing-text",
        "at the cut-out",
        "behind `#`",
    );
}

/// A day as people write it is one mistake, which says each day that it may be.
#[test]
fn a_day_as_people_write_it_is_told_as_the_ruleset_writes_it() {
    for (written, days) in [
        (
            "01/06/2026",
            &["`2026-06-01` if the day", "`2026-01-06` if the month"][..],
        ),
        (
            "1.6.26",
            &["`2026-06-01` if the day", "`2026-01-06` if the month"],
        ),
        (
            "01-06-2026",
            &["`2026-06-01` if the day", "`2026-01-06` if the month"],
        ),
        ("25/6/2026", &["write `2026-06-25`"]),
        ("6/6/2026", &["write `2026-06-06`"]),
        ("2026/06/01", &["write `2026-06-01`"]),
        ("2026-6-1", &["write `2026-06-01`"]),
        ("1 June 2026", &["write `2026-06-01`"]),
        ("1st Jun 2026", &["write `2026-06-01`"]),
        ("31/02/2026", &["as in `2026-11-02`"]),
    ] {
        let text = format!("installation \"Yard\" {{ designed-on: {written}  heating: gas }}");
        for day in days {
            underlined(&text, "date-form", written, day);
        }
    }
    // What is worked out, is worked out.
    let (_, wrong) = read(
        "circuit ev { cables: SWA { length: 30/3/2 m } }",
        &vocabulary(),
    );
    assert!(!wrong.join("").contains("date-form"), "{wrong:?}");
}

/// A `{` that is missing is one mistake, at the end of the head, and all else is read as if it were there.
#[test]
fn a_brace_that_is_missing_is_one_mistake() {
    let rest = "circuit ev new {\n  device: RCBO B32\n}\n";
    for (text, last, help) in [
        (
            "supply PME 1-phase existing\n  Ze: 0.28 ohm\n  looped: no\n}\n",
            "existing",
            "`supply PME 1-phase existing {`",
        ),
        (
            "supply PME existing\nZe: 0.28 ohm\n}\n",
            "existing",
            "`supply PME existing {`",
        ),
        (
            "supply PME existing  # seen\n  Ze: 0.28 ohm\n}\n",
            "existing",
            "`supply PME existing {`",
        ),
        (
            "supply PME existing\r\n  Ze: 0.28 ohm\r\n}\r\n",
            "existing",
            "`supply PME existing {`",
        ),
        (
            "supply PME 1-phase  Ze: 0.28 ohm  looped: no }\n",
            "1-phase",
            "`supply PME 1-phase {`",
        ),
        (
            "board main existing sound {\n  circuit a new\n    device: RCBO B32\n  }\n}\n",
            "new",
            "`circuit a new {`",
        ),
        (
            "board main \"The { board\"\n\n  # what it is\n  status: existing\n}\n",
            "board\"",
            "`board main \"The { board\" {`",
        ),
        (
            "define our-spd as spd\n  type: 2\n}\n",
            "spd",
            "`define our-spd as spd {`",
        ),
    ] {
        let text = format!("{text}{rest}");
        underlined(&text, "missing-brace", last, help);
        assert!(format(&text).is_err(), "{text}");
    }
    let two = "supply PME\n  Ze: 0.28 ohm\n}\nboard main sound\n  status: existing\n}\n";
    let parsed = parse(FileId(0), two);
    let codes: Vec<_> = parsed.problems.iter().map(|p| p.code).collect();
    assert_eq!(codes, ["missing-brace"; 2]);
    // What closes nothing stays what it is.
    underlined(
        "supply { phases: 1 }\n}\n",
        "stray-brace",
        "}",
        "leave it out",
    );
}

/// A quote that is not closed is the one mistake of its line, and what follows on it is read.
#[test]
fn a_quote_that_is_not_closed_is_one_mistake() {
    for (text, words) in [
        (
            "installation \"Hill dwelling { designed-on: 2026-05-12 }\nsupply { phases: 1 }\n",
            "\"Hill dwelling",
        ),
        (
            "circuit ev \"On the drive {\n  demand: 5 A\n}\n",
            "\"On the drive",
        ),
        (
            "circuit ev {\n  evidence: \"photo 3  demand: 5 A\n}\n",
            "\"photo 3",
        ),
        (
            "circuit ev { evidence: \"photo 3 }\nsupply { phases: 1 }\n",
            "\"photo 3",
        ),
        ("installation \"Hill { premises: flat\n", "\"Hill"),
    ] {
        let parsed = parse(FileId(0), text);
        let all: Vec<_> = parsed.problems.iter().collect();
        let on_line = all.first().expect("a mistake");
        let label = on_line.labels.first().expect("a place");
        let under = &text[label.span.from()..label.span.until()];
        assert_eq!(
            (on_line.code, under),
            ("unterminated-text", words),
            "{text}"
        );
        assert!(all.len() == 1 || text.contains("flat"), "{text}\n{all:#?}");
    }
}

fn corpus() -> Vec<(PathBuf, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    for folder in ["examples", "tests/designs", "tests/language/sound"] {
        for entry in fs::read_dir(root.join(folder)).expect("the folder is there") {
            let path = entry.expect("readable").path();
            if path.extension().is_some_and(|e| e == "amp") {
                let text = fs::read_to_string(&path).expect("a text");
                files.push((path, text));
            }
        }
    }
    files.sort();
    assert!(files.len() > 30, "{}", files.len());
    files
}

/// What was written before anything could be said shortly says nothing shortly; what is short says
/// what its long form says.
#[test]
fn the_long_form_of_every_design_has_the_same_facts() {
    let (mut short, mut judged) = (Vec::new(), 0);
    for (path, text) in corpus() {
        let mut by = options();
        if text.contains("rules: us") {
            by.rules = Some("us".to_owned());
        }
        let ruleset = common::open(&text, &by).ruleset.clone().expect("a ruleset");
        let v = &ruleset.vocabulary;
        let long =
            format_by(&text, &[], v, true).unwrap_or_else(|p| panic!("{}: {p:#?}", path.display()));
        if long != format(&text).expect("sound") {
            short.push(path.file_name().expect("a file").display().to_string());
        }
        assert_eq!(read(&text, v), read(&long, v), "{}", path.display());
        judged += 1;
    }
    assert!(judged > 30);
    assert_eq!(short, ["larch-bank.amp"]);
}

/// A change of a value without its key keeps the form in which it stands.
#[test]
fn a_mend_changes_a_mark_within_the_mark() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = fs::read_to_string(root.join("examples/larch-bank.amp")).expect("a text");
    let text = text.replace("B32", "B63").replace("type-A", "type-AC");
    let installation = common::sound(&text, &options()).expect("sound");
    let slice = |span: Span| text[span.from()..span.until()].to_owned();
    let mended = installation.mend(&slice);
    let mut new = text.clone();
    for edit in mended.edits().iter().rev() {
        new.replace_range(edit.span.from()..edit.span.until(), &edit.new);
    }
    assert!(new.contains(" B32 ") || new.contains(" B40 "), "{new}");
    assert!(
        new.contains(" type-A ") || new.contains(" type-F ") || new.contains(" type-B "),
        "{new}"
    );
    assert!(common::sound(&new, &options()).is_ok());
    let told: Vec<_> = mended.changes.iter().flat_map(|c| &c.facts).collect();
    assert!(
        told.iter()
            .any(|(fact, old, _)| fact == "In" && old == "63 A"),
        "{told:?}"
    );
}
