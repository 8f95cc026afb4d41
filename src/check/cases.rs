//! Runs the cases of rules: a base design, patched, must come out as said.

use super::coverage::{Branches, Seen, seen};
use super::finding::Outcome;
use super::judge::check;
use super::settings::Settings;
use crate::design::model::Design;
use crate::design::parse::{parse_items, parse_value};
use crate::design::resolve::{self, resolve, with_keys};
use crate::design::tree::{Block, Entry, FactEntry, Item, Tree, Value, ValueKind, Word};
use crate::ruleset::{Case, CaseFile, Patch, Rule, Ruleset};
use crate::source::{FileId, Problem, SourceFile, Sources, Span};

/// How a case came out.
#[derive(Debug)]
pub struct CaseResult {
    /// The rule.
    pub rule: String,
    /// What was wanted.
    pub wanted: String,
    /// Whether it came out so.
    pub passed: bool,
    /// What came out for each subject instead.
    pub got: String,
    /// Where the case stands.
    pub span: Span,
    /// Mistakes in the base or the patch.
    pub problems: Vec<Problem>,
    /// The texts of base and patches, for showing the mistakes.
    pub sources: Sources,
    /// The rules that the findings of its rule follow from.
    pub follows: Vec<String>,
    /// What it shows of the branches of its rule; nothing, if it did not come out as wanted.
    pub seen: Vec<Seen>,
}

/// Runs the cases of one file that concern rules of this ruleset.
#[must_use]
pub fn run_cases(
    ruleset: &Ruleset,
    branches: &Branches,
    file: &CaseFile,
    fallback: Option<&str>,
) -> Vec<CaseResult> {
    file.cases
        .iter()
        .filter(|c| ruleset.rule(&c.rule).is_some())
        .map(|c| {
            let base = file.base.as_ref().map(|(t, _)| t.as_str()).or(fallback);
            run(ruleset, branches, c, base.unwrap_or(""))
        })
        .collect()
}

fn run(ruleset: &Ruleset, branches: &Branches, case: &Case, base: &str) -> CaseResult {
    let mut sources = Sources::default();
    let mut problems = Vec::new();
    let id = sources.add(SourceFile::new("case-base", base));
    let parsed = parse_items(id, base, 0);
    problems.extend(parsed.problems);
    let (mut tree, wrong) = with_keys(&parsed.tree, &ruleset.vocabulary);
    problems.extend(wrong);
    for patch in &case.patches {
        apply(&mut tree, patch, &mut sources, &mut problems);
    }
    let resolved = resolve(&[&tree], &ruleset.vocabulary, &resolve::Settings::default());
    problems.extend(resolved.problems.into_iter().filter(Problem::is_error));
    let rule = ruleset.rule(&case.rule);
    let stage = rule.map_or(crate::ruleset::Stage::Design, |r| r.stage);
    let settings = Settings {
        stage,
        only: Some(case.rule.clone()),
        ..Settings::default()
    };
    let judged = check(ruleset, &resolved.design, &settings);
    let mut outcomes: Vec<(String, Outcome)> = judged
        .report
        .findings
        .iter()
        .map(|f| (f.subject.label.clone(), f.outcome))
        .collect();
    if judged.report.counts.of(Outcome::NotApplicable)
        > outcomes
            .iter()
            .filter(|(_, o)| *o == Outcome::NotApplicable)
            .count()
    {
        outcomes.push(("others".to_owned(), Outcome::NotApplicable));
    }
    if let Some(s) = &case.subject {
        outcomes.retain(|(name, _)| name == s);
    }
    let some = |o: Outcome| outcomes.iter().any(|(_, x)| *x == o);
    let came = match case.outcome.as_str() {
        "met" => some(Outcome::Met) && !some(Outcome::Failed) && !some(Outcome::Undecided),
        "failed" => some(Outcome::Failed),
        "undecided" => some(Outcome::Undecided) && !some(Outcome::Failed),
        _ => !some(Outcome::Failed) && !some(Outcome::Undecided) && !some(Outcome::Met),
    };
    let got = if outcomes.is_empty() {
        "no subject".to_owned()
    } else {
        outcomes
            .iter()
            .map(|(s, o)| format!("{s} {}", o.word()))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let passed = came && problems.is_empty();
    let follows = rule
        .filter(|r| passed && !r.texts.follows_from.is_empty())
        .map_or_else(Vec::new, |r| follows(ruleset, &resolved.design, r));
    let seen = rule.filter(|_| passed).map_or_else(Vec::new, |r| {
        let parts = branches.rule(&r.id);
        seen(ruleset, &resolved.design, r, parts, case.subject.as_deref())
    });
    CaseResult {
        rule: case.rule.clone(),
        wanted: case.outcome.clone(),
        passed,
        got,
        span: case.span,
        problems,
        sources,
        follows,
        seen,
    }
}

/// The rules that the findings of a rule follow from, where all rules are judged.
fn follows(ruleset: &Ruleset, design: &Design, rule: &Rule) -> Vec<String> {
    let settings = Settings {
        stage: rule.stage,
        keep_met: false,
        ..Settings::default()
    };
    let judged = check(ruleset, design, &settings);
    let own = judged
        .report
        .findings
        .into_iter()
        .filter(|f| f.rule == rule.id);
    own.filter_map(|f| Some(f.follows_from?.0)).collect()
}

fn apply(tree: &mut Tree, patch: &Patch, sources: &mut Sources, problems: &mut Vec<Problem>) {
    match patch {
        Patch::Add(text) => {
            let id = sources.add(SourceFile::new("case: add", text.clone()));
            let parsed = parse_items(id, text, 0);
            problems.extend(parsed.problems);
            tree.items.extend(parsed.tree.items);
        }
        Patch::Drop(name, span) => {
            if !drop_block(tree, name) {
                let why = format!("the base design has no block `{name}`");
                Problem::wrong("bad-case", *span, why).report(problems);
            }
        }
        Patch::Set { path, value, span } => {
            let id = sources.add(SourceFile::new(
                format!("case: {}", path.join(".")),
                value.clone(),
            ));
            let parsed = if value.is_empty() {
                None
            } else {
                let (v, wrong) = parse_value(id, value, 0);
                problems.extend(wrong);
                Some(v)
            };
            set(tree, path, parsed.as_ref(), id, *span, problems);
        }
    }
}

fn is_named(block: &Block, name: &str) -> bool {
    match &block.name {
        Some(n) => n.word.text == name || (block.kind.text == name),
        None => block.kind.text == name,
    }
}

/// Takes all blocks with a name out; whether there were any.
fn drop_block(tree: &mut Tree, name: &str) -> bool {
    /// Whether a block stays; what bears the name inside it is taken out.
    fn stays(block: &mut Block, name: &str, found: &mut bool) -> bool {
        let dropped = is_named(block, name);
        *found |= dropped;
        block.entries.retain_mut(|e| match e {
            Entry::Block(b) => stays(b, name, found),
            _ => true,
        });
        !dropped
    }
    let mut found = false;
    tree.items.retain_mut(|i| match i {
        Item::Block(b) => stays(b, name, &mut found),
        _ => true,
    });
    found
}

/// A block by its own name first, by its kind else.
fn find_block<'t>(tree: &'t mut Tree, name: &str) -> Option<&'t mut Block> {
    fn search<'t>(block: &'t mut Block, test: &impl Fn(&Block) -> bool) -> Option<&'t mut Block> {
        if test(block) {
            return Some(block);
        }
        block.entries.iter_mut().find_map(|e| match e {
            Entry::Block(b) => search(b, test),
            _ => None,
        })
    }
    fn any<'t>(tree: &'t mut Tree, test: &impl Fn(&Block) -> bool) -> Option<&'t mut Block> {
        tree.items.iter_mut().find_map(|i| match i {
            Item::Block(b) => search(b, test),
            _ => None,
        })
    }
    let own = |b: &Block| b.name.as_ref().is_some_and(|n| n.word.text == name);
    if any(tree, &own).is_some() {
        any(tree, &own)
    } else {
        any(tree, &|b: &Block| b.kind.text == name)
    }
}

fn set(
    tree: &mut Tree,
    path: &[String],
    value: Option<&Value>,
    file: FileId,
    span: Span,
    problems: &mut Vec<Problem>,
) {
    let defines: Vec<_> = tree
        .items
        .iter()
        .filter_map(|i| match i {
            Item::Define(d) => Some((d.name.text.clone(), d.head.clone(), d.entries.clone())),
            _ => None,
        })
        .collect();
    let missing = |what: &str| {
        let why = format!("the base design has no `{what}` to patch");
        Problem::wrong("bad-case", span, why)
    };
    let Some((name, facts)) = path.split_first() else {
        return;
    };
    let Some(block) = find_block(tree, name) else {
        problems.push(missing(name));
        return;
    };
    let expand = |v: &mut Value| {
        if let ValueKind::Word(w) = &v.kind {
            let define = defines.iter().find(|(n, ..)| n == w);
            let (head, entries) = match define {
                Some((_, head, entries)) => (head.clone(), entries.clone()),
                None => (Word::new(w.clone(), v.span), Vec::new()),
            };
            v.kind = ValueKind::Part { head, entries };
        }
    };
    if !set_in(&mut block.entries, facts, value, file, &expand) {
        problems.push(missing(&path.join(".")));
    }
}

fn set_in(
    entries: &mut Vec<Entry>,
    facts: &[String],
    value: Option<&Value>,
    file: FileId,
    expand: &impl Fn(&mut Value),
) -> bool {
    let Some((key, rest)) = facts.split_first() else {
        return false;
    };
    if rest.is_empty() {
        entries.retain(|e| !matches!(e, Entry::Fact(f) if f.key.text == *key));
        if let Some(v) = value {
            let at = Span::new(file, 0, 1);
            entries.push(Entry::Fact(FactEntry::new(
                Word::new(key.clone(), at),
                v.clone(),
                at,
            )));
        }
        return true;
    }
    let mut found = false;
    for e in entries {
        if let Entry::Fact(f) = e
            && f.key.text == *key
        {
            found |= set_value(&mut f.value, rest, value, file, expand);
        }
    }
    found
}

/// Sets a fact in a part, or in each part of a list.
fn set_value(
    at: &mut Value,
    rest: &[String],
    value: Option<&Value>,
    file: FileId,
    expand: &impl Fn(&mut Value),
) -> bool {
    expand(at);
    // The word that opens a part is its form: another form is another word.
    if let ValueKind::Part { head, entries } = &mut at.kind
        && let ([key], Some(ValueKind::Word(w))) = (rest, value.map(|v| &v.kind))
        && key == "form"
    {
        head.text.clone_from(w);
        entries.retain(|e| !matches!(e, Entry::Fact(f) if f.key.text == *key));
        return true;
    }
    match &mut at.kind {
        ValueKind::Part { entries, .. } => set_in(entries, rest, value, file, expand),
        ValueKind::List(all) | ValueKind::OneOf(all) => {
            let mut found = false;
            for v in all {
                found |= set_value(v, rest, value, file, expand);
            }
            found
        }
        _ => false,
    }
}
