//! Series of preferred values from their YAML.

use super::lower_fact_type::unit_of_figures;
use super::merged::Item;
use super::reader::Fields;
use super::schema;
use super::yaml::Yaml;
use crate::quantity::parse_quantity;
use crate::source::{Problem, Span};
use crate::vocabulary::{Member, Series};

pub(super) fn series(item: &Item<'_>, problems: &mut Vec<Problem>) -> Option<Series> {
    let f = Fields::new(item.node, item.at, &schema::SERIES, problems)?;
    let unit = unit_of_figures(f.needed("is", problems)?, f.at("is"), problems)?;
    let node = f.get("members")?;
    let mut members = Vec::new();
    let mut read =
        |text: &str, name: Option<String>, at: Span| match parse_quantity(text.trim(), &unit) {
            Some(value) => members.push(Member { value, name }),
            None => Problem::wrong("bad-number", at, format!("`{text}` is not a number"))
                .report(problems),
        };
    match &node.value {
        Yaml::List(list) => {
            for n in list {
                read(n.text().unwrap_or(""), None, n.span);
            }
        }
        Yaml::Map(map) => {
            for (k, n) in map {
                read(n.text().unwrap_or(""), Some(k.text.clone()), n.span);
            }
        }
        _ => {}
    }
    members.sort_by(|a, b| a.value.total_cmp(&b.value));
    if members.is_empty() || members.len() > Series::MOST {
        let why = format!(
            "a series has 1 to {} members, not {}",
            Series::MOST,
            members.len()
        );
        return Problem::wrong("bad-series", item.at, why).fail(problems);
    }
    Some(Series {
        name: item.name.to_owned(),
        unit,
        members,
    })
}
