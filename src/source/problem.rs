//! What is wrong with a text: plain data, rendered elsewhere.

use super::Span;

/// How heavily a problem weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// The tool cannot use what is written; the run ends with exit code 2.
    Error,
    /// Usable, but probably not what was meant (a value far outside its plausible range).
    Caution,
}

/// A place that belongs to a problem, and what is to be said about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Label {
    /// The place.
    pub span: Span,
    /// Adds information; never repeats the message. May be empty.
    pub text: String,
}

/// One mistake in a design or a ruleset.
///
/// Wording: one lower-case sentence without a final period, the user's words in backticks, no
/// names of Rust types. The first label is where the mistake is; further ones are things the
/// reader must compare with it. Help is an action that would work, in the user's notation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// A word that stays the same for this kind of mistake, e.g. `unknown-fact`.
    pub code: &'static str,
    /// How heavily it weighs.
    pub weight: Weight,
    /// What is wrong.
    pub message: String,
    /// Where; empty only for problems of a whole file.
    pub labels: Vec<Label>,
    /// What to write or do instead; empty if nothing useful can be said.
    pub help: Vec<String>,
    /// A word as it is written, and the one that was probably meant.
    pub instead: Option<Box<(String, String)>>,
}

/// What problems are reported to.
pub trait Reports {
    /// Keeps a problem.
    fn report(&mut self, problem: Problem);
}

impl Reports for Vec<Problem> {
    fn report(&mut self, problem: Problem) {
        self.push(problem);
    }
}

impl Problem {
    /// An error at a place.
    #[must_use]
    pub fn wrong(code: &'static str, at: Span, message: impl Into<String>) -> Self {
        Self::error(code, message).at(at, "")
    }

    /// Reports it.
    pub fn report(self, to: &mut impl Reports) {
        to.report(self);
    }

    /// Reports it and gives nothing: for what cannot be read because of it.
    pub fn fail<T>(self, to: &mut impl Reports) -> Option<T> {
        to.report(self);
        None
    }

    /// An error without a place yet.
    #[must_use]
    pub fn error(code: &'static str, message: impl Into<String>) -> Self {
        Self {
            code,
            weight: Weight::Error,
            message: message.into(),
            labels: Vec::new(),
            help: Vec::new(),
            instead: None,
        }
    }

    /// A caution without a place yet.
    #[must_use]
    pub fn caution(code: &'static str, message: impl Into<String>) -> Self {
        Self {
            weight: Weight::Caution,
            ..Self::error(code, message)
        }
    }

    /// Adds a place; the first one added is the main one.
    #[must_use]
    pub fn at(mut self, span: Span, text: impl Into<String>) -> Self {
        self.labels.push(Label {
            span,
            text: text.into(),
        });
        self
    }

    /// Adds a line of help.
    #[must_use]
    pub fn help(mut self, text: impl Into<String>) -> Self {
        self.help.push(text.into());
        self
    }

    /// Adds "did you mean" if one of the names is close to what was written.
    #[must_use]
    pub fn did_you_mean<'a>(self, written: &str, names: impl IntoIterator<Item = &'a str>) -> Self {
        match closest(written, names) {
            Some(name) => self.meant(written, name),
            None => self,
        }
    }

    /// Adds "did you mean" with the word that was probably meant.
    #[must_use]
    pub fn meant(self, written: &str, name: &str) -> Self {
        Self {
            instead: Some(Box::new((written.to_owned(), name.to_owned()))),
            ..self.help(format!("did you mean `{name}`?"))
        }
    }

    /// Whether it stops the file from being used as written.
    #[must_use]
    pub fn is_error(&self) -> bool {
        self.weight == Weight::Error
    }
}

/// The name nearest to what was written: one that differs only in case first, else the most
/// similar by normalised Damerau-Levenshtein distance, if it is at least 0.6 alike.
#[must_use]
pub fn closest<'a>(written: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let lower = written.to_lowercase();
    let mut best: Option<(f64, &str)> = None;
    for name in names {
        if name == written {
            continue;
        }
        let other = name.to_lowercase();
        let score = if other == lower {
            2.0
        } else {
            strsim::normalized_damerau_levenshtein(&lower, &other)
        };
        let better = best.is_none_or(|(s, n)| score > s || (score == s && name < n));
        if score >= 0.6 && better {
            best = Some((score, name));
        }
    }
    best.map(|(_, name)| name)
}
