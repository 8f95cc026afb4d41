//! Products by name, what is left to the rules of an article that is bought, and that nothing
//! undecided is without its question.

#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "helpers of tests fail loudly, as tests do"
)]

use crate::common;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use amperule::answer::Question;
use amperule::check::{Finding, Outcome};
use amperule::design::format::format_by;
use amperule::design::model::{Design, Possible};
use amperule::design::parse::parse;
use amperule::design::resolve::{Settings, resolve};
use amperule::design::tree::Origin;
use amperule::ruleset::{Severity, Stage};
use amperule::session::{Ask, Installation, Options};
use amperule::source::FileId;
use amperule::vocabulary::{FactType, Vocabulary};
use proptest::prelude::*;

fn options() -> Options {
    Options {
        rules: Some("gb".to_owned()),
        ..Options::default()
    }
}

fn vocabulary() -> Vocabulary {
    let loaded = common::open("", &options());
    let ruleset = loaded.ruleset.clone().expect("gb is there");
    ruleset.vocabulary.clone()
}

/// All facts of a text with where they come from, and what is wrong with it: codes, and the texts
/// that are underlined.
fn read(text: &str, v: &Vocabulary) -> (Vec<String>, Vec<String>) {
    let parsed = parse(FileId(0), text);
    let resolved = resolve(&[&parsed.tree], v, &Settings::default());
    let problems = parsed.problems.iter().chain(&resolved.problems);
    let told = problems.filter(|p| p.is_error()).map(|p| {
        let own = p.labels.iter().filter(|l| l.span.file == FileId(0));
        let under: Vec<&str> = own
            .map(|l| text.get(l.span.from()..l.span.until()).unwrap_or("?"))
            .collect();
        format!("{}: {}", p.code, under.join(" / "))
    });
    (facts(&resolved.design, v), told.collect())
}

fn facts(design: &Design, v: &Vocabulary) -> Vec<String> {
    let mut all = Vec::new();
    for id in design.ids().filter(|id| !design.object(*id).phantom) {
        let object = design.object(id);
        let kind = v.kind(object.kind);
        for (fact, written) in kind.facts.iter().zip(&object.facts) {
            let Some(w) = written else { continue };
            let value = match (&fact.ty, &w.value) {
                // Which number an object has says nothing.
                (
                    FactType::Part(_) | FactType::Parts(_),
                    Possible::Object(_) | Possible::List(_),
                ) => "a part".to_owned(),
                (_, value) => format!("{value:?}"),
            };
            all.push(format!(
                "{}.{} {value} {:?}",
                design.path(id),
                fact.name,
                w.origin
            ));
        }
    }
    all.sort();
    all
}

/// Both texts say the same, and so does the long form of the first.
fn same(short: &str, long: &str) {
    let v = vocabulary();
    let (said, wrong) = read(short, &v);
    assert!(wrong.is_empty(), "{short}\n{wrong:#?}");
    let (meant, wrong) = read(long, &v);
    assert!(wrong.is_empty(), "{long}\n{wrong:#?}");
    assert_eq!(said, meant, "{short}");
    let written = format_by(short, &[], &v, true).unwrap_or_else(|p| panic!("{short}\n{p:#?}"));
    assert_eq!(read(&written, &v).0, said, "{written}");
}

/// The text has these mistakes alone: a code, and what is underlined.
fn refused(text: &str, wrong: &[&str]) {
    assert_eq!(read(text, &vocabulary()).1, wrong, "{text}");
}

const UNIT: &str = "define wall as charge-point { mode: 3  In: 32 A | 16 A  open-pen: open-pen { way: line-voltage  acts-in: at most 5 s } }\n";

#[test]
fn a_block_is_a_product_and_fills_in_what_that_leaves_silent() {
    same(
        &format!("{UNIT}charge-point drive outdoors as wall {{ circuit: ev }}\ncircuit ev {{ }}"),
        "charge-point drive { mode: 3  In: 32 A | 16 A  open-pen: open-pen { way: line-voltage  acts-in: at most 5 s }  location: outdoors  circuit: ev }\ncircuit ev { }",
    );
    // Its head may end with the line, and the key may be written.
    same(
        &format!("{UNIT}charge-point drive as wall\n"),
        &format!("{UNIT}charge-point drive {{ as: wall }}"),
    );
    same(
        &format!("{UNIT}charge-point bay[1..2] as wall {{ height: 1 m }}"),
        "charge-point bay[1..2] { mode: 3  In: 32 A | 16 A  open-pen: open-pen { way: line-voltage  acts-in: at most 5 s }  height: 1 m }",
    );
}

#[test]
fn the_job_narrows_what_its_product_says() {
    same(
        &format!(
            "{UNIT}charge-point drive 16 A as wall {{ open-pen: open-pen {{ acts-in: 3 s  pe-last: yes }} }}"
        ),
        "charge-point drive { mode: 3  In: 16 A  open-pen: open-pen { way: line-voltage  acts-in: 3 s  pe-last: yes } }",
    );
    same(
        &format!("{UNIT}define set-low as wall {{ In: 16 A }}\ncharge-point drive as set-low"),
        "charge-point drive { mode: 3  In: 16 A  open-pen: open-pen { way: line-voltage  acts-in: at most 5 s } }",
    );
}

#[test]
fn a_part_is_a_product_by_the_word_that_opens_it_or_behind_as() {
    let device = "define house-rcbo as rcbo { In: 32 A  curve: B | C }\n";
    let long = "circuit ev { device: rcbo { In: 32 A  curve: B  poles: 2 } }";
    same(
        &format!("{device}circuit ev {{ device: house-rcbo 2-pole {{ curve: B }} }}"),
        long,
    );
    same(
        &format!("{device}circuit ev {{ device: rcbo B32 2-pole as house-rcbo }}"),
        long,
    );
    same(
        &format!("{device}circuit ev {{ device: as house-rcbo {{ curve: B  poles: 2 }} }}"),
        long,
    );
    same(
        "circuit ev { cables: SWA-3-core 6 mm² 18 m clipped, twin-and-earth 6 mm² 4 m }",
        "circuit ev { cables: armoured { size: 6 mm²  length: 18 m  method: C  cores: 3 (required)  insulation: XLPE (required)  material: Cu (required)  cpc: core (required) }, twin-and-earth { size: 6 mm²  length: 4 m } }",
    );
}

#[test]
fn what_contradicts_a_product_is_an_error_with_both_lines() {
    let wall = |body: &str| format!("{UNIT}charge-point drive as wall {{ {body} }}");
    refused(&wall("mode: 4"), &["contradicts-product: 4 / 3"]);
    refused(
        &wall("In: 20 A"),
        &["contradicts-product: 20 A / 32 A | 16 A"],
    );
    refused(&wall("mode: ?"), &["contradicts-product: ? / 3"]);
    refused(
        &wall("open-pen: open-pen { acts-in: 3 s .. 6 s }"),
        &["contradicts-product: 3 s .. 6 s / at most 5 s"],
    );
    refused(
        &wall("open-pen: none"),
        &["contradicts-product: none / open-pen { way: line-voltage  acts-in: at most 5 s }"],
    );
    // Of a generic product the ruleset's own line is shown.
    refused(
        "charge-point drive as wall-7kW-socket { mode: 4 }",
        &["contradicts-product: 4"],
    );
    refused(
        "define house-rcbo as rcbo { In: 32 A }\ncircuit ev { device: mcb B32 as house-rcbo }",
        &["contradicts-product: mcb / house-rcbo"],
    );
}

/// Of a product of another kind nothing is taken over: the one mistake is told once.
#[test]
fn a_part_that_is_a_product_of_another_kind_is_one_mistake() {
    refused(
        "circuit ev { cables: SWA as wall-7kW-socket }",
        &["wrong-product: wall-7kW-socket"],
    );
}

#[test]
fn a_thing_that_is_several_products_agrees_with_each() {
    let both = |at: &str| {
        format!(
            "define ours as rcbo {{ In: 32 A | 40 A }}\ndefine theirs as rcbo {{ In: 32 A }}\n\
             circuit ev {{ device: ours as theirs {{ In: {at} }} }}"
        )
    };
    refused(&both("40 A"), &["contradicts-product: 40 A / 32 A"]);
    refused(&both("32 A"), &[]);
}

#[test]
fn what_is_wrong_with_products_is_told() {
    refused("charge-point drive as wall", &["unknown-product: wall"]);
    refused(
        "define b as board { phases: 1 }\ncharge-point drive as b",
        &["wrong-product: b / b / charge-point"],
    );
    refused(
        "define a as b { }\ndefine b as a { }\ncharge-point drive as a",
        &["circular-define: a / a"],
    );
    refused(
        &format!("{UNIT}charge-point drive as wall {{ as: wall }}"),
        &["duplicate-fact: wall / wall"],
    );
    refused(
        "define main-board as board { circuit ev { } }\nboard b as main-board",
        &["block-in-product: circuit"],
    );
    refused(
        "circuit ev { fed-from: supply as wall }",
        &["trailing-text: supply"],
    );
}

#[test]
fn no_chain_of_products_takes_more_than_a_design_may() {
    let mut text = String::from("define p0 as charge-point { mode: 3 }\n");
    for i in 1..40 {
        let before = i - 1;
        text += &format!("define p{i} as p{before} {{ height: 1 m }}\n");
    }
    text += "charge-point drive as p39\n";
    assert_eq!(read(&text, &vocabulary()).1, Vec::<String>::new());
}

/// Each generic product says what a design may say, and all of it is only asked for.
#[test]
fn generic_products_are_sound_and_only_asked_for() {
    let v = vocabulary();
    assert!(v.products.len() >= 8);
    for product in &v.products {
        let name = &product.name;
        let text = match product.is.as_str() {
            "charge-point" | "open-pen" => format!("{} x as {name} {{ }}", product.is),
            "spd" => format!("board b {{ surge-protection: {name} }}"),
            "isolator" => format!("charge-point x {{ isolator: {name} }}"),
            "armoured" | "twin-and-earth" => format!("circuit c {{ cables: {name} 6 mm² 5 m }}"),
            other => panic!("say where `{name}`, which is {other}, stands"),
        };
        let (said, wrong) = read(&text, &v);
        assert!(wrong.is_empty(), "{name}: {wrong:?}");
        assert!(
            said.iter().any(|s| s.ends_with("Some(Required)")),
            "{said:?}"
        );
        assert!(!product.source.is_empty() && !product.means.is_empty());
    }
}

/// A text of the corpus under the rules that it names.
fn installation(text: &str) -> Option<Installation> {
    let mut by = Options::default();
    if !text.contains("rules:") {
        by.rules = Some("gb".to_owned());
    }
    common::sound(text, &by).ok()
}

fn larch_bank() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    fs::read_to_string(root.join("examples/larch-bank.amp")).expect("a text")
}

/// Outcomes of requirements that are not met.
fn open(of: &Installation) -> Vec<(Outcome, String)> {
    let found = of.check(Ask::default()).report.findings;
    let weighs = |s: Severity| s == Severity::Breach;
    found
        .into_iter()
        .filter(|f| {
            weighs(f.severity) && !matches!(f.outcome, Outcome::NotApplicable | Outcome::Met)
        })
        .map(|f| (f.outcome, f.rule))
        .collect()
}

#[test]
fn what_is_asked_of_an_article_counts_until_it_is_fitted() {
    let of = installation(&larch_bank()).expect("sound");
    assert_eq!(open(&of), []);
    let asked = of.check(Ask::default()).report.required;
    assert!(
        asked
            .iter()
            .any(|a| a.starts_with("acts-in of open-pen of drive: ")),
        "{asked:#?}"
    );
    let fitted = of.at(Stage::Verify);
    assert!(fitted.check(Ask::default()).report.required.is_empty());
    let asked: Vec<String> = fitted
        .survey()
        .each()
        .map(|q| format!("{} of {}", q.asked, q.of))
        .collect();
    for fact in [
        "mode of drive",
        "U-below of open-pen of drive",
        "Up of surge-protection of main",
    ] {
        assert!(asked.iter().any(|a| a == fact), "{fact}: {asked:#?}");
    }
    let met = |of: &Installation| {
        let all = of
            .check(Ask {
                met: true,
                helps: false,
            })
            .report
            .findings;
        all.iter()
            .any(|f| f.rule == "gb-open-pen-acts-in-time" && f.outcome == Outcome::Met)
    };
    assert!(!met(&fitted));
    assert_eq!(
        of.at(Stage::Verify)
            .at(Stage::Design)
            .check(Ask::default())
            .report
            .required,
        of.check(Ask::default()).report.required
    );
}

const REST: &str = "rcbo B32 30 mA type-A 2-pole 6 kA { rest: as-required }";

/// Larch Bank with its device as it is given here.
fn with_device(device: &str) -> String {
    let text = larch_bank();
    let line = text
        .lines()
        .find(|l| l.trim_start().starts_with("device: "))
        .expect("its device");
    text.replace(line, &format!("    device: {device}"))
}

#[test]
fn the_rest_of_a_device_is_a_box_that_pastes_back() {
    let of = installation(&with_device(REST)).expect("sound");
    assert_eq!(open(&of), []);
    let boxed: Vec<String> = of.check(Ask::default()).report.required;
    let of_device: Vec<(&str, &str)> = boxed
        .iter()
        .filter_map(|b| b.split_once(" of device of ev: "))
        .collect();
    let said = |fact: &str| of_device.iter().find(|(f, _)| *f == fact).map(|(_, v)| *v);
    assert_eq!(said("isolates"), Some("yes"), "{boxed:#?}");
    let standards = said("standard").expect("a standard is asked for");
    assert!(
        standards.contains("BS-EN-61009") && !standards.contains("BS-EN-60898"),
        "{standards}"
    );
    let delay = said("delay").expect("a delay is excluded");
    assert!(delay.contains("none") && !delay.contains('S'), "{delay}");
    // The box as text of the design.
    let facts: Vec<String> = of_device
        .iter()
        .map(|(fact, value)| {
            format!(
                "{fact}: {}",
                value.replace(" or ", " | ").replace(", ", " | ")
            )
        })
        .collect();
    let pasted = with_device(&format!(
        "rcbo B32 30 mA type-A 2-pole 6 kA {{ {} }}",
        facts.join("  ")
    ));
    let again =
        common::sound(&pasted, &Options::default()).unwrap_or_else(|why| panic!("{pasted}\n{why}"));
    assert_eq!(open(&again), []);
    // From the verify stage on it is asked for.
    assert!(!open(&of.at(Stage::Verify)).is_empty());
}

#[test]
fn what_no_article_settles_stays_open_and_is_no_breach() {
    let unknown = with_device("rcbo B32 30 mA type-A 2-pole { rest: as-required }")
        .replace("Ipf: 0.9 kA (measured)", "Ipf: ?");
    let of = installation(&unknown).expect("sound");
    let left = open(&of);
    assert!(
        left.iter()
            .all(|(outcome, _)| *outcome == Outcome::Undecided),
        "{left:?}"
    );
    assert!(
        left.iter().any(|(_, rule)| rule == "iec-breaking-capacity"),
        "{left:?}"
    );
    // What is written wrongly for every article stays a breach.
    let small = with_device("rcbo B32 30 mA type-AC 2-pole 6 kA { rest: as-required }");
    let of = installation(&small).expect("sound");
    let plain = installation(&with_device(
        "rcbo B32 30 mA type-AC 2-pole 6 kA { standard: ?  isolates: ? }",
    ))
    .expect("sound");
    let failed = |of: &Installation| -> BTreeSet<String> {
        let all = open(of);
        all.into_iter()
            .filter(|(o, _)| *o == Outcome::Failed)
            .map(|(_, r)| r)
            .collect()
    };
    assert_eq!(failed(&of), failed(&plain));
}

#[test]
fn one_box_serves_all_that_one_text_stands_for() {
    let text = with_device(REST)
        .replace("circuit ev new {", "circuit ev[1..2] new {")
        .replace("circuit: ev ", "circuit: ev[1] ");
    let of = installation(&text).expect("sound");
    let boxes: Vec<Vec<String>> = ["ev[1]", "ev[2]"]
        .iter()
        .map(|ev| {
            let end = format!(" of device of {ev}: ");
            let all = of.check(Ask::default()).report.required;
            all.iter()
                .filter(|b| b.contains(&end))
                .map(|b| b.replace(&end, " "))
                .collect()
        })
        .collect();
    assert!(!boxes[0].is_empty());
    assert_eq!(boxes[0], boxes[1]);
}

#[test]
fn rest_stands_in_what_is_bought_alone() {
    refused(
        "board b { rest: as-required }",
        &["wrong-rest: as-required"],
    );
    refused("charge-point p { rest: yes }", &["wrong-rest: yes"]);
    refused(
        "board b existing { circuit ev { device: rcbo { rest: as-required } } }",
        &["wrong-rest: as-required / circuit ev"],
    );
    refused(
        "charge-point p existing { rest: as-required }",
        &["wrong-rest: as-required"],
    );
}

/// Every undecided breach of every design that ships has its question, every caution its question
/// or one that may follow, or is told as one that no answer settles or that the work limit cut short.
#[test]
fn nothing_undecided_is_without_its_question() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut looked = 0;
    let (mut missing, mut told_of) = (0, 0);
    for folder in [
        "examples",
        "rulesets/gb/jobs",
        "tests/designs",
        "tests/faults",
    ] {
        for entry in fs::read_dir(root.join(folder)).expect("the folder is there") {
            let path = entry.expect("readable").path();
            if path.extension().is_none_or(|e| e != "amp") {
                continue;
            }
            let text = fs::read_to_string(&path).expect("a text");
            let Some(of) = installation(&text) else {
                continue;
            };
            for of in [of.clone(), of.at(Stage::Verify), of.at(Stage::Handover)] {
                let survey = of.survey();
                let mut told: BTreeSet<(String, u32)> = BTreeSet::new();
                let waiting = |q: &Question| {
                    let all = q.waiting.iter();
                    all.map(|w| (w.rule.clone(), w.subject.id.0))
                        .collect::<Vec<_>>()
                };
                told.extend(survey.questions.iter().flat_map(waiting));
                let later: BTreeSet<_> = survey.later.iter().flat_map(waiting).collect();
                told.extend(survey.stuck.iter().map(|(r, s)| (r.clone(), s.id.0)));
                told.extend(
                    survey
                        .left_out
                        .iter()
                        .map(|l| (l.rule.clone(), l.subject.id.0)),
                );
                let mut silent = 0;
                let findings = of.check(Ask::default()).report.findings;
                // What is looked for in a list is told as the report tells it.
                for q in survey.each().filter(|q| q.rest) {
                    for w in &q.waiting {
                        let same = |f: &&Finding| f.rule == w.rule && f.subject == w.subject;
                        let Some(f) = findings.iter().find(same) else {
                            continue;
                        };
                        let said = w.open.as_ref();
                        assert!(
                            said.is_none_or(|s| *s == f.message),
                            "{said:?}: {}",
                            f.message
                        );
                        missing += usize::from(said.is_none());
                        told_of += usize::from(said.is_some_and(|s| s.contains(&w.subject.label)));
                    }
                }
                for f in findings {
                    if f.outcome == Outcome::Undecided && f.severity != Severity::Advice {
                        looked += 1;
                        let key = (f.rule.clone(), f.subject.id.0);
                        let follows = f.severity == Severity::Caution && later.contains(&key);
                        silent += usize::from(!told.contains(&key) && !follows);
                    }
                }
                assert!(
                    silent <= survey.left,
                    "{} at {}: {silent}",
                    path.display(),
                    of.stage().word()
                );
            }
        }
    }
    assert!(looked > 500, "{looked}");
    assert!(
        told_of > 50 && missing * 10 < told_of,
        "{told_of}, {missing}"
    );
}

/// Values of a socketed unit, each as a key and, where it can be, without.
fn said() -> impl Strategy<Value = (Vec<&'static str>, Vec<&'static str>)> {
    let each: [(&str, &str); 3] = [
        ("outdoors", "location: outdoors"),
        ("32 A", "In: 32 A"),
        ("IK10", "ik-code: IK10"),
    ];
    proptest::collection::vec(any::<(bool, bool)>(), 3).prop_map(move |picks| {
        let (mut row, mut body) = (Vec::new(), Vec::new());
        for ((written, keyed), (word, key)) in picks.iter().zip(each) {
            match (written, keyed) {
                (false, _) => {}
                (true, true) => body.push(key),
                (true, false) => row.push(word),
            }
        }
        (row, body)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    /// With a product, too, the long form of a text has the same facts.
    #[test]
    fn the_long_form_of_a_product_has_the_same_facts((row, body) in said()) {
        let v = vocabulary();
        let row: String = row.iter().map(|w| format!(" {w}")).collect();
        let text = format!("charge-point drive{row} as wall-7kW-socket {{ height: 1 m  {} }}\n", body.join("  "));
        let (facts, wrong) = read(&text, &v);
        prop_assert!(wrong.is_empty(), "{text} {wrong:?}");
        let long = format_by(&text, &[], &v, true);
        prop_assert!(long.is_ok(), "{text} {long:?}");
        let long = long.unwrap_or_default();
        prop_assert_eq!(read(&long, &v).0, facts, "{}", long);
        prop_assert!(!long.contains("32 A as"), "{}", long);
    }
}

/// No origin is made up for what the job itself says.
#[test]
fn what_the_job_says_is_its_own() {
    let v = vocabulary();
    let text = "charge-point drive as wall-7kW-socket { pe-current: 1 mA (declared) }";
    let parsed = parse(FileId(0), text);
    let design = resolve(&[&parsed.tree], &v, &Settings::default()).design;
    let id = design
        .ids()
        .find(|id| design.object(*id).name == "drive")
        .expect("it is there");
    let kind = v.kind(design.object(id).kind);
    let origin = |fact: &str| {
        let ix = kind.fact_named(fact).expect("a fact");
        let written = design.object(id).facts[ix.0 as usize]
            .as_ref()
            .expect("written");
        written.origin
    };
    assert_eq!(origin("pe-current"), Some(Origin::Declared));
    assert_eq!(origin("outlet"), Some(Origin::Required));
}

/// A product of the ruleset that is nearly named is offered as those of the file are.
#[test]
fn a_product_that_was_meant_is_offered() {
    let text = "board main { surge-protection: spd-type-3 { lead: 0.4 m } }\n\
                charge-point drive as wall-9kW-socket { circuit: ev }\n";
    let loaded = common::open(text, &options());
    let helps = |code: &str| {
        let told = loaded.problems.iter().find(|p| p.code == code);
        told.expect("it is a mistake").help.join("; ")
    };
    let part = helps("unknown-part");
    assert!(part.contains("did you mean `spd-type-2`?"), "{part}");
    let whole = helps("unknown-product");
    assert!(whole.contains("did you mean `wall-7kW-socket`?"), "{whole}");
    assert!(!whole.contains("rcbo"), "{whole}");
}
