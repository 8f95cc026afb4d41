//! Both grammars against the table of units: each spelling is read, and nothing else is taken for
//! a unit.

use amperule::design::parse::parse as design;
use amperule::design::tree::{Entry, Item, Number, ValueKind};
use amperule::expression::{ExprKind, parse as expression};
use amperule::quantity::Unit;
use amperule::source::FileId;

/// All spellings; with `*` a product of units is written in rulesets only, where it stands alone.
fn spellings() -> impl Iterator<Item = &'static str> {
    Unit::all_spellings().filter(|s| *s != "1" && !s.contains('*'))
}

/// Signs that keyboards put for one another.
fn twins(spelling: &str) -> Vec<String> {
    let mut all = vec![spelling.to_owned()];
    for (sign, twin) in [('Ω', '\u{2126}'), ('µ', '\u{3BC}'), ('·', '⋅')] {
        let more: Vec<String> = all
            .iter()
            .filter(|s| s.contains(sign))
            .map(|s| s.replace(sign, &twin.to_string()))
            .collect();
        all.extend(more);
    }
    all
}

/// The number that stands for `x` in a block, and the mistakes that were found.
fn number(text: &str) -> (Option<Number>, Vec<&'static str>) {
    let parsed = design(FileId(0), &format!("thing t {{\n  x: {text}\n}}\n"));
    let number = parsed.tree.items.iter().find_map(|item| match item {
        Item::Block(b) => b.entries.iter().find_map(|e| match e {
            Entry::Fact(f) => match &f.value.kind {
                ValueKind::Number(n) => Some(n.clone()),
                _ => None,
            },
            _ => None,
        }),
        _ => None,
    });
    (number, parsed.problems.iter().map(|p| p.code).collect())
}

fn same(written: Option<&str>, spelling: &str) -> bool {
    written.is_some_and(|w| Unit::parse(w) == Unit::parse(spelling))
}

/// Each unit of the table is one in a design, with and without a blank before it.
#[test]
fn a_design_takes_each_unit_of_the_table() {
    for spelling in spellings() {
        for written in twins(spelling) {
            for text in [format!("5 {written}"), format!("5{written}")] {
                let (number, problems) = number(&text);
                let unit = number.and_then(|n| n.unit.map(|u| u.text));
                assert!(same(unit.as_deref(), spelling), "{text}: {unit:?}");
                assert!(problems.is_empty(), "{text}: {problems:?}");
            }
        }
    }
}

/// A unit stays one where a number follows it: the one mistake is that number.
#[test]
fn a_number_after_a_unit_is_one_mistake() {
    for spelling in spellings() {
        for written in twins(spelling) {
            let text = format!("5 {written} 3");
            let (_, problems) = number(&text);
            assert_eq!(problems, number("5 kA 3").1, "{text}");
            assert_eq!(problems.len(), 1, "{text}");
        }
    }
}

/// What the grammar of designs lists as units is in the table, but for the word of gauges.
#[test]
fn the_grammar_lists_no_unit_that_is_none() {
    let grammar = include_str!("../../grammar/design.pest");
    let (_, list) = grammar.split_once("usual_word = _{").expect("the list");
    let (list, _) = list.split_once("\n}").expect("its end");
    let words: Vec<String> = list
        .split('"')
        .skip(1)
        .step_by(2)
        .map(|w| {
            w.replace("\\u{2126}", "\u{2126}")
                .replace("\\u{3BC}", "\u{3BC}")
        })
        .collect();
    assert!(words.len() > 60, "{words:?}");
    for word in &words {
        assert!(word == "AWG" || Unit::parse(word).is_ok(), "{word}");
    }
}

/// Each unit of the table is one in the expressions of rulesets.
/// The grammar looks for the name of a unit in words of five letters at most.
#[test]
fn no_unit_of_one_word_has_more_than_five_letters() {
    for spelling in spellings() {
        for letters in spelling.split(|c: char| !c.is_alphanumeric()) {
            assert!(letters.chars().count() <= 5, "{spelling}");
        }
    }
}

#[test]
fn an_expression_takes_each_unit_of_the_table() {
    for spelling in spellings() {
        for written in twins(spelling) {
            for text in [format!("5 {written}"), format!("x <= 5 {written}")] {
                let read = expression(&text).unwrap_or_else(|e| panic!("{text}: {e:?}"));
                let number = match read.kind {
                    ExprKind::Binary(_, _, right) => right.kind,
                    kind => kind,
                };
                let ExprKind::Number { unit, .. } = number else {
                    panic!("{text} is a number");
                };
                let unit = unit.map(|(u, _)| u);
                assert!(same(unit.as_deref(), spelling), "{text}: {unit:?}");
            }
        }
    }
}
