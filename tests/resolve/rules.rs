//! The rules a file names.

use super::*;

#[test]
fn the_rules_are_read_before_there_is_a_vocabulary() {
    let text = "installation \"Mill Lane\" { rules: gb + scotland + our-firm\n edition: \"A2\"\n designed-on: 2026-11-02\n stage: design }";
    let (named, problems) = rules_named(&parse(FILE, text).tree);
    assert_eq!(problems, []);
    let named = named.expect("rules are named");
    assert_eq!(named.base.value, "gb");
    let patches: Vec<_> = named.patches.iter().map(|p| p.value.as_str()).collect();
    assert_eq!(patches, ["scotland", "our-firm"]);
    assert_eq!(named.edition.map(|e| e.value).as_deref(), Some("A2"));
    assert_eq!(
        named.designed_on.map(|d| d.value),
        days_from_civil(2026, 11, 2)
    );
    assert_eq!(named.started_on, None);
    assert_eq!(named.stage.map(|s| s.value).as_deref(), Some("design"));
    let span = named.patches[0].span;
    assert_eq!(&text[span.from()..span.until()], "scotland");
}

#[test]
fn rules_that_are_no_names_are_reported() {
    let text = "installation { rules: gb * 2 }";
    let (named, problems) = rules_named(&parse(FILE, text).tree);
    assert_eq!(named, None);
    assert_eq!(
        problems.iter().map(|p| shown(text, p)).collect::<Vec<_>>(),
        [
            "error rules-unreadable: `rules` does not name a ruleset | gb * 2 <- expected the name of a ruleset, and of its patches | =write a name, such as `rules: gb`, or `rules: gb + scotland` with a patch"
        ]
    );
    let (named, problems) = rules_named(&parse(FILE, "supply { }").tree);
    assert_eq!((named, problems), (None, vec![]));
}

#[test]
fn the_names_of_rules_stay_readable_as_a_text() {
    let design = sound("");
    assert!(fact(&design, "installation", "rules").is_none());
    let resolved = read("installation { rules: gb + scotland  edition: 2018 }");
    assert!(!resolved.problems.iter().any(Problem::is_error));
    assert_eq!(
        value(&resolved.design, "installation", "rules"),
        Possible::Text("gb + scotland".to_owned())
    );
    assert_eq!(
        value(&resolved.design, "installation", "edition"),
        Possible::Text("2018".to_owned())
    );
}

#[test]
fn the_content_of_the_rules_may_be_named() {
    for (text, names, pins) in [
        (
            "gb @ 0123456789abcdef",
            &["gb"][..],
            &["0123456789abcdef"][..],
        ),
        ("gb@0123456789abcdef", &["gb"], &["0123456789abcdef"]),
        ("gb + firm @ 12ab", &["gb", "firm"], &["12ab"]),
        ("\"gb + firm @ 12ab\"", &["gb", "firm"], &["12ab"]),
    ] {
        let text = format!("installation {{ rules: {text}  stage: design }}");
        let (named, problems) = rules_named(&parse(FILE, &text).tree);
        assert_eq!(problems, [], "{text}");
        let named = named.expect("rules are named");
        let all = std::iter::once(&named.base).chain(&named.patches);
        assert!(
            all.map(|n| n.value.as_str()).eq(names.iter().copied()),
            "{text}"
        );
        assert!(
            named
                .pins
                .iter()
                .map(|p| p.value.as_str())
                .eq(pins.iter().copied()),
            "{text}"
        );
        let laid_out = amperule::design::format::format(&text).expect("sound");
        let plain = text.replace("gb@0", "gb @ 0");
        assert!(
            laid_out.contains(
                plain
                    .split("  stage")
                    .next()
                    .expect("a text")
                    .trim_start_matches("installation { ")
            ),
            "{laid_out}"
        );
    }
    for text in ["gb @", "gb @ xyz", "\"gb @\"", "@ 12ab", "gb @ 12ab @ 12ab"] {
        let text = format!("installation {{ rules: {text} }}");
        let parsed = parse(FILE, &text);
        let (_, problems) = rules_named(&parsed.tree);
        assert!(!parsed.is_sound() || !problems.is_empty(), "{text}");
    }
}
