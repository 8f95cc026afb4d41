//! Merged layers → compiled ruleset: derived facts are declared, expressions typed, cycles found.

use super::context::{Context, amendments};
use super::lower_assume::assumptions;
use super::lower_fact_type::{Said, can_be_absent, fact_type};
use super::lower_rules::rule;
use super::lower_tables::{limits, origin, tables};
use super::lower_vocabulary::{add_fact, series_of, vocabulary};
use super::merged::{Item, Merged};
use super::model::{Derivation, Figure, Rule, Ruleset};
use super::reader::{Fields, kind_of, path};
use super::schema;
use super::{LeftOut, causes, cycles, left_out, ranges};
use crate::expression::{Data, Scope, Ty, Typer};
use crate::source::Problem;
use crate::vocabulary::{
    Fact, FactIx, FactTexts, FactType, KindId, Later, PRESENT, Settler, Vocabulary, WordSet,
};

/// What was withdrawn: its id, the layer, and why.
type Withdrawn = Vec<(String, String, String)>;

fn rules(
    context: &Context<'_, '_>,
    problems: &mut Vec<Problem>,
) -> (Vec<Rule>, Vec<LeftOut>, Withdrawn) {
    let merged = context.merged;
    let mut rules: Vec<Rule> = Vec::new();
    let amendments = amendments(merged, problems);
    let mut used: Vec<&str> = Vec::new();
    for item in merged.of("rules") {
        let changes = amendments.of(item);
        if !changes.is_empty() {
            used.push(item.name);
        }
        rules.extend(rule(context, item, changes, problems));
    }
    causes::read(context, &amendments, &mut rules, problems);
    let mut left_out = left_out::read(context, &amendments, &mut rules, problems);
    used.extend(merged.of("left-out").iter().map(|i| i.name));
    for item in merged.of("amend") {
        if !used.contains(&item.name) {
            problems.push(missing_rule(item, &rules, "amended"));
        }
    }
    let mut withdrawn = Vec::new();
    for item in merged.of("withdraw") {
        let because = Fields::new(item.node, item.at, &schema::WITHDRAWAL, problems)
            .and_then(|f| f.needed("because", problems));
        // Patches are named in any order: neither stands above the other.
        let beside = |change: &&Item<'_>| {
            change.name == item.name
                && change.layer != item.layer
                && change.layer.min(item.layer) >= merged.bases
        };
        if let Some(change) = merged.of("amend").iter().find(beside) {
            let why = format!(
                "one patch amends the rule `{}`, another withdraws it",
                item.name
            );
            Problem::error("conflict", why)
                .at(item.at, "withdrawn here")
                .at(change.at, "amended here")
                .help(
                    "do one of the two; a ruleset that has the other as its parent may withdraw it",
                )
                .report(problems);
        }
        // A layer above may not change what is gone.
        let gone = |c: &&Item<'_>| {
            c.name == item.name && c.layer > item.layer && item.layer < merged.bases
        };
        for change in merged.of("amend").iter().filter(gone) {
            problems.push(missing_rule(change, &[], "amended").at(item.at, "withdrawn here"));
        }
        match rules.iter().position(|r| r.id == item.name) {
            Some(i) => {
                rules.remove(i);
                left_out.retain(|l| l.id.as_deref() != Some(item.name));
                withdrawn.push((
                    item.name.to_owned(),
                    merged.layer_name(item).to_owned(),
                    because.unwrap_or("").to_owned(),
                ));
            }
            None => problems.push(missing_rule(item, &rules, "withdrawn")),
        }
    }
    rules.sort_by(|a, b| a.id.cmp(&b.id));
    // What is withdrawn explains nothing any more.
    for (id, ..) in &withdrawn {
        for rule in &mut rules {
            rule.texts.follows_from.retain(|c| c.rule != *id);
        }
    }
    (rules, left_out, withdrawn)
}

/// Compiles all expressions of a ruleset.
pub(super) fn compile(merged: &Merged<'_>, problems: &mut Vec<Problem>) -> Ruleset {
    let mut v = vocabulary(merged, problems);
    super::replacing::check_patches(merged, problems);
    super::lower_short::short(merged, &mut v, problems);
    super::lower_products::products(merged, &mut v, problems);
    everywhere(&mut v, problems);
    let declared = declare(merged, &mut v, problems);
    check_abstract(merged, &v, problems);
    let limits = limits(merged, problems);
    let (table_names, table_list) = tables(merged, &v, problems);
    let assumed = assumptions(merged, &v, problems);
    let context = Context {
        merged,
        vocabulary: &v,
        limits: &limits,
        typer: Typer::new(&v, &limits, &table_names, &table_list),
    };
    let mut derivations: Vec<Vec<Option<Later<Derivation>>>> =
        v.kinds.iter().map(|k| vec![None; k.facts.len()]).collect();
    for (item, kind, fact) in &declared {
        derivations[kind.0 as usize][fact.0 as usize] =
            derivation(&context, item, *kind, *fact, problems).map(Later::from);
    }
    let (mut rules, left_out, withdrawn) = rules(&context, problems);
    let mut figures: Vec<Figure> = merged
        .of("figures")
        .iter()
        .filter_map(|item| figure(&context, item, problems))
        .collect();
    let mending = super::lower_mend::mending(merged, &v, problems);
    let tellings = super::lower_tell::tellings(merged, &v, problems);
    let expectations = super::lower_expect::expectations(merged, &v, problems);
    cycles::check(&v, &derivations, problems);
    let read = ranges::Read {
        vocabulary: &v,
        limits: &limits,
        tables: &table_list,
        assumptions: &assumed,
    };
    ranges::mark(read, &mut derivations, &mut rules, &mut figures, problems);
    let texts = texts_compared(context.typer, problems);
    let series = v
        .series
        .iter()
        .map(|s| s.members.iter().map(|m| m.value).collect())
        .collect();
    Ruleset {
        data: Data {
            tables: table_list.into_iter().map(Later::from).collect(),
            series,
        },
        vocabulary: v,
        tables: table_names,
        limits,
        assumptions: assumed,
        derivations,
        rules,
        withdrawn: withdrawn.into(),
        left_out: left_out.into(),
        figures,
        mending: mending.into(),
        expectations,
        tellings,
        texts,
        ..Ruleset::default()
    }
}

/// The texts that rules compare with; more than one set tells apart are refused.
fn texts_compared(typer: Typer<'_>, problems: &mut Vec<Problem>) -> Vec<String> {
    let all = typer.into_texts();
    if let Some((text, at)) = all.get(WordSet::MOST) {
        let why = format!(
            "rules compare with {} different texts, more than {}",
            all.len(),
            WordSet::MOST
        );
        Problem::error("too-many-texts", why)
            .at(*at, format!("\"{text}\" is one too many"))
            .help("make the fact a choice of words, or two facts")
            .report(problems);
    }
    all.into_iter().map(|(text, _)| text).collect()
}

fn missing_rule(item: &Item<'_>, rules: &[Rule], done: &str) -> Problem {
    let name = &item.name;
    let why = format!("the rule `{name}` that is {done} here does not exist in this edition");
    Problem::wrong("unknown-rule", item.at, why)
        .did_you_mean(item.name, rules.iter().map(|r| r.id.as_str()))
}

/// Facts that every real kind has.
fn everywhere(v: &mut Vocabulary, problems: &mut Vec<Problem>) {
    let words = ["new", "existing", "altered", "to-go"].map(str::to_owned);
    let status = FactType::Choice {
        words: std::sync::Arc::new(words.to_vec()),
        ordered: false,
    };
    for id in v.kind_ids() {
        let kind = v.kind(id);
        let at = kind.span;
        let lacks = |name| !kind.is_abstract() && kind.fact_named(name).is_none();
        let status = lacks("status").then(|| Fact {
            texts: FactTexts::of(
                "Status in the works",
                "as found, added, changed or taken out by these works",
            ),
            ..Fact::plain("status", status.clone(), at)
        });
        // Of a part `none` and `?` say so where it would stand.
        let present = (lacks(PRESENT) && !kind.part_only).then(|| Fact {
            texts: FactTexts::of("Presence on site", "whether it is there at all"),
            settled_by: Settler::Site,
            ..Fact::plain(PRESENT, FactType::YesNo, at)
        });
        for fact in status.into_iter().chain(present) {
            add_fact(v, id, fact, problems);
        }
    }
}

/// Declares derived facts, so that expressions may read each other in any order.
fn declare<'a, 'm>(
    merged: &'m Merged<'a>,
    v: &mut Vocabulary,
    problems: &mut Vec<Problem>,
) -> Vec<(&'m Item<'a>, KindId, FactIx)> {
    let all = merged.of("derive").iter();
    all.filter_map(|item| declared(item, v, problems).map(|(kind, fact)| (item, kind, fact)))
        .collect()
}

/// Declares one; none of an abstract kind.
fn declared(
    item: &Item<'_>,
    v: &mut Vocabulary,
    problems: &mut Vec<Problem>,
) -> Option<(KindId, FactIx)> {
    let f = Fields::new(item.node, item.at, &schema::DERIVATION, problems)?;
    let Some((kind, name)) = item.name.split_once('.') else {
        let why = format!("`{}` is not of the form KIND.FACT", item.name);
        return Problem::wrong("bad-path", item.at, why).fail(problems);
    };
    let id = kind_of(kind, item.at, v, problems)?;
    let is = f.needed("is", problems)?;
    let Said::Type(ty) = fact_type(is, f.at("is"), v, problems)? else {
        return None;
    };
    if v.kind(id).is_abstract() {
        return None;
    }
    let unless_written = f.flag("unless-written", problems);
    let optional = f.flag("optional", problems) && can_be_absent(&ty, &f, problems);
    let ix = match v.kind(id).fact_named(name) {
        Some(ix) if v.fact(id, ix).writable && !unless_written => {
            let why = format!("`{}` is a fact that designs write", item.name);
            return Problem::error("fact-and-derivation", why)
                .at(item.at, "derived here")
                .at(v.fact(id, ix).span, "declared here")
                .help("write `unless-written: yes` if a written value is to win")
                .fail(problems);
        }
        Some(ix) if v.fact(id, ix).writable => {
            // A fact of the designs that is worked out where they are silent.
            v.kinds[id.0 as usize].facts[ix.0 as usize].optional |= optional;
            ix
        }
        _ => {
            let fact = Fact {
                series: series_of(v, &f, ty.unit(), problems),
                also: f.texts("also").into_iter().map(|(t, _)| t).collect(),
                texts: FactTexts::of(name, f.text("means", problems).unwrap_or_default()),
                optional,
                writable: unless_written,
                ..Fact::plain(name, ty, item.at)
            };
            add_fact(v, id, fact, problems)?
        }
    };
    Some((id, ix))
}

/// A fact declared for an abstract kind must exist on each kind it stands for.
fn check_abstract(merged: &Merged<'_>, v: &Vocabulary, problems: &mut Vec<Problem>) {
    for item in merged.of("derive") {
        let Some((kind, name)) = item.name.split_once('.') else {
            continue;
        };
        let Some(id) = v.kind_named(kind) else {
            continue;
        };
        for real in &v.kind(id).any_of {
            if v.kind(*real).fact_named(name).is_none() {
                let why = format!(
                    "`{kind}` has the fact `{name}`, but `{}` does not",
                    v.kind(*real).name
                );
                Problem::error("abstract-fact", why)
                    .at(item.at, "declared here")
                    .help(format!("derive `{}.{name}` too", v.kind(*real).name))
                    .report(problems);
            }
        }
    }
}

fn derivation(
    context: &Context<'_, '_>,
    item: &Item<'_>,
    kind: KindId,
    ix: FactIx,
    problems: &mut Vec<Problem>,
) -> Option<Derivation> {
    let mut silent = Vec::new();
    let f = Fields::new(item.node, item.at, &schema::DERIVATION, &mut silent)?;
    let Some(node) = f.get("formula") else {
        let why = format!("the derivation `{}` needs `formula`", item.name);
        return Problem::wrong("missing-key", item.at, why).fail(problems);
    };
    let fact = context.vocabulary.fact(kind, ix);
    let scope = Scope {
        per_line: matches!(fact.ty, FactType::Quantity { per_line: true, .. }),
        ..Scope::of(kind)
    };
    let (formula, _) = context.compile(node, &scope, Some(&Ty::of(&fact.ty)), problems)?;
    if formula.optional && !fact.optional {
        let why = format!("the formula of `{}` may give nothing", item.name);
        Problem::wrong("optional-formula", node.span, why)
            .help("write `optional: yes`, or give a value with `else`")
            .report(problems);
    }
    Some(Derivation {
        formula,
        unless_written: f.flag("unless-written", problems),
        origin: origin(&f, context.merged.layer_name(item), problems).into(),
        replaced: item.replaced.map(|l| context.merged.layers[l].name.clone()),
    })
}

fn figure(
    context: &Context<'_, '_>,
    item: &Item<'_>,
    problems: &mut Vec<Problem>,
) -> Option<Figure> {
    let f = Fields::new(item.node, item.at, &schema::FIGURE, problems)?;
    let v = context.vocabulary;
    let (kind, fact) = path(f.needed("is", problems)?, item.at, v, problems)?;
    let mut other = |key: &str| -> Option<FactIx> {
        let name = f.text(key, problems)?;
        let found = v.kind(kind).fact_named(name);
        if found.is_none() {
            let why = format!("there is no such fact `{name}`");
            Problem::wrong("unknown-fact", f.at(key), why).report(problems);
        }
        found
    };
    let (at_most, at_least) = (other("at-most"), other("at-least"));
    let scope = Scope::of(kind);
    let where_ = f
        .get("where")
        .and_then(|n| context.compile(n, &scope, Some(&Ty::Truth), problems))
        .map(|(c, _)| c.into());
    Some(Figure {
        kind,
        fact,
        at_most,
        at_least,
        where_,
    })
}
