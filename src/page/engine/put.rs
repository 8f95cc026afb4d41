//! Answers and readings written into the text of a design.
//!
//! Each gives several texts, the likeliest first: which of them the language takes, it tells itself.

use amperule::Installation;
use amperule::Loaded;
use amperule::answer::{Question, ToRead};
use amperule::design::format::format as lay_out;
use amperule::design::parse::parse;
use amperule::design::tree::{Entry, Item, Tree, Value, ValueKind};
use amperule::quantity::format_quantity;
use amperule::source::{FileId, Problem, Span};
use amperule::vocabulary::{FactType, Settler};

/// Most sizes of a series that are offered.
const MOST_SIZES: usize = 16;

/// Usual answers to offer for a question: words to choose from, or what the text itself gives as
/// an example behind its `?`.
#[must_use]
pub fn usual(loaded: &Loaded, of: &Installation, question: &Question) -> Vec<String> {
    if question.rest {
        return vec!["yes".to_owned()];
    }
    if !question.words.is_empty() {
        return question.words.clone();
    }
    let mut all: Vec<String> = example(loaded, question.span).into_iter().collect();
    let vocabulary = &of.ruleset().vocabulary;
    let kind = of.design().object(question.object).kind;
    let fact = vocabulary.fact(kind, question.fact);
    if let (Some(series), Some(unit)) = (fact.series, fact.unit()) {
        let members = vocabulary.series(series).members.iter();
        let plausible = |x: f64| {
            fact.plausible
                .as_ref()
                .is_none_or(|p| p.lo <= x && x <= p.hi)
        };
        let sizes = members.filter(|m| plausible(m.value)).map(|m| {
            let name = m.name.clone();
            name.unwrap_or_else(|| format_quantity(m.value, unit, 6))
        });
        let sizes: Vec<String> = sizes.collect();
        if sizes.len() <= MOST_SIZES {
            let example = all.clone();
            all.extend(sizes.into_iter().filter(|s| !example.contains(s)));
        }
    }
    if fact.optional {
        all.push("none".to_owned());
    }
    all
}

/// `80 A` of `In: ?  # like: 80 A (measured); as the label says`.
fn example(loaded: &Loaded, span: Span) -> Option<String> {
    let text = loaded.sources.get(span.file)?.text();
    if text.get(span.from()..span.until())? != "?" {
        return None;
    }
    let line = text.get(span.until()..)?.lines().next()?;
    let (_, like) = line.split_once("like: ")?;
    let like = like.split(';').next()?.trim();
    (!like.is_empty()).then(|| like.to_owned())
}

/// The texts that an answer to a question may make.
///
/// # Errors
/// The answer is empty, or its place is not in the design's own file.
pub fn answers(
    loaded: &Loaded,
    of: &Installation,
    question: &Question,
    answer: &str,
) -> Result<Vec<String>, Problem> {
    let text = own_text(loaded, question.span)?;
    let vocabulary = &of.ruleset().vocabulary;
    let kind = of.design().object(question.object).kind;
    let outer = vocabulary.fact(kind, question.fact);
    if question.rest {
        let listed = outer.target().map(|k| vocabulary.kind(k).name.clone());
        let listed = listed.unwrap_or_default();
        let entry = format!("all-listed: {listed}");
        return finished(text, put_into(text, question.span, &entry));
    }
    let quoted = matches!(outer.ty, FactType::Text);
    let unit = question.unit.as_deref();
    let values = values(answer, unit, quoted, question.settled_by)?;
    let put = |value: &String| put_value(text, question.span, &outer.name, value);
    let puts: Vec<String> = values.iter().flat_map(put).collect();
    finished(text, puts)
}

/// The texts that a reading may make: it goes into the record of what was tested.
///
/// # Errors
/// The reading is empty, or the ruleset has no record for it.
pub fn readings(
    loaded: &Loaded,
    of: &Installation,
    reading: &ToRead,
    answer: &str,
) -> Result<Vec<String>, Problem> {
    let kind = of.design().object(reading.object).kind;
    let mut expected = of.ruleset().expectations.iter();
    let vocabulary = &of.ruleset().vocabulary;
    let fits = |record, fact| vocabulary.fact(record, fact).name == reading.reading;
    let record = expected
        .find(|e| fits(e.record, reading.fact) && vocabulary.fits(kind, e.kind))
        .or_else(|| of.ruleset().expectations.first())
        .map(|e| vocabulary.kind(e.record).name.clone());
    let record = record.ok_or_else(|| Problem::error("no-record", "no record takes readings"))?;
    let text = own_text(loaded, of.design().object(reading.object).span)?;
    let unit = reading.unit.as_ref().map(|u| u.text());
    let tree = parse(FileId(0), text).tree;
    let there = tree.items.iter().find_map(|item| match item {
        Item::Block(b) if b.kind.text == record => {
            let name = b.name.as_ref()?;
            (name.word.text == reading.of).then_some(b)
        }
        _ => None,
    });
    let mut puts = Vec::new();
    for value in values(answer, unit, false, Settler::Test)? {
        let entry = format!("{}: {value}", reading.reading);
        match there {
            Some(block) => {
                let old = block.entries.iter().find_map(|e| match e {
                    Entry::Fact(f) if f.key.text == reading.reading => Some(f.value.span),
                    _ => None,
                });
                match old {
                    Some(span) => puts.push(replaced(text, span.from(), span.until(), &value)),
                    None => puts.extend(put_into(text, block.span, &entry)),
                }
            }
            None => {
                let block = format!("\n{record} {} {{ {entry} }}\n", reading.of);
                puts.push(replaced(text, text.len(), text.len(), &block));
            }
        }
    }
    finished(text, puts)
}

fn own_text(loaded: &Loaded, span: Span) -> Result<&str, Problem> {
    let file = loaded.sources.get(span.file);
    let own = file.filter(|f| f.name() == loaded.path);
    own.map(|f| f.text()).ok_or_else(|| {
        Problem::error(
            "another-file",
            "this stands in another file, which is not open here",
        )
    })
}

/// What an answer may mean: with its unit where it is a bare number, in quotes where a text is
/// asked for, and with where it comes from.
fn values(
    answer: &str,
    unit: Option<&str>,
    quoted: bool,
    by: Settler,
) -> Result<Vec<String>, Problem> {
    let answer = answer.trim();
    if answer.is_empty() {
        let problem = Problem::error("no-answer", "nothing is written");
        return Err(problem.help("write what was found, or leave it open"));
    }
    let plain = if quoted && !answer.starts_with('"') {
        format!("\"{}\"", answer.replace('\\', "\\\\").replace('"', "'"))
    } else if answer.parse::<f64>().is_ok() {
        unit.map_or_else(|| answer.to_owned(), |u| format!("{answer} {u}"))
    } else {
        answer.to_owned()
    };
    let origin = match by {
        Settler::Test => "measured",
        Settler::Network => "by-enquiry",
        _ => return Ok(vec![plain]),
    };
    if plain.ends_with(')') || plain == "none" || plain == "?" {
        return Ok(vec![plain]);
    }
    Ok(vec![format!("{plain} ({origin})"), plain])
}

/// Texts laid out as the text was, if it was.
fn finished(text: &str, puts: impl IntoIterator<Item = String>) -> Result<Vec<String>, Problem> {
    let was_laid_out = lay_out(text).is_ok_and(|same| same == text);
    let laid_out = |put: String| match was_laid_out.then(|| lay_out(&put)) {
        Some(Ok(laid_out)) => laid_out,
        _ => put,
    };
    let all: Vec<String> = puts.into_iter().map(laid_out).collect();
    if all.is_empty() {
        let problem = Problem::error("no-place", "there is no place for it in the text");
        return Err(problem.help("write it in the text"));
    }
    Ok(all)
}

fn replaced(text: &str, from: usize, to: usize, new: &str) -> String {
    let (before, after) = (text.get(..from), text.get(to..));
    let (before, after) = (before.unwrap_or(text), after.unwrap_or_default());
    format!("{before}{new}{after}")
}

/// Writes a fact: over what stands for it at a place, or into the thing that begins there.
fn put_value(text: &str, at: Span, fact: &str, value: &str) -> Option<String> {
    let tree = parse(FileId(0), text).tree;
    let mut found = Found {
        at,
        value: None,
        thing: None,
    };
    found.tree(&tree);
    if let Some(span) = found.value {
        return Some(replaced(text, span.from(), span.until(), value));
    }
    put_into(text, at, &format!("{fact}: {value}"))
}

/// Writes an entry into the block or part that begins at a place.
fn put_into(text: &str, at: Span, entry: &str) -> Option<String> {
    let tree = parse(FileId(0), text).tree;
    let mut found = Found {
        at,
        value: None,
        thing: None,
    };
    found.tree(&tree);
    let thing = found.thing?;
    let (from, until) = (thing.from(), thing.until());
    let body = text.get(from..until)?;
    if !body.ends_with('}') {
        return Some(replaced(text, until, until, &format!(" {{ {entry} }}")));
    }
    let end = until - 1;
    let inside = body.get(..body.len() - 1)?;
    let line = inside.rfind('\n').map(|n| from + n + 1);
    match line {
        // A bracket on a line of its own: the entry gets a line above it.
        Some(start) if text.get(start..end)?.trim().is_empty() => {
            let indent = text.get(start..end)?;
            Some(replaced(
                text,
                start,
                start,
                &format!("{indent}  {entry}\n"),
            ))
        }
        _ => {
            let last = from + inside.trim_end().len();
            let gap = if inside.trim_end().ends_with('{') {
                " "
            } else {
                "  "
            };
            Some(replaced(text, last, end, &format!("{gap}{entry} ")))
        }
    }
}

/// Looks for what stands at a place.
struct Found {
    at: Span,
    /// The value of a fact that stands just there.
    value: Option<Span>,
    /// The block or part that begins there.
    thing: Option<Span>,
}

impl Found {
    fn tree(&mut self, tree: &Tree) {
        for item in &tree.items {
            match item {
                Item::Block(b) => {
                    self.thing(b.span);
                    b.row.iter().for_each(|v| self.value(v));
                    self.entries(&b.entries);
                }
                Item::Define(d) => self.entries(&d.entries),
                Item::Parameter(p) if p.span.from() == self.at.from() => {
                    self.value = Some(p.value.span);
                }
                _ => {}
            }
        }
    }

    fn entries(&mut self, entries: &[Entry]) {
        for entry in entries {
            match entry {
                Entry::Fact(f) => {
                    if f.span == self.at || f.value.span == self.at {
                        self.value = Some(f.value.span);
                    }
                    self.value(&f.value);
                }
                Entry::Block(b) => {
                    self.thing(b.span);
                    b.row.iter().for_each(|v| self.value(v));
                    self.entries(&b.entries);
                }
                Entry::No(_) => {}
            }
        }
    }

    /// Of all that begins there the smallest is meant, which is looked at last.
    fn thing(&mut self, span: Span) {
        if span.from() == self.at.from() {
            self.thing = Some(span);
        }
    }

    fn value(&mut self, value: &Value) {
        match &value.kind {
            ValueKind::Part { entries, .. } => {
                self.thing(value.span);
                self.entries(entries);
            }
            ValueKind::Row { values, entries } => {
                self.thing(value.span);
                values.iter().for_each(|v| {
                    if !matches!(v.kind, ValueKind::Word(_)) {
                        self.value(v);
                    }
                });
                self.entries(entries);
            }
            ValueKind::Word(_) => self.thing(value.span),
            ValueKind::OneOf(all) | ValueKind::List(all) | ValueKind::ByTurn(all) => {
                all.iter().for_each(|v| self.value(v));
            }
            _ => {}
        }
    }
}
