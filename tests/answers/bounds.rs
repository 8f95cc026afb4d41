//! A bound is tight: one step back changes no verdict, one step further changes the one it names.

use amperule::answer::{AllBounds, Bound, End};
use amperule::check::{Outcome, Report};
use amperule::quantity::{Rounding, format_number};
use amperule::ruleset::Severity;

use super::{CLEAN, SURVEY, TEMPLATE, design, report};

fn all(text: &str) -> AllBounds {
    let of = design(text);
    of.bounds(&of.bounded_facts(&[]))
}

/// The design with a bound's fact written otherwise.
fn rewritten(text: &str, b: &Bound, si: f64) -> String {
    let number = format_number(b.unit.from_si(si), 12, Rounding::Nearest);
    let value = match b.unit.text() {
        "" | "1" => number,
        unit => format!("{number} {unit}"),
    };
    let (start, end) = (b.span.start as usize, b.span.end as usize);
    format!("{}{value}{}", &text[..start], &text[end..])
}

fn met(r: &Report, rule: &str, path: &str) -> bool {
    r.findings
        .iter()
        .filter(|f| f.rule == rule && f.subject.path == path)
        .all(|f| matches!(f.outcome, Outcome::Met | Outcome::NotApplicable))
}

/// Verdicts that are met, so that none may be lost inside a bound.
fn lost(before: &Report, after: &Report) -> Vec<String> {
    before
        .findings
        .iter()
        .filter(|f| f.outcome == Outcome::Met)
        .filter(|f| {
            after.findings.iter().any(|g| {
                g.rule == f.rule
                    && g.subject == f.subject
                    && matches!(g.outcome, Outcome::Failed | Outcome::Undecided)
            })
        })
        .map(|f| f.rule.clone())
        .collect()
}

fn tight(text: &str) -> usize {
    let before = report(&design(text));
    let mut seen = 0;
    for b in all(text).bounds {
        // Members of a series have no place between, whole numbers are looked at one by one.
        let counts = b.unit.text().is_empty() || b.unit.text() == "1";
        let whole = counts && b.written.0.fract() == 0.0;
        if !b.series.is_empty() || b.line.is_some() || counts && !whole {
            continue;
        }
        for (end, up) in [(&b.low, false), (&b.high, true)] {
            let End::Stopped(s) = end else { continue };
            // Below nothing there is nothing to write.
            if s.last.abs() < 1e-12 {
                continue;
            }
            let (inside, step) = if whole {
                (0.0, 1.0)
            } else {
                let step = (s.last.abs() * 1e-6).max(1e-9);
                (step, step)
            };
            let sign = if up { 1.0 } else { -1.0 };
            // Not past what is written, which may stand at both ends.
            let inside = if up {
                (s.last - inside).max(b.written.1)
            } else {
                (s.last + inside).min(b.written.0)
            };
            let back = report(&design(&rewritten(text, &b, inside)));
            assert_eq!(
                lost(&before, &back),
                Vec::<String>::new(),
                "{} of {} one step inside {}",
                b.fact,
                b.of,
                s.rule
            );
            if s.breaks {
                let further = report(&design(&rewritten(text, &b, s.last + sign * step)));
                assert!(
                    !met(&further, &s.rule, &s.subject.path),
                    "{} of {}: {} should break beyond {}",
                    b.fact,
                    b.of,
                    s.rule,
                    s.last
                );
            }
            seen += 1;
        }
    }
    seen
}

#[test]
fn bounds_of_a_clean_design_are_tight() {
    assert!(tight(CLEAN) >= 8);
}

#[test]
fn bounds_with_ranges_and_open_facts_are_tight() {
    assert!(tight(TEMPLATE) >= 5);
    tight(SURVEY);
}

#[test]
fn between_whole_numbers_nothing_is_looked_at() {
    const WORKSHOP: &str = include_str!("../../examples/mill-lane-workshop.amp");
    assert!(tight(WORKSHOP) >= 5);
    let of = design(WORKSHOP);
    let found = of.bounds(&of.bounded_facts(&["outlets".to_owned()]));
    assert!(!found.bounds.is_empty());
    for b in &found.bounds {
        if let End::Stopped(s) = &b.high {
            assert_eq!(s.last.fract(), 0.0, "{}", b.of);
            assert!(s.breaks, "{} breaks beyond", s.rule);
        }
    }
}

#[test]
fn the_longest_run_is_where_the_drop_reaches_its_limit() {
    // Table 4D5 and 4E4B of the rules: 6 mm² twin-and-earth 7.3 mV/A/m, 6 mm² armoured XLPE
    // 7.9 mV/A/m; 5 % of 230 V is 11.5 V. At 32 A over 4 m of the first, (11.5 − 0.9344)/0.2528
    // leaves 41.79 m for the second, if each is at its own full temperature.
    let found = all(CLEAN);
    let run = found
        .bounds
        .iter()
        .find(|b| b.fact == "length" && b.of == "cables 2 of ev")
        .expect("the run");
    let End::Stopped(s) = &run.high else {
        panic!("nothing stops the run");
    };
    assert!((s.last - 18.0) > 5.0 && s.last < 60.0, "{}", s.last);
    assert!(s.breaks);
}

#[test]
fn members_of_a_series_are_bounded_member_by_member() {
    let found = all(CLEAN);
    let size = found
        .bounds
        .iter()
        .find(|b| b.fact == "size" && b.of == "water")
        .expect("the bond");
    assert!(!size.series.is_empty());
    // BS 7671 table 54.8: 10 mm² for a PEN conductor up to 35 mm², so no smaller member will do.
    match &size.low {
        End::Stopped(s) => {
            assert_eq!(s.rule, "iec-bond-large-enough");
            assert!((s.last - 10e-6).abs() < 1e-12);
            assert_eq!(s.severity, Severity::Breach);
        }
        End::Free => panic!("a smaller bond would break the rule"),
    }
}

/// A fact that is written once has one bound, whatever else is asked of it; one that is written
/// line by line has one for each line, under its name.
#[test]
fn a_fact_is_listed_once_unless_its_lines_are_written_apart() {
    let named = |text: &str, fact: &str| -> Vec<Option<u8>> {
        let of = design(text);
        let found = of.bounds(&of.bounded_facts(&[fact.to_owned()])).bounds;
        found.iter().map(|b| b.line).collect()
    };
    assert_eq!(named(SURVEY, "Ze"), [None]);
    assert_eq!(named(CLEAN, "logged-demand"), [None]);
    let workshop = include_str!("../../examples/mill-lane-workshop.amp");
    let of = design(workshop);
    for b in of.bounds(&of.bounded_facts(&[])).bounds {
        let (start, end) = (b.span.start as usize, b.span.end as usize);
        let apart = workshop[start..end].contains("L1 ");
        assert_eq!(b.line.is_some(), apart, "{} of {}", b.fact, b.of);
    }
}

/// Of a whole number only whole numbers are looked at: what is told to break breaks as written.
#[test]
fn bounds_of_whole_numbers_hold_as_written() {
    let text = include_str!("../../examples/mill-lane-workshop.amp");
    let of = design(text);
    let found = of
        .bounds(&of.bounded_facts(&["supply.phases".to_owned()]))
        .bounds;
    let [b] = &found[..] else {
        panic!("one bound: {found:?}");
    };
    let ends = [(&b.low, -1.0), (&b.high, 1.0)];
    for (end, step) in ends {
        let End::Stopped(s) = end else { continue };
        assert!(s.last.fract() == 0.0);
        let after = report(&design(&rewritten(text, b, s.last + step)));
        assert_eq!(s.breaks, !met(&after, &s.rule, &s.subject.path), "{s:?}");
    }
    // With fewer phases as written nothing that holds now breaks before this.
    let before = report(&of);
    for phases in 1..=3 {
        let x = f64::from(phases);
        let End::Stopped(s) = &b.low else { continue };
        if x >= s.last {
            assert_eq!(
                lost(&before, &report(&design(&rewritten(text, b, x)))),
                [""; 0]
            );
        }
    }
}

#[test]
fn a_size_that_is_known_to_be_absent_has_no_bound() {
    let without = CLEAN.replacen("size: 10 mm²", "size: none", 1);
    assert_ne!(without, CLEAN);
    let found = all(&without);
    assert!(
        found
            .bounds
            .iter()
            .all(|b| b.fact != "size" || b.of != "water")
    );
    assert!(
        found
            .bounds
            .iter()
            .any(|b| b.fact == "size" && b.of == "gas")
    );
}
