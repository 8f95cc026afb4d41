//! What is to be bought: all that is new, like things put together, with how much of each.

use crate::check::Linker;
use crate::design::model::{Design, ObjectId, Possible, Status, Written};
use crate::design::tree::Origin;
use crate::expression::Presence;
use crate::quantity::Unit;
use crate::ruleset::{Listed, Ruleset, Telling};
use crate::vocabulary::{FactIx, PRESENT, Settler};

use super::sheet::{by_kind, stands_apart, used, value};

/// Like things that are to be bought.
#[derive(Clone, Debug, PartialEq)]
pub struct Article {
    /// What it is: a kind, or what goes with it.
    pub what: String,
    /// What tells it from others, fact by fact; no value where it is not settled.
    pub facts: Vec<(String, Option<String>)>,
    /// How many. None, where that is not settled.
    pub count: Option<u64>,
    /// How much in all, where it is sold by measure.
    pub amount: Option<Amount>,
    /// What it is for, by label.
    pub wanted_for: Vec<String>,
    /// The design leaves open whether this or another is taken.
    pub one_of_several: bool,
    /// What tells it is written as a choice or a range.
    pub choice: bool,
}

/// A fact that is added up.
#[derive(Clone, Debug, PartialEq)]
pub struct Amount {
    /// The fact.
    pub fact: String,
    /// Its unit.
    pub unit: Unit,
    /// The sum in SI units. None, where a part of it is not settled.
    pub sum: Option<f64>,
    /// A share of the sum, added for waste.
    pub spare: f64,
}

impl Amount {
    /// What is ordered, in SI units: the sum and what is to spare.
    #[must_use]
    pub fn ordered(&self) -> Option<f64> {
        Some(self.sum? * (1.0 + self.spare))
    }
}

impl Article {
    fn is_like(&self, other: &Self) -> bool {
        (&self.what, &self.facts, self.one_of_several, self.choice)
            == (
                &other.what,
                &other.facts,
                other.one_of_several,
                other.choice,
            )
    }

    /// Adds like things to these.
    fn add(&mut self, other: Self) {
        let both = self.count.zip(other.count);
        self.count = both.map(|(a, b)| a.saturating_add(b));
        if let (Some(mine), Some(theirs)) = (&mut self.amount, other.amount) {
            mine.sum = mine.sum.zip(theirs.sum).map(|(a, b)| a + b);
        }
        for name in other.wanted_for {
            if !self.wanted_for.contains(&name) {
                self.wanted_for.push(name);
            }
        }
    }

    /// Something of it is not settled, so that it cannot be bought yet.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.one_of_several
            || self.choice
            || self.count.is_none()
            || self.facts.iter().any(|(_, v)| v.is_none())
            || self.amount.as_ref().is_some_and(|a| a.sum.is_none())
    }
}

/// Puts like things of several lists together, in the order in which they come.
#[must_use]
pub fn together(all: impl IntoIterator<Item = Article>) -> Vec<Article> {
    let mut out: Vec<Article> = Vec::new();
    for article in all {
        match out.iter_mut().find(|a| a.is_like(&article)) {
            Some(first) => first.add(article),
            None => out.push(article),
        }
    }
    out
}

/// What a design asks to be bought, by what its ruleset tells the maker, kind by kind.
#[must_use]
pub fn order(ruleset: &Ruleset, design: &Design) -> Vec<Article> {
    let told = by_kind(ruleset, Settler::Maker);
    let mut reader = Reader {
        linker: Linker::new(ruleset, design),
    };
    let mut all = Vec::new();
    for (kind, facts) in &told {
        for id in design.of_kind(*kind) {
            let object = design.object(id);
            if !object.stays() || object.status != Status::New {
                continue;
            }
            if let Some(certain) = used(design, id)
                && stands_apart((ruleset, design), &told, id)
            {
                reader.articles(id, facts, certain, &mut all);
            }
        }
    }
    together(all)
}

struct Reader<'a> {
    linker: Linker<'a>,
}

impl<'a> Reader<'a> {
    /// What one thing adds: itself, and what goes with it.
    fn articles(&mut self, id: ObjectId, told: &[&Telling], certain: bool, all: &mut Vec<Article>) {
        let (ruleset, design) = (self.linker.ruleset, self.linker.design);
        let kind = ruleset.vocabulary.kind(design.object(id).kind);
        let mut article = Article {
            what: kind.name.clone(),
            facts: Vec::new(),
            count: Some(1),
            amount: None,
            wanted_for: vec![design.label(design.nearest_named(id))],
            one_of_several: !certain,
            // Whether it is there at all may be open, too.
            choice: self.may_be_absent(id),
        };
        let mut extras = Vec::new();
        for t in told {
            let fact = kind.fact(t.fact);
            match t.part {
                Listed::Tells => {
                    let said = self.said(id, t.fact);
                    let required = said.is_some_and(|w| w.origin == Some(Origin::Required));
                    let open = said.is_some_and(|w| w.value == Possible::Unknown);
                    // What is asked of it may be one of several, and the supplier chooses.
                    if required && open {
                        continue;
                    }
                    article.choice |= !required && said.is_some_and(|w| is_choice(&w.value));
                    let known = value(&mut self.linker, id, t.fact);
                    // What nobody wrote and nothing gives is the supplier's choice; what is known to
                    // be absent is not asked for.
                    let none = |text: &String| text.split(' ').next() == Some("none");
                    if open || known.as_ref().is_some_and(|text| !none(text)) {
                        article.facts.push((fact.name.clone(), known));
                    }
                }
                Listed::Times => {
                    if self.said(id, t.fact).is_some() {
                        let n = self.whole(id, t.fact);
                        article.count = article.count.zip(n).map(|(a, b)| a.saturating_mul(b));
                    }
                }
                Listed::Sum { spare } => {
                    if let Some(unit) = fact.unit() {
                        article.amount = Some(Amount {
                            fact: fact.name.clone(),
                            unit: unit.clone(),
                            sum: self.number(id, t.fact),
                            spare,
                        });
                    }
                }
                Listed::Extra => extras.push((fact.name.clone(), self.whole(id, t.fact))),
            }
        }
        // So many conductors of one length are so many times the length.
        if let (Some(amount), Some(n)) = (&mut article.amount, article.count) {
            amount.sum = amount.sum.map(|s| s * n as f64);
        }
        let further: Vec<Article> = extras
            .into_iter()
            .filter(|(_, n)| *n != Some(0))
            .map(|(what, each)| Article {
                what,
                count: each.zip(article.count).map(|(a, b)| a.saturating_mul(b)),
                amount: None,
                ..article.clone()
            })
            .collect();
        all.push(article);
        all.extend(further);
    }

    /// Whether it, or what it is a part of, is written as perhaps not there.
    fn may_be_absent(&self, id: ObjectId) -> bool {
        let object = self.linker.design.object(id);
        let kind = self.linker.ruleset.vocabulary.kind(object.kind);
        let said = kind.fact_named(PRESENT).and_then(|ix| object.written(ix));
        said.is_some_and(|w| w.value != Possible::Truth(true))
            || object.owner.is_some_and(|whole| self.may_be_absent(whole))
    }

    fn said(&self, id: ObjectId, fact: FactIx) -> Option<&'a Written> {
        self.linker.design.object(id).written(fact)
    }

    /// The greatest that a number may be; none where it has no end.
    fn number(&mut self, id: ObjectId, fact: FactIx) -> Option<f64> {
        let reg = self.linker.fact(id, fact, None);
        let val = self.linker.program.val(reg);
        (val.bits == Presence::PRESENT && val.hi.is_finite()).then_some(val.hi)
    }

    fn whole(&mut self, id: ObjectId, fact: FactIx) -> Option<u64> {
        let n = self.number(id, fact)?;
        (0.0..=1e9).contains(&n).then_some(n.round() as u64)
    }
}

/// Whether what is written stands for more than one value.
fn is_choice(value: &Possible) -> bool {
    match value {
        Possible::Number(i) => !i.is_point(),
        Possible::Words(set) => !set.is_one(),
        Possible::Formula(_) | Possible::OneOf(_) => true,
        Possible::List(all) => all.iter().any(is_choice),
        Possible::PerLine(lines) => lines.iter().flatten().any(|v| is_choice(v)),
        _ => false,
    }
}
