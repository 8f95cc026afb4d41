//! Reading maps of a ruleset: unknown keys are mistakes, texts know their places.

use super::schema::Shape;
use super::yaml::{Key, Node, Yaml};
use crate::source::{Problem, Span};
use crate::vocabulary::{FactIx, Kind, KindId, Vocabulary};

/// The entries of one map, with its keys checked.
pub(super) struct Fields<'a> {
    pub(super) node: &'a Node,
    at: Span,
    shape: &'static Shape,
}

impl<'a> Fields<'a> {
    /// Takes a map; reports keys that are not allowed.
    pub(super) fn new(
        node: &'a Node,
        at: Span,
        shape: &'static Shape,
        problems: &mut Vec<Problem>,
    ) -> Option<Self> {
        let Some(entries) = node.map() else {
            let keys: Vec<&str> = shape.keys().collect();
            let text = format!("{} is a map of {}", shape.what, keys.join(", "));
            problems.push(Problem::error("not-a-map", text).at(at, "here"));
            return None;
        };
        for (key, _) in entries {
            if !shape.keys().any(|k| k == key.text) {
                let text = format!("{} has no key `{}`", shape.what, key.text);
                Problem::wrong("unknown-key", key.span, text)
                    .did_you_mean(&key.text, shape.keys())
                    .report(problems);
            }
        }
        Some(Self { node, at, shape })
    }

    pub(super) fn get(&self, key: &str) -> Option<&'a Node> {
        self.node.get(key)
    }

    /// The entries of the map under a key; none, if none is given.
    pub(super) fn map(&self, key: &str) -> &'a [(Key, Node)] {
        self.get(key).and_then(Node::map).unwrap_or(&[])
    }

    /// The text or texts under a key, with places; none, if none is given.
    pub(super) fn texts(&self, key: &str) -> Vec<(String, Span)> {
        self.get(key).map(texts).unwrap_or_default()
    }

    /// Where the value of a key stands; the whole map, where it is not given.
    pub(super) fn at(&self, key: &str) -> Span {
        self.get(key).map_or(self.at, |n| n.span)
    }

    /// A text, if it is given.
    pub(super) fn text(&self, key: &str, problems: &mut Vec<Problem>) -> Option<&'a str> {
        let node = self.get(key)?;
        match &node.value {
            Yaml::Scalar(s) => Some(s),
            _ => Problem::wrong("not-a-text", node.span, format!("`{key}` is one text"))
                .fail(problems),
        }
    }

    pub(super) fn owned(&self, key: &str, problems: &mut Vec<Problem>) -> Option<String> {
        self.text(key, problems).map(str::to_owned)
    }

    /// A text that must be given.
    pub(super) fn needed(&self, key: &str, problems: &mut Vec<Problem>) -> Option<&'a str> {
        if self.get(key).is_none() {
            let text = format!("{} needs `{key}`", self.shape.what);
            return Problem::wrong("missing-key", self.at, text).fail(problems);
        }
        self.text(key, problems)
    }

    /// `yes` or `no`; no, if not given.
    pub(super) fn flag(&self, key: &str, problems: &mut Vec<Problem>) -> bool {
        self.get(key).and_then(|n| yes_no(n, key, problems)) == Some(true)
    }
}

/// `yes` or `no`; nothing else is taken for either.
pub(super) fn yes_no(node: &Node, key: &str, problems: &mut Vec<Problem>) -> Option<bool> {
    match node.text() {
        Some("yes" | "true") => Some(true),
        Some("no" | "false") => Some(false),
        other => {
            let written = other.map_or_else(String::new, |text| format!(", not `{text}`"));
            let why = format!("`{key}` is yes or no{written}");
            Problem::wrong("not-a-flag", node.span, why).fail(problems)
        }
    }
}

/// One of some words.
pub(super) fn choice<'t>(
    text: &'t str,
    at: Span,
    words: &[impl AsRef<str>],
    problems: &mut Vec<Problem>,
) -> Option<&'t str> {
    let words: Vec<&str> = words.iter().map(AsRef::as_ref).collect();
    if words.contains(&text) {
        return Some(text);
    }
    let why = format!("`{text}` is none of {}", words.join(", "));
    Problem::wrong("unknown-word", at, why)
        .did_you_mean(text, words)
        .fail(problems)
}

/// The kind with a name.
pub(super) fn kind_of(
    name: &str,
    at: Span,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Option<KindId> {
    let found = v.kind_named(name);
    if found.is_none() {
        Problem::wrong("unknown-kind", at, format!("there is no kind `{name}`"))
            .did_you_mean(name, v.kinds.iter().map(|k| k.name.as_str()))
            .report(problems);
    }
    found
}

/// The fact of a kind with a name.
pub(super) fn fact_of(
    kind: &Kind,
    name: &str,
    at: Span,
    problems: &mut Vec<Problem>,
) -> Option<FactIx> {
    let found = kind.fact_named(name);
    if found.is_none() {
        let text = format!("`{}` has no fact `{name}`", kind.name);
        Problem::wrong("unknown-fact", at, text)
            .did_you_mean(name, kind.facts.iter().map(|f| f.name.as_str()))
            .report(problems);
    }
    found
}

/// Splits `kind.fact` and finds both.
pub(super) fn path(
    name: &str,
    at: Span,
    v: &Vocabulary,
    problems: &mut Vec<Problem>,
) -> Option<(KindId, FactIx)> {
    let Some((kind, fact)) = name.split_once('.') else {
        let text = format!("`{name}` is not of the form KIND.FACT");
        return Problem::wrong("bad-path", at, text).fail(problems);
    };
    let kind = kind_of(kind, at, v, problems)?;
    Some((kind, fact_of(v.kind(kind), fact, at, problems)?))
}

/// The number of the next of what a ruleset tells apart by 16 bits; one too many is reported.
pub(super) fn next_number(
    count: usize,
    what: &str,
    at: Span,
    problems: &mut Vec<Problem>,
) -> Option<u16> {
    let next = u16::try_from(count).ok();
    if next.is_none() {
        let why = format!("there are more than {count} {what}, and no more can be told apart");
        problems.push(Problem::error("too-many", why).at(at, "one too many"));
    }
    next
}

/// A text or a list of texts, with places.
pub(super) fn texts(node: &Node) -> Vec<(String, Span)> {
    match &node.value {
        Yaml::Scalar(s) => vec![(s.clone(), node.span)],
        Yaml::List(items) => items
            .iter()
            .filter_map(|n| n.text().map(|t| (t.to_owned(), n.span)))
            .collect(),
        _ => Vec::new(),
    }
}
