//! One mistake spoils nothing else, and no text breaks anything.

use proptest::prelude::*;

use super::*;

#[test]
fn a_bad_unit_in_one_circuit_changes_nothing_in_another() {
    let text = |length: &str| {
        format!(
            "circuit a {{ cables: armoured {{ length: {length} }} }}\ncircuit b {{ cables: armoured {{ length: 5 m }}\n device: rcbo {{ In: 6 A }} }}\n{REST}"
        )
    };
    let good = read(&text("5 m")).design;
    let bad = read(&text("5 ohm")).design;
    assert_eq!(value(&bad, "cables 1 of a", "length"), Possible::Poison);
    for id in good.ids() {
        let (one, other) = (good.object(id), bad.object(id));
        let name = good.label(id);
        if name == "cables 1 of a" {
            continue;
        }
        let values = |o: &amperule::design::model::Object| {
            o.facts
                .iter()
                .map(|f| f.as_ref().map(|w| w.value.clone()))
                .collect::<Vec<_>>()
        };
        assert_eq!(values(one), values(other), "{name}");
    }
}

#[test]
fn all_mistakes_are_found_in_one_run() {
    let lines = problems(
        "bord x { }\nsupply second { Ze: 0.3\n earthing: TNCS\n looped: 5 A }\ncharge-point p { circuit: nowhere\n ip-cod: IP44 }\n",
    );
    let codes: Vec<_> = lines
        .iter()
        .filter_map(|l| l.split([' ', ':']).nth(1))
        .collect();
    assert_eq!(
        codes,
        [
            "unknown-kind",
            "missing-unit",
            "unknown-word",
            "wrong-type",
            "unknown-name",
            "unknown-fact"
        ]
    );
}

/// Words, signs and numbers that designs are made of.
fn token() -> impl Strategy<Value = String> {
    let words = [
        "supply",
        "board",
        "circuit",
        "charge-point",
        "bond",
        "readings",
        "installation",
        "device",
        "cables",
        "fed-from",
        "main",
        "ev",
        "bay",
        "n",
        "run",
        "water",
        "rcbo",
        "armoured",
        "define",
        "as",
        "parameter",
        "no",
        "use",
        "departure",
        "from",
        "for",
        "reason",
        "agreed-by",
        "until",
        "status",
        "existing",
        "all-listed",
        "present",
        "evidence",
        "Ze",
        "length",
        "size",
        "gauge",
        "cores",
        "method",
        "lines",
        "In",
        "U0",
        "ip-code",
        "IP44",
        "members",
        "all",
        "by-turn",
        "at",
        "least",
        "most",
        "none",
        "yes",
        "L1",
        "L2",
        "ohm",
        "m",
        "A",
        "mm²",
        "AWG",
        "%",
        "°C",
        "house-rcbo",
        "node",
        "load-limiter",
        "circuits",
        "Zs",
        "x",
        "y",
    ];
    let signs = [
        "{",
        "}",
        "{",
        "}",
        ":",
        ":",
        ":",
        "|",
        ",",
        "..",
        "±",
        "+",
        "-",
        "*",
        "/",
        "(",
        ")",
        "[",
        "]",
        "?",
        "\"",
        "\n",
        "\n",
        "[1..3]",
        "(measured)",
        "(declared)",
        "\"text\"",
        "2026-01-02",
        "0",
        "3",
        "6",
        "32",
        "0.28",
        "-5",
        "1/0",
        "1e9",
        "1e300",
    ];
    prop_oneof![
        proptest::sample::select(words.to_vec()).prop_map(str::to_owned),
        proptest::sample::select(signs.to_vec()).prop_map(str::to_owned),
    ]
}

/// A design in which many things are used; mutations of it reach deep.
const RICH: &str = "installation \"Yard\" { premises: dwelling\n rules: gb + firm }
parameter run: 5 m .. 40 m
define house-rcbo as rcbo { In: 32 A | 40 A\n curve: B }
supply { earthing: TT | TN-S\n Ze: 0.28 ohm ± 5 % (measured)\n agreed-demand: L1 61 A, L2 38 A }
board main { fed-from: supply\n status: existing\n all-listed: circuit
 circuit ev { device: house-rcbo\n lines: L1, L2
 cables: (twin-and-earth { size: 6 mm²\n length: run + 2 m } | armoured { gauge: 1/0 AWG }), armoured { cores: 2 .. 4 } } }
circuit bay[1..3] { fed-from: main\n lines: by-turn L1, L2\n cables: armoured { length: 4 m + n * 3 m } }
charge-point post[1..3] { circuit: bay[n]\n ip-code: at least IP54\n dc-fault-protection: rdc-dd }
charge-point wall { circuit: ev | bay[1]\n In: 32 A }
load-limiter lim { members: all charge-point\n guards: supply, main }
readings ev { trip-time: 24 ms }
bond water { }
no load
departure from r { for: water\n reason: \"x\"\n agreed-by: \"y\"\n until: 2027-01-01 }
";

fn survives(text: &str, set: &[(String, String)]) -> Result<(), TestCaseError> {
    let parsed = parse(FILE, text);
    let set = set
        .iter()
        .map(|(name, value)| (name.clone(), parse_value(FileId(9), value, 0).0))
        .collect();
    let trees = [&parsed.tree];
    let (_, named) = rules_named(trees[0]);
    let vocabulary = vocabulary();
    let resolved = resolve(&trees, &vocabulary, &Settings { set });
    for problem in resolved.problems.iter().chain(&named) {
        prop_assert!(!problem.labels.is_empty(), "has a place: {problem:?}");
        prop_assert!(!problem.message.ends_with('.'), "{}", problem.message);
        for label in problem.labels.iter().filter(|l| l.span.file == FILE) {
            prop_assert!(text.get(label.span.from()..label.span.until()).is_some());
        }
    }
    let count = resolved.design.objects.len();
    for object in &resolved.design.objects {
        prop_assert_eq!(object.facts.len(), vocabulary.kind(object.kind).facts.len());
        let mut queue: Vec<&Possible> = object.facts.iter().flatten().map(|w| &w.value).collect();
        while let Some(value) = queue.pop() {
            match value {
                Possible::Object(id) => prop_assert!((id.0 as usize) < count),
                Possible::OneOf(values) => {
                    prop_assert!(values.len() >= 2);
                    queue.extend(values);
                }
                Possible::List(values) => queue.extend(values),
                Possible::PerLine(lines) => queue.extend(lines.iter().flatten().map(AsRef::as_ref)),
                Possible::Number(set) => prop_assert!(set.lo <= set.hi),
                _ => {}
            }
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn random_tokens_never_break_it(tokens in proptest::collection::vec(token(), 0..80)) {
        survives(&tokens.join(" "), &[])?;
    }

    #[test]
    fn mutated_designs_never_break_it(
        edits in proptest::collection::vec((0..2000_usize, 0..12_usize, token()), 1..12),
        set in proptest::collection::vec(("run|how|x", "[0-9]{1,3}( m| ohm|)|TT|\\?|5 m .. 9 m"), 0..2),
    ) {
        let mut text = RICH.to_owned();
        for (at, length, token) in edits {
            let bounds: Vec<usize> = text.char_indices().map(|(i, _)| i).chain([text.len()]).collect();
            let from = bounds[at % bounds.len()];
            let to = bounds[(at % bounds.len() + length).min(bounds.len() - 1)];
            text.replace_range(from..to, &format!(" {token} "));
        }
        survives(&text, &set)?;
    }
}

#[test]
fn the_rich_design_is_sound() {
    let resolved = read(RICH);
    let lines: Vec<_> = resolved.problems.iter().map(|p| shown(RICH, p)).collect();
    assert_eq!(lines, Vec::<String>::new());
}
