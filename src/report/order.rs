//! The list of what is to be bought, as text, table rows, JSON and a page that prints well.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::answer::Article;
use crate::quantity::{Rounding, format_toward};

use super::columns::{broken, columns};
use super::markup::Page;
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
        let names: Vec<&str> = self
            .designs
            .iter()
            .map(|d| d.installation.as_str())
            .collect();
        names.join(", ")
    }

    /// Why not to buy yet.
    fn warnings(&self) -> Vec<String> {
        let mut all: Vec<String> = Vec::new();
        for d in &self.designs {
            if let Some(w) = d.warning() {
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

/// The list in plain text.
#[must_use]
pub fn text(order: &OrderOf<'_>) -> String {
    let mut out = format!("TO BUY  {}\n", order.title());
    for w in order.warnings() {
        let _ = writeln!(out, "{w}");
    }
    out.push('\n');
    let mut rows = Vec::new();
    for a in order.articles {
        let described = broken(&description(a), WIDTHS.0);
        let wanted = broken(&a.wanted_for.join(", "), WIDTHS.1);
        for i in 0..described.len().max(wanted.len()).max(1) {
            let line = |all: &[String]| all.get(i).cloned().unwrap_or_default();
            let first = |text: String| if i == 0 { text } else { String::new() };
            rows.push(vec![
                first(how_much(a)),
                first(a.what.clone()),
                line(&described),
                line(&wanted),
            ]);
        }
    }
    if rows.is_empty() {
        out.push_str("  Nothing: the designs have nothing new.\n");
    }
    out.push_str(&columns(&rows, 2));
    let _ = writeln!(out, "\n{AFTER}");
    out
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

const STYLE: &str = "body{font:15px/1.45 Georgia,serif;margin:2rem auto;max-width:58rem;padding:0 1rem;color:#1c2422}\
h1{font-size:1.5rem;margin:0}p{margin:.3rem 0}\
.warn{border-left:4px solid #9a5b00;padding:.2rem .6rem;background:#fdf6ea;margin:.5rem 0}\
table{border-collapse:collapse;width:100%;margin:1rem 0}td,th{border:1px solid #b9c4c0;padding:.35rem .5rem;vertical-align:top;text-align:left;overflow-wrap:break-word}\
td:first-child{width:7rem}td:nth-child(3){min-width:5rem}.box{width:2rem;text-align:center}\
@media (max-width:30rem){td:first-child{width:auto}td,th{padding:.25rem}}\
@media print{body{margin:0;max-width:none}tr{break-inside:avoid}}";

/// The list as a page that prints well, with a box to tick for each row.
#[must_use]
pub fn html(order: &OrderOf<'_>) -> String {
    let mut page = Page::new(&format!("To buy: {}", order.title()), STYLE);
    for w in order.warnings() {
        page.put("<p class=\"warn\">{}</p>\n", &[&w]);
    }
    page.put(
        "<table>\n<tr><th>How much</th><th>What</th><th>For</th><th class=\"box\">Got</th></tr>\n",
        &[],
    );
    for a in order.articles {
        page.put(
            "<tr><td>{}</td><td><b>{}</b> {}</td><td>{}</td><td class=\"box\">\u{2610}</td></tr>\n",
            &[
                &how_much(a),
                &a.what,
                &description(a),
                &a.wanted_for.join(", "),
            ],
        );
    }
    page.put("</table>\n", &[]);
    if order.articles.is_empty() {
        page.put("<p>Nothing: the designs have nothing new.</p>\n", &[]);
    }
    page.end(AFTER)
}
