//! Where an answer goes in the text: in place of a `?`, or as a line of its own in the block.

use super::names::Target;
use crate::answer::mend::Edit;
use crate::design::model::{Design, Object, ObjectId, Possible, Written};
use crate::design::parse::parse_value;
use crate::design::tree::{Block, Entry, Item, Tree, Value, ValueKind};
use crate::source::{FileId, Problem, Span};
use crate::vocabulary::{FactIx, KindId, Vocabulary};

/// The file of the design itself, before those that it uses.
const DESIGN: FileId = FileId(0);

/// What is written for a fact: the place of its value.
#[must_use]
pub fn written_as(design: &Design, object: ObjectId, fact: FactIx) -> Option<(&Possible, Span)> {
    let written = design.object(object).written(fact)?;
    Some((&written.value, written.span))
}

/// The edit of the design's text that writes a value for what was asked. `value` is as a design
/// writes it; for [`Target::Listed`] it is not looked at.
///
/// # Errors
/// A problem, where the value cannot be written there.
pub fn edit(
    v: &Vocabulary,
    design: &Design,
    (tree, text): (&Tree, &str),
    target: Target,
    value: &str,
) -> Result<Edit, Problem> {
    match target {
        Target::Fact(object, ix) => put(v, (design, text), object, ix, value),
        Target::Inside(object, part, kind, ix) => {
            let fact = v.fact(design.object(object).kind, part);
            // The part was not known when it was asked about; it may be by now.
            let known = |w: &Written| match &w.value {
                Possible::List(all) => !all.contains(&Possible::Unknown),
                value => *value != Possible::Unknown,
            };
            if design.object(object).written(part).is_some_and(known) {
                return Err(more_than_asked(&fact.name));
            }
            let whole = v.short.get(&design.object(object).kind);
            let usual = whole.and_then(|s| s.opened_by.iter().find(|(of, _)| *of == part));
            let usual = usual.map(|(_, word)| word.as_str());
            let value = opened(v, (kind, ix), value, usual, &fact.texts.label)?;
            put(v, (design, text), object, part, &value)
        }
        Target::Listed(id, kind) => {
            let object = design.object(id);
            let name = &v.kind(kind).name;
            let block = find(tree, object.span).filter(|_| !object.phantom);
            let listed = block.and_then(|b| {
                b.entries.iter().find_map(|e| match e {
                    Entry::Fact(f) if f.key.text == "all-listed" => Some(&f.value),
                    _ => None,
                })
            });
            match listed {
                Some(value) if matches!(value.kind, ValueKind::Unknown) => Ok(Edit {
                    span: value.span,
                    new: name.clone(),
                }),
                Some(value) => {
                    let end = value.span.until();
                    Ok(at(end, end, format!(", {name}")))
                }
                None => insert(v, object, text, &format!("all-listed: {name}")),
            }
        }
    }
}

/// A part of which one fact is known: a word that opens it, and the fact. Without a word that the
/// fact decides, the one by which the place is opened where none is written.
fn opened(
    v: &Vocabulary,
    (kind, ix): (KindId, FactIx),
    value: &str,
    usual: Option<&str>,
    label: &str,
) -> Result<String, Problem> {
    let (kind, fact) = (v.kind(kind), v.fact(kind, ix));
    let sets = |head: &crate::vocabulary::Head| {
        let words = fact.words()?;
        let (_, word) = head.sets.iter().find(|(f, _)| *f == ix)?;
        let word = words.get(usize::from(*word))?;
        word.eq_ignore_ascii_case(value).then(|| head.word.clone())
    };
    if let Some(word) = kind.heads.iter().find_map(sets) {
        return Ok(word);
    }
    let any = kind.heads.iter().find(|h| h.sets.is_empty());
    match usual.or(any.map(|head| head.word.as_str())) {
        Some(word) => Ok(format!("{word} {{ {}: {value} }}", fact.name)),
        None => {
            let words: Vec<&str> = kind.heads.iter().map(|h| h.word.as_str()).collect();
            let text = format!("what the {} is comes first", label.to_lowercase());
            let help = if words.is_empty() {
                let (kind, fact) = (&kind.name, &fact.name);
                format!(
                    "write `{kind} NAME {{ {fact}: {value} }}` into the file, and answer its name first"
                )
            } else {
                format!("one of {}", words.join(", "))
            };
            Err(Problem::error("part-first", text).help(help))
        }
    }
}

fn put(
    v: &Vocabulary,
    (design, text): (&Design, &str),
    id: ObjectId,
    ix: FactIx,
    value: &str,
) -> Result<Edit, Problem> {
    let fact = v.fact(design.object(id).kind, ix);
    if !fact.writable {
        let text = format!("`{}` is worked out, and not to be written", fact.name);
        return Err(Problem::error("not-written", text)
            .help("answer the facts that it follows from; `amperule working` shows them"));
    }
    let of = design.object(id);
    let others = || {
        let all = design.ids().map(|other| design.object(other));
        all.filter(|other| !other.phantom && other.status != of.status)
    };
    let here = |span: Span| of.facts.iter().flatten().filter(move |w| w.span == span);
    match written_as(design, id, ix) {
        // A product, or `rest`, says several facts in one place: this one gets a line of its own.
        Some((_, span)) if here(span).count() < 2 => {
            if span.file != DESIGN {
                return Err(elsewhere(&fact.name));
            }
            if others().any(|other| other.facts.iter().flatten().any(|w| w.span == span)) {
                return Err(more_than_asked(&fact.name));
            }
            let (span, line) = open_piece(text, span).ok_or_else(|| more_than_asked(&fact.name))?;
            // `L2 51 A` for the one line that is asked.
            let alone = line.and_then(|line| value.strip_prefix(&line)?.strip_prefix(' '));
            Ok(Edit {
                span,
                new: alone.unwrap_or(value).to_owned(),
            })
        }
        _ if others().any(|other| other.span == of.span) => Err(more_than_asked(&fact.name)),
        // A part of a product stands nowhere but in the word of the whole.
        _ if is_of_product(design, id) => {
            let why = format!("`{}` is of a part that a product brings", fact.name);
            Err(Problem::error("elsewhere", why).help(
                "write the part with this fact in its block, and what the product says of it",
            ))
        }
        _ => insert(v, of, text, &format!("{}: {value}", fact.name)),
    }
}

/// Whether a part is one that the product of its whole says.
fn is_of_product(design: &Design, id: ObjectId) -> bool {
    design.object(id).owner.is_some_and(|whole| {
        let mut facts = design.object(whole).facts.iter().flatten();
        facts.any(|w| w.key == w.span && w.value.leads_to(id))
    })
}

/// The place of what is not known of a value: the `?` of a list or of one line, with that line; of a
/// value that is none of several, or of several that are all not known, the whole. Nothing, where an
/// answer to the whole would do away with what is written beside.
fn open_piece(text: &str, span: Span) -> Option<(Span, Option<String>)> {
    let (value, _) = parse_value(DESIGN, text.get(span.from()..span.until())?, span.from());
    let pieces: Vec<(&Value, Option<&str>)> = match &value.kind {
        ValueKind::PerLine(lines) => {
            let line = lines
                .iter()
                .map(|(line, value)| (value, Some(line.text.as_str())));
            line.collect()
        }
        ValueKind::List(all) => all.iter().map(|value| (value, None)).collect(),
        _ => return Some((span, None)),
    };
    let all = pieces.len();
    let mut open = pieces
        .into_iter()
        .filter(|(v, _)| matches!(v.kind, ValueKind::Unknown));
    let (one, line) = open.next()?;
    match open.count() {
        0 => Some((one.span, line.map(str::to_owned))),
        more => (more + 1 == all).then_some((span, None)),
    }
}

/// What an answer would change besides what was asked.
fn more_than_asked(fact: &str) -> Problem {
    let why = format!("an answer to `{fact}` would change more than was asked there");
    Problem::error("more-than-asked", why).help(
        "the place stands for other things, too, or beside values that are known: write the answer into the file",
    )
}

/// What a stretch of the design's own text becomes.
fn at(from: usize, until: usize, new: String) -> Edit {
    let span = Span::new(DESIGN, from, until);
    Edit { span, new }
}

fn elsewhere(what: &str) -> Problem {
    let text = format!("`{what}` stands in another file that this design uses");
    Problem::error("elsewhere", text).help("write the answer there")
}

/// A line more in a block or part, as the block is laid out.
fn insert(v: &Vocabulary, object: &Object, text: &str, line: &str) -> Result<Edit, Problem> {
    let newline = if text.contains("\r\n") { "\r\n" } else { "\n" };
    if object.phantom {
        let begin = if text.is_empty() || text.ends_with('\n') {
            ""
        } else {
            newline
        };
        let kind = &v.kind(object.kind).name;
        let new = format!("{begin}{newline}{kind} {{{newline}  {line}{newline}}}{newline}");
        return Ok(at(text.len(), text.len(), new));
    }
    let span = object.span;
    if span.file != DESIGN {
        return Err(elsewhere(&object.name));
    }
    let lost = || Problem::error("elsewhere", "its place in the text is not found");
    let body = text.get(span.from()..span.until()).ok_or_else(lost)?;
    if !body.ends_with('}') {
        let end = span.until();
        let new = format!(" {{ {line} }}");
        return Ok(at(end, end, new));
    }
    let close = span.until() - 1;
    let before = text.get(..close).ok_or_else(lost)?;
    let start = before.rfind('\n').map_or(0, |i| i + 1);
    let lead = before.get(start..).ok_or_else(lost)?;
    if lead.trim().is_empty() && start > span.from() {
        let new = format!("{lead}  {line}{newline}");
        return Ok(at(start, start, new));
    }
    let last = before.trim_end();
    let gap = if last.ends_with('{') { " " } else { "  " };
    let new = format!("{gap}{line} ");
    Ok(at(last.len(), close, new))
}

/// The block that stands at a place.
fn find(tree: &Tree, span: Span) -> Option<&Block> {
    let blocks = tree.items.iter().filter_map(|i| match i {
        Item::Block(b) => Some(b),
        _ => None,
    });
    let mut open: Vec<&Block> = blocks.collect();
    while let Some(block) = open.pop() {
        if block.span == span {
            return Some(block);
        }
        open.extend(block.entries.iter().filter_map(|e| match e {
            Entry::Block(b) => Some(b),
            _ => None,
        }));
    }
    None
}
