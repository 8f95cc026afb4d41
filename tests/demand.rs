//! What the works add to a recorded peak.

#![expect(
    clippy::expect_used,
    reason = "a test stops where its design cannot be read"
)]

use crate::common;

use amperule::session::Options;

fn demand(new_circuit: &str) -> f64 {
    let text = format!(
        "supply {{ earthing: TN-C-S  phases: 1  U0: 230 V  logged-demand: 40 A  logged-season: highest }}\n\
         board main {{ fed-from: supply  status: existing  all-listed: circuit\n {new_circuit} }}\n\
         no charge-point\nno load-limiter\n"
    );
    let of = common::sound(&text, &Options::under("gb")).expect("a sound design");
    let v = of.value("supply", "maximum-demand", None).expect("a value");
    assert!((v.low - v.high).abs() < 1e-9, "{} .. {}", v.low, v.high);
    v.low
}

/// A new circuit whose demand is stated must not vanish beside a recorded peak.
#[test]
fn stated_demand_of_a_new_circuit_is_added_to_the_recorded_peak() {
    let with = "circuit heater { status: new  lines: L1  demand: 12 A }";
    assert!((demand(with) - 52.0).abs() < 1e-9, "{}", demand(with));
}

/// What was there when the peak was recorded is in it already.
#[test]
fn an_existing_circuit_is_part_of_the_recorded_peak() {
    let with = "circuit heater { status: existing  lines: L1  demand: 12 A }";
    assert!((demand(with) - 40.0).abs() < 1e-9, "{}", demand(with));
}
