//! Quantities: sets in SI, units, domains, series.

use super::*;

#[test]
fn quantities_become_sets_in_si() {
    assert_eq!(cable_fact("size", "6 mm²"), point(6e-6));
    assert_eq!(cable_fact("size", "6 mm2"), point(6e-6));
    assert_eq!(cable_fact("length", "18m"), point(18.0));
    assert_eq!(cable_fact("length", "3 ft 6 in"), point(1.0668));
    assert_eq!(supply_fact("Ze", "280 mohm"), point(0.28));
    assert_eq!(
        supply_fact("Ze", "0.28 ohm ± 5 %"),
        Possible::Number(Interval::new(0.266, 0.294))
    );
    assert_eq!(
        supply_fact("Ze", "0.28 ohm ± 0.02 ohm"),
        Possible::Number(Interval::new(0.28 - 0.02, 0.28 + 0.02))
    );
    assert_eq!(
        supply_fact("Ze", "0.01 ohm ± 20 mohm"),
        Possible::Number(Interval::new(0.0, 0.03)),
        "no resistance is negative"
    );
    assert_eq!(
        supply_fact("Ze", "at most 0.35 ohm"),
        Possible::Number(Interval::new(0.0, 0.35))
    );
    assert_eq!(
        supply_fact("Ze", "at least 0.35 ohm"),
        Possible::Number(Interval::new(0.35, f64::INFINITY))
    );
    assert_eq!(
        cable_fact("length", "5 .. 40 m"),
        Possible::Number(Interval::new(5.0, 40.0))
    );
    assert_eq!(
        cable_fact("length", "5 m .. 10 m | 20 m"),
        Possible::OneOf(vec![
            Possible::Number(Interval::new(5.0, 10.0)),
            point(20.0)
        ])
    );
    assert_eq!(cable_fact("length", "?"), Possible::Unknown);
    assert_eq!(cable_fact("ambient", "30 °C"), point(303.15));
    assert_eq!(
        cable_fact("ambient", "30 °C ± 5 K"),
        Possible::Number(Interval::new(298.15, 308.15))
    );
    assert_eq!(cable_fact("fill", "40 %"), point(0.4));
}

#[test]
fn only_members_of_a_series_exist() {
    assert_eq!(
        cable_fact("size", "4 mm² .. 10 mm²"),
        Possible::OneOf(vec![point(4e-6), point(6e-6), point(10e-6)])
    );
    assert_eq!(cable_fact("size", "at most 2 mm²"), point(1.5e-6));
    assert_eq!(
        cable_problems("size: 7 mm²"),
        [
            "error not-in-series: `size` cannot be `7 mm²`: there is no such size | 7 mm² | =the nearest are `6 mm²` and `10 mm²`"
        ]
    );
    assert_eq!(
        cable_problems("size: 0.5 mm²"),
        [
            "error not-in-series: `size` cannot be `0.5 mm²`: there is no such size | 0.5 mm² | =the smallest is `1.5 mm²`"
        ]
    );
    assert_eq!(
        cable_problems("size: 7 mm² .. 8 mm²"),
        [
            "error not-in-series: no value of `size` lies in this range | 7 mm² .. 8 mm² | =the nearest are `6 mm²` and `10 mm²`"
        ]
    );
    assert_eq!(
        cable_problems("size: 6 mm² ± 5 %"),
        [
            "error exact-only: `size` is one of a series: it takes no tolerance | 6 mm² ± 5 % | =write the value alone, as in `size: 6 mm²`"
        ]
    );
    assert_eq!(cable_fact("gauge", "6 AWG"), point(13.3e-6));
    assert_eq!(cable_fact("gauge", "1/0 AWG"), point(53.49e-6));
    assert_eq!(cable_fact("gauge", "250 kcmil"), point(126.7e-6));
    assert_eq!(
        cable_problems("gauge: 7 AWG"),
        [
            "error not-in-series: `gauge` cannot be `7 AWG`: there is no such size | 7 AWG | =the series has `8 AWG`, `6 AWG`, `1/0 AWG` and `250 kcmil`"
        ]
    );
    assert_eq!(
        cable_fact("gauge", "8 AWG | 6 AWG"),
        Possible::OneOf(vec![point(8.367e-6), point(13.3e-6)])
    );
}

#[test]
fn whole_numbers_stay_whole() {
    assert_eq!(
        cable_fact("cores", "2 .. 4"),
        Possible::OneOf(vec![point(2.0), point(3.0), point(4.0)])
    );
    assert_eq!(
        cable_problems("cores: 2.5"),
        [
            "error not-whole: `cores` takes whole numbers, and this is `2.5` | 2.5 | =write `2` or `3`"
        ]
    );
    assert_eq!(
        cable_problems("cores: 3 A"),
        [
            "error wrong-dimension: `cores` is a pure number, and `3 A` is a current | 3 A | =write for example `cores: 3`"
        ]
    );
}

#[test]
fn units_and_dimensions_are_checked() {
    assert_eq!(
        cable_problems("length: 18"),
        [
            "error missing-unit: `length` takes a quantity in m, and `18` has no unit | 18 | =write `18 m`"
        ]
    );
    assert_eq!(
        cable_problems("length: 18 ohm"),
        [
            "error wrong-dimension: `length` is a length, and `18 ohm` is a resistance | 18 ohm | =write for example `length: 10 m`"
        ]
    );
    assert_eq!(
        cable_problems("length: 18 mtr"),
        ["error unknown-unit: `mtr` is not a unit | mtr | =did you mean `m`?"]
    );
    assert_eq!(
        cable_problems("length: long"),
        [
            "error wrong-type: `length` takes a quantity in m, and `long` is a word | long | =write for example `length: 10 m`"
        ]
    );
    assert_eq!(
        cable_problems("fill: 40"),
        [
            "error missing-unit: `fill` takes a quantity in %, and `40` has no unit | 40 | =write `40 %`"
        ]
    );
    assert_eq!(
        cable_problems("rise: 5 °C"),
        [
            "error wrong-unit: `rise` is a difference of temperatures | 5 °C <- this is a temperature | =write `5 K`"
        ]
    );
    assert_eq!(
        supply_problems("Ze: 0.28 ohm ± 5"),
        ["error missing-unit: the tolerance `5` has no unit | 5 | =write `± 5 ohm` or `± 5 %`"]
    );
    assert_eq!(
        supply_problems("Ze: 0.28 ohm ± 2 m"),
        [
            "error wrong-dimension: `Ze` is a resistance, and `2 m` is a length | 2 m | =write for example `Ze: 2 ohm`"
        ]
    );
}

#[test]
fn domains_are_hard_and_plausible_ranges_soft() {
    assert_eq!(
        cable_problems("length: 0 m"),
        ["error outside-domain: `length` cannot be `0 m` | 0 m | =it must be more than `0 m`"]
    );
    assert_eq!(
        cable_problems("length: -3 m"),
        ["error outside-domain: `length` cannot be `-3 m` | -3 m | =it must be more than `0 m`"]
    );
    assert_eq!(
        cable_problems("length: 4 km"),
        [
            "caution implausible: `length` of `4000 m` is unusual: it is mostly `0.1 m .. 1000 m` | 4 km | =check the decimal point and the prefix of the unit"
        ]
    );
    assert_eq!(
        cable_problems("length: 40 m .. 5 m"),
        ["error reversed-range: the range runs backwards | 40 m .. 5 m | =write `5 m .. 40 m`"]
    );
    assert_eq!(
        cable_problems("length: -1 m .. 5 m"),
        ["error outside-domain: `length` cannot be `-1 m` | -1 m | =it must be more than `0 m`"]
    );
    assert_eq!(
        supply_problems("Ze: 280 ohm"),
        [
            "caution implausible: `Ze` of `280 ohm` is unusual: it is mostly `0.01 ohm .. 250 ohm` | 280 ohm | =check the decimal point and the prefix of the unit"
        ]
    );
}

#[test]
fn exact_facts_take_one_value() {
    assert_eq!(
        supply_fact("U0", "230 V | 240 V"),
        Possible::OneOf(vec![point(230.0), point(240.0)])
    );
    assert_eq!(
        supply_problems("U0: 230 V ± 10 %"),
        [
            "error exact-only: `U0` is exact: it takes no tolerance | 230 V ± 10 % | =write the value alone, as in `U0: 230 V`"
        ]
    );
    assert_eq!(
        supply_problems("U0: 220 V .. 240 V"),
        [
            "error exact-only: `U0` is exact: it takes no range | 220 V .. 240 V | =write the value, as in `U0: 200 V`, alternatives with `|`, or `?`"
        ]
    );
    assert_eq!(
        supply_problems("U0: at least 220 V"),
        [
            "error exact-only: `U0` is exact: it takes no limit | at least 220 V | =write the value, as in `U0: 200 V`, alternatives with `|`, or `?`"
        ]
    );
}

#[test]
fn a_relative_tolerance_needs_a_zero() {
    assert_eq!(
        cable_problems("ambient: 30 °C ± 5 %"),
        [
            "error relative-tolerance: a percentage of `ambient` can be read in two ways: it is a temperature, whose zero is arbitrary | 5 % | =write both ends, as in `a .. b`, or `± 2 K`"
        ]
    );
    assert_eq!(
        cable_problems("fill: 40 % ± 5 %"),
        [
            "error relative-tolerance: a percentage of `fill` can be read in two ways: it is itself a percentage | 5 % | =write both ends, as in `a .. b`, or `0.03 ± 0.005`"
        ]
    );
}

#[test]
fn values_for_each_line_conductor() {
    assert_eq!(
        supply_fact("agreed-demand", "L1 61 A, L3 38 A .. 40 A"),
        Possible::PerLine([
            Some(Box::new(point(61.0))),
            None,
            Some(Box::new(Possible::Number(Interval::new(38.0, 40.0))))
        ])
    );
    assert_eq!(supply_fact("agreed-demand", "80 A"), point(80.0));
    assert_eq!(
        supply_problems("Ze: L1 0.3 ohm, L2 0.2 ohm"),
        [
            "error wrong-type: `Ze` takes a quantity in ohm, and this is one value for each line conductor | L1 0.3 ohm, L2 0.2 ohm | =write for example `Ze: 2 ohm`"
        ]
    );
    assert_eq!(
        supply_problems("agreed-demand: L1 61 A, N 3 A"),
        [
            "error wrong-line: `agreed-demand` has values for line conductors, and `N` is none | N <- expected one of `L1`, `L2` or `L3`"
        ]
    );
    assert_eq!(
        supply_problems("agreed-demand: L1 61 m, L2 38 A"),
        [
            "error wrong-dimension: `agreed-demand` is a current, and `61 m` is a length | 61 m | =write for example `agreed-demand: 1 A`"
        ]
    );
}
