//! A host that keeps a design open while it is edited: what it is told is what a fresh look at the
//! same texts would tell, and what has not changed is not worked out again.

#![expect(
    clippy::expect_used,
    reason = "a test stops where a text of its own is not as it says"
)]

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::{Arc, Mutex};

use amperule::check::Standing;
use amperule::ruleset::{Severity, Stage};
use amperule::session::{Ask, Config, Loaded, Options, Project};
use amperule::source::{Entry, Files, Memory};

const COTTAGE: &str = include_str!("../examples/quarry-cottage.amp");

const DESIGN: &str = "cottage.amp";
const DEVICES: &str = "parts/devices.amp";
const POINTS: &str = "parts/points.amp";

const ALL: Ask = Ask {
    met: true,
    helps: true,
};

/// Paths and texts: the design, and two files of parts.
type Texts = [(&'static str, String); 3];

fn memory(texts: &Texts) -> Memory {
    texts.iter().cloned().collect()
}

/// What is written at one time.
#[derive(Clone, Debug)]
struct Written {
    /// Length of the second run in m.
    length: usize,
    /// Its size in mm².
    size: &'static str,
    /// A line as it should be, and as it is half written.
    broken: Option<(&'static str, &'static str)>,
    /// In one file of parts: the type of the RCD.
    rcd_type: &'static str,
    /// In the other: below how many volts the open-PEN device acts.
    below: &'static str,
    /// In which order the files of parts are used.
    uses: [&'static str; 2],
    /// Lines that say nothing.
    notes: usize,
}

/// A text with one piece in place of another that stands in it once.
fn put(text: &str, old: &str, new: &str) -> String {
    assert_eq!(text.matches(old).count(), 1, "`{old}` in\n{text}");
    text.replacen(old, new, 1)
}

/// A text without a part that it holds, which goes by a name instead; and that part.
fn named(text: &str, fact: &str, head: &str, name: &str) -> (String, String) {
    let start = text.find(&format!("{fact}: {head} {{")).expect(fact);
    let end = text[start..].find('}').expect("the end of the part") + start + 1;
    let part = &text[start + fact.len() + 2..end];
    let named = format!("{}{fact}: {name}{}", &text[..start], &text[end..]);
    (named, format!("define {name} as {part}\n"))
}

impl Written {
    /// The cottage as it is.
    fn new() -> Self {
        Self {
            length: 18,
            size: "6",
            broken: None,
            rcd_type: "A",
            below: "207",
            uses: [DEVICES, POINTS],
            notes: 0,
        }
    }

    fn texts(&self) -> Texts {
        let (text, device) = named(COTTAGE, "device", "rcbo", "ev-rcbo");
        let (text, pen) = named(&text, "open-pen", "open-pen", "ev-pen");
        let run = format!(
            "armoured {{ size: {} mm²  insulation: XLPE  length: {} m",
            self.size, self.length
        );
        let text = put(
            &text,
            "armoured { size: 6 mm²  insulation: XLPE  length: 18 m",
            &run,
        );
        let text = match self.broken {
            Some((sound, half)) => put(&text, sound, half),
            None => text,
        };
        let [first, second] = self.uses;
        let notes = "# a note\n".repeat(self.notes);
        [
            (
                DESIGN,
                format!("use \"{first}\"\nuse \"{second}\"\n{text}{notes}"),
            ),
            (
                DEVICES,
                put(
                    &device,
                    "rcd-type: A",
                    &format!("rcd-type: {}", self.rcd_type),
                ),
            ),
            (
                POINTS,
                put(&pen, "U-below: 207", &format!("U-below: {}", self.below)),
            ),
        ]
    }

    /// One of the changes that somebody makes while designing: ten of them, over and over.
    fn change(&mut self, number: usize) {
        let round = number / 10;
        match number % 10 {
            0 => self.length = 6 + 7 * (round % 9),
            1 => self.size = ["2.5", "4", "6", "10"][round % 4],
            2 => {
                let half = [
                    ("U0: 230 V", "U0: 230"),
                    ("bond gas {", "bond gas"),
                    ("device: ev-rcbo", "device: ev-rcb"),
                    ("earthing: TN-C-S", "earthing:"),
                ];
                self.broken = Some(half[round % 4]);
            }
            3 => self.broken = None,
            4 => self.rcd_type = "AC",
            5 => self.rcd_type = "A",
            6 => self.below = "150",
            7 => self.below = "207",
            8 => self.uses.reverse(),
            _ => self.notes = round % 2,
        }
    }
}

fn open(project: &Project, options: &Options) -> Arc<Loaded> {
    project.open(Path::new(DESIGN), options)
}

/// Everything that is told of a design, figures and places included.
fn told(loaded: &Loaded) -> String {
    let checked = loaded.check(ALL);
    let zs = loaded.installation.as_ref();
    let zs = zs.and_then(|of| of.value("ev", "Zs", None));
    format!("{checked:#?}\n{zs:?}")
}

/// The text of a file as it was taken in; it is parsed just when it is taken in.
fn file(loaded: &Loaded, path: &str) -> Arc<amperule::source::SourceFile> {
    let mut all = loaded.sources.own().iter();
    let found = all.find(|f| f.name() == path);
    Arc::clone(found.expect(path))
}

#[test]
fn a_hundred_edits_are_told_as_a_fresh_look_would_tell_them() {
    let options = Options::default();
    let mut written = Written::new();
    let mut texts = written.texts();
    let mut project = Project::in_memory(memory(&texts)).for_editing();
    let mut was = open(&project, &options);
    assert!(was.is_sound(), "{:#?}", was.problems);
    let (mut standings, mut seen) = (BTreeSet::new(), BTreeSet::new());
    for number in 0..100 {
        written.change(number);
        let before = std::mem::replace(&mut texts, written.texts());
        for (path, text) in &texts {
            project.edit(path, text);
        }
        let now = open(&project, &options);
        let fresh = open(&Project::in_memory(memory(&texts)), &options);
        let about = format!("edit {number}: {written:?}");
        assert_eq!(now.problems, fresh.problems, "{about}");
        assert_eq!(told(&now), told(&fresh), "{about}");
        assert_eq!(now.is_sound(), written.broken.is_none(), "{about}");
        standings.insert(now.check(Ask::default()).standing(Severity::Breach));
        seen.insert(told(&now));
        // What has not changed is the same thing as before: it is not read or resolved again.
        assert!(Arc::ptr_eq(&now, &open(&project, &options)), "{about}");
        assert_eq!(Arc::ptr_eq(&was, &now), before == texts, "{about}");
        let ruleset = |loaded: &Loaded| Arc::clone(loaded.ruleset.as_ref().expect("gb"));
        assert!(Arc::ptr_eq(&ruleset(&was), &ruleset(&now)), "{about}");
        for ((path, old), (_, new)) in before.iter().zip(&texts) {
            // In files that change places each place is another one.
            if number % 10 != 8 {
                let same = Arc::ptr_eq(&file(&was, path), &file(&now, path));
                assert_eq!(same, old == new, "{about}: {path}");
            }
        }
        was = now;
    }
    // The edits were worth looking at.
    let all = [Standing::Clean, Standing::Breach, Standing::Failed];
    assert_eq!(standings.into_iter().collect::<Vec<_>>(), all);
    assert!(seen.len() > 40, "{}", seen.len());
}

/// Other options ask another question of the same texts.
#[test]
fn what_is_asked_for_counts_as_much_as_what_is_written() {
    let texts = Written::new().texts();
    let project = Project::in_memory(memory(&texts)).for_editing();
    let at = |stage| Options {
        stage: Some(stage),
        ..Options::default()
    };
    let design = open(&project, &at(Stage::Design));
    let verify = open(&project, &at(Stage::Verify));
    assert_eq!((design.stage, verify.stage), (Stage::Design, Stage::Verify));
    let fresh = open(&Project::in_memory(memory(&texts)), &at(Stage::Verify));
    assert_eq!(told(&verify), told(&fresh));
    assert_ne!(told(&design), told(&verify));
    // The files are the same all the while.
    for path in [DESIGN, DEVICES, POINTS] {
        assert!(
            Arc::ptr_eq(&file(&design, path), &file(&verify, path)),
            "{path}"
        );
    }
}

/// Texts that another program writes.
#[derive(Clone, Debug, Default)]
struct Shelf(Arc<Mutex<Memory>>);

impl Shelf {
    fn hold(&self, texts: Memory) {
        *self.0.lock().expect("no test fails with it") = texts;
    }

    fn now(&self) -> Memory {
        self.0.lock().expect("no test fails with it").clone()
    }
}

impl Files for Shelf {
    fn read(&self, path: &Path) -> Result<String, String> {
        self.now().read(path)
    }

    fn list(&self, folder: &Path) -> Result<Vec<Entry>, String> {
        self.now().list(folder)
    }

    fn is_folder(&self, path: &Path) -> bool {
        self.now().is_folder(path)
    }
}

/// Files of which no folder may be listed.
#[derive(Clone, Debug)]
struct Closed(Memory);

impl Files for Closed {
    fn read(&self, path: &Path) -> Result<String, String> {
        self.0.read(path)
    }

    fn list(&self, folder: &Path) -> Result<Vec<Entry>, String> {
        unreachable!("{} is listed", folder.display())
    }

    fn is_folder(&self, path: &Path) -> bool {
        self.0.is_folder(path)
    }
}

/// `amperule.toml` is looked for by its name: a folder above may hold a great many other files.
#[test]
fn no_folder_is_listed_for_the_settings() {
    let texts = [("a/amperule.toml", "deny = \"caution\"\n")];
    let files = Closed(texts.into_iter().collect());
    let config = |folder: &str| Config::of(&files, Path::new(folder)).expect("it can be read");
    assert_eq!(
        config("a/b/c").and_then(|c| c.deny),
        Some(Severity::Caution)
    );
    assert!(config("b").is_none());
}

/// A file that another program takes away is missed, and found when it is back.
#[test]
fn files_come_and_go_under_a_host() {
    let shelf = Shelf::default();
    let project = Project::new(Arc::new(shelf.clone()), Vec::new()).for_editing();
    let options = Options::default();
    let without = |path: &str| -> Memory {
        let texts = Written::new().texts().into_iter();
        texts.filter(|(p, _)| *p != path).collect()
    };
    for gone in ["", POINTS, DEVICES, "", DEVICES, POINTS, DESIGN, ""] {
        shelf.hold(without(gone));
        let now = open(&project, &options);
        let fresh = open(&Project::in_memory(without(gone)), &options);
        assert_eq!(now.problems, fresh.problems, "without `{gone}`");
        assert_eq!(told(&now), told(&fresh), "without `{gone}`");
        assert_eq!(now.is_sound(), gone.is_empty(), "without `{gone}`");
    }
}
