//! Small rulesets of the tests' own, and designs judged by them.

use std::path::Path;
use std::sync::Arc;

use amperule::check::{Finding, Judged, Outcome, Reason, Standing};
use amperule::report::{FileReport, Style, json, terminal};
use amperule::ruleset::{Loaded as LoadedRuleset, Request, Ruleset, Severity, Stage};
use amperule::session::{Ask, Checked, Installation, Loaded, Options, Project, split_rules};
use amperule::source::{Memory, Problem};

/// Kinds for tests that need no electricity: a thing with a few facts of each type.
pub const KINDS: &str = "
ruleset: lab
title: rules for tests
editions:
  - {id: '1', title: first}
series:
  size: {is: mm², members: [1, 1.5, 2.5, 4, 6, 10, 16], source: 'of this test'}
  gauge: {is: mm², members: {14 AWG: 2.0809, 1/0 AWG: 53.49, 250 kcmil: 126.7}, source: 'of this test'}
kinds:
  installation:
    means: the whole
    facts:
      rules: {is: text, means: 'rules', by: designer}
      designed-on: {is: date, means: 'day', by: designer}
  thing:
    means: a thing
    within: {hub: hub}
    facts:
      x: {is: A, means: 'a current', by: site, domain: '>= 0 A', plausible: 1 A .. 100 A}
      y: {is: A, means: 'another current', by: site, domain: '>= 0 A', plausible: 1 A .. 100 A}
      z: {is: A, means: 'a third current', by: designer, domain: '>= 0 A', plausible: 1 A .. 100 A}
      r: {is: ohm, means: 'a resistance', by: test, domain: '>= 0 ohm', plausible: 1 ohm .. 50 ohm}
      U: {is: V, means: 'a voltage', by: network, domain: '> 0 V', plausible: 50 V .. 600 V, exact: yes}
      p: {is: W, means: 'a power', by: maker, domain: '>= 0 W', plausible: 10 W .. 10000 W}
      size: {is: mm², means: 'a size', by: designer, domain: '> 0 mm²', series: size}
      cores: {is: whole, means: 'cores', by: designer, domain: '>= 1', plausible: 1 .. 7}
      a: {is: yes-no, means: 'a question', by: site}
      b: {is: yes-no, means: 'a second question', by: client}
      c: {is: yes-no, means: 'a third question', by: site}
      colour: {is: one of red green blue, means: 'a colour', by: designer}
      dyes: {is: some of red green blue, means: 'colours', by: designer}
      method: {is: one of C D 100, means: 'a way of laying', by: designer}
      label: {is: text, means: 'a text', by: site}
      warmth: {is: °C, means: 'a temperature', by: site, plausible: -10 °C .. 70 °C}
      share: {is: '%', means: 'a share', by: designer, domain: '>= 0 %'}
      gauge: {is: mm², means: 'a size by gauge', by: designer, domain: '> 0 mm²', series: gauge}
      span: {is: s, means: 'a time', by: designer, domain: '>= 0 s'}
      day: {is: date, means: 'a day', by: site}
      hub: {is: reference hub, means: 'where it belongs', by: site}
      other: {is: reference thing, means: 'its partner', by: site}
      part: {is: part part, means: 'what is fitted', by: designer}
      optional-y: {is: A, means: 'a current that may be absent', by: site, optional: yes}
  note:
    means: what was read of a thing
    name: reference thing
    facts:
      of: {is: reference thing, means: 'of what', by: test, always: yes}
      read: {is: A, means: 'a reading', by: test, domain: '>= 0 A'}
  hub:
    means: what things belong to
    facts:
      fed-from: {is: reference hub, means: 'what feeds it', by: site}
      ways: {is: whole, means: 'ways', by: site, domain: '>= 1'}
      top: {is: ohm, means: 'what is added here', by: site, domain: '>= 0 ohm'}
      things: {is: reverse thing.hub, means: 'what belongs to it', open: existing}
      subs: {is: reverse hub.fed-from, means: 'what it feeds'}
  part:
    means: a part
    part-only: yes
    heads: {first: {}, second: {}}
    facts:
      size: {is: mm², means: 'a size', by: designer, domain: '> 0 mm²', series: size}
      In: {is: A, means: 'a rated current', by: designer, domain: '> 0 A', plausible: 6 A .. 125 A, exact: yes}
      length: {is: m, means: 'a length', by: designer, domain: '> 0 m', plausible: 0.1 m .. 1000 m}
      inner: {is: part part, means: 'what stands in it', by: designer}
";

/// Rulesets, and which of them designs are judged by.
pub struct World {
    project: Project,
    options: Options,
    pub ruleset: Arc<Ruleset>,
}

/// What came of one rule for one subject.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verdict {
    pub outcome: Outcome,
    pub reason: Option<Reason>,
}

const PATH: &str = "t.amp";

/// Findings of what is met, too.
pub const MET: Ask = Ask {
    met: true,
    helps: false,
};

/// A place that holds rulesets and nothing else: `firm` names a ruleset, `firm/more` a further
/// file of it.
fn project(sets: &[(&str, &str)]) -> Project {
    let path = |name: &str| match name.contains('/') {
        true => format!("rulesets/{name}.yaml"),
        false => format!("rulesets/{name}/ruleset.yaml"),
    };
    let files: Memory = sets.iter().map(|(n, yaml)| (path(n), *yaml)).collect();
    let own = (!sets.is_empty()).then(|| "rulesets".into());
    Project::new(Arc::new(files), own.into_iter().collect())
}

fn ruleset(project: &Project, options: &Options) -> Arc<LoadedRuleset> {
    let (base, patches) = split_rules(options.rules.as_deref().unwrap_or_default());
    project.ruleset(&Request {
        base,
        patches,
        edition: options.edition.clone(),
        on: options.on,
    })
}

/// What comes of loading rulesets, in an edition that is named or the one of a day.
pub fn load(
    sets: &[(&str, &str)],
    rules: &str,
    edition: Option<&str>,
    on: Option<i32>,
) -> Arc<LoadedRuleset> {
    let options = Options {
        edition: edition.map(str::to_owned),
        on,
        ..Options::under(rules)
    };
    ruleset(&project(sets), &options)
}

/// One rule about each thing.
pub fn rule(id: &str, require: &str) -> String {
    rule_with(id, "thing", require, "")
}

pub fn rule_with(id: &str, each: &str, require: &str, more: &str) -> String {
    let stage = if more.contains("stage:") {
        ""
    } else {
        "    stage: design\n"
    };
    let require = if require.is_empty() {
        String::new()
    } else {
        format!("    require: '{require}'\n")
    };
    format!(
        "  - id: {id}\n    title: rule {id}\n{stage}    each: {each}\n{require}    \
         message: '{{subject}} breaks {id}'\n    topic: tests\n    source: 'of this test'\n    \
         confidence: published\n{more}"
    )
}

impl World {
    /// Loads rulesets that must be sound.
    pub fn of(sets: &[(&str, &str)], rules: &str) -> Self {
        Self::with(sets, rules, None)
    }

    pub fn with(sets: &[(&str, &str)], rules: &str, edition: Option<&str>) -> Self {
        let project = project(sets);
        let options = Options {
            edition: edition.map(str::to_owned),
            ..Options::under(rules)
        };
        let loaded = ruleset(&project, &options);
        let Some(ruleset) = loaded.ruleset.clone() else {
            panic!("{:#?}", loaded.problems);
        };
        Self {
            project,
            options,
            ruleset,
        }
    }

    /// The kinds above with some rules.
    pub fn rules(rules: &[String]) -> Self {
        Self::lab("", rules)
    }

    /// The kinds above with further sections and some rules.
    pub fn lab(sections: &str, rules: &[String]) -> Self {
        let yaml = format!("{KINDS}{sections}\nrules:\n{}", rules.concat());
        Self::of(&[("lab", &yaml)], "lab")
    }

    /// The kinds above with one rule called `it`.
    pub fn one(require: &str) -> Self {
        Self::rules(&[rule("it", require)])
    }

    /// The same on another day, in days since 1970-01-01.
    pub fn on(mut self, day: Option<i32>) -> Self {
        self.options.on = day;
        self
    }

    /// Opens a design, whatever is wrong with it, with parameters set.
    pub fn open(&self, text: &str, set: &[(&str, &str)]) -> Arc<Loaded> {
        let set = set.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned()));
        let options = Options {
            set: set.collect(),
            ..self.options.clone()
        };
        let texts = [(PATH, text)].into_iter().collect();
        self.project.beside(texts).open(Path::new(PATH), &options)
    }

    /// Judges a design, whatever is wrong with it.
    pub fn check(&self, text: &str) -> Checked {
        self.open(text, &[]).check(MET)
    }

    /// A design that must be sound.
    pub fn design(&self, text: &str) -> Installation {
        let loaded = self.open(text, &[]);
        let Some(of) = loaded.sound() else {
            panic!("{:#?}", loaded.problems);
        };
        of.clone()
    }

    /// Judges a design that must be sound.
    pub fn judge(&self, text: &str) -> Judged {
        self.design(text).check(MET)
    }

    /// Judges at a stage.
    pub fn at(&self, text: &str, stage: Stage) -> Judged {
        self.design(text).at(stage).check(MET)
    }

    /// Changes that were tried for the breach of a rule, and what it says in general.
    pub fn help(&self, text: &str, rule: &str) -> Vec<String> {
        let ask = Ask { helps: true, ..MET };
        finding(&self.design(text).check(ask), rule).help.clone()
    }

    /// What a command prints of a design, and the same for programs.
    pub fn printed(&self, text: &str, all: bool) -> (String, String) {
        let loaded = self.open(text, &[]);
        let checked = loaded.check(MET);
        let report = FileReport {
            path: PATH,
            sources: &loaded.sources,
            problems: &checked.problems,
            ruleset: Some(&self.ruleset),
            stage: loaded.stage,
            report: checked.judged.as_ref().map(|j| &j.report),
            bounds: None,
        };
        let plain = terminal::render(&report, all, Style::default());
        let plain = plain.as_str().to_owned();
        (plain, json::file(&report, all))
    }

    /// The one verdict of one rule.
    pub fn verdict(&self, text: &str, rule: &str) -> Verdict {
        verdict_of(&self.judge(text), rule)
    }

    /// What came of the one rule `it` for the one subject.
    pub fn outcome(&self, text: &str) -> Outcome {
        self.verdict(text, "it").outcome
    }

    /// The finding of a rule for its one subject.
    pub fn finding(&self, text: &str, rule: &str) -> Finding {
        let judged = self.judge(text);
        finding(&judged, rule).clone()
    }

    /// Low and high of a fact of an object, in its unit.
    pub fn figure(&self, text: &str, object: &str, fact: &str) -> (f64, f64) {
        let f = self
            .design(text)
            .value(object, fact, None)
            .unwrap_or_else(|| panic!("{fact} of {object} has a value"));
        (f.unit.from_si(f.low), f.unit.from_si(f.high))
    }
}

pub fn verdict_of(judged: &Judged, rule: &str) -> Verdict {
    let mut all: Vec<Verdict> = judged
        .report
        .findings
        .iter()
        .filter(|f| f.rule == rule)
        .map(|f| Verdict {
            outcome: f.outcome,
            reason: f.reason,
        })
        .collect();
    if all.is_empty() {
        // What is plainly not applicable or not due is counted only.
        for outcome in [Outcome::NotApplicable, Outcome::NotDue] {
            if judged.report.counts.of(outcome) > 0 {
                all.push(Verdict {
                    outcome,
                    reason: None,
                });
            }
        }
    }
    assert_eq!(all.len(), 1, "one verdict of `{rule}`: {all:?}");
    all.remove(0)
}

pub fn finding<'j>(judged: &'j Judged, rule: &str) -> &'j Finding {
    let mut all = judged.report.findings.iter().filter(|f| f.rule == rule);
    let Some(one) = all.next() else {
        panic!("`{rule}` has a finding");
    };
    assert!(all.next().is_none(), "`{rule}` has one finding");
    one
}

/// The facts that a finding names, as `fact of object`.
pub fn named(finding: &Finding) -> Vec<String> {
    finding
        .missing
        .iter()
        .map(|m| format!("{} of {}", m.fact, m.of))
        .collect()
}

/// Problems of a ruleset that must not load.
pub fn refused(sets: &[(&str, &str)], rules: &str, edition: Option<&str>) -> Vec<Problem> {
    let loaded = load(sets, rules, edition, None);
    assert!(loaded.ruleset.is_none(), "the ruleset loads");
    assert!(!loaded.problems.is_empty(), "and says nothing");
    loaded.problems.clone()
}

/// Problems of the kinds above with further sections.
pub fn lab_refused(sections: &str) -> Vec<Problem> {
    let yaml = format!("{KINDS}{sections}\n");
    refused(&[("lab", &yaml)], "lab", None)
}

pub fn said(problems: &[Problem]) -> String {
    problems
        .iter()
        .map(|p| {
            format!(
                "{}: {} ({} places) {}\n",
                p.code,
                p.message,
                p.labels.len(),
                p.help.join("; ")
            )
        })
        .collect()
}

/// Whether nothing that could be a breach is broken or undecided: exit code 0.
pub fn clean(judged: &Judged) -> bool {
    Standing::of(&judged.report.counts, Severity::Breach) == Standing::Clean
}
