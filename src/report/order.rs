//! The list of what is to be bought, as text, table rows, JSON and a page that prints well.

use serde_json::{Value, json};

use crate::answer::Article;
use crate::quantity::{Rounding, format_toward};

use super::columns::{below, broken};
use super::markup::template;
use super::sheet::SheetOf;

/// Characters of a description, and of what a thing is for, on one line.
const WIDTHS: (usize, usize) = (56, 30);

/// Said below all.
pub const AFTER: &str = "Worked out from what the designs say. Lengths are routes as written, with the share to spare that is shown; fixings, containment and labels are not listed. The makers' data, local codes and a qualified person decide what is fit.";

/// The designs that are bought for, and what they ask for together.
#[derive(Debug)]
pub struct OrderOf<'a> {
    /// What stands above each.
    pub designs: Vec<SheetOf>,
    /// The list.
    pub articles: &'a [Article],
}

/// Heads of the columns of [`rows`].
pub const COLUMNS: [&str; 8] = [
    "number",
    "amount",
    "unit",
    "to spare",
    "what",
    "description",
    "settled",
    "for",
];

impl OrderOf<'_> {
    fn title(&self) -> String {
        let names = self.designs.iter().map(|d| d.installation.as_str());
        names.collect::<Vec<_>>().join(", ")
    }

    /// Why not to buy yet.
    fn warnings(&self) -> Vec<String> {
        let mut all: Vec<String> = Vec::new();
        for d in &self.designs {
            if let Some(w) = d.warning("bought") {
                all.push(match self.designs.len() {
                    1 => w,
                    _ => format!("{}: {w}", d.installation),
                });
            }
        }
        if self.articles.iter().any(Article::is_open) {
            all.push(
                "What is marked with ? is not settled in the design; it cannot be bought yet."
                    .to_owned(),
            );
        }
        all
    }
}

/// Rounded up, so that no length comes out short.
fn measured(a: &Article) -> Option<(String, String, String)> {
    let amount = a.amount.as_ref()?;
    let unit = amount.unit.text().to_owned();
    let of = |si: Option<f64>| match si {
        Some(si) => {
            let text = format_toward(si * (1.0 - 1e-12), &amount.unit, 3, Rounding::Up);
            text.trim_end_matches(&unit).trim().to_owned()
        }
        None => "?".to_owned(),
    };
    let spare = format!("{:.0} %", amount.spare * 100.0);
    Some((of(amount.ordered()), unit, spare))
}

fn count(a: &Article) -> String {
    a.count.map_or_else(|| "?".to_owned(), |n| n.to_string())
}

/// How much of it in one text: `3`, `24.2 m`.
fn how_much(a: &Article) -> String {
    match measured(a) {
        Some((amount, unit, spare)) => format!("{amount} {unit} (with {spare} to spare)"),
        None => count(a),
    }
}

/// What tells it from others, in one line.
fn description(a: &Article) -> String {
    let mut words = Vec::new();
    for (fact, value) in &a.facts {
        match (fact.as_str(), value.as_deref()) {
            ("form", Some(form)) => words.insert(0, form.to_owned()),
            (_, Some("yes")) => words.push(fact.clone()),
            (_, Some("no")) => words.push(format!("not {fact}")),
            (_, Some(value)) => words.push(format!("{fact} {value}")),
            (_, None) => words.push(format!("{fact} ?")),
        }
    }
    let text = words.join(", ");
    match (a.is_open(), a.one_of_several) {
        (false, _) => text,
        (true, false) => format!("? {text}"),
        (true, true) => format!("? one of several that the design leaves open: {text}"),
    }
}

/// The list in columns.
fn table(articles: &[Article]) -> String {
    let rows = |a: &Article| {
        let described = broken(&description(a), WIDTHS.0);
        let wanted = broken(&a.wanted_for.join(", "), WIDTHS.1);
        let mut first = [how_much(a), a.what.clone()];
        let lines = 0..described.len().max(wanted.len()).max(1);
        let rows = lines.map(|i| {
            let [much, what] = std::mem::take(&mut first);
            let line = |all: &[String]| all.get(i).cloned().unwrap_or_default();
            [much, what, line(&described), line(&wanted)]
        });
        rows.collect::<Vec<_>>()
    };
    below(articles.iter().flat_map(rows), 2)
}

template! {
    /// The list in plain text.
    pub fn text(order: &'a OrderOf<'a>) = "order.txt"
}

template! {
    /// The list as a page that prints well, with a box to tick for each row.
    pub fn html(order: &'a OrderOf<'a>) = "order.html"
    with title: String = format!("To buy: {}", order.title());
}

/// The list as rows of a table with [`COLUMNS`].
#[must_use]
pub fn rows(articles: &[Article]) -> Vec<[String; 8]> {
    let row = |a: &Article| {
        let (amount, unit, spare) = measured(a).unwrap_or_default();
        [
            count(a),
            amount,
            unit,
            spare,
            a.what.clone(),
            description(a),
            if a.is_open() { "no" } else { "yes" }.to_owned(),
            a.wanted_for.join(", "),
        ]
    };
    articles.iter().map(row).collect()
}

/// The list for programs, schema `amperule-order-1`.
#[must_use]
pub fn json(paths: &[String], order: &OrderOf<'_>) -> Value {
    json!({
        "schema": "amperule-order-1",
        "designs": order.designs.iter().zip(paths).map(|(d, path)| json!({
            "path": path,
            "installation": d.installation,
            "rules": d.rules,
            "breaches": d.breaches,
            "open": d.open,
        })).collect::<Vec<_>>(),
        "articles": order.articles.iter().map(|a| json!({
            "what": a.what,
            "facts": a.facts.iter().map(|(fact, value)| json!({
                "fact": fact,
                "value": value,
            })).collect::<Vec<_>>(),
            "count": a.count,
            "amount": a.amount.as_ref().map(|m| json!({
                "fact": m.fact,
                "unit": m.unit.text(),
                "sum": m.sum.map(|si| m.unit.from_si(si)),
                "spare": m.spare,
                "ordered": m.ordered().map(|si| m.unit.from_si(si)),
            })),
            "settled": !a.is_open(),
            "one-of-several": a.one_of_several,
            "for": a.wanted_for,
        })).collect::<Vec<_>>(),
    })
}
