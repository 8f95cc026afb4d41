//! Ten designs, each broken otherwise, with their smallest mends worked out by hand; and the
//! promise of every mend, held by a whole check of the edited text.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use amperule::answer::{Edit, Mended};
use amperule::check::{Outcome, Subject};
use amperule::ruleset::Severity;
use amperule::session::{Installation, Mending, Options, Project};
use amperule::source::Memory;
use amperule::vocabulary::WordSet;

use super::common::{PATH, project};
use super::{CLEAN, FAULTS, SURVEY, breaches, design, options, report, those, with};

/// What can be done about the text of a project, with alternatives taken.
fn mending(project: &Project, options: &Options, instead: &[(usize, usize)]) -> Mending {
    let loaded = project.open(Path::new(PATH), options);
    let of = loaded.sound().expect("a sound design");
    Mending::new(project, &loaded, of, options, instead).expect("the alternatives are there")
}

fn mended(text: &str) -> Mended {
    mending(&project(text), &options(), &[]).found
}

/// The edited design has only the breaches that were called beyond or left, and no breach, caution
/// or open question that was not there before.
fn keeps_its_promise(text: &str, m: &Mending) {
    assert_eq!(m.as_promised, Some(true));
    let [(_, edited)] = m.texts.as_slice() else {
        unreachable!("one text changes: {:?}", m.texts)
    };
    let (before, after) = (report(&design(text)), report(&design(edited)));
    let found = &m.found;
    let beyond = found.beyond.iter().map(|(rule, of, _)| (rule, of));
    let left = found.left.iter().map(|(rule, of)| (rule, of));
    let rest = beyond.chain(left);
    let rest: BTreeSet<(String, String)> = rest.map(|(r, s)| (r.clone(), s.path.clone())).collect();
    assert_eq!(those(&after, Outcome::Failed, Severity::Breach), rest);
    for severity in [Severity::Breach, Severity::Caution] {
        for outcome in [Outcome::Failed, Outcome::Undecided] {
            let (old, new) = (
                those(&before, outcome, severity),
                those(&after, outcome, severity),
            );
            assert!(new.is_subset(&old), "{outcome:?} {severity}: {new:?}");
        }
    }
}

/// A bad reading is no reason to design anew: the fault is found, and it is read again.
#[test]
fn what_reads_badly_is_not_mended_by_another_design() {
    let text = CLEAN.replacen("stage: design", "stage: verify", 1);
    let text = text + "readings ev { Zs: 3 ohm }\n";
    let m = mended(&text);
    let read = |rule: &str| rule.contains("loop-read");
    let named: Vec<_> = m.beyond.iter().filter(|(rule, ..)| read(rule)).collect();
    assert!(!named.is_empty(), "{:?}", m.breaches);
    for (rule, _, rests) in named {
        assert!(
            rests.contains(&"Zs of readings (test)".to_owned()),
            "{rule}: {rests:?}"
        );
    }
    let mends = m.changes.iter().flat_map(|c| &c.mends);
    assert!(
        mends.into_iter().all(|(rule, _)| !read(rule)),
        "{:?}",
        m.changes
    );
}

/// The demand of a house goes over its fuse. The fuse is the network operator's, whatever the works
/// do to the rest; a load limiter is offered, as a block of its own that is judged with the design.
#[test]
fn a_demand_over_the_fuse_is_mended_by_a_limiter_and_never_by_the_fuse() {
    let text = include_str!("../../examples/larch-bank.amp");
    let text = text.replace("logged-demand: 24 A", "logged-demand: 62 A");
    let mending = mending(&project(&text), &options(), &[]);
    let [change] = mending.found.changes.as_slice() else {
        unreachable!("one breach, one change: {:?}", mending.found)
    };
    assert_eq!(change.what, "load-limiter added for supply");
    assert_eq!(change.mends.len(), 1);
    assert_eq!(change.instead.len(), 0);
    assert!(mending.found.beyond.is_empty() && mending.found.left.is_empty());
    let [edit] = change.edits.as_slice() else {
        unreachable!("one block: {:?}", change.edits)
    };
    for said in ["ct-lines: L1\n", "I-limit: 80 A", "members: drive"] {
        assert!(edit.new.contains(said), "{said}: {}", edit.new);
    }
    keeps_its_promise(&text, &mending);
    // A design with a limiter has its own changed.
    let (_, with) = &mending.texts[0];
    let higher = with.replace("I-limit: 80 A", "I-limit: 90 A");
    let again = self::mended(&higher);
    assert!(!again.breaches.is_empty());
    let all = again
        .changes
        .iter()
        .flat_map(|c| c.instead.iter().chain([c]));
    assert!(all.clone().any(|c| c.what.contains("limiter")), "{again:?}");
    assert!(all.clone().all(|c| !c.what.contains("added")), "{again:?}");
}

/// How a cable is laid is not known, and some ways of laying it have no rating here: no device larger
/// than the cable carries in any of the others is a mend.
#[test]
fn what_no_answer_would_meet_is_no_mend() {
    let text = "installation \"Kerbside post\" street { rules: gb }\n\
        supply PME 1-phase new { Ze: 0.35 ohm (by-enquiry) Ipf: 16 kA (by-enquiry) \
        service-fuse: fuse BS-88-3 60 A tails: singles 16 mm² 0.5 m earthing-conductor: singles 16 mm² 0.5 m }\n\
        board pillar new { main-switch: switch 63 A 2-pole\n\
        circuit ev new { device: rcbo C32 30 mA type-A 2-pole 10 kA { rest: as-required } \
        cables: SWA-3-core 6 mm² 6 m { group-laid: duct } } }\n\
        charge-point kerb outdoors as post-7kW-twin { circuit: ev public: yes }\n";
    let m = mended(text);
    let rules: Vec<&str> = m.breaches.iter().map(|(rule, _)| rule.as_str()).collect();
    assert!(rules.contains(&"iec-load-within-device"), "{rules:?}");
    let changes = said(&m);
    assert!(
        changes.iter().all(|c| !c.contains("In 80 A")),
        "{changes:?}"
    );
    assert!(
        m.left
            .iter()
            .any(|(rule, _)| rule == "iec-load-within-device"),
        "{:?}",
        m.left
    );
}

/// Each change as `what: fact value`.
fn said(m: &Mended) -> Vec<String> {
    m.changes
        .iter()
        .map(|c| {
            let facts: Vec<String> = c
                .facts
                .iter()
                .map(|(f, _, to)| format!("{f} {to}"))
                .collect();
            format!("{}: {}", c.what, facts.join(", "))
        })
        .collect()
}

/// A broken design is mended by these changes, and by no fewer.
fn smallest(edits: &[(&str, &str)], wanted: &[&str]) {
    let text = with(CLEAN, edits);
    assert!(!breaches(&text).is_empty(), "the design must be broken");
    let (project, options) = (project(&text), options());
    let mending = |instead: &[(usize, usize)]| mending(&project, &options, instead);
    let whole = mending(&[]);
    let m = &whole.found;
    assert_eq!(said(m), wanted);
    assert!(m.fewest, "none fewer is shown");
    assert!(m.left.is_empty() && m.beyond.is_empty());
    keeps_its_promise(&text, &whole);
    // Each alternative keeps the promise, too.
    for (i, c) in (1..).zip(&m.changes) {
        for (other, _) in (1..).zip(&c.instead) {
            keeps_its_promise(&text, &mending(&[(i, other)]));
        }
    }
}

#[test]
fn a_cable_too_thin_for_its_method() {
    // Table 4D5, method 103: 6 mm² 23.5 A, 10 mm² 32 A; the device has 32 A.
    smallest(
        &[("length: 4 m  method: C", "length: 4 m  method: 103")],
        &["cables 1 of ev: size 10 mm²"],
    );
}

#[test]
fn a_run_too_long_for_its_size() {
    // Table 4E4B: 6 mm² 7.9 mV/A/m, 10 mm² 4.7 mV/A/m. 45 m at 32 A drop 11.4 V and 6.8 V; with
    // about 0.9 V of the first stretch, 5 % of 230 V (11.5 V) is passed with 6 mm², not with 10.
    smallest(
        &[("length: 18 m", "length: 45 m")],
        &["cables 2 of ev: size 10 mm²"],
    );
}

#[test]
fn an_enclosure_not_for_outdoors() {
    // 722.512.2: IP44 at least; the nearest code with both digits at 4.
    smallest(
        &[("ip-code: IP54", "ip-code: IP20")],
        &["drive: ip-code IP44"],
    );
}

#[test]
fn a_device_that_does_not_see_the_current_of_chargers() {
    // 722.531.3.101: type A at least; one step up from AC in one device mends all three rules.
    smallest(
        &[("rcd-type: A", "rcd-type: AC")],
        &["device of ev: rcd-type A"],
    );
}

#[test]
fn a_device_that_leaves_the_neutral_connected() {
    // 722.531.3: all live conductors; two poles on a single-phase circuit.
    smallest(
        &[(
            "poles: 2\n      neutral-switched: yes",
            "poles: 1\n      neutral-switched: no",
        )],
        &["device of ev: poles 2, neutral-switched yes"],
    );
}

#[test]
fn a_device_below_the_load() {
    // 433.1.1: Ib 32 A ≤ In; the next rating above 25 A is 32 A, which the cable carries.
    smallest(
        &[("In: 32 A\n      curve: B", "In: 25 A\n      curve: B")],
        &["device of ev: In 32 A"],
    );
}

#[test]
fn nothing_that_deals_with_an_open_pen() {
    // 722.411.4.1: of the ways out, a built-in function is the only one change.
    let built_in = CLEAN.find("open-pen: open-pen {").expect("the device");
    let end = CLEAN[built_in..].find('}').expect("its end") + built_in + 1;
    smallest(
        &[(&CLEAN[built_in..end], "open-pen: none")],
        &[
            "open-pen of drive: open-pen open-pen { way: line-voltage  senses: L-N  U-below: 207 V  U-above: 253 V  acts-in: 4 s  opens-pe: yes  pe-last: yes  isolates: yes  recloses: when-safe }",
        ],
    );
}

#[test]
fn nothing_that_sees_direct_current() {
    // 722.531.3.101: a 6 mA detector beside the type A device, or type B; the detector costs less.
    smallest(
        &[(
            "dc-fault-protection: rdc-dd { dc-trip: 6 mA }",
            "dc-fault-protection: none",
        )],
        &["dc-fault-protection of drive: dc-fault-protection rdc-dd { dc-trip: 6 mA }"],
    );
}

#[test]
fn a_demand_over_the_service_fuse() {
    // 40 A recorded on a fuse of 60 A leave 20 A for the vehicle, and points of 16 A are made; the
    // fuse is the network's.
    smallest(
        &[
            ("In: 80 A }", "In: 60 A }"),
            ("logged-demand: 24 A", "logged-demand: 40 A"),
        ],
        &["In of drive: In 16 A"],
    );
}

#[test]
fn two_faults_of_different_things() {
    // One change each: no cable mends an enclosure.
    smallest(
        &[
            ("ip-code: IP54", "ip-code: IP20"),
            ("length: 4 m  method: C", "length: 4 m  method: 103"),
        ],
        &["drive: ip-code IP44", "cables 1 of ev: size 10 mm²"],
    );
}

#[test]
fn the_eight_faults_are_mended_as_far_as_the_designer_may() {
    let whole = mending(&project(FAULTS), &options(), &[]);
    let m = &whole.found;
    // The bonding conductor is there already: it is the site's, not the designer's.
    let beyond: Vec<&str> = m.beyond.iter().map(|(r, ..)| r.as_str()).collect();
    assert_eq!(beyond, ["iec-bond-large-enough"]);
    assert!(m.left.is_empty());
    // The enclosure, the residual device of the circuit and that of the point, the cable, the load,
    // and the open PEN conductor.
    assert_eq!(m.changes.len(), 6, "{:?}", said(m));
    keeps_its_promise(FAULTS, &whole);
}

#[test]
fn nothing_existing_is_touched() {
    let m = mended(FAULTS);
    let of = design(FAULTS);
    let d = of.design();
    for e in m.edits() {
        let inside = d
            .objects
            .iter()
            .filter(|o| o.span.start <= e.span.start && e.span.end <= o.span.end)
            .max_by_key(|o| o.span.start)
            .expect("an object around the edit");
        assert_ne!(
            inside.status,
            amperule::design::model::Status::Existing,
            "{}",
            inside.name
        );
    }
}

#[test]
fn a_clean_design_needs_nothing() {
    let m = mended(CLEAN);
    assert!(m.breaches.is_empty() && m.changes.is_empty() && m.edits().is_empty());
}

/// Every single value of every fact of what is new, tried one after another by whole checks: none
/// mends two faults that two changes mend.
#[test]
fn brute_force_finds_no_single_change_where_two_are_said_to_be_fewest() {
    use amperule::design::model::{Possible, Status};
    use amperule::quantity::Interval;
    use amperule::vocabulary::{FactIx, FactType};
    let text = with(
        CLEAN,
        &[
            ("ip-code: IP54", "ip-code: IP20"),
            ("length: 4 m  method: C", "length: 4 m  method: 103"),
        ],
    );
    let of = design(&text);
    let (d, vocabulary) = (of.design(), &of.ruleset().vocabulary);
    let (mut tried, mut fixed_one) = (0, 0);
    let all = breaches(&text);
    for id in d.ids() {
        let object = d.object(id);
        if object.status != Status::New || object.phantom {
            continue;
        }
        for (ix, slot) in (0_u16..).zip(&object.facts) {
            let fact = vocabulary.fact(object.kind, FactIx(ix));
            if slot.is_none() || fact.name == "status" {
                continue;
            }
            let values: Vec<Possible> = match &fact.ty {
                FactType::Choice { words, .. } => (0..words.len())
                    .map(|i| Possible::Words(WordSet::one(i)))
                    .collect(),
                FactType::YesNo => vec![Possible::Truth(true), Possible::Truth(false)],
                FactType::Quantity { .. } => match fact.series {
                    Some(s) => vocabulary
                        .series(s)
                        .members
                        .iter()
                        .map(|m| Possible::Number(Interval::point(m.value)))
                        .collect(),
                    None => continue,
                },
                _ => continue,
            };
            for value in values {
                let mut other = (**d).clone();
                if let Some(w) = &mut other.objects[id.0 as usize].facts[ix as usize] {
                    w.value = value;
                }
                let other = Installation::new(
                    Arc::clone(of.ruleset()),
                    Arc::new(other),
                    of.stage(),
                    of.on(),
                );
                let left = those(&report(&other), Outcome::Failed, Severity::Breach);
                assert!(!left.is_empty(), "{} of {}", fact.name, d.label(id));
                fixed_one += usize::from(left.is_subset(&all) && left.len() < all.len());
                tried += 1;
            }
        }
    }
    assert!(tried > 100 && fixed_one > 0, "{tried} {fixed_one}");
    let m = mended(&text);
    assert!(m.fewest && m.changes.len() == 2);
}

/// A departure that holds covers its breach here as in a check; one that has expired does not.
#[test]
fn departures_count_as_in_a_check() {
    let departure = |until: &str| {
        let broken = with(CLEAN, &[("ip-code: IP54", "ip-code: IP20")]);
        let text: String = ["iec-enclosure-suits-solids", "iec-enclosure-suits-water"]
            .iter()
            .map(|rule| {
                format!(
                    "departure from {rule} {{ reason: \"in a cabinet\"  agreed-by: \"designer\"  until: {until} }}\n"
                )
            })
            .collect();
        mended(&format!("{broken}{text}"))
    };
    // The newest date in the file is the day of the design, 2026-05-12, or that of the departure.
    let holds = departure("2026-12-31");
    assert!(holds.breaches.is_empty() && holds.changes.is_empty());
    let expired = departure("2026-05-11");
    assert_eq!(expired.breaches.len(), 2);
    assert_eq!(said(&expired), ["drive: ip-code IP44"]);
}

/// No route is drawn out on paper to please a rule, not even where that alone would mend it; a firm whose
/// ruleset allows it gets just that.
#[test]
fn a_route_is_never_made_longer() {
    let mut files = Memory::default();
    files.put(PATH, CLEAN);
    let mut write = |name: &str, sections: &str| {
        let head = format!("ruleset: {name}\ntitle: {name}\npatches: [gb]\n");
        files.put(format!("own/{name}/ruleset.yaml"), head + sections);
    };
    write(
        "long",
        "rules:\n  - id: long-enough\n    title: long\n    stage: design\n    severity: breach\n    each: circuit\n    where: 'status == new'\n    require: 'length >= 30 m'\n    message: '{subject} is short'\n    topic: tests\n    source: of this test\n    confidence: published\n",
    );
    write("either", "mend:\n  - {is: cable.length, cost: 40}\n");
    let project = Project::new(Arc::new(files), vec!["own".into()]);
    let lengths = |rules: &str| -> Vec<String> {
        let m = mending(&project, &Options::under(rules), &[]).found;
        assert_eq!(m.left.len() + m.beyond.len() + m.changes.len(), 1, "{m:?}");
        said(&m)
    };
    assert_eq!(lengths("gb + long"), Vec::<String>::new());
    let longer = lengths("gb + long + either");
    assert!(
        longer.len() == 1 && longer[0].contains("length"),
        "{longer:?}"
    );
}

/// What two changes mend, each alone, is named under one of them: no breach goes unnamed.
#[test]
fn every_breach_is_mended_beyond_or_left_by_name() {
    let edits = [
        ("premises: dwelling", "premises: private-car-park"),
        ("phases: 1", "phases: 2"),
        (
            "main-switch: switch { In: 100 A  poles: 2 }",
            "main-switch: switch { In: 100 A  poles: 3 }",
        ),
        (
            "armoured { size: 6 mm²  insulation: XLPE",
            "armoured { size: 6 mm²  insulation: XHHW-2",
        ),
        ("  terminal-max: 10 mm²\n", ""),
    ];
    // As it is, with all of these, and with each of them.
    for picked in [&edits[..0], &edits[..]].into_iter().chain(edits.chunks(1)) {
        let text = with(FAULTS, picked);
        let m = mending(&project(&text), &options(), &[]);
        keeps_its_promise(&text, &m);
        let found = &m.found;
        let key = |(rule, of): &(String, Subject)| (rule.clone(), of.path.clone());
        let mended = found.changes.iter().flat_map(|c| c.mends.iter().map(key));
        let beyond = found
            .beyond
            .iter()
            .map(|(r, s, _)| (r.clone(), s.path.clone()));
        let named: BTreeSet<_> = mended
            .chain(beyond)
            .chain(found.left.iter().map(key))
            .collect();
        let breaches: BTreeSet<_> = found.breaches.iter().map(key).collect();
        assert_eq!(named, breaches, "{picked:?}");
        // And no change is there for nothing.
        assert!(
            found.changes.iter().all(|c| !c.mends.is_empty()),
            "{picked:?}"
        );
    }
}

/// A fact that is open and decides two rules gets one value that is right for both.
#[test]
fn what_is_open_is_filled_once_for_all_that_it_decides() {
    let start = SURVEY.find("  location: ").expect("a location");
    let end = start + SURVEY[start..].find('\n').expect("its end") + 1;
    let text = format!("{}{}", &SURVEY[..start], &SURVEY[end..]);
    let start = text.find("  ip-code: ").expect("a code");
    let end = start + text[start..].find('\n').expect("its end");
    let text = format!("{}  ip-code: ?{}", &text[..start], &text[end..]);
    let m = mending(&project(&text), &options(), &[]);
    keeps_its_promise(&text, &m);
    let codes = m
        .found
        .filled
        .iter()
        .filter(|c| c.facts.iter().any(|(f, ..)| f == "ip-code"));
    let codes: Vec<_> = codes.collect();
    let [code] = codes.as_slice() else {
        unreachable!("one change fills the code: {codes:?}")
    };
    assert_eq!(
        code.facts,
        [("ip-code".to_owned(), "?".to_owned(), "IP44".to_owned())]
    );
    let rules: Vec<&str> = code.mends.iter().map(|(rule, _)| rule.as_str()).collect();
    assert_eq!(
        rules,
        ["iec-enclosure-suits-solids", "iec-enclosure-suits-water"]
    );
    let edits = m.found.edits();
    let apart = |w: &[Edit]| w[0].span.end <= w[1].span.start;
    assert!(edits.windows(2).all(apart), "{edits:?}");
}
