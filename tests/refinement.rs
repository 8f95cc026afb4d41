//! What is decided for a set stays decided so for each of its members. Designs of our own are
//! widened at random in their text (ranges, tolerances, one-sided values, choices, `?`) and judged;
//! then each widened value is replaced by one that it allows, and the design is judged again. What
//! was met must be met or not apply, what failed must fail or be departed from, and what did not
//! apply must not apply.
//!
//! Each widened design has a number, and the number gives all of it. The suite tries a few;
//! `AMPERULE_REFINEMENT=FIRST:COUNT cargo test --test refinement -- --nocapture` tries COUNT
//! designs from number FIRST on (a hundred take about a quarter of a minute) and prints what was counted. What
//! is told of a flip ends with the command that repeats it.

#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test that cannot read its own designs must stop"
)]
#![expect(clippy::print_stdout, reason = "a longer run says what it tried")]

use crate::common;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use amperule::check::Outcome;
use amperule::design::model::Possible;
use amperule::quantity::Unit;
use amperule::ruleset::{Ruleset, Stage};
use amperule::session::{Ask, Defaults, Installation, Options};
use amperule::source::FileId;
use amperule::vocabulary::{Fact, FactIx, FactType};

/// Where the designs stand.
const FOLDERS: [&str; 3] = ["examples", "tests/designs", "tests/language/sound"];
/// Designs that the suite tries, and members of each.
const FEW: u64 = 60;
const MEMBERS: usize = 4;
/// Facts that say which rules judge, not what is installed.
const LEFT_ALONE: [&str; 4] = ["status", "stage", "edition", "jurisdiction"];

/// Numbers that look random and are the same on every machine.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// From 0 up to 1.
    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn is(&mut self, share: f64) -> bool {
        self.share() < share
    }

    fn pick<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[(self.next() % of.len() as u64) as usize]
    }
}

/// A widened value: where it stands, what is written there, and values that it allows.
#[derive(Clone)]
struct Place {
    from: usize,
    until: usize,
    wide: String,
    members: Vec<String>,
}

fn number(si: f64, unit: &Unit) -> String {
    let figure = unit.from_si(si);
    match unit.text() {
        "" | "1" => figure.to_string(),
        unit => format!("{figure} {unit}"),
    }
}

/// A value that a quantity may have between two ends.
fn between(chance: &mut Chance, rules: &Ruleset, fact: &Fact, ends: (f64, f64)) -> Option<String> {
    let FactType::Quantity { unit, whole, .. } = &fact.ty else {
        return None;
    };
    if let Some(series) = fact.series {
        let (lo, hi) = (ends.0 * (1.0 - 1e-9), ends.1 * (1.0 + 1e-9));
        let all = &rules.vocabulary.series(series).members;
        let all: Vec<_> = all
            .iter()
            .filter(|m| lo <= m.value && m.value <= hi)
            .collect();
        let one = (!all.is_empty()).then(|| *chance.pick(&all))?;
        return Some(one.name.clone().unwrap_or_else(|| number(one.value, unit)));
    }
    let bounds = fact.domain;
    let usual = fact.plausible.unwrap_or(bounds);
    let end = |x: f64, usual: f64, else_: f64| match (x.is_finite(), usual.is_finite()) {
        (true, _) => x,
        (_, true) => usual,
        _ => else_,
    };
    let lo = end(ends.0.max(bounds.lo), usual.lo, -1000.0);
    let hi = end(
        ends.1.min(bounds.hi),
        2.0 * usual.hi,
        1e4 * (lo.abs() + 1.0),
    );
    let si = match chance.share() {
        s if s < 0.12 => lo,
        s if s < 0.24 => hi,
        // Over several decades each is as likely.
        _ if lo >= 0.0 && hi > 50.0 * lo => {
            let least = lo.max(1e-6 * hi);
            least * libm::pow(hi / least, chance.share())
        }
        _ => lo + chance.share() * (hi - lo),
    };
    let si = if *whole {
        unit.to_si(unit.from_si(si).round())
    } else {
        si
    };
    let below = si < lo || bounds.lo_open && si <= bounds.lo;
    let above = si > hi || bounds.hi_open && si >= bounds.hi;
    (!below && !above).then(|| number(si, unit))
}

/// Any value that a fact may have.
fn any(chance: &mut Chance, rules: &Ruleset, fact: &Fact) -> Option<String> {
    if fact.optional && chance.is(0.2) {
        return Some("none".to_owned());
    }
    match &fact.ty {
        FactType::Quantity { .. } => {
            between(chance, rules, fact, (f64::NEG_INFINITY, f64::INFINITY))
        }
        FactType::Choice { words, .. } => Some(chance.pick(words).clone()),
        FactType::Some { words } => {
            let mut some: Vec<&str> = words.iter().map(String::as_str).collect();
            some.retain(|_| chance.is(0.5));
            (!some.is_empty()).then(|| some.join(", "))
        }
        FactType::YesNo => Some(chance.pick(&["yes", "no"]).to_string()),
        _ => None,
    }
}

/// A set around a written value, and members of it.
fn widened(
    chance: &mut Chance,
    rules: &Ruleset,
    fact: &Fact,
    (value, text): (&Possible, &str),
) -> Option<(String, Vec<String>)> {
    let unknown = matches!(
        value,
        Possible::Unknown | Possible::Absent | Possible::Truth(_)
    );
    if unknown || matches!(value, Possible::Members(_)) || chance.is(0.2) {
        let members = (0..MEMBERS).map(|_| any(chance, rules, fact));
        return Some(("?".to_owned(), members.collect::<Option<_>>()?));
    }
    let among = |chance: &mut Chance, mut all: Vec<String>| {
        all.dedup();
        let members = (0..MEMBERS).map(|_| chance.pick(&all).clone()).collect();
        (all.len() > 1).then(|| (all.join(" | "), members))
    };
    match (value, &fact.ty) {
        (Possible::Words(_), FactType::Choice { words, .. }) => {
            let mut all = vec![text.to_owned()];
            all.extend((0..2).map(|_| chance.pick(words).clone()));
            among(chance, BTreeSet::from_iter(all).into_iter().collect())
        }
        (Possible::Number(set), FactType::Quantity { unit, whole, .. }) => {
            let within = |chance: &mut Chance, text: String, lo: f64, hi: f64| {
                let members = (0..MEMBERS).map(|_| between(chance, rules, fact, (lo, hi)));
                Some((text, members.collect::<Option<_>>()?))
            };
            let (x, far) = (set.lo, chance.share() * chance.share());
            if set.lo < set.hi {
                return within(chance, text.to_owned(), set.lo, set.hi);
            }
            if fact.exact || *whole || fact.series.is_some() || chance.is(0.2) {
                let mut all = vec![text.to_owned()];
                for _ in 0..=chance.next() % 3 {
                    all.extend(between(chance, rules, fact, (0.3 * x, 4.0 * x)));
                }
                return among(chance, all);
            }
            if unit.is_affine() || x <= 0.0 {
                return None;
            }
            let (lo, hi) = (x * (1.0 - 0.9 * far), x * (1.0 + 3.0 * far));
            match chance.next() % 4 {
                0 => {
                    let percent = 1 + chance.next() % 40;
                    let by = x * percent as f64 / 100.0;
                    within(chance, format!("{text} ± {percent} %"), x - by, x + by)
                }
                1 => within(
                    chance,
                    format!("at most {}", number(hi, unit)),
                    f64::NEG_INFINITY,
                    hi,
                ),
                2 => within(
                    chance,
                    format!("at least {}", number(lo, unit)),
                    lo,
                    f64::INFINITY,
                ),
                _ => {
                    let range = format!("{} .. {}", number(lo, unit), number(hi, unit));
                    within(chance, range, lo, hi)
                }
            }
        }
        _ => None,
    }
}

/// Widens a share of the values that are written in a design.
fn places(chance: &mut Chance, of: &Installation, text: &str, share: f64) -> Vec<Place> {
    let mut places: BTreeMap<usize, Place> = BTreeMap::new();
    for object in of.design().objects.iter().filter(|o| !o.phantom) {
        let kind = of.ruleset().vocabulary.kind(object.kind);
        for (ix, written) in object.facts.iter().enumerate() {
            let fact = kind.fact(FactIx(ix as u16));
            let Some(written) = written else { continue };
            let (from, until) = (written.span.from(), written.span.until());
            // With its key before it: what stands without one is told from others by its form.
            let keyed = written.span.file == FileId(0)
                && written.key.file == FileId(0)
                && written.key.until() <= from;
            let known = places.contains_key(&from) || LEFT_ALONE.contains(&fact.name.as_str());
            if !keyed || known || !chance.is(share) {
                continue;
            }
            let origin = written.origin.map(|o| format!(" ({})", o.word()));
            let origin = origin
                .filter(|o| text[from..until].ends_with(o))
                .unwrap_or_default();
            let bare = text[from..until].trim_end_matches(&origin);
            let found = widened(chance, of.ruleset(), fact, (&written.value, bare));
            let Some((wide, members)) = found else {
                continue;
            };
            let wide = format!("{wide}{origin}");
            let members = members.iter().map(|m| format!("{m}{origin}")).collect();
            places.insert(
                from,
                Place {
                    from,
                    until,
                    wide,
                    members,
                },
            );
        }
    }
    // A value may stand inside another: only the outer one is widened.
    let mut end = 0;
    let mut apart = |place: &Place| {
        let free = end <= place.from;
        end = end.max(place.until);
        free
    };
    places.into_values().filter(|p| apart(p)).collect()
}

/// The text with what `new` gives at each place.
fn edited<'a>(text: &str, places: &'a [Place], new: impl Fn(&'a Place) -> &'a str) -> String {
    let (mut out, mut at) = (String::new(), 0);
    for place in places {
        out += &text[at..place.from];
        out += new(place);
        at = place.until;
    }
    out + &text[at..]
}

/// A design that names no ruleset is judged under `gb`.
fn sound(text: &str) -> Result<Installation, String> {
    let defaults = Defaults {
        rules: Some("gb".to_owned()),
        ..Defaults::default()
    };
    common::sound(
        text,
        &Options {
            defaults,
            ..Options::default()
        },
    )
}

/// By rule and full name of the subject.
type Outcomes = BTreeMap<(String, String), Outcome>;

fn judged(text: &str, stage: Stage) -> Result<Outcomes, String> {
    let of = sound(text)?.at(stage);
    let ask = Ask {
        met: true,
        ..Ask::default()
    };
    let mut all = Outcomes::new();
    // What a ruleset leaves out is no verdict, and a set may come to less of it than its members.
    let left_out: BTreeSet<_> = of
        .ruleset()
        .rules
        .iter()
        .filter(|r| r.is_left_out())
        .map(|r| &r.id)
        .collect();
    let findings = of.check(ask).report.findings.into_iter();
    for f in findings.filter(|f| !left_out.contains(&f.rule)) {
        let told = all.insert((f.rule, f.subject.path), f.outcome);
        assert!(told.is_none(), "one verdict for each rule and subject");
    }
    Ok(all)
}

/// Whether a member may come to `member` if the set came to `set`.
fn stays(set: Outcome, member: Outcome) -> bool {
    match set {
        Outcome::Met => matches!(member, Outcome::Met | Outcome::NotApplicable),
        Outcome::Failed => matches!(member, Outcome::Failed | Outcome::Departed),
        Outcome::NotApplicable => member == Outcome::NotApplicable,
        _ => true,
    }
}

/// A verdict that did not stay: rule, subject, and what it was and became.
type Flip = (String, String, Outcome, Outcome);

/// What was tried.
#[derive(Default)]
struct Tally {
    widened: u64,
    narrowed: u64,
    /// Texts that are no sound designs, by what is wrong with the first such.
    refused: BTreeMap<String, u64>,
    /// Verdicts that were compared, by what the set came to.
    compared: BTreeMap<&'static str, u64>,
    bases: BTreeSet<usize>,
    /// Flips by rule, and the first of each in words.
    flipped: BTreeMap<String, u64>,
    flips: Vec<String>,
}

/// Verdicts on a set beside those on a member of it; what plainly does not apply has none.
fn flips(set: &Outcomes, member: &Outcomes, mut compared: impl FnMut(Outcome)) -> Vec<Flip> {
    let of = |all: &Outcomes, key| all.get(key).copied().unwrap_or(Outcome::NotApplicable);
    let keys: BTreeSet<_> = set.keys().chain(member.keys()).collect();
    let all = keys
        .into_iter()
        .map(|key| (key.0.clone(), key.1.clone(), of(set, key), of(member, key)));
    all.inspect(|f| compared(f.2))
        .filter(|f| !stays(f.2, f.3))
        .collect()
}

/// The fewest places that still show a flip, of the member `nth` of each.
fn fewest(text: &str, stage: Stage, mut places: Vec<Place>, nth: usize, flip: &Flip) -> Vec<Place> {
    let shows = |places: &[Place]| {
        let set = judged(&edited(text, places, |p| &p.wide), stage);
        let member = judged(&edited(text, places, |p| &p.members[nth]), stage);
        set.is_ok_and(|set| {
            member.is_ok_and(|member| {
                let all = flips(&set, &member, |_| ());
                all.iter().any(|f| (&f.0, &f.1) == (&flip.0, &flip.1))
            })
        })
    };
    for i in (0..places.len()).rev() {
        let mut fewer = places.clone();
        let gone = fewer.remove(i);
        if shows(&fewer) {
            places = fewer;
            continue;
        }
        // The member from the start.
        fewer.insert(
            i,
            Place {
                wide: gone.members[nth].clone(),
                ..gone
            },
        );
        if shows(&fewer) {
            places = fewer;
        }
    }
    places
}

/// Widens, judges, narrows and judges again: all of it follows from the number.
fn one(number: u64, bases: &[(String, String)], tally: &mut Tally) {
    let at = (number % bases.len() as u64) as usize;
    let (path, text) = &bases[at];
    let mut chance = Chance(number.wrapping_mul(0xD1B5_4A32_D192_ED03));
    let share = *chance.pick(&[0.02, 0.05, 0.1, 0.2, 0.4]);
    let stage = *chance.pick(&[Stage::Design, Stage::Verify, Stage::Handover]);
    let of = sound(text).expect("a sound design");
    let places = places(&mut chance, &of, text, share);
    let set = match judged(&edited(text, &places, |p| &p.wide), stage) {
        Ok(set) if !places.is_empty() => set,
        Ok(_) => return,
        Err(why) => return *tally.refused.entry(first(&why)).or_default() += 1,
    };
    tally.widened += 1;
    for nth in 0..MEMBERS {
        let member = match judged(&edited(text, &places, |p| &p.members[nth]), stage) {
            Ok(member) => member,
            Err(why) => {
                *tally
                    .refused
                    .entry(format!("member: {}", first(&why)))
                    .or_default() += 1;
                continue;
            }
        };
        tally.narrowed += 1;
        tally.bases.insert(at);
        let compared = |o: Outcome| *tally.compared.entry(o.word()).or_default() += 1;
        let found = flips(&set, &member, compared);
        for flip in &found {
            let (rule, subject, was, is) = flip;
            *tally.flipped.entry(rule.clone()).or_default() += 1;
            // Of one rule the first says enough.
            if tally.flipped[rule] > 1 {
                continue;
            }
            let mut told = format!(
                "{rule} for {subject}: {} becomes {} at stage {}, in {path} with\n",
                was.word(),
                is.word(),
                stage.word()
            );
            for p in fewest(text, stage, places.clone(), nth, flip) {
                let line = text[..p.from].matches('\n').count() + 1;
                let (old, new) = (&text[p.from..p.until], &p.members[nth]);
                _ = writeln!(
                    told,
                    "  line {line}: `{old}` widened to `{}`, then `{new}`",
                    p.wide
                );
            }
            told += &format!("  AMPERULE_REFINEMENT={number}:1 cargo test --test refinement");
            tally.flips.push(told);
        }
    }
}

fn first(lines: &str) -> String {
    lines
        .lines()
        .next()
        .unwrap_or_default()
        .chars()
        .take(70)
        .collect()
}

/// Every design of our own that has no mistakes.
fn bases() -> Vec<(String, String)> {
    let mut all = Vec::new();
    for folder in FOLDERS {
        let entries = std::fs::read_dir(format!("{}/{folder}", env!("CARGO_MANIFEST_DIR")));
        for entry in entries.expect("a folder of designs") {
            let path = entry.expect("a file").path();
            let name = path
                .file_name()
                .expect("a name")
                .to_string_lossy()
                .into_owned();
            if path.extension().is_some_and(|e| e == "amp") {
                let text = std::fs::read_to_string(&path).expect("a text");
                all.push((format!("{folder}/{name}"), text));
            }
        }
    }
    all.retain(|(_, text)| sound(text).is_ok());
    all.sort();
    all
}

#[test]
fn what_is_decided_for_a_set_stays_decided_for_its_members() {
    let asked = std::env::var("AMPERULE_REFINEMENT").ok();
    let (from, count) = match &asked {
        None => (0, FEW),
        Some(asked) => {
            let both = asked.split_once(':');
            let both = both.and_then(|(a, b)| Some((a.parse().ok()?, b.parse().ok()?)));
            both.unwrap_or_else(|| panic!("AMPERULE_REFINEMENT is `{asked}`, not `FIRST:COUNT`"))
        }
    };
    let bases = bases();
    assert!(bases.len() > 20, "only {} designs", bases.len());
    let mut tally = Tally::default();
    for number in from..from + count {
        one(number, &bases, &mut tally);
    }
    println!(
        "{} widened, {} narrowed, of {} designs; compared {:?}; flips {:?}",
        tally.widened,
        tally.narrowed,
        tally.bases.len(),
        tally.compared,
        tally.flipped
    );
    println!("refused: {:?}", tally.refused);
    assert!(tally.flips.is_empty(), "{}", tally.flips.join("\n"));
    // A run that tried nothing proves nothing.
    assert!(tally.narrowed > 0, "nothing was tried");
    if asked.is_none() {
        let refused: u64 = tally.refused.values().sum();
        assert!(tally.widened > FEW * 4 / 5 && refused * 20 < tally.narrowed);
        assert!(tally.bases.len() > bases.len() / 2);
        let decided = |word| tally.compared.get(word).copied().unwrap_or_default();
        assert!(decided("met") > 5000 && decided("failed") > 100 && decided("not-applicable") > 0);
    }
}
