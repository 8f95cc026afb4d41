//! Words of a ruleset as JSON, schema `amperule-words-1`.

use serde_json::{Value, json};

use super::say::{form, unwritten};
use super::{Asked, Role, held_by, kinds_in_order, role, sets};
use crate::quantity::Unit;
use crate::report::json::number;
use crate::ruleset::Ruleset;
use crate::vocabulary::{Bounds, Fact, FactIx, FactType, KindId, NameRole, Openness, Vocabulary};

/// What is asked for, schema `amperule-words-1`: always a list of kinds, each with a list of
/// facts. All kinds come with all their facts; where facts are asked for, each kind comes with
/// those alone, and only then `rules` of a fact is a list and not null.
///
/// Limits and members of series are in the `unit` of their fact; a limit that is not there is null.
#[must_use]
pub fn json(ruleset: &Ruleset, asked: &Asked) -> Value {
    let whole = |id: KindId| {
        let facts: Vec<FactIx> = ruleset.vocabulary.kind(id).fact_ids().collect();
        kind(ruleset, id, &facts, false)
    };
    let kinds: Vec<Value> = match asked {
        Asked::All => kinds_in_order(ruleset).into_iter().map(whole).collect(),
        Asked::Kind { kind, .. } => vec![whole(*kind)],
        Asked::Facts(facts) => facts
            .iter()
            .map(|(k, f)| kind(ruleset, *k, &[*f], true))
            .collect(),
    };
    json!({
        "schema": "amperule-words-1",
        "ruleset": ruleset.id,
        "patches": ruleset.patches,
        "edition": ruleset.edition.id,
        "hash": ruleset.hash,
        "kinds": kinds,
    })
}

fn kind(ruleset: &Ruleset, id: KindId, facts: &[FactIx], with_rules: bool) -> Value {
    let v = &ruleset.vocabulary;
    let k = v.kind(id);
    let name_sets = match k.name_role {
        NameRole::Free => None,
        NameRole::Choice(f) | NameRole::Reference(f) => Some(k.fact(f).name.as_str()),
    };
    let short = v.short.get(&id);
    let unkeyed = short.into_iter().flat_map(|s| &s.unkeyed);
    json!({
        "unkeyed": unkeyed.map(|u| &k.fact(u.fact).name).collect::<Vec<_>>(),
        "marks": short.map(|s| s.marks.iter().map(|m| &m.text).collect::<Vec<_>>()),
        "kind": k.name,
        "label": k.label,
        "means": k.means,
        "block": !k.part_only && !k.is_abstract(),
        "at-least": k.at_least,
        "any-of": k.any_of.iter().map(|k| &v.kind(*k).name).collect::<Vec<_>>(),
        "within": k.within.iter().map(|w| json!({
            "kind": v.kind(w.kind).name,
            "sets": k.fact(w.sets).name,
        })).collect::<Vec<_>>(),
        "name-sets": name_sets,
        "opened-by": k.heads.iter().map(|h| json!({
            "word": h.word,
            "sets": sets(k, h).into_iter().map(|(fact, word)| json!({"fact": fact, "word": word})).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "part-of": held_by(ruleset, id).into_iter().map(|(k, f)| json!({
            "kind": v.kind(k).name,
            "fact": v.fact(k, f).name,
        })).collect::<Vec<_>>(),
        "facts": facts.iter().map(|f| fact(ruleset, id, *f, with_rules)).collect::<Vec<_>>(),
    })
}

fn fact(ruleset: &Ruleset, id: KindId, ix: FactIx, with_rules: bool) -> Value {
    let v = &ruleset.vocabulary;
    let kind = v.kind(id);
    let f = kind.fact(ix);
    let limits = |b: &Bounds| f.unit().map(|u| bounds(b, u));
    let derivation = ruleset.derivation(id, ix);
    let rules = with_rules.then(|| {
        ruleset
            .readers(id, ix)
            .into_iter()
            .map(|r| json!({"rule": r.rule.id, "title": r.rule.texts.title, "named": r.named}))
            .collect::<Vec<_>>()
    });
    json!({
        "fact": f.name,
        "also": f.also,
        "label": f.texts.label,
        "means": f.texts.means,
        "comes": match role(ruleset, id, ix) {
            Role::Written => "written",
            Role::Derived => "worked-out",
            Role::Collected => "collected",
        },
        "type": type_of(&f.ty),
        "form": form(v, f),
        "unit": f.unit().map(Unit::text),
        "words": f.words().map(|w| w.iter().collect::<Vec<_>>()),
        "leads-to": leads_to(v, f),
        "settled-by": f.writable.then(|| f.settled_by.word()),
        "domain": Some(&f.domain).filter(|b| b.lo.is_finite() || b.hi.is_finite()).and_then(limits),
        "plausible": f.plausible.as_ref().and_then(limits),
        "series": f.series.zip(f.unit()).map(|(s, unit)| {
            v.series(s).members.iter().map(|m| json!({
                "value": number(unit.from_si(m.value)),
                "name": m.name,
            })).collect::<Vec<_>>()
        }),
        "exact": f.exact,
        "may-be-none": f.optional,
        "never-assumed": f.never_assumed,
        "open": match f.open {
            Openness::Closed => "no",
            Openness::Existing => "existing",
            Openness::Always => "yes",
        },
        "unwritten": unwritten(ruleset, id, ix),
        "inherits": f.inherits.map(|along| &kind.fact(along).name),
        "assumed": ruleset.assumption(id, ix).map(|a| json!({
            "value": a.text,
            "clause": a.origin.clause,
            "source": a.origin.source,
        })),
        "ask": f.texts.ask,
        "formula": derivation.map(|d| json!({
            "text": d.formula.text(),
            "unless-written": d.unless_written,
            "clause": d.origin.clause,
            "source": d.origin.source,
        })),
        "rules": rules,
    })
}

fn bounds(b: &Bounds, unit: &Unit) -> Value {
    json!({
        "low": number(unit.from_si(b.lo)),
        "high": number(unit.from_si(b.hi)),
        "low-open": b.lo_open,
        "high-open": b.hi_open,
    })
}

fn type_of(ty: &FactType) -> &'static str {
    match ty {
        FactType::Quantity { per_line: true, .. } => "quantity-per-line",
        FactType::Quantity { whole: true, .. } => "whole",
        FactType::Quantity { .. } => "quantity",
        FactType::Choice { ordered: true, .. } => "ordered",
        FactType::Choice { .. } => "one-of",
        FactType::Some { .. } => "some-of",
        FactType::YesNo => "yes-no",
        FactType::Text => "text",
        FactType::Date => "date",
        FactType::Part(_) => "part",
        FactType::Parts(_) => "parts",
        FactType::Reference(_) => "reference",
        FactType::References(_) => "references",
        FactType::Reverse { .. } => "reverse",
    }
}

/// The kind a part, name or collection is of, and by which of its facts a collection is made.
fn leads_to(v: &Vocabulary, of: &Fact) -> Option<Value> {
    let kind = v.kind(of.target()?);
    let by = match of.ty {
        FactType::Reverse { fact, .. } => Some(&kind.fact(fact).name),
        _ => None,
    };
    Some(json!({"kind": kind.name, "by": by}))
}
