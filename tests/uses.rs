//! Which files a design may use: those below its folder, others only where that is asked for, and
//! no lines of what is no design. A mend tells every file that it changes.

#![cfg(unix)]
#![expect(
    clippy::expect_used,
    reason = "a run that cannot be started is a fault of the test"
)]

use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;

use amperule::session::{Options, Project};
use amperule::source::Memory;
use tempfile::TempDir;

fn example(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("examples")
        .join(name);
    fs::read_to_string(path).expect("the example is there")
}

/// A folder with secrets and shared parts, and in it the folder of a project.
fn place() -> TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    let path = |name: &str| dir.path().join(name);
    fs::create_dir_all(path("job/parts")).expect("a folder");
    fs::write(path("secret.txt"), "SECRET: one\nroot:SECRET:0\n").expect("written");
    fs::write(
        path("shared.amp"),
        "define shared as mcb { In: 32 A  curve: B }\n",
    )
    .expect("written");
    fs::write(
        path("job/near.amp"),
        "define near as mcb { In: 6 A  curve: B }\n",
    )
    .expect("written");
    symlink("../secret.txt", path("job/link.amp")).expect("a link");
    symlink("../shared.amp", path("job/linked.amp")).expect("a link");
    symlink("job", path("other")).expect("a link");
    let inner = "use \"../near.amp\"\nuse \"./../parts/inner.amp\"\n";
    fs::write(path("job/parts/inner.amp"), inner).expect("written");
    dir
}

/// What the program says about a design with some uses, and its exit code.
fn check(dir: &TempDir, at: &str, uses: &[&str], more: &[&str]) -> (String, Option<i32>) {
    let uses: String = uses.iter().map(|u| format!("use \"{u}\"\n")).collect();
    fs::write(dir.path().join(at), uses + &example("quarry-cottage.amp")).expect("written");
    run(dir, &[&["check", at], more].concat())
}

fn run(dir: &TempDir, args: &[&str]) -> (String, Option<i32>) {
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(args)
        .args(["--color", "never"])
        .env("COLUMNS", "1000")
        .current_dir(dir.path())
        .output()
        .expect("the program starts");
    let text = [done.stdout, done.stderr].map(|b| String::from_utf8(b).expect("UTF-8"));
    (text.concat(), done.status.code())
}

#[test]
fn what_lies_outside_is_read_only_where_that_is_asked_for() {
    let dir = place();
    let absolute = dir.path().join("shared.amp");
    let absolute = absolute.to_str().expect("UTF-8");
    for used in [
        "../shared.amp",
        absolute,
        "linked.amp",
        "parts/../../shared.amp",
        "../nowhere.amp",
    ] {
        let (said, code) = check(&dir, "job/d.amp", &[used], &[]);
        assert_eq!(code, Some(2), "{said}");
        assert!(
            said.contains(" lies outside of the design's folder and is not read"),
            "{said}"
        );
        assert!(said.contains("─[job/d.amp:1:5]"), "{said}");
        assert!(
            said.contains("give --allow-outside if you trust the design"),
            "{said}"
        );
    }
    for used in ["../shared.amp", absolute, "linked.amp"] {
        let (said, code) = check(&dir, "job/d.amp", &[used], &["--allow-outside"]);
        assert_eq!(code, Some(0), "{said}");
    }
    let (said, code) = check(&dir, "job/d.amp", &["../nowhere.amp"], &["--allow-outside"]);
    assert_eq!(code, Some(2), "{said}");
    assert!(
        said.contains("`job/../nowhere.amp` cannot be read"),
        "{said}"
    );
    // Two rulesets over such a design.
    check(&dir, "job/d.amp", &["../shared.amp"], &[]);
    let line = ["compare", "--from", "gb@2018", "--to", "gb@A4", "job/d.amp"];
    assert_eq!(run(&dir, &line).1, Some(2));
    assert_ne!(
        run(&dir, &[&line[..], &["--allow-outside"]].concat()).1,
        Some(2)
    );
}

#[test]
fn no_line_of_what_is_no_design_is_shown() {
    let dir = place();
    let absolute = dir.path().join("secret.txt");
    let absolute = absolute.to_str().expect("UTF-8");
    for used in [
        "../secret.txt",
        absolute,
        "link.amp",
        "/etc/passwd",
        "/dev/zero",
        "..",
    ] {
        for (more, why) in [
            (
                &[][..],
                " lies outside of the design's folder and is not read",
            ),
            (&["--allow-outside"], " is no design and is not read"),
        ] {
            let (said, code) = check(&dir, "job/d.amp", &[used], more);
            assert_eq!(code, Some(2), "{used}: {said}");
            assert!(said.contains(why), "{used}: {said}");
            assert!(
                !said.contains("SECRET") && !said.contains("root:"),
                "{used}: {said}"
            );
        }
    }
}

#[test]
fn what_lies_below_is_read_once_however_it_is_spelled() {
    let dir = place();
    let uses = [
        "near.amp",
        "./near.amp",
        "parts/../near.amp",
        "parts/inner.amp",
        "../job/near.amp",
    ];
    for at in ["job/d.amp", "other/d.amp", "job/parts/../d.amp"] {
        let (said, code) = check(&dir, at, &uses, &[]);
        assert_eq!(code, Some(0), "{at}: {said}");
    }
    // A design in the folder where one stands, and one that uses itself.
    let (said, code) = check(
        &dir,
        "d.amp",
        &["job/near.amp", "./d.amp", "job/../d.amp"],
        &[],
    );
    assert_eq!(code, Some(0), "{said}");
}

#[test]
fn texts_of_a_host_have_folders_too() {
    let texts: Memory = [
        (
            "job/d.amp".to_owned(),
            format!("use \"../shared.amp\"\n{}", example("quarry-cottage.amp")),
        ),
        (
            "top.amp".to_owned(),
            format!("use \"shared.amp\"\n{}", example("quarry-cottage.amp")),
        ),
        (
            "shared.amp".to_owned(),
            "define shared as mcb { In: 32 A }\n".to_owned(),
        ),
    ]
    .into_iter()
    .collect();
    let project = Project::new(Arc::new(texts), Vec::new());
    let codes = |path: &str, allow_outside| {
        let options = Options {
            allow_outside,
            ..Options::default()
        };
        let loaded = project.open(Path::new(path), &options);
        let errors = loaded.problems.iter().filter(|p| p.is_error());
        errors.map(|p| p.code).collect::<Vec<_>>()
    };
    assert_eq!(codes("job/d.amp", false), ["outside"]);
    assert_eq!(codes("job/d.amp", true), Vec::<&str>::new());
    assert_eq!(codes("top.amp", false), Vec::<&str>::new());
}

/// The example with its device in a file of parts, of a type that a rule refuses.
fn broken(dir: &TempDir, parts: &str) {
    let text = example("quarry-cottage.amp");
    let start = text.find("    device: rcbo {").expect("a device");
    let open = start + "    device: ".len();
    let end = open + text[open..].find('}').expect("its end") + 1;
    let part = text[open..end].strip_prefix("rcbo").expect("an rcbo");
    let part = part
        .replace("poles: 2", "poles: 1")
        .replace("neutral-switched: yes", "neutral-switched: no");
    fs::write(
        dir.path().join("job").join(parts),
        format!("define fixed as rcbo{part}\n"),
    )
    .expect("written");
    let design = format!("use \"{parts}\"\n{}fixed{}", &text[..open], &text[end..]);
    fs::write(dir.path().join("job/d.amp"), design).expect("written");
}

#[test]
fn a_mend_tells_the_files_and_asks_before_it_changes_others() {
    let dir = place();
    let read = |name: &str| fs::read_to_string(dir.path().join(name)).expect("read");
    broken(&dir, "../firm.amp");
    let before = (read("job/d.amp"), read("firm.amp"));
    let line = ["mend", "--allow-outside", "job/d.amp"];
    let (said, code) = run(&dir, &line);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("     in job/../firm.amp\n"), "{said}");
    assert!(
        said.contains("\nFiles that change: job/../firm.amp\n"),
        "{said}"
    );
    // Not without being asked.
    let (said, code) = run(&dir, &[&line[..], &["--write"]].concat());
    assert_eq!(code, Some(2), "{said}");
    let why = "`job/../firm.amp` lies outside of the design's folder; nothing was written";
    assert!(said.contains(why), "{said}");
    assert!(said.contains("give --write-outside"), "{said}");
    assert_eq!((read("job/d.amp"), read("firm.amp")), before);
    let (said, code) = run(&dir, &[&line[..], &["--write", "--write-outside"]].concat());
    assert_eq!(code, Some(0), "{said}");
    assert_eq!(read("job/d.amp"), before.0);
    assert_ne!(read("firm.amp"), before.1);
    assert!(said.contains("job/../firm.amp written"), "{said}");
    // Below the folder it is only told.
    broken(&dir, "parts/firm.amp");
    let before = read("job/parts/firm.amp");
    let (said, code) = run(&dir, &["mend", "--write", "job/d.amp"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("     in job/parts/firm.amp\n"), "{said}");
    assert_ne!(read("job/parts/firm.amp"), before);
    // And a design behind a link is the design itself.
    fs::write(
        dir.path().join("far.amp"),
        example("quarry-cottage-faults.amp"),
    )
    .expect("written");
    symlink("../far.amp", dir.path().join("job/near-by.amp")).expect("a link");
    let (said, _) = run(&dir, &["mend", "--write", "job/near-by.amp"]);
    assert!(said.contains("job/near-by.amp written"), "{said}");
}

#[test]
fn a_design_can_hold_on_to_the_content_of_its_rules() {
    let dir = place();
    let (listed, _) = run(&dir, &["rules", "list", "--rules", "gb"]);
    let hash = listed
        .trim_end()
        .rsplit(' ')
        .next()
        .expect("a hash")
        .to_owned();
    assert_eq!(hash.len(), 16, "{listed}");
    let write = |rules: &str| {
        let text = example("quarry-cottage.amp").replace("rules: gb", &format!("rules: {rules}"));
        fs::write(dir.path().join("d.amp"), text).expect("written");
    };
    write(&format!("gb @ {hash}"));
    assert_eq!(run(&dir, &["check", "d.amp"]).1, Some(0));
    write("gb @ 0123456789abcdef");
    let (said, code) = run(&dir, &["check", "d.amp"]);
    assert_eq!(code, Some(2), "{said}");
    let both = format!(
        "the rules have the hash {hash}, and the design is made for those with 0123456789abcdef"
    );
    assert!(said.contains(&both), "{said}");
    assert!(said.contains(&format!("write `gb @ {hash}`")), "{said}");
    // What other rules say is asked for on purpose.
    assert_ne!(
        run(&dir, &["check", "d.amp", "--edition", "2018"]).1,
        Some(2)
    );
    assert_eq!(run(&dir, &["check", "d.amp", "--rules", "gb"]).1, Some(0));
}
