//! Fault loops of made-up networks beside three general solvers (`solvers/networks.py` writes `solvers/networks.csv`).
//!
//! Each network is told twice: with all that the solver was told, where the figures must agree, and without the reactance of
//! anything, where they must not lie on the unsafe side and every range must hold the solver's value.

#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "a table or a design that cannot be read is a fault of the test"
)]

use crate::common;

use std::fmt::Write as _;

use amperule::session::{Installation, Options};

const NETWORKS: &str = include_str!("solvers/networks.csv");
const PAGE: &str = include_str!("../DEVELOPERS.md");
/// How far a figure may lie on the unsafe side, and on either side where everything is told.
const NEAR: f64 = 0.005;

struct Network {
    fields: Vec<&'static str>,
}

impl Network {
    fn all() -> Vec<Self> {
        let lines = NETWORKS.lines().filter(|l| !l.starts_with('#')).skip(1);
        let all: Vec<Self> = lines
            .map(|l| Self {
                fields: l.split('|').collect(),
            })
            .collect();
        assert!(all.iter().all(|n| n.fields.len() == 10));
        all
    }

    fn name(&self) -> &str {
        self.fields[0]
    }

    fn solved(&self, column: usize) -> Option<f64> {
        let text = self.fields[column];
        (!text.is_empty()).then(|| text.parse().expect("a number"))
    }

    /// The design: one circuit behind the other, each on a board of its own.
    fn design(&self, told: bool) -> String {
        let [_, lines, ka, xe, ze, tx, cables, ..] = self.fields[..] else {
            unreachable!("ten fields");
        };
        let all = if lines == "3" { "L1, L2, L3" } else { "L1" };
        let mut text = String::from("installation \"N\" { premises: workshop }\n");
        let feeder = if tx.is_empty() {
            let _ = writeln!(
                text,
                "supply {{ earthing: TN-S  phases: {lines}  U0: 230 V  Ze: {ze} ohm  Ipf: {ka} kA  Ipf-line: {ka} kA {} }}",
                if told {
                    format!("Xe: {xe} ohm")
                } else {
                    String::new()
                }
            );
            "supply"
        } else {
            let [kva, uk, ur] = tx.split(' ').collect::<Vec<_>>()[..] else {
                unreachable!("three figures of a transformer");
            };
            let _ = writeln!(
                text,
                "supply {{ earthing: TN-S  phases: 3  U0: 6350 V  Ze: 0.1 ohm  Ipf: 8 kA }}
transformer tx {{ fed-from: supply  phases: 3  kVA: {kva} kVA  U-in: 6350 V  U-out: 230 V  uk: {uk} %  separating: yes
  output: TN-S  {} }}",
                if told { format!("ur: {ur} %") } else { String::new() }
            );
            "tx"
        };
        let mut from = feeder.to_owned();
        for (n, cable) in cables.split("; ").enumerate() {
            let [sizes, insulation, metres, x] = cable.split(' ').collect::<Vec<_>>()[..] else {
                unreachable!("four figures of a cable");
            };
            let (size, cpc) = sizes.split_once('/').expect("two sizes");
            let x = if told {
                format!("X-stated: {x} ohm/km  X2-stated: {x} ohm/km")
            } else {
                String::new()
            };
            let _ = writeln!(
                text,
                "board b{n} {{ fed-from: {from}  status: new
  circuit c{n} {{ status: new  lines: {all}  neutral: yes  device: mccb {{ In: 63 A }}
    cables: multicore {{ size: {size} mm2  cores: 5  cpc: core  cpc-size: {cpc} mm2  insulation: {insulation}  material: Cu
      length: {metres} m  {x} }} }} }}"
            );
            from = format!("c{n}");
        }
        text
    }

    fn last(&self) -> String {
        format!("c{}", self.fields[6].matches(';').count())
    }

    fn open(&self, told: bool) -> Installation {
        let text = self.design(told);
        match common::sound(&text, &Options::under("iec")) {
            Ok(of) => of,
            Err(mistakes) => panic!("{}: {mistakes}\n{text}", self.name()),
        }
    }

    /// The ends of a figure of the far end.
    fn figure(&self, of: &Installation, fact: &str) -> (f64, f64) {
        let v = of.value(&self.last(), fact, None);
        let v = v.unwrap_or_else(|| panic!("{}: no value of {fact}", self.name()));
        (v.low, v.high)
    }
}

/// What a solver says of a network, and where our figures of it lie.
struct Compared {
    solver: &'static str,
    what: &'static str,
    column: usize,
    /// Its upper end never errs on the unsafe side.
    fact: &'static str,
    /// Holds the solver's value, and is it where all is told.
    exact: Option<&'static str>,
}

const COMPARED: [Compared; 3] = [
    Compared {
        solver: "pandapower 3.5.6",
        what: "greatest fault current, three lines",
        column: 7,
        fact: "Ipf-max",
        exact: Some("Ipf-max"),
    },
    Compared {
        solver: "OpenDSS by opendssdirect.py 0.9.4",
        what: "earth fault loop, hot",
        column: 8,
        fact: "Zs",
        exact: Some("Z-loop"),
    },
    Compared {
        solver: "lcapy 1.26",
        what: "loop of line and neutral, hot",
        column: 9,
        fact: "Z-neutral",
        exact: None,
    },
];

/// Least and greatest deviation of one figure over all networks, in percent: with everything told, and with no reactance told.
#[derive(Default)]
struct Spread {
    networks: usize,
    told: Option<(f64, f64)>,
    untold: Option<(f64, f64)>,
}

fn widen(spread: &mut Option<(f64, f64)>, by: f64) {
    let (lo, hi) = spread.unwrap_or((by, by));
    *spread = Some((lo.min(by), hi.max(by)));
}

fn printed(spread: Option<(f64, f64)>) -> String {
    let text = |x: f64| format!("{x:+.1}").replace("-0.0", "+0.0");
    spread.map_or_else(
        || "–".to_owned(),
        |(lo, hi)| format!("{} to {} %", text(lo), text(hi)),
    )
}

#[test]
fn no_figure_is_on_the_unsafe_side_of_a_solver() {
    let networks = Network::all();
    assert!(networks.len() >= 20, "{}", networks.len());
    let mut wrong = Vec::new();
    let mut spreads: [Spread; 3] = Default::default();
    for n in &networks {
        let (told, untold) = (n.open(true), n.open(false));
        for (compared, spread) in COMPARED.iter().zip(&mut spreads) {
            let Compared { solver, what, .. } = compared;
            let Some(value) = n.solved(compared.column) else {
                continue;
            };
            spread.networks += 1;
            // The safe end: the greatest current is judged, and the greatest impedance.
            let safe = |of: &Installation| n.figure(of, compared.fact).1;
            let (t, u) = (safe(&told) / value - 1.0, safe(&untold) / value - 1.0);
            widen(&mut spread.told, 100.0 * t);
            widen(&mut spread.untold, 100.0 * u);
            for (how, by) in [("told", t), ("untold", u)] {
                if by < -NEAR {
                    wrong.push(format!(
                        "{}: {what} is {:.2} % under {solver}, {how}",
                        n.name(),
                        -100.0 * by
                    ));
                }
            }
            if let Some(exact) = compared.exact {
                let (low, high) = n.figure(&told, exact);
                if (low / value - 1.0).abs() > NEAR || (high / value - 1.0).abs() > NEAR {
                    wrong.push(format!(
                        "{}: {what} told: {low} .. {high}, {solver} has {value}",
                        n.name()
                    ));
                }
                let (low, high) = n.figure(&untold, exact);
                if low > value * (1.0 + NEAR) || high < value * (1.0 - NEAR) {
                    wrong.push(format!(
                        "{}: {what} untold: {low} .. {high} does not hold {value}",
                        n.name()
                    ));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let rows = COMPARED
        .iter()
        .zip(&spreads)
        .map(|(Compared { solver, what, .. }, s)| {
            let (told, untold) = (printed(s.told), printed(s.untold));
            format!("| {what} | {solver} | {} | {told} | {untold} |", s.networks)
        });
    let missing: Vec<String> = rows.filter(|r| !PAGE.contains(r.as_str())).collect();
    assert!(
        missing.is_empty(),
        "DEVELOPERS.md has not\n{}",
        missing.join("\n")
    );
}
