//! What stands around a place of half a text.

use amperule::design::cursor::{Cursor, Standing, cursor, token};

/// What stands around the mark `^` of a text: levels, key, words before it, the token.
fn around(marked: &str) -> (String, Standing) {
    let at = marked.find('^').unwrap_or_default();
    let text = marked.replacen('^', "", 1);
    let word = |r: &std::ops::Range<usize>| text.get(r.clone()).unwrap_or("").to_owned();
    let words = |all: &[std::ops::Range<usize>]| all.iter().map(word).collect::<Vec<_>>().join(" ");
    let Cursor {
        token,
        levels,
        key,
        before,
        standing,
    } = cursor(&text, at);
    let mut out = String::new();
    for level in &levels {
        let key = level
            .key
            .as_ref()
            .map_or(String::new(), |k| format!("{}: ", word(k)));
        out.push_str(&format!("{key}{} {{ ", words(&level.words)));
    }
    let key = key.as_ref().map_or("-".to_owned(), word);
    out.push_str(&format!("{key} [{}] {}", words(&before), word(&token)));
    (out, standing)
}

#[test]
fn what_stands_around_a_place_is_told_from_half_a_text() {
    for (text, wanted, standing) in [
        ("^", "- [] ", Standing::Entry),
        ("boa^rd", "- [] board", Standing::Entry),
        (
            "board main { fed-fr^",
            "board main { - [] fed-fr",
            Standing::Entry,
        ),
        (
            "board main { fed-^",
            "board main { - [] fed-",
            Standing::Entry,
        ),
        (
            "board main { fed-from: sup^ply",
            "board main { fed-from [] supply",
            Standing::Value,
        ),
        (
            "a b { In: 32 ^A  curve: B }",
            "a b { In [32] A",
            Standing::Value,
        ),
        (
            "a b { In: 32 A  cur^ve: B }",
            "a b { curve [] curve",
            Standing::Entry,
        ),
        (
            "a { device: rcbo { In: 6 A }  ro^",
            "a { - [] ro",
            Standing::Entry,
        ),
        (
            "a { cables: x { s: 1 },\n  armoured { si^",
            "a { cables: armoured { - [] si",
            Standing::Entry,
        ),
        (
            "a { cables: x { s: 1 },\n  arm^",
            "a { cables [] arm",
            Standing::Value,
        ),
        ("a { k: 1\n  ne^", "a { - [] ne", Standing::Entry),
        ("bond wa^", "- [bond] wa", Standing::Head),
        ("a \"no { brace: here^\"", "- [a] here", Standing::Quotes),
        ("a { # no { brace^\n", "a { - [] brace", Standing::Comment),
        ("a \"lost\nb^", "- [] b", Standing::Entry),
        ("} } b^", "- [] b", Standing::Entry),
    ] {
        assert_eq!(around(text), (wanted.to_owned(), standing), "{text}");
    }
}

#[test]
fn a_word_is_taken_with_its_hyphens_and_no_other_signs() {
    let all = "-a-b²: Ω-x(y)";
    let of = |at: usize| all.get(token(all, at)).unwrap_or("");
    assert_eq!((of(1), of(3), of(6)), ("a-b²", "a-b²", "a-b²"));
    assert_eq!(of(all.find('x').unwrap_or_default()), "Ω-x");
    assert_eq!(of(all.len() - 1), "y");
    assert_eq!((of(all.len()), of(9999)), ("", ""));
    // Inside a character, and at the front of a lone hyphen.
    assert_eq!(token("²", 1), 0..2);
    assert!(token("- ", 0).is_empty() && token("-", 1).is_empty());
}

#[test]
fn no_place_of_any_text_is_too_odd() {
    let odd = "x \"\\\" ² { a-: \"\n#\r\n}} , | 😀-{ -b : (";
    for at in 0..=odd.len() + 2 {
        let found = cursor(odd, at);
        assert!(found.token.end <= odd.len(), "{found:?}");
        assert!(odd.get(found.token.clone()).is_some(), "{found:?}");
    }
}
