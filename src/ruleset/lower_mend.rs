//! What changes cost where a breach is mended, and which parts may be put in.

use super::merged::{Item, Merged};
use super::model::{ChangeCost, Mending, Stock, StockBlock, Toward};
use super::reader::{Fields, kind_of, path, texts};
use super::schema;
use crate::quantity::{Unit, parse_quantity};
use crate::source::Problem;
use crate::vocabulary::{Fact, FactType, Vocabulary, WordSet};

/// Lowers the section `mend`; a later layer's cost of a fact replaces an earlier one's.
pub(super) fn mending(merged: &Merged<'_>, v: &Vocabulary, problems: &mut Vec<Problem>) -> Mending {
    let mut out = Mending::default();
    for item in merged.of("mend") {
        one(item, v, &mut out, problems);
    }
    out
}

fn one(
    item: &Item<'_>,
    v: &Vocabulary,
    out: &mut Mending,
    problems: &mut Vec<Problem>,
) -> Option<()> {
    let f = Fields::new(item.node, item.at, &schema::CHANGE, problems)?;
    let name = f.needed("is", problems)?;
    let at = f.at("cost");
    let cost = match f.needed("cost", problems)? {
        "never" => None,
        text => match text.parse::<f64>() {
            Ok(x) if x.is_finite() && x >= 0.0 => Some(x),
            _ => {
                let why = format!("`{text}` is no cost: it is a number from 0 up, or `never`");
                return Problem::wrong("bad-cost", at, why).fail(problems);
            }
        },
    };
    if let Some(text) = f.text("block", problems) {
        let kind = kind_of(name, f.at("is"), v, problems)?;
        let beside = kind_of(f.needed("beside", problems)?, f.at("beside"), v, problems)?;
        let Some(cost) = cost else {
            let why = format!("a block that is never added is none that may be: `{name}`");
            return Problem::wrong("bad-cost", at, why).fail(problems);
        };
        out.blocks.push(StockBlock {
            kind,
            beside,
            text: text.to_owned(),
            cost,
            span: f.at("block"),
        });
        return Some(());
    }
    let (kind, fact) = path(name, item.at, v, problems)?;
    let Some(part) = f.text("part", problems) else {
        let words = words(&f, v.fact(kind, fact), name, problems)?;
        let among = among(&f, v.fact(kind, fact), name, problems)?;
        let toward = match f.text("only", problems) {
            None => Toward::Either,
            Some("less") => Toward::Less,
            Some("more") => Toward::More,
            Some(word) => {
                let message =
                    format!("`{word}` is no way to change `{name}`: it is `less` or `more`");
                return Problem::wrong("unknown-word", f.at("only"), message).fail(problems);
            }
        };
        out.costs
            .retain(|c| (c.kind, c.fact, c.words) != (kind, fact, words));
        out.costs.push(ChangeCost {
            kind,
            fact,
            words,
            among,
            toward,
            cost,
        });
        return Some(());
    };
    let fits = matches!(v.fact(kind, fact).ty, FactType::Part(_));
    let Some(cost) = cost.filter(|_| fits) else {
        let why = format!("`{name}` takes no part that could be put in");
        return Problem::wrong("bad-part", f.at("part"), why)
            .help("`part` is for a fact that is a part, and its cost is a number")
            .fail(problems);
    };
    out.stock.push(Stock {
        kind,
        fact,
        text: part.to_owned(),
        cost,
        span: item.at,
    });
    Some(())
}

/// The words of `to`, as a set; nothing where the fact has no such word.
fn words(
    f: &Fields<'_>,
    fact: &Fact,
    name: &str,
    problems: &mut Vec<Problem>,
) -> Option<Option<WordSet>> {
    let Some(node) = f.get("to") else {
        return Some(None);
    };
    let mut set = WordSet::EMPTY;
    for (word, at) in texts(node) {
        let known = match &fact.ty {
            FactType::Choice { words, .. } => words.iter().position(|w| *w == word),
            _ => None,
        };
        match known {
            Some(i) => set = set.or(WordSet::one(i)),
            None => {
                let why = format!("`{word}` is no word of `{name}`");
                return Problem::wrong("unknown-word", at, why).fail(problems);
            }
        }
    }
    Some(Some(set))
}

/// The values of `among`, in SI units.
fn among(f: &Fields<'_>, fact: &Fact, name: &str, problems: &mut Vec<Problem>) -> Option<Vec<f64>> {
    let Some(node) = f.get("among") else {
        return Some(Vec::new());
    };
    let mut all = Vec::new();
    for (text, at) in texts(node) {
        let value = fact.unit().and_then(|own| {
            let (digits, unit) = text.split_once(' ')?;
            let unit = Unit::parse(unit).ok().filter(|u| u.dim() == own.dim())?;
            parse_quantity(digits, &unit)
        });
        match value {
            Some(x) => all.push(x),
            None => {
                let like = fact.unit().map_or("", |u| u.text());
                let why = format!("`{text}` is no value of `{name}`");
                return Problem::wrong("bad-value", at, why)
                    .help(format!("write each like `6 {like}`"))
                    .fail(problems);
            }
        }
    }
    Some(all)
}
