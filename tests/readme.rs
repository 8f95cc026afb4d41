//! README and the pages of the guide keep their word: every command line in them runs, in order,
//! and ends as it says.

use std::fs;
use std::path::Path;
use std::process::Command;

/// A command line of a fenced `sh` block.
#[derive(Debug, PartialEq, Eq)]
struct Line {
    /// The file and line that it stands at.
    place: String,
    /// What stands after `amperule`.
    arguments: Vec<String>,
    /// The exit code in its comment.
    promised: Option<i32>,
}

/// What the README holds for a test.
#[derive(Debug, Default)]
struct Told {
    lines: Vec<Line>,
    /// Fenced blocks with a file's name after their language: name and text.
    files: Vec<(String, String)>,
}

/// Splits at blanks outside double quotes.
fn words(text: &str) -> Vec<String> {
    let mut all = Vec::new();
    for (i, part) in text.split('"').enumerate() {
        if i % 2 == 0 {
            all.extend(part.split_whitespace().map(str::to_owned));
        } else {
            all.push(part.to_owned());
        }
    }
    all
}

fn line(place: String, text: &str) -> Option<Line> {
    let (command, comment) = text.split_once('#').unwrap_or((text, ""));
    let rest = command.trim().strip_prefix("amperule ")?;
    Some(Line {
        place,
        arguments: words(rest),
        promised: comment
            .trim()
            .strip_prefix("exit ")
            .and_then(|c| c.trim().parse().ok()),
    })
}

fn told(name: &str, page: &str, out: &mut Told) {
    let mut block: Option<(String, String)> = None;
    for (number, text) in (1..).zip(page.lines()) {
        let fence = text.strip_prefix("```");
        block = match (block, fence) {
            (None, None) => None,
            (None, Some(info)) => Some((info.trim().to_owned(), String::new())),
            (Some((info, body)), Some(_)) => {
                if let Some((_, name)) = info.split_once(' ') {
                    out.files.push((name.to_owned(), body));
                }
                None
            }
            (Some((info, mut body)), None) => {
                if info == "sh" {
                    out.lines.extend(line(format!("{name}:{number}"), text));
                }
                // A step of a workflow goes on only after exit code 0.
                if let Some(step) = text
                    .trim()
                    .strip_prefix("- run: ")
                    .filter(|_| info.starts_with("yaml"))
                {
                    let step = line(format!("{name}:{number}"), &format!("{step}  # exit 0"));
                    out.lines.extend(step);
                }
                body.push_str(text);
                body.push('\n');
                Some((info, body))
            }
        };
    }
}

#[test]
fn the_reader_of_the_readme_is_not_blind() {
    let mut told_here = Told::default();
    told(
        "x.md",
        "a\n```sh\ncargo test\namperule new --name \"Two words\" x.amp  # exit 3\n```\n\
         ```csv t.csv\na,b\n1,2\n```\n```\namperule check y\n```\n\
         ```yaml a.yml\n  - run: amperule check z\n```\n",
        &mut told_here,
    );
    let told = told_here;
    let wanted = ["new", "--name", "Two words", "x.amp"].map(str::to_owned);
    let step = Line {
        place: "x.md:14".to_owned(),
        arguments: ["check", "z"].map(str::to_owned).to_vec(),
        promised: Some(0),
    };
    let first = Line {
        place: "x.md:4".to_owned(),
        arguments: wanted.to_vec(),
        promised: Some(3),
    };
    assert_eq!(told.lines, [first, step]);
    assert_eq!(told.files[0], ("t.csv".to_owned(), "a,b\n1,2\n".to_owned()));
}

#[test]
fn every_command_line_ends_as_its_page_says() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut all = Told::default();
    let readme = fs::read_to_string(root.join("README.md")).expect("the README");
    told("README.md", &readme, &mut all);
    for (topic, _, text) in amperule::guide::PAGES {
        told(topic, text, &mut all);
    }
    let told = all;
    // Some commands write: they work on a copy.
    let copy = tempfile::tempdir().expect("a folder");
    fs::create_dir(copy.path().join("examples")).expect("a folder");
    for entry in fs::read_dir(root.join("examples")).expect("the examples") {
        let from = entry.expect("an example").path();
        let name = from.file_name().expect("a name");
        fs::copy(&from, copy.path().join("examples").join(name)).expect("copied");
    }
    for (name, text) in &told.files {
        let path = copy.path().join(name);
        fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        fs::write(path, text).expect("written");
    }
    assert!(told.files.iter().any(|(name, _)| name.ends_with(".yml")));
    let mut wrong = Vec::new();
    for line in &told.lines {
        let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
            .args(&line.arguments)
            .current_dir(copy.path())
            .output()
            .expect("the program starts");
        if line.promised.is_none() || done.status.code() != line.promised {
            wrong.push(format!(
                "{}: `{}` ended with {:?}, promised is {:?}\n{}",
                line.place,
                line.arguments.join(" "),
                done.status.code(),
                line.promised,
                String::from_utf8_lossy(&done.stderr)
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let verbs = [
        "check", "new", "survey", "bounds", "mend", "prove", "compare", "working", "explain",
        "rules", "format",
    ];
    for verb in verbs {
        assert!(
            told.lines
                .iter()
                .any(|l| l.arguments.first().is_some_and(|a| a == verb)),
            "no page shows a command line of `{verb}`"
        );
    }
}
