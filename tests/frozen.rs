//! The rulesets inside the program, compiled when it was built, are what their files compile to.

#![expect(
    clippy::expect_used,
    reason = "a test that cannot load a ruleset stops at once"
)]

use std::path::PathBuf;
use std::sync::Arc;

use amperule::ruleset::freeze::encode;
use amperule::ruleset::{Library, Request, Ruleset};
use amperule::source::Sources;

/// The same rulesets, read from their files and compiled.
fn from_files() -> Library {
    Library::new(vec![
        PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("rulesets"),
    ])
}

fn load(library: &Library, request: &Request) -> Arc<Ruleset> {
    let loaded = library.load(request);
    assert!(
        loaded.problems.is_empty(),
        "{request:?}: {:?}",
        loaded.problems
    );
    loaded.ruleset.expect("a ruleset without problems")
}

fn edition(base: &str, edition: &str) -> Request {
    Request {
        base: base.to_owned(),
        edition: Some(edition.to_owned()),
        ..Request::default()
    }
}

#[test]
fn each_edition_is_what_its_files_compile_to() {
    let (inside, files) = (Library::default(), from_files());
    let mut compared = 0;
    for base in ["core", "iec", "gb", "us"] {
        let editions = inside.editions(base);
        assert_eq!(editions, files.editions(base), "{base}");
        for id in editions {
            let request = edition(base, &id);
            let (frozen, fresh) = (load(&inside, &request), load(&files, &request));
            assert_eq!(frozen.hash, fresh.hash, "{base} {id}");
            assert_eq!(frozen.hash.len(), 16, "{base} {id}");
            // The stored form holds everything but the files.
            let (a, b) = (encode(&frozen), encode(&fresh));
            assert!(a.is_ok() && a == b, "{base} {id} is compiled otherwise");
            let texts = |r: &Ruleset| -> Vec<String> {
                r.files.iter().map(|f| f.text().to_owned()).collect()
            };
            assert!(texts(&frozen) == texts(&fresh), "files of {base} {id}");
            compared += 1;
        }
    }
    assert_eq!(compared, 1 + 1 + 5 + 4);
}

#[test]
fn places_point_into_the_texts() {
    let ruleset = load(&Library::default(), &edition("gb", "A2"));
    let sources = Sources::over(Arc::clone(&ruleset.files));
    for rule in &ruleset.rules {
        assert_eq!(sources.slice(rule.span), rule.id);
    }
    let kind = ruleset.vocabulary.kind_named("circuit").expect("a kind");
    assert_eq!(sources.slice(ruleset.vocabulary.kind(kind).span), "circuit");
}

#[test]
fn the_edition_is_chosen_as_from_files() {
    let (inside, files) = (Library::default(), from_files());
    let days = [
        17_000, 17_720, 18_300, 19_080, 19_100, 20_000, 20_600, 20_740,
    ];
    let mut noted = 0;
    for base in ["core", "iec", "gb", "us"] {
        for on in days.map(Some).into_iter().chain([None]) {
            let request = Request {
                base: base.to_owned(),
                on,
                ..Request::default()
            };
            let (a, b) = (inside.load(&request), files.load(&request));
            assert_eq!(a.problems, b.problems, "{request:?}");
            let said = |r: Option<Arc<Ruleset>>| {
                r.map(|r| {
                    (
                        r.edition.id.clone(),
                        r.other_editions.clone(),
                        r.edition_note.clone(),
                    )
                })
            };
            let said = (said(a.ruleset), said(b.ruleset));
            assert_eq!(said.0, said.1, "{request:?}");
            noted += usize::from(said.0.is_some_and(|(_, _, note)| note.is_some()));
        }
    }
    assert!(noted > 10, "{noted}");
    let unknown = edition("gb", "A9");
    assert_eq!(
        inside.load(&unknown).problems,
        files.load(&unknown).problems
    );
    assert!(!inside.load(&unknown).problems.is_empty());
}

#[test]
fn words_are_shared_again() {
    let ruleset = load(&Library::default(), &edition("gb", "A2"));
    let lists = ruleset
        .vocabulary
        .kinds
        .iter()
        .flat_map(|k| k.facts.iter())
        .filter_map(|f| f.words())
        .filter(|w| w.iter().any(|x| x == "to-go"));
    let lists: Vec<_> = lists.collect();
    assert!(lists.len() > 5, "{}", lists.len());
    assert!(lists.iter().all(|w| Arc::ptr_eq(w, lists[0])));
}

#[test]
fn a_folder_goes_before_what_is_inside() {
    let folder = tempfile::tempdir().expect("a folder");
    let own = folder.path().join("gb");
    std::fs::create_dir(&own).expect("a folder in it");
    std::fs::write(
        own.join("ruleset.yaml"),
        "ruleset: gb\ntitle: mine\nparent: core\neditions: [{id: '1'}]\n",
    )
    .expect("a file in it");
    let library = Library::new(vec![folder.path().to_owned()]);
    let mine = load(&library, &edition("gb", "1"));
    assert_eq!((mine.title.as_str(), mine.rules.len()), ("mine", 0));
    assert_eq!(library.editions("gb"), ["1"]);
    // An ancestor in a folder counts for what is built on it.
    let core = folder.path().join("core");
    std::fs::create_dir(&core).expect("a folder in it");
    std::fs::write(
        core.join("ruleset.yaml"),
        "ruleset: core\neditions: [{id: '1'}]\n",
    )
    .expect("a file in it");
    assert!(library.load(&edition("iec", "2018")).ruleset.is_none());
}
