//! `ask`: answers from a table are written where they belong and nothing else changes; what does
//! not fit is told line by line, and then nothing is written.

#![expect(
    clippy::expect_used,
    reason = "a test stops where the program does not start"
)]

use crate::common::program;

use std::fs;
use std::path::Path;

use amperule::answer::worded;
use amperule::quantity::Unit;
use amperule::session::{Options, Project, answer};
use amperule::source::{FileId, Memory, Span};
use amperule::vocabulary::{Fact, FactType};
use program::run;
use tempfile::TempDir;

const TABLE: &str = "question,answer,label
supply.earthing,pme,Earthing arrangement
supply.service-fuse,fuse BS-88-3 80 A,Service fuse
supply.Ze,0.28 ohm (measured),Ze
supply.Ipf,0.9,Prospective fault current
supply.tails,singles,Meter tails
supply.tails.size,25,Conductor size
supply.tails.length,1.5 m,Length

supply.metered,y,Metered supply
main.main-switch,?,Main switch
main.all-listed circuit,yes,
law.nation,England,
installation.address,1 Sample Street,
";

fn job(answers: &str) -> TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    let new = ["new", "--rules", "gb", "--job", "house", "job.amp"];
    let (code, _, said) = run(dir.path(), &new, 100);
    assert_eq!(code, 0, "{said}");
    fs::write(dir.path().join("answers.csv"), answers).expect("written");
    dir
}

fn text(folder: &Path) -> String {
    fs::read_to_string(folder.join("job.amp")).expect("a file")
}

fn ask(folder: &Path) -> (i32, String, String) {
    run(folder, &["ask", "job.amp", "--answers", "answers.csv"], 100)
}

#[test]
fn answers_stand_where_they_belong_and_nothing_else_changes() {
    let dir = job(TABLE);
    let before = text(dir.path());
    let (code, out, said) = ask(dir.path());
    assert_eq!((code, said.as_str()), (0, ""), "{out}");
    let after = text(dir.path());
    for line in [
        "  address: \"1 Sample Street\"  # in quotes\n",
        "  earthing: pme  # TN-C-S (PME), TN-S\n",
        "  service-fuse: fuse BS-88-3 80 A  # like: fuse BS-88-3 80 A\n",
        "  Ze: 0.28 ohm (measured)  # like: 0.28 ohm (measured)\n",
        "  Ipf: 0.9 kA  # like: 0.9 kA (measured)\n",
        "  tails: singles { size: 25 mm²  length: 1.5 m }  # like: singles 25 mm² 1.5 m\n",
        "  metered: yes\n}\n",
        "  main-switch: ?  # like",
        "  all-listed: circuit\n",
        "smart: yes  nation: England }\n",
    ] {
        assert!(after.contains(line), "{line}\n{after}");
    }
    let kept = |t: &str| {
        t.lines()
            .filter(|l| !l.contains('?'))
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    for line in kept(&before) {
        let begins = line.trim_end_matches(" }");
        assert!(after.contains(begins), "{line}\n{after}");
    }
    // The same table again says the same, and changes nothing.
    let (code, _, said) = ask(dir.path());
    assert_eq!((code, said.as_str()), (0, ""));
    assert_eq!(text(dir.path()), after);
}

#[test]
fn what_does_not_fit_is_told_with_its_line_and_nothing_is_written() {
    let wrong = "question;answer
supply.Ze;0.28 mm
supply.Zs-seen;3
supply.earthing;TN-X
suply.Ipf;0.9 kA
supply.looped;no
charge-point.drive.location;outdoors } board x {
position.drive.traffic;perhaps
";
    let dir = job(wrong);
    let before = text(dir.path());
    let (code, out, said) = ask(dir.path());
    assert_eq!((code, out.as_str()), (2, ""));
    assert_eq!(text(dir.path()), before);
    for line in [2, 3, 4, 5, 7, 8] {
        assert!(
            said.contains(&format!("answers.csv:{line}:")),
            "{line}: {said}"
        );
    }
    assert!(!said.contains("answers.csv:6:"), "{said}");
    assert!(said.contains("did you mean `supply.Ipf`?"), "{said}");
    assert!(said.contains("nothing was written"), "{said}");
}

#[test]
fn a_table_without_its_columns_is_refused() {
    let dir = job("fact;worth\nsupply.Ze;1\n");
    let (code, _, said) = ask(dir.path());
    assert_eq!(code, 2);
    assert!(said.contains("question,answer"), "{said}");
}

#[test]
fn without_a_terminal_and_a_table_it_says_what_to_give() {
    let dir = job("");
    let (code, _, said) = run(dir.path(), &["ask", "job.amp"], 100);
    assert_eq!(code, 2);
    assert!(said.contains("--answers"), "{said}");
}

/// Every question of the table that `survey` writes is one that `ask` knows.
#[test]
fn the_table_to_fill_in_can_be_read_back() {
    let dir = job("");
    let (code, table, _) = run(dir.path(), &["survey", "--format", "csv", "job.amp"], 100);
    assert_eq!(code, 0);
    assert!(table.lines().count() > 20, "{table}");
    fs::write(
        dir.path().join("answers.csv"),
        table.replacen("question,answer,", "question,value,", 1),
    )
    .expect("written");
    let (code, _, said) = ask(dir.path());
    assert_eq!((code, said.as_str()), (0, ""));
    // One that is nonsense to each of them: all are refused for their answer, none for its name.
    let nonsense: String = table
        .lines()
        .skip(1)
        .filter_map(|l| l.split(",,").next())
        .map(|q| format!("{q},}}\n"))
        .collect();
    fs::write(
        dir.path().join("answers.csv"),
        format!("question,answer\n{nonsense}"),
    )
    .expect("written");
    let (code, _, said) = ask(dir.path());
    assert_eq!(code, 2);
    assert!(!said.contains("there is no question"), "{said}");
}

/// A host gives a text, a question and an answer, and gets the text back.
#[test]
fn a_host_answers_without_files() {
    let text = "installation \"Larch\" dwelling { rules: gb }\nsupply 1-phase existing { Ze: ? }  # seen\n";
    let project = Project::in_memory([("a.amp", text)].into_iter().collect::<Memory>());
    let options = Options::default();
    let loaded = project.open(Path::new("a.amp"), &options);
    let of = |question, said| answer((&project, &options), &loaded, (question, said));
    let done = of("supply.Ze", "0.35").expect("it fits");
    assert_eq!(done.text, text.replace("Ze: ?", "Ze: 0.35 ohm"));
    let done = of("supply.earthing", "TT").expect("it fits");
    assert_eq!(done.text, text.replace("Ze: ? }", "Ze: ?  earthing: TT }"));
    let done = of("supply.Ze", "24 ohm").expect("it fits");
    assert!(done.cautions.is_empty());
    let wrong = of("supply.Ze", "24 A").expect_err("a wrong unit");
    assert!(wrong.iter().any(|p| p.message.contains('A')), "{wrong:?}");
    assert!(of("supply.Ze", "1 ohm # so").is_err());
    assert!(of("supply.Ze", "1 ohm\nTT: yes").is_err());
    // What the fuse is follows from its place.
    let done = of("supply.service-fuse.In", "80").expect("it fits");
    assert!(done.text.contains("service-fuse: fuse { In: 80 A }"));
    // A thing of its own is a block of its own.
    let apart = of("supply.electrodes.form", "rod").expect_err("no such block");
    assert!(
        apart
            .iter()
            .all(|p| p.help.iter().any(|h| h.contains("electrode NAME {"))),
        "{apart:?}"
    );
}

/// The page to fill in loads nothing, and its script and style are those that its policy names.
#[test]
fn the_form_is_one_page_without_a_network() {
    let dir = job("");
    let (code, page, _) = run(dir.path(), &["survey", "--format", "html", "job.amp"], 100);
    assert_eq!(code, 0);
    assert!(
        page.contains("default-src 'none'; script-src 'sha256-"),
        "{page}"
    );
    for none in ["http://", "https://", " style=\"", "onclick", "src="] {
        assert!(!page.contains(none), "{none}");
    }
    let (_, table, _) = run(dir.path(), &["survey", "--format", "csv", "job.amp"], 100);
    for question in table.lines().skip(1).filter_map(|l| l.split(",,").next()) {
        assert!(
            page.contains(&format!("data-id=\"{question}\"")),
            "{question}"
        );
    }
}

/// A bare number takes the unit that was named, that of each line conductor too.
#[test]
fn bare_numbers_take_the_unit() {
    let ty = FactType::Quantity {
        unit: Unit::parse("A").expect("a unit"),
        per_line: true,
        whole: false,
    };
    let fact = Fact::plain("demand", ty, Span::new(FileId(0), 0, 0));
    for (said, written) in [
        ("24", "24 A"),
        ("24 A (measured)", "24 A (measured)"),
        ("24 (measured)", "24 A (measured)"),
        ("L1 30, L2 22 (measured)", "L1 30 A, L2 22 A (measured)"),
        ("L1 30, L2 22.5", "L1 30 A, L2 22.5 A"),
        ("L1 30 A, L2 22 A", "L1 30 A, L2 22 A"),
        ("?", "?"),
    ] {
        assert_eq!(worded(&fact, said).expect("a value"), written);
    }
}

#[test]
fn a_table_of_questions_lists_the_words_that_an_answer_may_be() {
    let dir = TempDir::new().expect("a folder");
    let design = "installation { rules: gb }\nsupply TT { service-state: ? }\n";
    fs::write(dir.path().join("a.amp"), design).expect("written");
    let (_, table, _) = run(dir.path(), &["survey", "--format", "csv", "a.amp"], 100);
    assert!(
        table.contains("one of the words: sound, doubtful, unsafe"),
        "{table}"
    );
}

/// What a part is decides what can be said of it: in whatever order a table has the two.
#[test]
fn the_order_of_answers_does_not_matter() {
    let whole = |answers: &str| {
        let dir = job(&format!("question,answer\n{answers}"));
        let (code, _, said) = ask(dir.path());
        assert_eq!(code, 0, "{said}");
        text(dir.path())
    };
    let one = whole("supply.service-fuse.In,80\nsupply.service-fuse.form,mccb\n");
    let other = whole("supply.service-fuse.form,mccb\nsupply.service-fuse.In,80\n");
    assert!(one.contains("mccb"), "{one}");
    assert_eq!(one, other);
}
