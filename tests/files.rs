//! What commands write: whole, through links, with mode and line ends as they were, and nothing of
//! anybody else's lost.

#![cfg(unix)]
#![expect(
    clippy::expect_used,
    reason = "a run that cannot be started is a fault of the test"
)]

use std::fs;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use tempfile::TempDir;

fn example(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("examples")
        .join(name);
    fs::read_to_string(path).expect("the example is there")
}

/// A design that is laid out otherwise.
fn untidy() -> String {
    let text = example("quarry-cottage.amp");
    let other = text.replace("\n  premises", "\n        premises");
    assert_ne!(text, other);
    other
}

fn program(folder: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_amperule"));
    command
        .args(args)
        .current_dir(folder)
        .env("COLUMNS", "1000");
    command.stdin(Stdio::null());
    command
}

fn run(folder: &Path, args: &[&str]) -> Output {
    program(folder, args).output().expect("the program starts")
}

fn said(done: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    format!("{}\n{}", text(&done.stdout), text(&done.stderr))
}

/// The names in a folder, hidden ones too.
fn names(folder: &Path) -> Vec<String> {
    let all = fs::read_dir(folder).expect("listed");
    let mut all: Vec<String> = all
        .map(|e| {
            e.expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    all.sort();
    all
}

/// A way in which some command writes a file `name`, and the text that stands there before.
struct Way {
    args: Vec<&'static str>,
    name: &'static str,
    before: String,
    /// A template beside it.
    template: bool,
}

fn ways() -> Vec<Way> {
    vec![
        Way {
            args: vec!["format", "v.amp"],
            name: "v.amp",
            before: untidy(),
            template: false,
        },
        Way {
            args: vec!["mend", "--write", "v.amp"],
            name: "v.amp",
            before: example("quarry-cottage-faults.amp"),
            template: false,
        },
        Way {
            args: vec!["prove", "t.amp", "--svg", "map.svg"],
            name: "map.svg",
            before: "an old map".to_owned(),
            template: true,
        },
    ]
}

impl Way {
    fn folder(&self) -> (TempDir, PathBuf) {
        let dir = tempfile::tempdir().expect("a folder");
        if self.template {
            fs::write(dir.path().join("t.amp"), example("rope-yard-template.amp"))
                .expect("written");
        }
        let path = dir.path().join(self.name);
        fs::write(&path, &self.before).expect("written");
        (dir, path)
    }

    fn run(&self, folder: &Path) -> Output {
        run(folder, &self.args)
    }

    /// It ran to its end and wrote something else than stood there.
    fn wrote(&self, done: &Output, path: &Path) -> String {
        let text = fs::read_to_string(path).expect("read");
        assert_ne!(text, self.before, "{:?}\n{}", self.args, said(done));
        assert!(done.status.code().is_some_and(|c| c < 2), "{:?}", self.args);
        text
    }
}

#[test]
fn files_that_stand_beside_are_left_alone() {
    for way in ways() {
        let (dir, path) = way.folder();
        let precious = dir.path().join("precious.txt");
        fs::write(&precious, "precious").expect("written");
        let before = names(dir.path());
        let done = way.run(dir.path());
        let plain = way.wrote(&done, &path);
        assert_eq!(names(dir.path()), before, "{:?}", way.args);
        // Whatever stands under names that are near.
        fs::write(&path, &way.before).expect("written");
        symlink(&precious, dir.path().join(format!("{}.new", way.name))).expect("a link");
        fs::write(dir.path().join(format!("{}.tmp", way.name)), "mine").expect("written");
        let before = names(dir.path());
        let done = way.run(dir.path());
        assert_eq!(way.wrote(&done, &path), plain);
        assert_eq!(names(dir.path()), before, "{:?}", way.args);
        assert_eq!(fs::read_to_string(&precious).expect("read"), "precious");
    }
}

#[test]
fn a_link_stays_and_what_it_leads_to_is_written() {
    for way in ways() {
        let (dir, path) = way.folder();
        let (links, goal) = (dir.path().join("links"), dir.path().join("far"));
        fs::create_dir(&links).expect("a folder");
        fs::create_dir(&goal).expect("a folder");
        let goal = goal.join("goal.txt");
        fs::rename(&path, &goal).expect("moved");
        fs::set_permissions(&goal, fs::Permissions::from_mode(0o604)).expect("a mode");
        // A link to a link.
        symlink("../far/goal.txt", links.join("second")).expect("a link");
        symlink("links/second", &path).expect("a link");
        let done = way.run(dir.path());
        way.wrote(&done, &goal);
        assert!(path.symlink_metadata().expect("there").is_symlink());
        assert_eq!(names(&goal.with_file_name("")), ["goal.txt"]);
        let mode = fs::metadata(&goal).expect("there").permissions().mode();
        assert_eq!(mode & 0o777, 0o604, "{:?}", way.args);
    }
}

#[test]
fn line_ends_stay() {
    for way in ways().into_iter().filter(|w| !w.template) {
        let (dir, path) = way.folder();
        let done = way.run(dir.path());
        let plain = way.wrote(&done, &path);
        fs::write(&path, way.before.replace('\n', "\r\n")).expect("written");
        way.run(dir.path());
        let text = fs::read_to_string(&path).expect("read");
        assert!(text == plain.replace('\n', "\r\n"), "{:?}", way.args);
        // And are no other layout.
        if way.args[0] == "format" {
            let done = run(dir.path(), &["format", "--check", "v.amp"]);
            assert_eq!(done.status.code(), Some(0));
        }
    }
}

/// The old file stays, nothing is left behind, and the message names the file and says why.
fn refused(way: &Way, folder: &Path, path: &Path, done: &Output, why: &str) {
    let before = names(folder);
    let text = said(done);
    assert_eq!(done.status.code(), Some(2), "{:?}\n{text}", way.args);
    assert!(
        text.contains(&format!("`{}` was not written: ", way.name)),
        "{text}"
    );
    assert!(text.contains(why), "`{why}` is not said in {text}");
    assert_eq!(fs::read_to_string(path).expect("read"), way.before);
    let own = ["t.amp", way.name];
    assert!(
        before.iter().all(|n| own.contains(&n.as_str())),
        "{before:?}"
    );
}

#[test]
fn a_disk_that_takes_no_more_leaves_the_old_file() {
    for way in ways() {
        let (dir, path) = way.folder();
        // A limit on the size of files, as a disk that is full, ends writing with an error.
        let mut command = Command::new("sh");
        command
            .args(["-c", "trap '' XFSZ; ulimit -f 1; exec \"$0\" \"$@\""])
            .arg(env!("CARGO_BIN_EXE_amperule"))
            .args(&way.args)
            .current_dir(dir.path());
        // A map is written in one go, a small design too.
        let done = command.output().expect("the shell starts");
        refused(&way, dir.path(), &path, &done, "File too large");
    }
}

#[test]
fn what_is_protected_is_not_written() {
    for way in ways() {
        let (dir, path) = way.folder();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o444)).expect("a mode");
        let done = way.run(dir.path());
        refused(&way, dir.path(), &path, &done, "it is write-protected");
        // A folder that takes no file; it takes any from those who may do everything.
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).expect("a mode");
        fs::set_permissions(dir.path(), fs::Permissions::from_mode(0o555)).expect("a mode");
        let may_all = fs::write(dir.path().join("probe"), "").is_ok();
        if may_all {
            fs::remove_file(dir.path().join("probe")).expect("removed");
        } else {
            let done = way.run(dir.path());
            refused(&way, dir.path(), &path, &done, "permission denied");
        }
        fs::set_permissions(dir.path(), fs::Permissions::from_mode(0o755)).expect("a mode");
    }
}

#[test]
fn a_map_comes_down_on_no_design_and_no_device() {
    let dir = tempfile::tempdir().expect("a folder");
    let template = example("rope-yard-template.amp");
    fs::write(dir.path().join("t.amp"), &template).expect("written");
    symlink("nowhere", dir.path().join("link.svg")).expect("a link");
    for (place, why) in [
        ("t.amp", "a file that ends in `.amp` is a design"),
        ("/dev/null", "it is not a file"),
        ("link.svg", "it is a link that leads nowhere"),
        ("no/map.svg", "not found"),
    ] {
        let done = run(dir.path(), &["prove", "t.amp", "--svg", place]);
        assert_eq!(done.status.code(), Some(2), "{place}");
        assert!(said(&done).contains(why), "{place}: {}", said(&done));
    }
    let text = fs::read_to_string(dir.path().join("t.amp")).expect("read");
    assert_eq!(text, template);
    assert_eq!(names(dir.path()), ["link.svg", "t.amp"]);
}

#[test]
fn a_new_design_takes_no_place_that_is_taken() {
    let dir = tempfile::tempdir().expect("a folder");
    fs::write(dir.path().join("old.amp"), "mine").expect("written");
    symlink("nowhere.amp", dir.path().join("link.amp")).expect("a link");
    for name in ["old.amp", "link.amp"] {
        let done = run(dir.path(), &["new", "--rules", "gb", name]);
        assert_eq!(done.status.code(), Some(2), "{name}");
        let why = format!("`{name}` was not written: it is there already; name another file");
        assert!(said(&done).contains(&why), "{}", said(&done));
    }
    assert_eq!(names(dir.path()), ["link.amp", "old.amp"]);
    assert_eq!(
        fs::read_to_string(dir.path().join("old.amp")).expect("read"),
        "mine"
    );
    // Of several that make one file at the same time, one does.
    let houses = ["One", "Two", "Three", "Four"];
    let started: Vec<_> = houses
        .iter()
        .map(|house| {
            program(
                dir.path(),
                &["new", "--rules", "gb", "--name", house, "new.amp"],
            )
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts")
        })
        .collect();
    let mut made = Vec::new();
    for (house, child) in houses.iter().zip(started) {
        let done = child.wait_with_output().expect("it ends");
        match done.status.code() {
            Some(0) => made.push(*house),
            Some(2) => assert!(
                said(&done).contains("it is there already"),
                "{}",
                said(&done)
            ),
            other => assert_eq!(other, Some(0), "{}", said(&done)),
        }
    }
    let [house] = made.as_slice() else {
        unreachable!("one makes it: {made:?}")
    };
    let text = fs::read_to_string(dir.path().join("new.amp")).expect("read");
    assert!(
        text.contains(&format!("installation \"{house}\"")),
        "{house}"
    );
    // As any file that is made: not for its owner alone, if the mask is a usual one.
    fs::write(dir.path().join("usual"), "").expect("written");
    let mode = |name: &str| {
        let about = fs::metadata(dir.path().join(name)).expect("there");
        about.permissions().mode() & 0o777
    };
    assert_eq!(mode("new.amp"), mode("usual"));
}

/// Runs at the same time lose nothing: each wrote on top of what it read, or says that it did not.
#[test]
fn two_at_once_lose_nothing() {
    let dir = tempfile::tempdir().expect("a folder");
    let faults = example("quarry-cottage-faults.amp").replace("\n  premises", "\n        premises");
    let others: Vec<String> = (0..8).map(|i| format!("n{i}.amp")).collect();
    let (mut mended, mut refused) = (0, 0);
    for _ in 0..6 {
        fs::write(dir.path().join("v.amp"), &faults).expect("written");
        for name in &others {
            fs::write(dir.path().join(name), untidy()).expect("written");
        }
        let before = names(dir.path());
        let start = |args: &[&str]| {
            let mut command = program(dir.path(), args);
            command.stdout(Stdio::piped()).stderr(Stdio::piped());
            command.spawn().expect("the program starts")
        };
        let all = [
            start(&["mend", "--write", "v.amp"]),
            start(&["format", "."]),
            start(&["format", "."]),
        ];
        let mut done: Vec<Output> = Vec::new();
        for child in all {
            done.push(child.wait_with_output().expect("it ends"));
        }
        for one in &done {
            if one.status.code() == Some(2) {
                let why = "another program has changed it meanwhile; run the command again";
                assert!(said(one).contains(why), "{}", said(one));
                refused += 1;
            }
        }
        assert_eq!(names(dir.path()), before);
        let text = fs::read_to_string(dir.path().join("v.amp")).expect("read");
        let written = said(&done[0]).contains("v.amp written");
        mended += usize::from(written);
        // A change that was told as written is in the file, whoever came next.
        let checked = run(dir.path(), &["mend", "v.amp"]);
        let nothing = said(&checked).contains("no change of the designer's");
        assert_eq!(nothing, written, "{text}");
        for name in &others {
            let text = fs::read_to_string(dir.path().join(name)).expect("read");
            let tidy = text == example("quarry-cottage.amp");
            assert!(
                tidy || text == untidy(),
                "{name} is neither the old nor the new text"
            );
        }
    }
    assert!(mended + refused > 0);
}
