//! The calculation of a derived fact, line by line: the formula, the numbers put in, the clause,
//! the table row, and where each input stands.

mod used;
mod verdicts;

use super::called::{Called, is_called};
use crate::check::{FactKey, Linker, one_line, show_typed};
use crate::design::model::{Design, ObjectId};
use crate::expression::{Compiled, Presence, Reg, TermId, TermKind, Ty, Val};
use crate::quantity::Unit;
use crate::ruleset::{Ruleset, default_unit};
use crate::source::Span;
use crate::vocabulary::{Fact, FactIx, FactType, LINES};
use used::used;
use verdicts::{Comparisons, verdicts};

/// A value of a fact, in SI units.
#[derive(Clone, Debug)]
pub struct Figure {
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// The unit it is shown in.
    pub unit: Unit,
}

/// A value that was put into a formula.
#[derive(Clone, Debug)]
pub struct Input {
    /// Its name in the formula.
    pub name: String,
    /// Its value.
    pub value: String,
    /// Where it is written, if it is.
    pub span: Option<Span>,
    /// Where a figure comes from: the table, the limit's clause.
    pub source: Option<String>,
}

/// One line of a working.
#[derive(Clone, Debug)]
pub struct WorkingStep {
    /// What is worked out, `Zs of ev`.
    pub what: String,
    /// Its meaning.
    pub means: String,
    /// The formula, as far as it was used: branches that do not apply are left out.
    pub formula: String,
    /// The formula with the numbers put in.
    pub numbers: String,
    /// The result.
    pub result: String,
    /// What was put in.
    pub inputs: Vec<Input>,
    /// Standard, edition, clause.
    pub clause: Option<String>,
    /// Where it was seen.
    pub source: Option<String>,
}

/// A whole working: what it needs first, the fact itself last.
#[derive(Clone, Debug)]
pub struct Working {
    /// The fact.
    pub fact: String,
    /// The object.
    pub subject: String,
    /// The value.
    pub figure: Option<Figure>,
    /// The value as text.
    pub result: String,
    /// The lines.
    pub steps: Vec<WorkingStep>,
}

fn figure(val: &Val, fact: &Fact) -> Option<Figure> {
    let unit = fact.unit()?.clone();
    (val.bits & Presence::PRESENT != 0 && val.lo <= val.hi).then_some(Figure {
        low: val.lo,
        high: val.hi,
        unit,
    })
}

/// The value of a fact of an object: `value(r, d, "ev", "Zs", None)`. None, if there is no such
/// object or fact, or no number.
#[must_use]
pub fn value(
    ruleset: &Ruleset,
    design: &Design,
    object: &str,
    fact: &str,
    line: Option<u8>,
) -> Option<Figure> {
    let kind = |id: ObjectId| ruleset.vocabulary.kind(design.object(id).kind);
    let ids = design.ids();
    let mut called = ids.filter(|id| is_called(ruleset, design, *id, object));
    let (id, ix) = called.find_map(|id| Some((id, kind(id).fact_named(fact)?)))?;
    let mut linker = Linker::new(ruleset, design);
    let reg = linker.fact(id, ix, line);
    let val = linker.program.val(reg);
    figure(&val, kind(id).fact(ix))
}

/// Objects and facts that can be worked out by this name: all derived facts called `fact`, or
/// all figures of the ruleset, if no name is given.
#[must_use]
pub fn worked_facts(
    ruleset: &Ruleset,
    design: &Design,
    fact: Option<&str>,
) -> Vec<(ObjectId, FactIx)> {
    let mut all = Vec::new();
    let wanted = fact.map(Called::new);
    for id in design.ids() {
        let o = design.object(id);
        if o.phantom {
            continue;
        }
        let kind = ruleset.vocabulary.kind(o.kind);
        for (ix, f) in kind.fact_ids().zip(&kind.facts) {
            if ruleset.derivation(o.kind, ix).is_none() {
                continue;
            }
            let take = match &wanted {
                Some(wanted) => wanted.is(ruleset, design, id, f),
                None => ruleset
                    .figures
                    .iter()
                    .any(|g| g.kind == o.kind && g.fact == ix),
            };
            if take {
                all.push((id, ix));
            }
        }
    }
    all
}

/// The working of each of some facts, of the objects of a design.
#[must_use]
pub fn workings(ruleset: &Ruleset, design: &Design, facts: &[(ObjectId, FactIx)]) -> Vec<Working> {
    let mut linker = Linker::new(ruleset, design);
    linker.keep_traces();
    let comparisons = Comparisons::of(&mut linker);
    let one = |(object, ix): &(ObjectId, FactIx)| working(&mut linker, &comparisons, *object, *ix);
    facts.iter().map(one).collect()
}

fn working(
    linker: &mut Linker<'_>,
    comparisons: &Comparisons<'_>,
    object: ObjectId,
    ix: FactIx,
) -> Working {
    let (ruleset, design) = (linker.ruleset, linker.design);
    let fact = ruleset.vocabulary.fact(design.object(object).kind, ix);
    let mut out = Working {
        fact: fact.name.clone(),
        subject: design.label(object),
        figure: None,
        result: String::new(),
        steps: Vec::new(),
    };
    let mut done: Vec<FactKey> = Vec::new();
    for line in lines(fact).iter().copied() {
        let reg = linker.fact(object, ix, line);
        let val = linker.program.val(reg);
        let text = show(&val, fact);
        if out.figure.is_none() {
            out.figure = figure(&val, fact);
            out.result = text;
        } else if let (Some(f), Some(more)) = (&mut out.figure, figure(&val, fact)) {
            f.low = f.low.min(more.low);
            f.high = f.high.max(more.high);
            out.result = format!("{}; {text}", out.result);
        }
        walk(linker, (object, ix, line), &mut done, &mut out.steps, 0);
    }
    let verdicts = verdicts(linker, comparisons, object, ix, &out.result);
    out.steps.extend(verdicts);
    out
}

/// The lines that a fact has a value for; one without a name, if it has just one value.
fn lines(fact: &Fact) -> &'static [Option<u8>] {
    match fact.ty {
        FactType::Quantity { per_line: true, .. } => &[Some(0), Some(1), Some(2)],
        _ => &[None],
    }
}

/// Inputs before what uses them.
fn walk(
    linker: &Linker<'_>,
    key: FactKey,
    done: &mut Vec<FactKey>,
    steps: &mut Vec<WorkingStep>,
    depth: usize,
) {
    if done.contains(&key) || depth > 60 {
        return;
    }
    done.push(key);
    let (object, ix, line) = key;
    let kind = linker.design.object(object).kind;
    let Some(d) = linker.ruleset.derivation(kind, ix) else {
        return;
    };
    let Some(trace) = linker.traces.as_ref().and_then(|t| t.get(&key)) else {
        return;
    };
    for read in &trace.reads {
        walk(linker, *read, done, steps, depth + 1);
    }
    let fact = linker.ruleset.vocabulary.fact(kind, ix);
    let Some(reg) = trace.steps.last().map(|s| s.reg) else {
        return;
    };
    let val = linker.program.val(reg);
    // A line that is not used, and the factors of one and nought that say so, are no work.
    let plain = fact.unit().is_some_and(|u| *u == Unit::ONE);
    let point = val.bits == Presence::PRESENT && val.lo == val.hi;
    if line.is_some() && depth > 0 && point && (val.lo == 0.0 || plain && val.lo == 1.0) {
        return;
    }
    let on_line = line
        .and_then(|l| LINES.get(usize::from(l)))
        .map_or(String::new(), |l| format!(" on {l}"));
    let shown: Vec<(TermId, Reg)> = trace.steps.iter().map(|s| (s.term, s.reg)).collect();
    let result = show(&val, fact);
    let (formula, numbers) = used(linker, &d.formula, &shown, &result);
    steps.push(WorkingStep {
        what: format!("{} of {}{on_line}", fact.name, linker.design.label(object)),
        means: fact.texts.means.clone(),
        formula,
        numbers,
        result,
        inputs: inputs(linker, &d.formula, &shown),
        clause: d.origin.clause.clone(),
        source: d.origin.source.clone(),
    });
}

fn show(val: &Val, fact: &Fact) -> String {
    show_typed(val, &Ty::of(&fact.ty), fact.unit(), 5)
}

fn unit_of(linker: &Linker<'_>, c: &Compiled, id: TermId) -> Option<Unit> {
    let term = c.term(id);
    match &term.kind {
        TermKind::Read { fact, .. } => fact
            .by_kind
            .first()
            .and_then(|(k, f)| linker.ruleset.vocabulary.fact(*k, *f).unit().cloned()),
        TermKind::Limit(l) => linker
            .ruleset
            .limits
            .all
            .get(l.0 as usize)
            .map(|l| l.unit.clone()),
        _ => default_unit(&term.ty),
    }
}

fn term_value(linker: &Linker<'_>, c: &Compiled, id: TermId, reg: Reg) -> String {
    let val = linker.program.val(reg);
    let unit = unit_of(linker, c, id);
    show_typed(&val, &c.term(id).ty, unit.as_ref(), 5)
}

fn inputs(linker: &Linker<'_>, c: &Compiled, shown: &[(TermId, Reg)]) -> Vec<Input> {
    let mut all: Vec<Input> = Vec::new();
    for (id, reg) in shown {
        let term = c.term(*id);
        let source = match &term.kind {
            TermKind::Read { .. } => None,
            TermKind::Limit(l) => linker.ruleset.limits.all.get(l.0 as usize).map(|l| {
                let mut text = l
                    .clause
                    .clone()
                    .unwrap_or_else(|| format!("limit of {}", l.layer));
                if let Some((was, layer)) = &l.replaced {
                    text = format!("{text}; {} replaces {was} of {layer}", l.layer);
                }
                text
            }),
            TermKind::Lookup(t, _) => linker
                .ruleset
                .data
                .tables
                .get(t.0 as usize)
                .map(|t| format!("{}: {}", t.title, t.source)),
            _ => continue,
        };
        let name = one_line(c.slice(*id));
        let value = term_value(linker, c, *id, *reg);
        let span = leaf_span(linker, *reg);
        if !all.iter().any(|i| i.name == name && i.value == value) {
            all.push(Input {
                name,
                value,
                span,
                source,
            });
        }
    }
    all
}

/// Where the value of a register is written, if it is a written fact.
fn leaf_span(linker: &Linker<'_>, reg: Reg) -> Option<Span> {
    let mut at = reg;
    for _ in 0..4 {
        match linker.program.ops.get(at.ix())? {
            crate::expression::Op::Leaf(id) => {
                let info = linker.leaves.get(id.0 as usize)?;
                let written = linker.design.object(info.object).written(info.fact);
                return written.map(|w| w.span);
            }
            crate::expression::Op::Member(s, _) => at = *s,
            _ => return None,
        }
    }
    None
}
