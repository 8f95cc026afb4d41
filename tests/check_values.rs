//! Figures published elsewhere, or worked out by general-purpose libraries, against what the
//! rulesets' own derivations give for small designs. Each value names its source and how sure
//! the one who wrote it down is; the tolerance is that of the printed figure.

use crate::common;

use std::collections::BTreeMap;

use amperule::quantity::Unit;
use amperule::session::Options;

const VALUES: &str = include_str!("check_values/values.csv");

fn template(name: &str) -> &'static str {
    match name {
        "cable" => {
            r#"installation "V" { premises: dwelling }
supply { earthing: TN-C-S  phases: 1  U0: 230 V  Ze: 0.35 ohm }
board main { fed-from: supply
  circuit ev { role: final  device: mcb { In: 32 A  curve: B }
    cables: {form} { size: {size} mm2  method: {method}  insulation: {ins}  material: Cu  length: 100 m  {extra} } } }
charge-point drive { circuit: ev  In: 32 A }"#
        }
        "gauge" => {
            r#"installation "V" { premises: dwelling }
supply { phases: 1  U0: 120 V }
board main { fed-from: supply
  circuit ev { role: final  device: mcb { In: 40 A }
    cables: {form} { size: {size} mm2  method: {method}  insulation: {ins}  material: Cu  length: 100 m  {extra} } } }
charge-point drive { circuit: ev  In: 32 A }"#
        }
        "breaker" => {
            r#"installation "V" { premises: dwelling }
supply { earthing: TN-C-S  phases: 1  U0: 230 V  Ze: 0.35 ohm }
board main { fed-from: supply
  circuit ev { role: final  outlet-kind: sockets  device: mcb { In: {In} A  curve: {curve} } } }
charge-point drive { circuit: ev  In: 6 A  outlet: type-2 }"#
        }
        "fuse" => {
            r#"installation "V" { premises: dwelling }
supply { earthing: TN-C-S  phases: 1  U0: 230 V  Ze: 0.35 ohm }
board main { fed-from: supply
  circuit ev { role: final  outlet-kind: sockets  device: fuse { In: {In} A  standard: {std} } } }
charge-point drive { circuit: ev  In: 6 A  outlet: type-2 }"#
        }
        "electrode" => {
            r#"installation "V" { premises: dwelling }
supply { earthing: TT  phases: 1  U0: 230 V  electrodes: rods }
electrode rods { {facts} }"#
        }
        "pen" => {
            r#"installation "V" { premises: workshop }
supply { earthing: TN-C-S  phases: 3  U0: 230 V  RB: {rb} ohm  electrodes: rods
  logged-demand: L1 {i1} A, L2 {i2} A, L3 {i3} A  logged-season: highest }
electrode rods { R: {ra} ohm  linked-to-met: yes }
board main { fed-from: supply  status: new }
no load-limiter
no charge-point
no circuit"#
        }
        "load" => {
            r#"installation "V" { premises: dwelling }
supply { earthing: TN-C-S  phases: 1  U0: 230 V  Ze: 0.35 ohm }
board main { fed-from: supply
  circuit ev { role: final  lines: L1  neutral: yes  device: mcb { In: 32 A  curve: B }
    cables: {form} { size: {size} mm2  method: C  insulation: {ins}  length: {length} m  {extra} } } }
charge-point drive { circuit: ev  In: 32 A  outlets: 1 }
no load-limiter"#
        }
        "residual" => {
            r#"installation "V" { premises: dwelling }
supply { earthing: TT  phases: 1  U0: 230 V }
board main { fed-from: supply  main-switch: none
  circuit ev { role: final  device: rcbo { In: 32 A  curve: B  rcd-type: A  IΔn: {idn} mA } } }
charge-point drive { circuit: ev  In: 32 A }"#
        }
        "network" => {
            r#"installation "V" { premises: workshop }
supply { earthing: TN-S  phases: {phases}  U0: {u0} V  Ze: {ze} ohm  Xe: {xe} ohm  Ipf: {ka} kA  Ipf-line: {ka} kA }
board main { fed-from: supply
  circuit ev { role: final  lines: {lines}  neutral: yes  cos-phi: {pf}  device: mccb { In: 250 A }
    cables: singles { size: {size} mm2  cpc-size: {cpc} mm2  cpc: core  R-stated: {r} ohm/km  X-stated: {x} ohm/km
      insulation: {ins}  material: Cu  length: {length} m } } }
load hall { on: ev  lines: {lines}  current: {ib} A }
no charge-point
no load-limiter"#
        }
        other => unreachable!("there is no template {other}"),
    }
}

struct Row<'t> {
    id: &'t str,
    source: &'t str,
    confidence: &'t str,
    fields: Vec<&'t str>,
}

fn rows() -> Vec<Row<'static>> {
    VALUES
        .lines()
        .filter(|l| !l.starts_with('#') && !l.is_empty())
        .map(|l| {
            let fields: Vec<&str> = l.split('|').collect();
            assert_eq!(fields.len(), 12, "{l}");
            Row {
                id: fields[0],
                source: fields[1],
                confidence: fields[2],
                fields,
            }
        })
        .collect()
}

#[test]
fn published_figures_come_out() {
    let mut wrong = Vec::new();
    let rows = rows();
    for row in &rows {
        let f = &row.fields;
        let mut text = template(f[4]).to_owned();
        for pair in f[5].split(';') {
            let (key, with) = pair.split_once('=').expect("key=value");
            text = text.replace(&format!("{{{key}}}"), with);
        }
        let (base, edition) = f[3].split_once('@').unzip();
        let mut options = Options::under(base.unwrap_or(f[3]));
        options.edition = edition.map(str::to_owned);
        let of = match common::sound(&text, &options) {
            Ok(of) => of,
            Err(mistakes) => {
                wrong.push(format!("{}: {mistakes}", row.id));
                continue;
            }
        };
        let unit = Unit::parse(f[10]).expect("a unit");
        let expected: f64 = f[9].parse().expect("a number");
        let tolerance: f64 = f[11].parse().expect("a number");
        match of.value(f[6], f[7], None) {
            Some(v) => {
                let (low, high) = (unit.from_si(v.low), unit.from_si(v.high));
                let near = |x: f64| (x - expected).abs() <= tolerance * 1.000_001;
                if !near(low) || !near(high) {
                    wrong.push(format!(
                        "{} ({}): {low} .. {high} {}, expected {expected}",
                        row.id, row.source, f[10]
                    ));
                }
            }
            None => wrong.push(format!("{}: no value of {} of {}", row.id, f[7], f[6])),
        }
    }
    assert!(
        wrong.is_empty(),
        "{} of {} differ:\n{}",
        wrong.len(),
        rows.len(),
        wrong.join("\n")
    );
}

#[test]
fn there_are_enough_and_each_names_its_source() {
    let rows = rows();
    let mut by: BTreeMap<&str, usize> = BTreeMap::new();
    for r in &rows {
        assert!(r.source.len() > 8, "{} names no source", r.id);
        *by.entry(r.confidence).or_default() += 1;
    }
    assert!(rows.len() >= 150, "only {} values", rows.len());
    assert!(by["published"] >= 150, "{by:?}");
    assert_eq!(
        by.keys().copied().collect::<Vec<_>>(),
        ["from memory", "published"]
    );
}

#[test]
fn the_page_counts_them_by_source_and_confidence() {
    const PAGE: &str = include_str!("../DEVELOPERS.md");
    let mut counted: BTreeMap<(String, String), usize> = BTreeMap::new();
    for r in rows() {
        let all = ("all sources".to_owned(), r.confidence.to_owned());
        *counted.entry(all).or_default() += 1;
        let own = (r.source.to_owned(), r.confidence.to_owned());
        *counted.entry(own).or_default() += 1;
    }
    let section = PAGE
        .split_once("## Outside check values\n")
        .expect("the page has the section")
        .1;
    let section = section.split("\n## ").next().unwrap_or("");
    let mut printed: BTreeMap<(String, String), usize> = BTreeMap::new();
    for line in section.lines().filter(|l| l.starts_with("| ")) {
        let cells: Vec<&str> = line.trim_matches('|').split(" | ").map(str::trim).collect();
        assert_eq!(cells.len(), 3, "{line}");
        if cells[2] == "values" {
            continue;
        }
        let count = cells[2].parse().expect("a count");
        let key = (cells[0].to_owned(), cells[1].to_owned());
        assert!(printed.insert(key, count).is_none(), "twice: {line}");
    }
    assert_eq!(printed, counted);
}
