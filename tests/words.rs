//! What `rules words` promises: it names everything a design may hold, and what it says of a fact
//! is what the language takes.

#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "a test stops where the program does not start, or where the JSON is not as documented"
)]

mod language;

use crate::architecture::rust_files;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;

use amperule::answer::{facts_read, stock_mistakes};
use amperule::check::show_val;
use amperule::expression::Val;
use amperule::ruleset::{Request, Ruleset};
use amperule::session::Project;
use amperule::source::Memory;
use amperule::vocabulary::{FactType, Kind};
use serde_json::Value;

fn run(arguments: &[&str]) -> (i32, String, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_amperule"))
        .args(["rules", "words"])
        .args(arguments)
        .args(["--color", "never"])
        .env("COLUMNS", "100")
        .output()
        .expect("the program starts");
    (
        done.status.code().unwrap_or(-1),
        String::from_utf8_lossy(&done.stdout).into_owned(),
        String::from_utf8_lossy(&done.stderr).into_owned(),
    )
}

/// What is printed for a name that there is.
fn shown(arguments: &[&str]) -> String {
    let (code, out, said) = run(arguments);
    assert_eq!((code, said.as_str()), (0, ""), "{arguments:?}");
    out
}

fn json(arguments: &[&str]) -> Value {
    let mut all = arguments.to_vec();
    all.extend(["--format", "json"]);
    let value: Value = serde_json::from_str(&shown(&all)).expect("JSON");
    assert_eq!(value["schema"], "amperule-words-1");
    value
}

/// What is said of a name that there is not.
fn refused(name: &str) -> String {
    let (code, out, said) = run(&[name]);
    assert_eq!((code, out.as_str()), (2, ""), "{name}: {said}");
    said
}

fn ruleset(name: &str) -> Arc<Ruleset> {
    let project = Project::in_memory(Memory::default());
    let loaded = project.ruleset(&Request {
        base: name.to_owned(),
        edition: project.library().editions(name).pop(),
        ..Request::default()
    });
    loaded.ruleset.clone().expect("it ships inside")
}

fn list<'v>(value: &'v Value, key: &str) -> &'v [Value] {
    value[key]
        .as_array()
        .unwrap_or_else(|| panic!("`{key}` is a list"))
}

fn text<'v>(value: &'v Value, key: &str) -> &'v str {
    value[key]
        .as_str()
        .unwrap_or_else(|| panic!("`{key}` is a text"))
}

/// The first words of the lines that are indented by two blanks.
fn entries(text: &str) -> Vec<&str> {
    text.lines()
        .filter_map(|l| l.strip_prefix("  "))
        .filter(|l| !l.starts_with(' '))
        .filter_map(|l| l.split([' ', ':']).next())
        .collect()
}

/// The facts that the text of a kind lists, below its head.
fn facts_listed(text: &str) -> BTreeSet<&str> {
    let (_, body) = text.split_once("\n\n").unwrap_or(("", ""));
    entries(body).into_iter().collect()
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn fact_names(kind: &Kind) -> BTreeSet<&str> {
    kind.facts.iter().map(|f| f.name.as_str()).collect()
}

#[test]
fn every_kind_and_every_fact_is_listed() {
    for name in ["gb", "us"] {
        let ruleset = ruleset(name);
        let all = shown(&["--rules", name]);
        let mut listed = entries(&all);
        listed.sort_unstable();
        let mut kinds: Vec<&str> = ruleset
            .vocabulary
            .kinds
            .iter()
            .map(|k| k.name.as_str())
            .collect();
        kinds.sort_unstable();
        assert_eq!(listed, kinds, "{all}");
        let flat = one_line(&all);
        for kind in &ruleset.vocabulary.kinds {
            assert!(flat.contains(&one_line(&kind.means)), "{}", kind.name);
            for head in &kind.heads {
                assert!(flat.contains(&head.word), "{}", head.word);
            }
            let text = shown(&[&kind.name, "--rules", name]);
            assert_eq!(facts_listed(&text), fact_names(kind), "{text}");
            let flat = one_line(&text);
            for fact in &kind.facts {
                assert!(
                    flat.contains(&one_line(&fact.texts.means)),
                    "{}.{}:\n{text}",
                    kind.name,
                    fact.name
                );
            }
        }
    }
}

/// Whatever can be asked or stands in a form has a name that people use, of a few words.
#[test]
fn whatever_is_asked_has_a_label() {
    for name in ["gb", "us", "iec"] {
        let ruleset = ruleset(name);
        let mut without = Vec::new();
        for kind in &ruleset.vocabulary.kinds {
            let facts = kind.facts.iter();
            let asked = facts.filter(|f| f.writable || matches!(f.ty, FactType::Reverse { .. }));
            let mut all = vec![(kind.name.clone(), &kind.name, &kind.label)];
            all.extend(
                asked.map(|f| (format!("{}.{}", kind.name, f.name), &f.name, &f.texts.label)),
            );
            let few = |label: &str| (1..=5).contains(&label.split_whitespace().count());
            let bad = |(_, name, label): &(String, &String, &String)| !few(label) || label == name;
            without.extend(all.iter().filter(|a| bad(a)).map(|(full, ..)| full.clone()));
        }
        assert!(without.is_empty(), "{name}: {without:?}");
    }
}

#[test]
fn no_line_is_wider_than_100_columns() {
    for name in ["gb", "us"] {
        let ruleset = ruleset(name);
        let mut texts = vec![shown(&["--rules", name])];
        for kind in &ruleset.vocabulary.kinds {
            texts.push(shown(&[&kind.name, "--rules", name]));
        }
        // The longest formula, the most rules.
        for fact in ["Zs-limit", "In", "Iz", "status"] {
            if ruleset
                .vocabulary
                .kinds
                .iter()
                .any(|k| k.fact_named(fact).is_some())
            {
                texts.push(shown(&[fact, "--rules", name]));
            }
        }
        for line in texts.iter().flat_map(|t| t.lines()) {
            assert!(line.chars().count() <= 100, "{name}: {line}");
        }
    }
}

/// The lines of one fact in the text of its kind, as one.
fn entry(text: &str, fact: &str) -> String {
    let begins = |l: &str| l.starts_with("  ") && !l.starts_with("   ");
    let this = |l: &&str| begins(l) && entries(l) == [fact];
    let (_, body) = text.split_once("\n\n").unwrap_or(("", ""));
    let mut lines = body.lines().skip_while(|l| !this(l));
    let first = lines.next().unwrap_or("");
    let rest = lines.take_while(|l| l.starts_with("   "));
    let all: Vec<&str> = std::iter::once(first).chain(rest).collect();
    one_line(&all.join(" "))
}

/// What the text must hold of a fact, by what JSON says of it.
fn promised(fact: &Value) -> Vec<String> {
    let mut all = vec![
        text(fact, "means").to_owned(),
        text(fact, "form").to_owned(),
    ];
    if fact["comes"] == "written" {
        all.push(format!("settled by {}", text(fact, "settled-by")));
        for (key, said) in [
            ("may-be-none", "may be none"),
            ("exact", "without tolerance or range"),
            ("never-assumed", "never assumed"),
        ] {
            all.extend((fact[key] == true).then(|| said.to_owned()));
        }
    }
    let unit = match fact["unit"].as_str() {
        None | Some("1") => String::new(),
        Some(unit) => format!(" {unit}"),
    };
    let shown = |x: f64| {
        if x < 1e7 {
            format!("{x}")
        } else {
            format!("{x:e}")
        }
    };
    for (key, label) in [("domain", ""), ("plausible", "mostly ")] {
        let limits = &fact[key];
        let open = limits["low-open"] == true || limits["high-open"] == true;
        all.extend(
            match (
                limits["low"].as_f64().map(shown),
                limits["high"].as_f64().map(shown),
            ) {
                (Some(low), Some(high)) if !open => Some(format!("{label}{low} .. {high}{unit}")),
                (Some(low), None) if open => Some(format!("{label}more than {low}{unit}")),
                (Some(low), None) => Some(format!("{label}at least {low}{unit}")),
                (None, None) => None,
                other => panic!("no fact of gb is bounded so yet: {other:?}"),
            },
        );
    }
    if let Some(series) = fact["series"].as_array() {
        let members: Vec<String> = series.iter().map(|m| m["value"].to_string()).collect();
        let members: Vec<&str> = members.iter().map(|m| m.trim_end_matches(".0")).collect();
        all.push(format!("only {}{unit}", members.join(", ")));
    }
    for way in list(fact, "unwritten") {
        all.push(way.as_str().expect("a text").to_owned());
    }
    if let Some(ask) = fact["ask"].as_str() {
        all.push(format!("how: {ask}"));
    }
    all.iter().map(|part| one_line(part)).collect()
}

#[test]
fn json_and_text_say_the_same() {
    let all = json(&[]);
    assert_eq!(all["ruleset"], "gb");
    let overview = shown(&[]);
    let kinds = list(&all, "kinds");
    let mut listed = entries(&overview);
    listed.sort_unstable();
    let names: Vec<&str> = kinds.iter().map(|k| text(k, "kind")).collect();
    assert_eq!(listed, names);
    for kind in kinds {
        let name = text(kind, "kind");
        let one = json(&[name]);
        assert_eq!(list(&one, "kinds"), std::slice::from_ref(kind));
        let shown = shown(&[name]);
        let facts = list(kind, "facts");
        let names: BTreeSet<&str> = facts.iter().map(|f| text(f, "fact")).collect();
        assert_eq!(facts_listed(&shown), names, "{name}");
        for fact in facts {
            assert_eq!(fact["rules"], Value::Null);
            let said = entry(&shown, text(fact, "fact"));
            for part in promised(fact) {
                assert!(
                    said.contains(&part),
                    "{name}.{}: {part}\n{said}",
                    text(fact, "fact")
                );
            }
        }
        for written in [true, false] {
            let count = facts
                .iter()
                .filter(|f| (f["comes"] == "written") == written)
                .count();
            let settled = facts
                .iter()
                .filter(|f| f["settled-by"].is_string() == written)
                .count();
            assert_eq!(count, settled, "{name}");
            if written && count > 0 {
                assert!(
                    shown.contains(&format!("Facts to write ({count})")),
                    "{name}"
                );
            }
        }
    }
}

#[test]
fn the_rules_of_a_fact_are_those_that_explain_finds() {
    for name in ["gb", "us"] {
        let ruleset = ruleset(name);
        let v = &ruleset.vocabulary;
        let mut forward = BTreeSet::new();
        for rule in &ruleset.rules {
            for r in facts_read(&ruleset, rule) {
                forward.insert((r.kind, r.fact, rule.id.clone(), r.named));
            }
        }
        let mut backward = BTreeSet::new();
        for k in v.kind_ids() {
            let kind = v.kind(k);
            for f in kind.fact_ids().filter(|f| kind.fact(*f).writable) {
                for r in ruleset.readers(k, f) {
                    let fact = kind.fact(f).name.clone();
                    backward.insert((kind.name.clone(), fact, r.rule.id.clone(), r.named));
                }
            }
        }
        assert!(backward.len() > 100, "{name}");
        assert_eq!(forward, backward, "{name}");
    }
}

#[test]
fn a_fact_is_shown_in_each_kind_that_has_it() {
    let ruleset = ruleset("gb");
    let wanted: BTreeSet<&str> = ruleset
        .vocabulary
        .kinds
        .iter()
        .filter(|k| k.fact_named("Ipf").is_some())
        .map(|k| k.name.as_str())
        .collect();
    assert!(wanted.contains("supply") && wanted.contains("readings"));
    let value = json(&["Ipf"]);
    let kinds = list(&value, "kinds");
    let found: BTreeSet<&str> = kinds.iter().map(|k| text(k, "kind")).collect();
    assert_eq!(found, wanted);
    let shown = shown(&["Ipf"]);
    for kind in kinds {
        let facts = list(kind, "facts");
        assert_eq!(facts.len(), 1);
        assert!(shown.contains(&format!("{}.Ipf: ", text(kind, "kind"))));
        let rules = list(&facts[0], "rules");
        assert!(!rules.is_empty());
        for rule in rules {
            assert!(shown.contains(text(rule, "rule")), "{rule}");
        }
    }
}

#[test]
fn names_lead_to_one_thing_by_several_ways() {
    assert_eq!(shown(&["circuit.device.In"]), shown(&["device.In"]));
    assert_eq!(shown(&["rcbo.IΔn"]), shown(&["device.Idn"]));
    assert_eq!(json(&["rcbo"]), json(&["device"]));
    let rcbo = shown(&["rcbo"]);
    assert_eq!(
        rcbo.split_once('\n').map(|(first, _)| first),
        Some("rcbo opens a device with form: rcbo")
    );
    let device = shown(&["device"]);
    let facts = |text: &str| text.split_once("\n\n").map(|(_, body)| body.to_owned());
    assert_eq!(facts(&rcbo), facts(&device));
    // A name for several kinds leads to the fact of each.
    let kinds = json(&["node.Z"]);
    let found: Vec<&str> = list(&kinds, "kinds")
        .iter()
        .map(|k| text(k, "kind"))
        .collect();
    assert_eq!(
        found,
        ["supply", "board", "section", "circuit", "transformer"]
    );
}

#[test]
fn the_edition_decides() {
    let old = json(&["--edition", "2018"]);
    assert_eq!(old["edition"], "2018");
    let (code, _, _) = run(&["--edition", "1066"]);
    assert_eq!(code, 2);
}

#[test]
fn a_wrong_name_is_met_with_the_nearest() {
    let all = [
        ("circut", "did you mean `circuit`?"),
        ("rcb0", "did you mean `rcbo`?"),
        ("lenght", "did you mean `length`?"),
        ("circuit.cabels", "did you mean `cables`?"),
        ("circut.cables", "did you mean `circuit`?"),
        ("circuit.In", "`amperule rules words device.In`"),
        ("TN-C-S", "`amperule rules words supply.earthing`"),
        ("qqqqqq", "`amperule rules words` lists the kinds"),
        ("circuit.device.In.curve", "leave out what stands behind"),
        ("cable.", "write a kind, a part or a fact"),
        ("", "write a kind, a part or a fact"),
    ];
    for (name, help) in all {
        let said = refused(name);
        assert!(said.contains(help), "{name}: {said}");
        // A proposal is made once.
        assert_eq!(
            said.matches("did you mean").count(),
            usize::from(help.starts_with("did"))
        );
    }
}

#[test]
fn what_is_proposed_can_be_asked_for() {
    for name in ["circuit.In", "TN-C-S", "nothing-like-it"] {
        let said = refused(name);
        let mut proposed = 0;
        let flat = one_line(&said);
        for part in flat
            .split('`')
            .filter_map(|p| p.strip_prefix("amperule rules words"))
        {
            let name = part.trim();
            shown(if name.is_empty() {
                &[]
            } else {
                std::slice::from_ref(&name)
            });
            proposed += 1;
        }
        assert!(proposed > 0, "{said}");
    }
}

#[test]
fn words_as_they_are_printed() {
    insta::assert_snapshot!("all", shown(&[]));
    insta::assert_snapshot!("kind-bond", shown(&["bond"]));
    insta::assert_snapshot!("part-spd", shown(&["spd"]));
    insta::assert_snapshot!("several-kinds-node", shown(&["node"]));
    let held = shown(&["board.surge-protection"]);
    insta::assert_snapshot!("fact-board.surge-protection", held);
    insta::assert_snapshot!("fact-Zs", shown(&["Zs"]));
    insta::assert_snapshot!("wrong-name", refused("circuit.In"));
    let one = serde_json::to_string_pretty(&json(&["bond.from-entry"])).expect("JSON");
    insta::assert_snapshot!("json-bond.from-entry", without_hash(&one));
}

/// The hash of a ruleset changes with each word of it; nothing else here does.
fn without_hash(json: &str) -> String {
    let lines = json.lines().map(|l| match l.split_once("\"hash\": ") {
        Some((before, _)) => format!("{before}\"hash\": HASH"),
        None => l.to_owned(),
    });
    lines.collect::<Vec<_>>().join("\n")
}

/// Every mistake's code is told by `explain` and stands in the sources, and no other.
#[test]
fn each_code_of_a_mistake_is_told() {
    let told: BTreeMap<&str, &str> = amperule::guide::mistakes().collect();
    assert_eq!(told.len(), amperule::guide::mistakes().count(), "one twice");
    let sources = sources();
    for (code, means) in &told {
        assert!(
            sources.contains(&format!("\"{code}\"")),
            "`{code}` is the code of no mistake"
        );
        assert!(
            means.len() > 30 && means.ends_with(['.', '`', ')']),
            "{code}: {means}"
        );
    }
    // Where a problem is made its code comes first; helpers that pass one on are few.
    let made = ["Problem::wrong(", "Problem::error(", "Problem::caution("];
    let mut seen = 0;
    for after in made.iter().flat_map(|make| sources.split(make).skip(1)) {
        let Some(code) = after.trim_start().strip_prefix('"') else {
            continue;
        };
        let code = code.split('"').next().unwrap_or_default();
        assert!(told.contains_key(code), "nothing tells `{code}`");
        seen += 1;
    }
    assert!(seen > 300, "{seen}");
}

/// All sources of the program, one after the other.
fn sources() -> String {
    let mut files = Vec::new();
    rust_files(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        &mut files,
    );
    let texts = files
        .iter()
        .map(|f| fs::read_to_string(f).expect("a source"));
    texts.collect()
}

/// What the rulesets in the program say that a mend may add can be read.
#[test]
fn the_stock_of_each_ruleset_has_no_mistake() {
    let mut read = (0, 0);
    for name in ["iec", "gb", "us"] {
        let rules = ruleset(name);
        let (parts, blocks) = (rules.mending.stock.len(), rules.mending.blocks.len());
        read = (read.0 + parts, read.1 + blocks);
        assert_eq!(stock_mistakes(&rules), [], "{name}");
    }
    assert!(read.0 > 0 && read.1 > 0, "{read:?}");
}

/// Whether a part is there is told in words.
#[test]
fn a_part_is_fitted_or_there_is_none() {
    let rules = ruleset("gb");
    let v = &rules.vocabulary;
    let kind = v.kind_named("board").expect("a kind");
    let fact = v.kind(kind).fact_named("surge-protection");
    let fact = v.fact(kind, fact.expect("a part of it"));
    let told = |bits| show_val(&Val::bits(bits), fact, v);
    assert_eq!((told(1), told(2)), ("none".to_owned(), "fitted".to_owned()));
}
