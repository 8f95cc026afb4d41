//! What changes cost where a breach is mended, and which parts may be put in.

use super::layers::{Item, Merged};
use super::lower_tables::path;
use super::model::{Mending, Stock};
use super::reader::Fields;
use crate::source::Problem;
use crate::vocabulary::{FactType, Vocabulary};

const KEYS: [&str; 5] = ["is", "cost", "part", "because", "in"];

/// Lowers the section `mend`; a later layer's cost of a fact replaces an earlier one's.
pub(super) fn mending(merged: &Merged<'_>, v: &Vocabulary, problems: &mut Vec<Problem>) -> Mending {
    let mut out = Mending::default();
    for item in &merged.mend {
        one(item, v, &mut out, problems);
    }
    out
}

fn one(item: &Item<'_>, v: &Vocabulary, out: &mut Mending, problems: &mut Vec<Problem>) {
    let Some(f) = Fields::new(item.node, item.at, "a change", &KEYS, problems) else {
        return;
    };
    let Some(name) = f.needed("is", "a change", problems) else {
        return;
    };
    let Some((kind, fact)) = path(name, item.at, v, problems) else {
        return;
    };
    let at = f.get("cost").map_or(item.at, |n| n.span);
    let cost = match f.needed("cost", "a change", problems) {
        None => return,
        Some("never") => None,
        Some(text) => match text.parse::<f64>() {
            Ok(x) if x.is_finite() && x >= 0.0 => Some(x),
            _ => {
                problems.push(
                    Problem::error(
                        "bad-cost",
                        format!("`{text}` is no cost: it is a number from 0 up, or `never`"),
                    )
                    .at(at, ""),
                );
                return;
            }
        },
    };
    let Some(part) = f.text("part", problems) else {
        out.costs.retain(|(k, x, _)| (*k, *x) != (kind, fact));
        out.costs.push((kind, fact, cost));
        return;
    };
    let fits = matches!(v.fact(kind, fact).ty, FactType::Part(_));
    let Some(cost) = cost.filter(|_| fits) else {
        problems.push(
            Problem::error(
                "bad-part",
                format!("`{name}` takes no part that could be put in"),
            )
            .at(f.get("part").map_or(item.at, |n| n.span), "")
            .help("`part` is for a fact that is a part, and its cost is a number"),
        );
        return;
    };
    out.stock.push(Stock {
        kind,
        fact,
        text: part.to_owned(),
        cost,
        span: item.at,
    });
}
