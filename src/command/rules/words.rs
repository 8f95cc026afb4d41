//! `amperule rules words`: which blocks, parts and facts a design may hold.

use crate::report::words::{self, Asked};
use crate::ruleset::Ruleset;
use crate::source::{Problem, closest};
use crate::vocabulary::{FactIx, KindId, Meaning, Vocabulary};

use super::Which;
use crate::command::args::Format;
use crate::command::{Answer, Output, exit};

/// Facts that a help names at most.
const MOST_NAMED: usize = 3;

/// Shows all kinds, or what has this name.
pub(super) fn show(which: &Which, name: Option<&str>, format: Format, out: &mut Output) -> Answer {
    let ruleset = which.load(out)?;
    let asked = match name {
        Some(name) => find(&ruleset, name)?,
        None => Asked::All,
    };
    match format {
        Format::Text => {
            let width = out.style().width.clamp(60, 100);
            out.text(&words::text(&ruleset, &asked, width));
        }
        Format::Json => out.json(&words::json(&ruleset, &asked)),
    }
    Ok(exit::CLEAN)
}

/// A kind, a word that opens a part, `KIND.FACT` (also through parts: `circuit.device.In`), or a
/// fact of whatever kinds have it. A kind comes before a fact of the same name.
fn find(ruleset: &Ruleset, name: &str) -> Result<Asked, Problem> {
    let v = &ruleset.vocabulary;
    if name.split('.').any(|part| part.trim().is_empty()) {
        let text = format!("`{name}` is not a whole name");
        let help = "write a kind, a part or a fact, as in `circuit`, `rcbo` or `circuit.cables`";
        return Err(Problem::error("no-name", text).help(help));
    }
    if let Some((kind, head)) = kind_of(v, name) {
        return Ok(Asked::Kind { kind, head });
    }
    if let Some((first, rest)) = name.split_once('.') {
        return match kind_of(v, first) {
            Some((kind, _)) => facts_along(v, kind, rest).map(Asked::Facts),
            None => Err(unknown(ruleset, first)),
        };
    }
    let mut facts = facts_called(v, name);
    if facts.is_empty() {
        // Another word of the trade, for a fact or for one of its values.
        facts.extend(
            v.short
                .iter()
                .filter_map(|(kind, s)| match s.meaning(name)? {
                    Meaning::Fact(fact) | Meaning::Word(fact, _) => Some((*kind, *fact)),
                    _ => None,
                }),
        );
    }
    if facts.is_empty() {
        return Err(unknown(ruleset, name));
    }
    Ok(Asked::Facts(facts))
}

/// The kind of this name, or the one that a part opened by this word is of.
fn kind_of(v: &Vocabulary, name: &str) -> Option<(KindId, Option<usize>)> {
    let name = v.opened_by(name).unwrap_or(name);
    let head = v.head_words.get(name).copied();
    match (v.kind_named(name), head) {
        (Some(kind), head) => Some((kind, head.filter(|(k, _)| *k == kind).map(|(_, h)| h))),
        (None, Some((kind, head))) => Some((kind, Some(head))),
        (None, None) => None,
    }
}

/// The kinds that one stands for, or itself.
fn real(v: &Vocabulary, kind: KindId) -> Vec<KindId> {
    let declared = v.kind(kind);
    if declared.is_abstract() {
        declared.any_of.clone()
    } else {
        vec![kind]
    }
}

fn facts_called(v: &Vocabulary, name: &str) -> Vec<(KindId, FactIx)> {
    v.kind_ids()
        .filter_map(|k| Some((k, v.kind(k).fact_named(name)?)))
        .collect()
}

/// The facts at the end of a path of names, each a fact of what the one before it leads to.
fn facts_along(v: &Vocabulary, from: KindId, path: &str) -> Result<Vec<(KindId, FactIx)>, Problem> {
    let mut kinds = real(v, from);
    let mut found = Vec::new();
    for name in path.split('.') {
        found = kinds
            .iter()
            .filter_map(|k| Some((*k, v.kind(*k).fact_named(name)?)))
            .collect();
        if found.is_empty() {
            return Err(no_such_fact(v, &kinds, name));
        }
        kinds.clear();
        for (k, f) in &found {
            for target in v.fact(*k, *f).target().iter().flat_map(|t| real(v, *t)) {
                if !kinds.contains(&target) {
                    kinds.push(target);
                }
            }
        }
    }
    Ok(found)
}

fn no_such_fact(v: &Vocabulary, kinds: &[KindId], name: &str) -> Problem {
    let names: Vec<String> = kinds
        .iter()
        .map(|k| format!("`{}`", v.kind(*k).name))
        .collect();
    if names.is_empty() {
        let text = format!("`{name}` stands behind a fact that holds no part and names no block");
        let help = "leave out what stands behind the last `.`";
        return Problem::error("unknown-fact", text).help(help);
    }
    let of = kinds
        .iter()
        .flat_map(|k| v.kind(*k).facts.iter().map(|f| f.name.as_str()));
    let text = format!("there is no fact `{name}` of {}", names.join(", "));
    let problem = Problem::error("unknown-fact", text).did_you_mean(name, of);
    elsewhere(v, problem, name)
}

/// Says which facts have this name, or else take it as a value.
fn elsewhere(v: &Vocabulary, problem: Problem, name: &str) -> Problem {
    let mut facts = facts_called(v, name);
    let what = if facts.is_empty() {
        facts = facts_taking(v, name);
        "takes it as a value"
    } else {
        "has this name"
    };
    facts
        .into_iter()
        .take(MOST_NAMED)
        .fold(problem, |p, (k, f)| {
            let path = format!("{}.{}", v.kind(k).name, v.fact(k, f).name);
            p.help(format!("a fact {what}: `amperule rules words {path}`"))
        })
}

/// The facts that designs write and that have this word among those they take.
fn facts_taking(v: &Vocabulary, word: &str) -> Vec<(KindId, FactIx)> {
    v.kind_ids()
        .flat_map(|k| v.kind(k).fact_ids().map(move |f| (k, f)))
        .filter(|(k, f)| {
            let fact = v.fact(*k, *f);
            let words = fact.words();
            fact.writable && words.is_some_and(|w| w.iter().any(|w| w == word))
        })
        .collect()
}

fn unknown(ruleset: &Ruleset, name: &str) -> Problem {
    let v = &ruleset.vocabulary;
    let (id, edition) = (&ruleset.id, &ruleset.edition.id);
    let text = format!("there is no kind, part or fact `{name}` in {id} edition {edition}");
    let problem = Problem::error("unknown-word", text);
    if let Some(what) = v.asked(name) {
        return problem.help(what);
    }
    let problem = elsewhere(v, problem, name);
    if !problem.help.is_empty() {
        return problem;
    }
    let kinds = v.kinds.iter().map(|k| k.name.as_str());
    let heads = v.kinds.iter().flat_map(|k| k.heads.iter());
    let opening = kinds.chain(heads.map(|h| h.word.as_str()));
    let facts = v.kinds.iter().flat_map(|k| k.facts.iter());
    let mut near: Vec<&str> = closest(name, opening).into_iter().collect();
    near.extend(closest(name, facts.map(|f| f.name.as_str())));
    near.dedup();
    match near.as_slice() {
        [] => problem.help("`amperule rules words` lists the kinds and the words that open a part"),
        near => near
            .iter()
            .fold(problem, |p, n| p.help(format!("did you mean `{n}`?"))),
    }
}
