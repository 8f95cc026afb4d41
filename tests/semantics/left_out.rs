//! G5: what a ruleset leaves out is told where it matters, and what could be a breach keeps a design
//! open until it was judged elsewhere.

use amperule::check::{Outcome, Reason, Standing};
use amperule::quantity::days_from_civil;
use amperule::ruleset::{Confidence, Severity};

use super::world::{KINDS, World, load, rule};

const LEFT_OUT: &str = "
left-out:
  - {what: 'the sum of it', clause: 'LAB 1', why: 'not written yet', id: lab-sum, each: thing, where: 'a', severity: breach, topic: sums}
  - {what: 'the weight of it', clause: 'LAB 2', why: 'no fact for it', id: lab-weight, each: thing, where: 'b'}
  - {what: 'its colour', clause: 'LAB 3', why: 'a matter of taste'}
";

fn world() -> World {
    World::lab(LEFT_OUT, &[rule("it", "x <= 10 A")])
}

/// What came of `lab-sum`, the standing of the whole, and the codes of what is said beside it.
fn sum(text: &str, on: Option<(i32, u32, u32)>) -> (Option<Outcome>, Standing, Vec<&'static str>) {
    let on = on.map(|(y, m, d)| days_from_civil(y, m, d).expect("a day"));
    let checked = world().on(on).check(text);
    let judged = checked.judged.expect("there is something to judge");
    let found = judged.report.findings.iter().find(|f| f.rule == "lab-sum");
    let standing = Standing::of(&judged.report.counts, Severity::Breach);
    let codes = checked.problems.iter().map(|p| p.code).collect();
    (found.map(|f| f.outcome), standing, codes)
}

#[test]
fn g5_what_could_be_a_breach_keeps_a_design_open() {
    let open = (Some(Outcome::Undecided), Standing::Undecided, vec![]);
    assert_eq!(sum("thing t { x: 5 A  a: yes }", None), open);
    // Whether it matters is not known: it is as open.
    assert_eq!(sum("thing t { x: 5 A  a: ? }", None), open);
    assert_eq!(
        sum("thing t { x: 5 A  a: no }", None),
        (None, Standing::Clean, vec![])
    );
    let w = world();
    let told = w.finding("thing t { x: 5 A  a: yes  b: no }", "lab-sum");
    assert_eq!(told.reason, Some(Reason::LeftOut));
    assert_eq!(
        told.message,
        "not judged by these rules: the sum of it (LAB 1)"
    );
    let asked = w.finding("thing t { x: 5 A  a: ?  b: no }", "lab-sum");
    assert_eq!(asked.reason, Some(Reason::Open));
    assert_eq!(asked.missing.len(), 1);
    assert_eq!(
        (&asked.missing[0].passes, &asked.missing[0].breaks),
        (&None, &None)
    );
}

/// Advice is told where it matters, and never keeps anything open.
#[test]
fn g5_advice_is_told_in_a_line() {
    let w = world();
    let text = "thing t { x: 5 A  a: no  b: yes }";
    let judged = w.judge(text);
    assert_eq!(
        Standing::of(&judged.report.counts, Severity::Breach),
        Standing::Clean
    );
    let (plain, json) = w.printed(text, false);
    let line = "Not judged by these rules:\n  the weight of it (LAB 2), of t [lab-weight]\n";
    assert!(plain.contains(line), "{plain}");
    assert!(!plain.contains("Undecided advice"), "{plain}");
    assert!(json.contains("\"reason\":\"left-out\""), "{json}");
    // Where it is not known whether it matters, nobody is troubled by it.
    let judged = w.judge("thing t { x: 5 A  a: no  b: ? }");
    assert!(
        judged
            .report
            .findings
            .iter()
            .all(|f| f.rule != "lab-weight")
    );
    // What was never told counts nowhere.
    assert_eq!(judged.report.counts.of(Outcome::NotApplicable), 0);
}

#[test]
fn g5_it_is_settled_by_a_judgement_elsewhere() {
    let with = |more: &str, on| {
        let text = format!(
            "thing t {{ x: 5 A  a: yes }}\n\
             judged-elsewhere lab-sum {{ by: \"A. Reader\"  on: 2026-03-02  why: \"summed by hand\"  {more} }}"
        );
        sum(&text, on)
    };
    let settled = (Some(Outcome::Departed), Standing::Clean, vec![]);
    assert_eq!(with("", None), settled);
    assert_eq!(with("for: t", None), settled);
    let until = "until: 2027-03-31";
    assert_eq!(with(until, Some((2027, 3, 31))), settled);
    let open = |code| (Some(Outcome::Undecided), Standing::Undecided, vec![code]);
    assert_eq!(with(until, Some((2027, 4, 1))), open("departure-expired"));
    assert_eq!(with("", Some((2026, 3, 1))), open("departure-to-come"));
    assert_eq!(with("for: t  as-found { x: 5 A }", None), settled);
    assert_eq!(
        with("for: t  as-found { x: 6 A }", None),
        open("departure-lapsed")
    );
    let idle = sum(
        "thing t { x: 5 A  a: no }\njudged-elsewhere lab-sum { by: \"A\"  on: 2026-03-02  why: \"w\" }",
        None,
    );
    assert_eq!(idle, (None, Standing::Clean, vec!["departure-unused"]));
    let text = "thing t { x: 5 A  a: yes }\n\
                judged-elsewhere lab-sum { by: \"A. Reader\"  on: 2026-03-02  why: \"summed by hand\" }";
    let (plain, _) = world().printed(text, false);
    assert!(plain.contains("judged elsewhere: lab-sum"), "{plain}");
    let record = "judged elsewhere: summed by hand (A. Reader, 2026-03-02)";
    assert!(plain.contains(record), "{plain}");
}

/// What is wrong with a record is told with what to write instead.
#[test]
fn g5_a_record_says_all_that_it_must() {
    let wrong = |record: &str| -> Vec<(&'static str, String)> {
        let checked = world().check(&format!("thing t {{ x: 5 A  a: yes }}\n{record}"));
        let all = checked.problems.iter();
        all.map(|p| (p.code, p.message.clone())).collect()
    };
    let mut told: Vec<String> = wrong("judged-elsewhere lab-sum { }")
        .into_iter()
        .map(|(_, message)| message)
        .collect();
    told.sort();
    let says = |t: &str| format!("this judged-elsewhere `lab-sum` {t}");
    assert_eq!(
        told,
        [
            says("does not say what came of it"),
            says("does not say when"),
            says("does not say who judged")
        ]
    );
    let all = "by: \"A\"  on: 2026-03-02  why: \"w\"";
    let codes = |record: String| -> Vec<&'static str> {
        wrong(&record).into_iter().map(|(code, _)| code).collect()
    };
    assert_eq!(codes(format!("judged-elsewhere {{ {all} }}")), ["no-name"]);
    assert_eq!(
        codes(format!("judged-elsewhere lab-sun {{ {all} }}")),
        ["unknown-rule"]
    );
    assert_eq!(
        codes(format!("judged-elsewhere it {{ {all} }}")),
        ["no-departure"]
    );
    assert_eq!(
        codes("departure from lab-sum { reason: \"r\"  agreed-by: \"A\" }".to_owned()),
        ["no-departure"]
    );
    assert_eq!(
        codes(format!(
            "judged-elsewhere lab-sum {{ {all}  reason: \"r\" }}"
        )),
        ["unknown-fact"]
    );
    assert_eq!(
        codes("judged-elsewhere lab-sum { by: \"A\"  on: soon  why: \"w\" }".to_owned()),
        ["wrong-type"]
    );
}

/// Rows, proofs and surveys know it as a check does.
#[test]
fn g5_other_answers_know_it() {
    let w = world();
    let text = "parameter run: 1 A .. 20 A\nthing t { x: run  a: yes }";
    let of = w.design(text);
    let survey = of.survey();
    let told: Vec<&str> = survey.left_out.iter().map(|l| l.rule.as_str()).collect();
    assert_eq!(told, ["lab-sum"]);
    assert!(
        survey
            .questions
            .iter()
            .all(|q| q.waiting.iter().all(|w| w.rule != "lab-sum"))
    );
    let proved = of.prove(64);
    assert_eq!(proved.left_out.len(), 1);
    assert!(proved.breach_left_out);
    let settled =
        format!("{text}\njudged-elsewhere lab-sum {{ by: \"A\"  on: 2026-03-02  why: \"w\" }}");
    let of = w.design(&settled);
    assert!(of.survey().left_out.is_empty());
    assert!(of.prove(64).left_out.is_empty() && !of.prove(64).breach_left_out);
    // Where it depends on a parameter whether it matters, each part is open or passes.
    let set = LEFT_OUT.replace("where: 'a'", "where: 'x > 5 A'");
    let w = World::lab(&set, &[]);
    let of = w.design("parameter run: 1 A .. 20 A\nthing t { x: run }");
    let proved = of.prove(64);
    assert_eq!(proved.standing(), Standing::Undecided);
    assert!(proved.proofs.iter().all(|p| !p.exhausted), "{proved:?}");
}

#[test]
fn g5_entries_are_checked_when_they_load() {
    let wrong = |entry: &str| -> Vec<&'static str> {
        let yaml = format!(
            "{KINDS}\nleft-out:\n  - {{what: 'w', clause: 'c', why: 'y', {entry}}}\nrules:\n{}",
            rule("it", "x <= 10 A")
        );
        let loaded = load(&[("lab", &yaml)], "lab", None, None);
        loaded.problems.iter().map(|p| p.code).collect()
    };
    assert!(wrong("id: lab-w, each: thing, where: 'a'").is_empty());
    assert!(wrong("id: lab-w, where: 'yes'").is_empty());
    assert_eq!(wrong("id: lab-w"), ["missing-key"]);
    assert_eq!(wrong("severity: breach"), ["missing-key"]);
    assert_eq!(wrong("id: it, each: thing, where: 'a'"), ["stated-twice"]);
    assert_eq!(
        wrong("id: lab-w, each: thing, where: 'x'"),
        ["bad-expression"]
    );
    assert_eq!(wrong("id: lab-w, each: thin, where: 'a'"), ["unknown-kind"]);
    assert_eq!(
        wrong("id: lab-w, each: thing, where: 'a', severity: bad"),
        ["unknown-word"]
    );
}

/// A layer that judges the thing after all takes it out; one that weighs it otherwise amends it.
#[test]
fn g5_layers_withdraw_and_amend_it() {
    let yaml = format!("{KINDS}{LEFT_OUT}");
    let firm = |section: &str| {
        let firm = format!("ruleset: firm\ntitle: Firm\n{section}");
        World::of(&[("lab", &yaml), ("firm", &firm)], "lab + firm")
    };
    let without = firm("withdraw: [{id: lab-sum, because: 'summed here'}]\n");
    assert!(without.ruleset.rule("lab-sum").is_none());
    assert!(
        without
            .ruleset
            .left_out
            .iter()
            .all(|l| l.id.as_deref() != Some("lab-sum"))
    );
    let heavier = firm("amend: [{id: lab-weight, severity: breach, because: 'we insist'}]\n");
    let weight = heavier.ruleset.rule("lab-weight").expect("it is told");
    assert_eq!(weight.severity, Severity::Breach);
}

/// How sure its author is of the clause is the author's to say.
#[test]
fn g5_its_confidence_is_from_memory_unless_it_says_otherwise() {
    let of = |more: &str| {
        let entry = format!(
            "left-out:\n  - {{what: weight, clause: LAB 2, why: no fact for it, id: weight, \
             each: thing, where: 'x > 5 A', topic: tests{more}}}\n"
        );
        World::lab(&entry, &[rule("it", "x <= 9 A")])
            .finding("thing t { x: 6 A }", "weight")
            .confidence
    };
    assert_eq!(of(""), Confidence::FromMemory);
    assert_eq!(of(", confidence: published"), Confidence::Published);
}
