//! Facts that could decide: what they are, who settles them, which values pass or break.

use super::finding::{Missing, WitnessValue};
use super::link::What;
use super::plain::About;
use super::show::{show_number, show_val};
use super::view::View;
use crate::design::model::Status;
use crate::expression::{LeafId, Val, Witness};
use crate::vocabulary::{FactIx, FactType, KindId, Settler};

/// The day near which dates are chosen in a design that writes none: 2026-01-01.
const DAY_WITHOUT_DATE: i32 = 20_454;

impl View<'_> {
    /// What is known of a leaf besides its set.
    pub(super) fn about(&self, leaf: LeafId) -> About {
        let mut about = About::default();
        let Some(info) = self.leaves.get(leaf.0 as usize) else {
            return about;
        };
        let v = &self.ruleset.vocabulary;
        if let What::Parameter(id) = info.what {
            about.unit = self
                .design
                .parameters
                .get(id as usize)
                .and_then(|p| crate::quantity::Unit::parse(&p.unit).ok());
            return about;
        }
        if info.what != What::Fact {
            return about;
        }
        let fact = match info.inner {
            Some((k, f)) => v.fact(k, f),
            None => v.fact(self.design.object(info.object).kind, info.fact),
        };
        match &fact.ty {
            FactType::Quantity { unit, whole, .. } => {
                about.unit = Some(unit.clone());
                about.whole = *whole;
                about.series = fact
                    .series
                    .map(|s| v.series(s).members.iter().map(|m| m.value).collect());
            }
            FactType::Date => {
                let day = self.design.newest_date.unwrap_or(DAY_WITHOUT_DATE);
                about.day = Some(f64::from(day) * 86_400.0);
            }
            _ => {}
        }
        about
    }

    /// The fact behind a leaf that could decide, with a value for either verdict. Of what would be
    /// worked out inside an unknown part the part is told: nobody could write the other.
    pub(super) fn missing(&self, leaf: LeafId, yes: Option<Val>, no: Option<Val>) -> Missing {
        let info = self.leaves[leaf.0 as usize];
        match info.asked_inside(self.ruleset) {
            None if info.inner.is_some() => self.behind(leaf, None, (None, None)),
            inner => self.behind(leaf, inner, (yes, no)),
        }
    }

    /// The fact behind a leaf, or one inside it, with values.
    fn behind(
        &self,
        leaf: LeafId,
        inner: Option<(KindId, FactIx)>,
        (yes, no): (Option<Val>, Option<Val>),
    ) -> Missing {
        let info = self.leaves[leaf.0 as usize];
        let v = &self.ruleset.vocabulary;
        if let What::Parameter(id) = info.what {
            let p = &self.design.parameters[id as usize];
            let unit = crate::quantity::Unit::parse(&p.unit).ok();
            let value = |x: Option<Val>| x.map(|x| show_number(&x, unit.as_ref(), 4));
            return Missing {
                of: "the template".to_owned(),
                fact: p.name.clone(),
                means: "parameter".to_owned(),
                settled_by: Settler::Designer.word(),
                passes: value(yes),
                breaks: value(no),
                span: p.span,
            };
        }
        let o = self.design.object(info.object);
        let fact = v.fact(o.kind, info.fact);
        let span = o.written(info.fact).map_or(o.head, |w| w.span);
        let (name, means, settler, shown) = match (info.what, inner) {
            (What::Rest, _) => {
                let listed = fact.target().map_or("", |k| v.kind(k).name.as_str());
                (
                    format!("all-listed: {listed}"),
                    "whether the list is complete".to_owned(),
                    v.completes(fact, o.status != Status::New),
                    None,
                )
            }
            (_, Some((k, f))) => {
                let inner = v.fact(k, f);
                (
                    format!("{} of its {}", inner.name, fact.name),
                    inner.texts.means.clone(),
                    inner.settled_by,
                    Some(inner),
                )
            }
            (what, None) => {
                // Which alternative it is, no value of the fact tells.
                let shown = (what != What::Alternative).then_some(fact);
                (
                    fact.name.clone(),
                    fact.texts.means.clone(),
                    fact.settled_by,
                    shown,
                )
            }
        };
        // What is found as it is, is the site's to tell.
        let settler = if settler == Settler::Designer && o.status == Status::Existing {
            Settler::Site
        } else {
            settler
        };
        // Whether a value was measured is a question of its own: no value of the fact answers it.
        let asked = self.program.leaves.get(leaf.0 as usize).map(|l| l.kind);
        let shown = shown.filter(|f| {
            asked != Some(crate::expression::LeafKind::Truth) || matches!(f.ty, FactType::YesNo)
        });
        let value = |x: Option<Val>| {
            let (x, f) = (x?, shown?);
            let series = f
                .series
                .filter(|_| matches!(f.ty, FactType::Quantity { .. }));
            let Some(series) = series else {
                return Some(show_val(&x, f, v));
            };
            // The leaf chooses a member of the series.
            let member = v
                .series(series)
                .members
                .get(x.bits.trailing_zeros() as usize)?;
            Some(show_val(&Val::number(member.value), f, v))
        };
        let line = info.line.map_or(String::new(), |l| {
            format!(" ({})", crate::vocabulary::LINES[(l as usize).min(2)])
        });
        Missing {
            of: self.design.label(info.object),
            fact: format!("{name}{line}"),
            means,
            settled_by: settler.word(),
            passes: value(yes),
            breaks: value(no),
            span,
        }
    }

    /// The values of a witness, as people write them.
    pub(super) fn witness(&self, w: &Witness) -> Vec<WitnessValue> {
        w.0.iter()
            .take(12)
            .map(|(leaf, val)| {
                let inner = self.leaves[leaf.0 as usize].inner;
                let m = self.behind(*leaf, inner, (Some(*val), None));
                WitnessValue {
                    fact: format!("{} of {}", m.fact, m.of),
                    value: m.passes.unwrap_or_else(|| "as written".to_owned()),
                }
            })
            .collect()
    }
}
