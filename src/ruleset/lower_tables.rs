//! Limits and tables from their YAML.

use super::lower_fact_type::{Said, fact_type, split_quantity, unit_of, unit_of_figures};
use super::lower_vocabulary::series_of;
use super::merged::{Item, Merged};
use super::model::Origin;
use super::reader::{Fields, choice, fact_of, next_number, texts};
use super::schema;
use super::yaml::Node;
use crate::expression::{
    Between, Beyond, Cell, Key, KeyType, Limit, LimitId, Limits, RowKey, Table, TableId, Tables,
};
use crate::quantity::{Unit, parse_quantity};
use crate::source::{Problem, Span};
use crate::vocabulary::{FactType, SeriesId, Vocabulary, Words};

pub(super) fn origin(f: &Fields<'_>, layer: &str, problems: &mut Vec<Problem>) -> Origin {
    Origin {
        clause: f.owned("clause", problems),
        source: f.owned("source", problems),
        layer: layer.to_owned(),
    }
}

pub(super) fn limits(merged: &Merged<'_>, problems: &mut Vec<Problem>) -> Limits {
    let mut all = Limits::default();
    for item in merged.of("limits") {
        // `name: 0.95` is short for `name: {is: 0.95}`.
        let (is, at, f) = match item.node.text() {
            Some(text) => (Some(text), item.node.span, None),
            None => {
                let Some(f) = Fields::new(item.node, item.at, &schema::LIMIT, problems) else {
                    continue;
                };
                let is = f.needed("is", problems);
                let at = f.at("is");
                (is, at, Some(f))
            }
        };
        let Some(text) = is else { continue };
        let field = |key: &str, problems: &mut Vec<Problem>| {
            f.as_ref().and_then(|f| f.owned(key, problems))
        };
        let layer = merged.layer_name(item).to_owned();
        let (value, unit) = if text == "required" {
            let unit = field("unit", problems).unwrap_or_default();
            (None, unit_of(&unit, at, problems))
        } else {
            let (digits, unit) = split_quantity(text);
            let unit = unit_of(unit, at, problems);
            let value = unit.as_ref().and_then(|u| parse_quantity(digits, u));
            if value.is_none() && unit.is_some() {
                Problem::wrong("bad-number", at, format!("`{text}` is not a quantity"))
                    .help("write a number and its unit, like `70 V`, or `required`")
                    .report(problems);
            }
            (value, unit)
        };
        let Some(unit) = unit else { continue };
        let cited = |f: &Fields<'_>| f.get("clause").or_else(|| f.get("source")).is_some();
        if value.is_some() && !f.as_ref().is_some_and(cited) {
            let why = format!("the limit `{}` says nowhere where it is from", item.name);
            Problem::caution("no-source", why)
                .at(item.at, "")
                .help("add `clause` or `source`; `source: own` for one of the firm's own")
                .report(problems);
        }
        if let Some(was) = item.replaced {
            check_same_dimension(merged, item, was, &unit, problems);
        }
        let Some(next) = next_number(all.all.len(), "limits", item.at, problems) else {
            continue;
        };
        all.names.insert(item.name.to_owned(), LimitId(next));
        all.all.push(Limit {
            name: item.name.to_owned(),
            means: field("means", problems).unwrap_or_default(),
            value,
            unit,
            text: text.to_owned(),
            clause: field("clause", problems),
            source: field("source", problems),
            replaced: item.replaced.map(|l| {
                (
                    field("was", problems).unwrap_or_default(),
                    merged.layers[l].name.clone(),
                )
            }),
            layer,
            span: at,
        });
    }
    all
}

/// A child may move a limit, but not make volts of ohms.
fn check_same_dimension(
    merged: &Merged<'_>,
    item: &Item<'_>,
    was: usize,
    unit: &Unit,
    problems: &mut Vec<Problem>,
) {
    let Some(node) = merged.layers[was].find("limits", item.name) else {
        return;
    };
    let is = node.get("is").unwrap_or(node);
    let text = is.text().unwrap_or("");
    let old = if text == "required" {
        node.get("unit").and_then(Node::text).unwrap_or("")
    } else {
        split_quantity(text).1
    };
    if let Ok(old) = Unit::parse(old)
        && old.dim() != unit.dim()
    {
        let why = format!(
            "`{}` was {} and would become {}",
            item.name,
            old.dim().describe(),
            unit.dim().describe()
        );
        Problem::error("dimension-changed", why)
            .at(item.at, "restated here")
            .at(is.span, "what it replaces")
            .report(problems);
    }
}

pub(super) fn tables(
    merged: &Merged<'_>,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> (Tables, Vec<Table>) {
    let mut names = Tables::default();
    let mut all = Vec::new();
    for item in merged.of("tables") {
        if let Some(t) = table(item, v, problems)
            && let Some(next) = next_number(all.len(), "tables", item.at, problems)
        {
            names.names.insert(item.name.to_owned(), TableId(next));
            let layer = merged.layer_name(item).to_owned();
            names.stated.push((item.at, layer));
            all.push(t);
        }
    }
    (names, all)
}

/// How a key's values are read.
enum Reads {
    Number(Unit, Option<SeriesId>),
    Word(Words),
}

fn table(item: &Item<'_>, v: &Vocabulary, problems: &mut Vec<Problem>) -> Option<Table> {
    let f = Fields::new(item.node, item.at, &schema::TABLE, problems)?;
    let gives = f.needed("gives", problems)?;
    let unit = unit_of_figures(gives, f.at("gives"), problems)?;
    let source = match (f.text("source", problems), f.text("clause", problems)) {
        (Some(s), Some(c)) if s != c => format!("{c} ({s})"),
        (Some(s), _) | (None, Some(s)) => s.to_owned(),
        (None, None) => {
            let why = "a table needs `source`: where its figures were seen";
            Problem::wrong("missing-key", item.at, why).report(problems);
            String::new()
        }
    };
    let mut keys = Vec::new();
    let mut reads = Vec::new();
    for (key, node) in f.map("keys") {
        let (k, r) = table_key(&key.text, node, v, problems)?;
        keys.push(k);
        reads.push(r);
    }
    if keys.is_empty() || keys.len() > 8 {
        return Problem::wrong("bad-table", item.at, "a table has 1 to 8 keys").fail(problems);
    }
    let columns = f.get("columns").map(texts);
    let mut rows = Vec::new();
    let mut places = Vec::new();
    for row in f.get("rows").and_then(Node::list).unwrap_or(&[]) {
        let Some(cells) = row.list() else {
            Problem::wrong("bad-row", row.span, "a row is a list").report(problems);
            continue;
        };
        let leading = if columns.is_some() {
            keys.len() - 1
        } else {
            keys.len()
        };
        let values = columns.as_ref().map_or(1, Vec::len);
        if cells.len() != leading + values {
            let why = format!(
                "this row has {} cells, the table needs {}",
                cells.len(),
                leading + values
            );
            Problem::wrong("bad-row", row.span, why).report(problems);
            continue;
        }
        let mut fixed = Vec::new();
        for (cell, r) in cells.iter().zip(&reads).take(leading) {
            fixed.push(row_key(
                cell.text().unwrap_or(""),
                cell.span,
                r,
                v,
                problems,
            )?);
        }
        for (i, cell) in cells.iter().skip(leading).enumerate() {
            let mut all = fixed.clone();
            if let (Some(columns), Some(r)) = (&columns, reads.last()) {
                let (text, at) = columns.get(i)?;
                all.push(row_key(text, *at, r, v, problems)?);
            }
            rows.push((all, figure(cell, &unit, problems)));
            places.push(row.span);
        }
    }
    if rows.is_empty() {
        return Problem::wrong("bad-table", item.at, "the table has no rows").fail(problems);
    }
    let title = f
        .owned("title", problems)
        .unwrap_or_else(|| item.name.to_owned());
    match Table::new(item.name.to_owned(), title, source, keys, unit.dim(), &rows) {
        Ok(t) => Some(t),
        Err(i) => {
            let at = places.get(i).copied().unwrap_or(item.at);
            Problem::error("row-twice", "two rows have the same keys")
                .at(at, "the second one")
                .fail(problems)
        }
    }
}

/// What stands in a cell. What cannot be read is reported, and a gap.
fn figure(cell: &Node, unit: &Unit, problems: &mut Vec<Problem>) -> Cell {
    let text = cell.text().unwrap_or("");
    if matches!(text, "none" | "-") {
        return Cell::None;
    }
    if text == "?" {
        return Cell::Gap;
    }
    let (digits, own) = split_quantity(text);
    let own = if own.is_empty() {
        Some(unit.clone())
    } else {
        unit_of(own, cell.span, problems).filter(|u| u.dim() == unit.dim())
    };
    match own.and_then(|u| parse_quantity(digits, &u)) {
        Some(x) => Cell::Value(x),
        None => {
            let why = format!("`{text}` is no figure of this table");
            Problem::wrong("bad-cell", cell.span, why)
                .help("write a number, `none` for not permitted or '?' for not transcribed")
                .report(problems);
            Cell::Gap
        }
    }
}

fn table_key(
    name: &str,
    node: &Node,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Option<(Key, Reads)> {
    let f = Fields::new(node, node.span, &schema::TABLE_KEY, problems)?;
    let is = f.needed("is", problems)?;
    let at = f.at("is");
    let named = |ty| Key {
        name: name.to_owned(),
        ty,
    };
    // The words of a fact: `cable.method`.
    if let Some((kind, fact)) = is.split_once('.')
        && let Some(k) = v.kind_named(kind)
    {
        let ix = fact_of(v.kind(k), fact, at, problems)?;
        let fact = v.fact(k, ix);
        if let Some(words) = fact.words() {
            return Some((
                named(KeyType::Word(words.clone())),
                Reads::Word(words.clone()),
            ));
        }
        if let Some(unit) = fact.unit() {
            let (between, beyond) = ends(&f, problems);
            return Some((
                named(KeyType::Number(unit.dim(), between, beyond)),
                Reads::Number(unit.clone(), fact.series),
            ));
        }
    }
    match fact_type(is, at, v, problems)? {
        Said::Type(FactType::Quantity { unit, .. }) => {
            let (between, beyond) = ends(&f, problems);
            let series = series_of(v, &f, Some(&unit), problems).or_else(|| {
                // A series of named sizes with this unit lets rows be written by name.
                v.series
                    .iter()
                    .position(|s| {
                        s.unit.dim() == unit.dim() && s.members.iter().any(|m| m.name.is_some())
                    })
                    .and_then(|i| u16::try_from(i).ok())
                    .map(SeriesId)
            });
            Some((
                named(KeyType::Number(unit.dim(), between, beyond)),
                Reads::Number(unit, series),
            ))
        }
        Said::Type(FactType::Choice { words, .. }) => {
            Some((named(KeyType::Word(words.clone())), Reads::Word(words)))
        }
        Said::Type(_) | Said::Reverse(_) => {
            Problem::wrong("bad-key", at, format!("`{is}` cannot be a key of a table"))
                .fail(problems)
        }
    }
}

fn ends(f: &Fields<'_>, problems: &mut Vec<Problem>) -> (Between, Beyond) {
    let mut said = |key: &str, code: &'static str, where_: &str, words: &[&str]| {
        // What held before `none` had its word.
        let word = f
            .text(key, problems)
            .filter(|w| (key, *w) != ("beyond", "error"))?;
        if !words.contains(&word) {
            let why = format!("`{word}` says nothing {where_}");
            Problem::wrong(code, f.at(key), why)
                .help(format!("one of {}", words.join(", ")))
                .report(problems);
        }
        Some(word)
    };
    let words = Between::ALL.map(Between::word);
    let between = said("between", "bad-between", "between rows", &words);
    let words = Beyond::ALL.map(Beyond::word);
    let beyond = said("beyond", "bad-beyond", "beyond the ends", &words);
    (
        between
            .and_then(Between::from_word)
            .unwrap_or(Between::Nothing),
        beyond
            .and_then(Beyond::from_word)
            .unwrap_or(Beyond::Nothing),
    )
}

fn row_key(
    text: &str,
    at: Span,
    reads: &Reads,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Option<RowKey> {
    match reads {
        Reads::Word(words) => {
            if text == "*" {
                return Some(RowKey::Any);
            }
            let word = choice(text, at, words.as_slice(), problems)?;
            let place = words.iter().position(|w| w == word)?;
            u8::try_from(place).ok().map(RowKey::Word)
        }
        Reads::Number(unit, series) => {
            if let Some(m) = series.and_then(|s| v.series(s).named(text)) {
                return Some(RowKey::Number(m.value));
            }
            let (digits, own) = split_quantity(text);
            let u = if own.is_empty() {
                Some(unit.clone())
            } else {
                Unit::parse(own).ok().filter(|u| u.dim() == unit.dim())
            };
            match u.and_then(|u| parse_quantity(digits, &u)) {
                Some(x) => Some(RowKey::Number(x)),
                None => {
                    let why = format!("`{text}` is no value of this key");
                    Problem::wrong("bad-row-key", at, why).fail(problems)
                }
            }
        }
    }
}
