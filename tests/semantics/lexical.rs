//! Where the language could be read in two ways, and which one is meant.

use amperule::check::Outcome;
use amperule::design::model::Possible;
use amperule::design::parse::parse;
use amperule::source::FileId;
use amperule::vocabulary::WordSet;

use super::world::{KINDS, World, lab_refused, rule, said};

fn world() -> World {
    World::one("x >= 0 A")
}

/// Problems of a text, as code and help.
fn problems(text: &str) -> Vec<(String, String)> {
    let loaded = world().open(text, &[]);
    loaded
        .problems
        .iter()
        .map(|p| {
            (
                p.code.to_owned(),
                format!("{} {}", p.message, p.help.join(" ")),
            )
        })
        .collect()
}

fn sound(text: &str) -> World {
    assert_eq!(problems(text), Vec::new(), "{text}");
    world()
}

/// Low and high of a fact of the thing `t`.
fn is(entries: &str, fact: &str) -> (f64, f64) {
    let text = format!("thing t {{ {entries} }}");
    sound(&text).figure(&text, "t", fact)
}

fn wrong(entries: &str) -> String {
    let all = problems(&format!("thing t {{ {entries} }}"));
    assert!(!all.is_empty(), "`{entries}` is taken");
    all.into_iter()
        .map(|(c, t)| format!("{c}: {t}\n"))
        .collect()
}

/// How many blocks of each kind a text has at its top level and inside.
fn value(text: &str, object: &str, fact: &str) -> Possible {
    let w = sound(text);
    let of = w.design(text);
    let design = of.design();
    let id = design
        .ids()
        .find(|id| design.label(*id) == object)
        .unwrap_or_else(|| panic!("there is `{object}`"));
    let kind = w.ruleset.vocabulary.kind(design.object(id).kind);
    let ix = kind.fact_named(fact).expect("a fact");
    let written = design.object(id).facts[ix.0 as usize].clone();
    written.unwrap_or_else(|| panic!("{fact} is written")).value
}

#[test]
fn s4_a_word_before_a_colon_is_a_key() {
    assert_eq!(is("x: 3 A y: 4 A", "y"), (4.0, 4.0));
    assert_eq!(is("cores: 3 x: 4 A", "x"), (4.0, 4.0));
}

#[test]
fn s4_a_newline_ends_an_entry() {
    let text = "hub h {\n  ways: 12\n  thing t { x: 3 A }\n}\n";
    assert!(matches!(value(text, "h", "ways"), Possible::Number(i) if i.lo == 12.0));
    assert!(matches!(value(text, "t", "hub"), Possible::Object(_)));
    // Unless an operator is last, or a bracket is open.
    assert_eq!(is("x: 3 A |\n 4 A", "x"), (3.0, 4.0));
    assert_eq!(is("x: (3 A\n | 4 A)", "x"), (3.0, 4.0));
    assert_eq!(is("x: 3 A ..\n 4 A", "x"), (3.0, 4.0));
}

#[test]
fn s4_a_word_that_heads_a_block_is_no_unit() {
    let text = "hub h { ways: 12 thing t { x: 3 A } }\n";
    assert!(matches!(value(text, "h", "ways"), Possible::Number(i) if i.lo == 12.0));
    assert!(matches!(value(text, "t", "hub"), Possible::Object(_)));
    assert!(matches!(
        value("hub h { ways: 12 thing t \"label\" { x: 3 A } }", "h", "ways"),
        Possible::Number(i) if i.lo == 12.0
    ));
}

#[test]
fn s4_a_fact_name_after_a_value_lacks_its_colon() {
    let text = wrong("cores: 3 x 18 A");
    assert!(text.contains("`x:"), "{text}");
}

#[test]
fn s4_minus_in_a_word_belongs_to_it() {
    let text = "define house-part as first { In: 32 A }\nthing t { part: house-part }";
    assert!(matches!(value(text, "t", "part"), Possible::Object(_)));
    let template = |length: &str| {
        format!("parameter run: 5 m .. 40 m\nthing t {{ part: first {{ length: {length} }} }}")
    };
    let w = world();
    // Bounds are rounded outward.
    let (low, high) = w.figure(&template("run - 2 m"), "part of t", "length");
    assert!(low <= 3.0 && 3.0 - low < 1e-9 && 38.0 <= high && high - 38.0 < 1e-9);
    let all = problems(&template("run-2 m"));
    let text = all[0].1.clone();
    assert!(text.contains("run - 2"), "{text}");
    assert_eq!(is("warmth: -5 °C", "warmth"), (-5.0, -5.0));
}

#[test]
fn s4_a_date_is_one_token() {
    let text = "thing t { day: 2026-10-12 }";
    assert!(matches!(value(text, "t", "day"), Possible::Date(_)));
    let text = wrong("day: 2026-13-12");
    assert!(text.contains("date"), "{text}");
}

#[test]
fn s4_a_unit_alone_is_a_word() {
    assert_eq!(
        value("thing t { method: C }", "t", "method"),
        Possible::Words(WordSet::one(0))
    );
    // `C` is never °C.
    let text = wrong("warmth: 20 C");
    assert!(text.contains("did you mean `°C`"), "{text}");
}

#[test]
fn s4_units_keep_their_case() {
    assert_eq!(is("r: 5000 mohm", "r"), (5.0, 5.0));
    let problems = problems("thing t { r: 500 Mohm }");
    assert_eq!(
        world().figure("thing t { r: 500 Mohm }", "t", "r"),
        (5e8, 5e8)
    );
    assert_eq!(
        problems.len(),
        1,
        "so far outside is a caution: {problems:#?}"
    );
    assert_eq!(is("span: 5 min", "span"), (300.0, 300.0));
    let text = wrong("span: 5 MIN");
    assert!(text.contains("`min`"), "{text}");
}

#[test]
fn s4_the_blank_before_a_unit_is_optional() {
    assert_eq!(is("x: 18A", "x"), (18.0, 18.0));
    assert_eq!(is("x: 2e1 A", "x"), (20.0, 20.0));
}

#[test]
fn s4_ranges() {
    assert_eq!(is("x: 5..40 A", "x"), (5.0, 40.0));
    assert_eq!(is("x: 5 A .. 40 A", "x"), (5.0, 40.0));
    assert_eq!(is("x: at most 40 A", "x"), (0.0, 40.0));
    assert_eq!(is("x: at least 40 A", "x"), (40.0, f64::INFINITY));
    // Ends are included.
    let w = World::one("x <= 40 A and x >= 5 A");
    assert_eq!(w.outcome("thing t { x: 5..40 A }"), Outcome::Met);
    assert!(wrong("x: 40 A .. 5 A").contains("backwards"));
    assert!(!wrong("x: 5. A").is_empty());
}

#[test]
fn s4_tolerances_and_origins() {
    for written in [
        "20 A ± 5 %",
        "20 A +- 5 %",
        "20 A ± 5 % (measured)",
        "20 A ± 1 A",
    ] {
        assert_eq!(is(&format!("x: {written}"), "x"), (19.0, 21.0), "{written}");
    }
    // It binds tighter than a range and a choice.
    assert_eq!(is("x: 20 A ± 5 % | 40 A", "x"), (19.0, 40.0));
    // An origin is no call, and only five words are one.
    assert_eq!(is("x: 2 A (assumed)", "x"), (2.0, 2.0));
    assert!(!wrong("x: 2 A (guessed)").is_empty());
}

#[test]
fn s4_percent_is_a_unit_only() {
    assert_eq!(is("share: 5 %", "share"), (5.0, 5.0));
    assert!(!wrong("cores: 7 % 2").is_empty());
}

#[test]
fn s4_sizes_with_a_slash_are_one_token() {
    let (low, high) = is("gauge: 1/0 AWG", "gauge");
    assert!((low - 53.49).abs() < 1e-9 && low == high);
    assert!((is("gauge: 250 kcmil", "gauge").0 - 126.7).abs() < 1e-9);
    assert!(!wrong("gauge: 2/0 AWG").is_empty());
}

#[test]
fn s4_declared_pairs_of_units() {
    let text = "thing t { part: first { length: 3 ft 6 in } }";
    let (low, _) = sound(text).figure(text, "part of t", "length");
    assert!((low - 1.0668).abs() < 1e-9, "{low}");
    assert!(!wrong("part: first { length: 3 m 6 cm }").is_empty());
}

#[test]
fn s4_words_of_a_choice_that_look_like_numbers() {
    assert_eq!(
        value("thing t { method: 100 }", "t", "method"),
        Possible::Words(WordSet::one(2))
    );
    assert!(!wrong("method: 101").is_empty());
}

/// A word that no design could write is refused when the ruleset loads.
#[test]
fn s4_words_of_a_choice_are_one_word_or_a_whole_number() {
    let of = |words: &str| {
        format!(
            "  pole:\n    means: a pole\n    facts:\n      kind: {{is: {words}, means: 'k', by: site}}\n"
        )
    };
    for (words, odd) in [
        ("one of 1P+N 2P", "1P+N"),
        ("ordered low mid/high", "mid/high"),
        ("some of red-  blue", "red-"),
        ("one of a--b c", "a--b"),
        ("one of 1.5 2", "1.5"),
        ("one of yes? no", "yes?"),
    ] {
        let said = said(&lab_refused(&of(words)));
        let wanted = format!("no design can write the word `{odd}` of a choice");
        assert!(said.contains(&wanted), "{words}: {said}");
        assert_eq!(said.matches("no design can write").count(), 1, "{said}");
    }
}

/// What the loader takes, a design can write.
#[test]
fn s4_words_that_the_loader_takes_can_be_written() {
    let all = ["TN-C-S", "a_b", "2P", "100", "4a", "x1", "none", "µ"];
    let yaml = KINDS.replace(
        "one of red green blue",
        &format!("one of {}", all.join(" ")),
    );
    let w = World::of(&[("lab", &yaml)], "lab");
    for (place, word) in all.iter().enumerate() {
        let of = w.design(&format!("thing t {{ colour: {word} }}"));
        let design = of.design();
        let wanted = Possible::Words(WordSet::one(place));
        let found = design.objects.iter().flat_map(|o| &o.facts).flatten();
        assert!(found.map(|f| &f.value).any(|v| *v == wanted), "{word}");
    }
}

#[test]
fn s4_a_hash_begins_a_comment() {
    let text = wrong("x: #6 AWG\n");
    assert!(text.contains('x'), "{text}");
    assert_eq!(is("x: 6 A # AWG\n", "x"), (6.0, 6.0));
}

#[test]
fn s4_one_of_and_in_order() {
    let text = wrong("part: first { In: 6 A } | first { In: 10 A }, first { In: 16 A }");
    assert!(text.contains("bracket"), "{text}");
}

#[test]
fn s4_a_parameter_may_not_be_called_like_a_word() {
    let all = problems("parameter red: 5 m .. 40 m\nthing t { colour: red }");
    assert!(!all.is_empty(), "a parameter shadows a word");
}

#[test]
fn s4_signs_have_ascii_spellings() {
    for (a, b) in [
        ("r: 5 Ω", "r: 5 ohm"),
        ("r: 5 \u{2126}", "r: 5 ohm"),
        ("r:\u{A0}5\u{A0}ohm", "r: 5 ohm"),
        ("r: 5 ohm ± 10 %", "r: 5 ohm +- 10 %"),
    ] {
        assert_eq!(is(a, "r"), is(b, "r"), "{a}");
    }
    assert_eq!(is("size: 6 mm2", "size"), is("size: 6 mm²", "size"));
    let text = wrong("r: 0,28 ohm");
    assert!(text.contains("0.28"), "{text}");
}

#[test]
fn s4_keywords_by_their_form() {
    // `use:` stays a key; here no kind has it.
    let parsed = parse(FileId(0), "thing t { use: heating }\n");
    assert_eq!(parsed.problems, []);
    let text = "no hub\nparameter run: 5 m .. 9 m\ndefine p as first { length: run }\nthing t { part: p }\n";
    let (low, high) = sound(text).figure(text, "part of t", "length");
    assert_eq!((low, high), (5.0, 9.0));
}

/// YAML cuts an expression at ` #` without a word, and takes some for syntax of its own.
#[test]
fn s4_traps_of_yaml() {
    let unquoted = rule("it", "x <= 10 A").replace("'x <= 10 A'", "x <= 10 A # for now");
    let text = said(&lab_refused(&format!("rules:\n{unquoted}")));
    assert!(text.contains("cut off"), "{text}");
    for require in ["\"x\" == label", "*x", "{x}", "a: b"] {
        let trap = rule("it", "x <= 10 A").replace("'x <= 10 A'", require);
        let text = said(&lab_refused(&format!("rules:\n{trap}")));
        assert!(text.contains("single quotes"), "{require}: {text}");
    }
}
