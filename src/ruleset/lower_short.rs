//! `short:`: what a design may say without keys, as marks, and in other words of the trade.
//! What could be read in two ways is refused here, so that no design ever can.

use super::lower_fact_type::bounds;
use super::merged::Merged;
use super::reader::{Fields, choice, kind_of, texts};
use super::schema;
use super::yaml::Node;
use crate::quantity::Unit;
use crate::source::{Problem, Span};
use crate::vocabulary::{
    FactIx, FactType, Kind, KindId, LINES, Mark, Meaning, Piece, Short, Unkeyed, Usual, Vocabulary,
    with_article,
};

/// Words that mean the same in every block.
const EVERYWHERE: [&str; 11] = [
    "none", "all", "yes", "no", "n", "as", "new", "existing", "altered", "to-go", "by-turn",
];

/// Reads `short:` of all layers into the vocabulary.
pub(super) fn short(merged: &Merged<'_>, v: &mut Vocabulary, problems: &mut Vec<Problem>) {
    for item in merged.of("short") {
        let Some(f) = Fields::new(item.node, item.at, &schema::SHORT, problems) else {
            continue;
        };
        for (word, node) in map(f.get("asks")) {
            let what = node.text().unwrap_or("").to_owned();
            if is_sayable(word) && !what.is_empty() {
                v.asks.retain(|(w, _)| !w.eq_ignore_ascii_case(word));
                v.asks.push((word.to_owned(), what));
            } else {
                refused(word, "it needs two letters, and what to write", node.span)
                    .report(problems);
            }
        }
        let Some(of) = f.text("of", problems) else {
            continue;
        };
        let Some(id) = kind_of(of, f.at("of"), v, problems) else {
            continue;
        };
        let mut short = v.short.remove(&id).unwrap_or_default();
        let head = f.text("head", problems);
        let head = head.and_then(|text| choice(text, f.at("head"), &["values"], problems));
        short.values_first |= head.is_some();
        let kind = v.kind(id);
        for (fact, node) in facts(kind, f.get("unkeyed"), problems) {
            unkeyed(kind, fact, node, &mut short, problems);
        }
        for (text, at) in f.texts("marks") {
            short.marks.extend(mark(kind, &text, at, problems));
        }
        for (fact, node) in facts(kind, f.get("opened-by"), problems) {
            let word = node.text().unwrap_or("").to_owned();
            if v.head_words.contains_key(&word) {
                short.opened_by.retain(|(f, _)| *f != fact);
                short.opened_by.push((fact, word));
            } else {
                refused(&word, "it opens no part", node.span).report(problems);
            }
        }
        for (word, node) in map(f.get("also")) {
            if let Some(meaning) = also(v, kind, &short, word, node, problems) {
                match short.meaning(word) {
                    Some(first) if *first != meaning => {
                        refused(word, "it has another meaning already", node.span).report(problems);
                    }
                    Some(_) => {}
                    None => short.also.push((word.to_owned(), meaning)),
                }
            }
        }
        v.short.insert(id, short);
        collisions(v, id, item.at, problems);
    }
}

fn map(node: Option<&Node>) -> Vec<(&str, &Node)> {
    let entries = node.and_then(Node::map).unwrap_or(&[]);
    entries.iter().map(|(k, n)| (k.text.as_str(), n)).collect()
}

/// The entries of a map whose keys are facts of a kind.
fn facts<'n>(
    kind: &Kind,
    node: Option<&'n Node>,
    problems: &mut Vec<Problem>,
) -> Vec<(FactIx, &'n Node)> {
    let mut found = Vec::new();
    for (name, node) in map(node) {
        match kind.fact_named(name).filter(|ix| kind.fact(*ix).writable) {
            Some(ix) => found.push((ix, node)),
            None => Problem::wrong(
                "unknown-fact",
                node.span,
                format!("`{}` has no fact `{name}` to write", kind.name),
            )
            .did_you_mean(name, kind.writable_names())
            .report(problems),
        }
    }
    found
}

fn refused(word: &str, why: &str, at: Span) -> Problem {
    let message = format!("`{word}` cannot be said shortly: {why}");
    Problem::wrong("two-readings", at, message)
}

/// Whether a word is long enough to be told from a sign.
fn is_sayable(word: &str) -> bool {
    word.chars().filter(|c| c.is_alphabetic()).count() >= 2
}

fn unkeyed(kind: &Kind, fact: FactIx, node: &Node, short: &mut Short, problems: &mut Vec<Problem>) {
    let declared = kind.fact(fact);
    let mut new = Unkeyed {
        fact,
        words: Vec::new(),
        ranges: Vec::new(),
    };
    let said = if node.text() == Some("yes") {
        Vec::new()
    } else {
        texts(node)
    };
    match &declared.ty {
        FactType::Choice { words, .. } if said.is_empty() => {
            new.words.extend(words.iter().cloned())
        }
        FactType::Choice { words, .. } => {
            for (word, at) in said {
                if words.contains(&word) {
                    new.words.push(word);
                } else {
                    let said = format!("`{}` has no such word", declared.name);
                    refused(&word, &said, at).report(problems);
                }
            }
        }
        FactType::Quantity {
            unit,
            per_line: false,
            ..
        } if !unit.text().is_empty() && unit.text() != "1" => {
            for (text, at) in said {
                let Some(b) = bounds(&text, Some(unit), at, problems) else {
                    return;
                };
                let usual = text.rsplit(' ').next().unwrap_or("");
                new.ranges.push(Usual {
                    unit: usual.to_owned(),
                    lo: b.lo,
                    hi: b.hi,
                });
            }
        }
        _ => {
            let why =
                "only a choice, or a quantity with one value and a unit, is known without its key";
            refused(&declared.name, why, node.span).report(problems);
            return;
        }
    }
    // A later layer adds to the values that an earlier one lets stand without their key.
    let Some(old) = short.unkeyed.iter_mut().find(|u| u.fact == fact) else {
        return short.unkeyed.push(new);
    };
    new.words.retain(|word| !old.words.contains(word));
    old.words.append(&mut new.words);
    // A quantity without ranges takes all of its dimension.
    if new.ranges.is_empty() || old.ranges.is_empty() {
        old.ranges.clear();
    } else {
        old.ranges.append(&mut new.ranges);
    }
}

/// `{curve: B C D}{In}`, `{size}/{cpc-size} mm²`
fn mark(kind: &Kind, text: &str, at: Span, problems: &mut Vec<Problem>) -> Option<Mark> {
    let mut pieces = Vec::new();
    // Blanks stand in braces, too: what follows the last brace may end in a unit.
    let tail = text.rfind('}').map_or(0, |i| i + 1);
    let (body, unit) = match text.get(tail..)?.split_once(' ') {
        Some((before, unit)) => (
            text.get(..tail + before.len())?,
            Some(unit.trim().to_owned()),
        ),
        None => (text, None),
    };
    let mut rest = body;
    while !rest.is_empty() {
        let Some(inside) = rest.strip_prefix('{') else {
            let end = rest.find('{').unwrap_or(rest.len());
            pieces.push(Piece::Text(rest.get(..end)?.to_owned()));
            rest = rest.get(end..)?;
            continue;
        };
        let Some((name, after)) = inside.split_once('}') else {
            return refused(text, "a brace is not closed", at).fail(problems);
        };
        rest = after;
        let (name, some) = name.split_once(':').unwrap_or((name, ""));
        let Some(fact) = kind.fact_named(name) else {
            let said = format!("`{}` has no fact `{name}`", kind.name);
            return refused(text, &said, at).fail(problems);
        };
        let mut words: Vec<String> = some.split_whitespace().map(str::to_owned).collect();
        let own = kind.words_of(fact);
        if let Some(odd) = words.iter().find(|w| !own.contains(w)) {
            let said = format!("`{name}` has no word `{odd}`");
            return refused(text, &said, at).fail(problems);
        }
        if words.is_empty() {
            words = own.to_vec();
        }
        // Of two words of which one begins the other the longer is tried first.
        words.sort_by_key(|w| std::cmp::Reverse(w.len()));
        pieces.push(Piece::Fact(fact, words));
    }
    Some(Mark {
        text: body.to_owned(),
        pieces,
        unit,
    })
}

fn also(
    v: &Vocabulary,
    kind: &Kind,
    short: &Short,
    word: &str,
    node: &Node,
    problems: &mut Vec<Problem>,
) -> Option<Meaning> {
    let target = node.text().unwrap_or("");
    let opens = |w: &str| w == kind.name || kind.heads.iter().any(|h| h.word == w);
    let meaning = match target.split_once('.') {
        Some((fact, meant)) => kind
            .fact_named(fact)
            .filter(|ix| kind.words_of(*ix).iter().any(|w| w == meant))
            .map(|ix| Meaning::Word(ix, meant.to_owned())),
        None if opens(target) => Some(Meaning::Opens(target.to_owned())),
        None if short.mark(target, None).is_some() => Some(Meaning::Mark(target.to_owned())),
        None => kind.fact_named(target).map(Meaning::Fact),
    };
    let why = if meaning.is_none() {
        Some(format!(
            "`{target}` is neither a word that opens {}, nor a fact or mark of it, nor FACT.WORD",
            with_article(&kind.name)
        ))
    } else if !is_sayable(word) {
        Some("it needs two letters".to_owned())
    } else {
        taken(v, kind, word)
    };
    if let Some(why) = why {
        return refused(word, &why, node.span).fail(problems);
    }
    meaning
}

/// What a word means already.
fn taken(v: &Vocabulary, kind: &Kind, word: &str) -> Option<String> {
    if EVERYWHERE.contains(&word) || LINES.contains(&word) {
        return Some("it has a meaning of its own".to_owned());
    }
    if Unit::parse(word).is_ok() {
        return Some("it is a unit".to_owned());
    }
    let kinds = v.kinds.iter().map(|k| k.name.as_str());
    if kinds.into_iter().any(|k| k == word) || v.head_words.contains_key(word) {
        return Some("it opens a block or part".to_owned());
    }
    kind.fact_named(word)
        .map(|_| format!("it is the name of a fact of {}", with_article(&kind.name)))
}

/// Reports what could be read in two ways in the head of one kind.
fn collisions(v: &Vocabulary, id: KindId, at: Span, problems: &mut Vec<Problem>) {
    let (kind, Some(short)) = (v.kind(id), v.short.get(&id)) else {
        return;
    };
    let name = |ix: FactIx| kind.fact(ix).name.as_str();
    let all = short
        .unkeyed
        .iter()
        .flat_map(|u| u.words.iter().map(move |w| (w.as_str(), u.fact)));
    let all: Vec<(&str, FactIx)> = all.collect();
    for (i, (word, fact)) in all.iter().enumerate() {
        // A name stands first elsewhere; where values do, a short word is none.
        let sayable = word.starts_with(char::is_alphabetic)
            && (is_sayable(word) || short.values_first || word.chars().any(|c| c.is_ascii_digit()));
        let twice = all
            .get(i + 1..)
            .unwrap_or_default()
            .iter()
            .find(|(w, _)| w == word);
        let why = match twice {
            Some((_, other)) => Some(format!("it is a word of `{}`, too", name(*other))),
            None if !sayable => Some("it needs two letters, or is a number".to_owned()),
            None => taken(v, kind, word).or_else(|| {
                short
                    .mark(word, None)
                    .map(|_| "it is one of the marks, too".to_owned())
            }),
        };
        if let Some(why) = why {
            let said = format!("{why} (a value of `{}`)", name(*fact));
            refused(word, &said, at).report(problems);
        }
    }
    for (i, one) in short.unkeyed.iter().enumerate() {
        let dim = |u: &Unkeyed| kind.fact(u.fact).unit().map(Unit::dim);
        for other in short.unkeyed.get(i + 1..).unwrap_or_default() {
            let apart = |a: &Usual, b: &Usual| a.hi < b.lo || b.hi < a.lo;
            let told = !one.ranges.is_empty()
                && !other.ranges.is_empty()
                && one
                    .ranges
                    .iter()
                    .all(|a| other.ranges.iter().all(|b| apart(a, b)));
            if dim(one).is_some() && dim(one) == dim(other) && !told {
                let why = format!(
                    "`{}` is measured alike; give both ranges that lie apart",
                    name(other.fact)
                );
                refused(name(one.fact), &why, at).report(problems);
            }
        }
    }
    let also = short
        .also
        .iter()
        .filter(|(w, _)| all.iter().any(|(o, _)| o.eq_ignore_ascii_case(w)));
    for (word, _) in also {
        refused(word, "it is a value without a key, too", at).report(problems);
    }
    for (i, mark) in short.marks.iter().enumerate() {
        for sample in samples(mark) {
            let others = short.marks.iter().enumerate();
            let again = others
                .into_iter()
                .find(|(k, m)| *k != i && m.unit == mark.unit && m.read(&sample).is_some());
            let why = match again {
                Some((_, other)) => format!("it can be read as `{}`, too", other.text),
                None if mark.unit.is_none()
                    && (Unit::parse(&sample).is_ok() || LINES.contains(&sample.as_str())) =>
                {
                    "it is a unit or a line conductor".to_owned()
                }
                None => continue,
            };
            let said = format!("{why} (the mark `{}`)", mark.text);
            refused(&sample, &said, at).report(problems);
            break;
        }
    }
}

/// Texts that are this mark: each word of its choices, and a few numbers.
fn samples(mark: &Mark) -> Vec<String> {
    let mut all = vec![String::new()];
    for piece in &mark.pieces {
        let pieces: Vec<String> = match piece {
            Piece::Text(t) => vec![t.clone()],
            Piece::Fact(_, words) if words.is_empty() => {
                ["1", "2", "6", "32"].map(str::to_owned).to_vec()
            }
            Piece::Fact(_, words) => words.clone(),
        };
        all = all
            .iter()
            .flat_map(|a| pieces.iter().map(move |p| format!("{a}{p}")))
            .collect();
    }
    all
}
