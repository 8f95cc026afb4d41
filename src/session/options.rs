//! What is said about a design besides its text.

use crate::ruleset::Stage;

/// What a command line or a host says about every design that it opens; what is left open is
/// taken from the design.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Options {
    /// The ruleset and its patches, `gb + our-firm`, in place of those the design names.
    pub rules: Option<String>,
    /// The edition, in place of the one in force.
    pub edition: Option<String>,
    /// Today, for editions and departures, in days since 1970-01-01.
    pub on: Option<i32>,
    /// The stage that the design has reached.
    pub stage: Option<Stage>,
    /// Values of parameters: name and text, `("run", "12 m")`.
    pub set: Vec<(String, String)>,
    /// A design may use files outside of its folder.
    pub allow_outside: bool,
    /// What holds where neither this nor the design says it.
    pub defaults: Defaults,
}

/// What holds for designs that do not say it themselves.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Defaults {
    /// The ruleset and its patches, `gb + our-firm`.
    pub rules: Option<String>,
    /// The stage that the design has reached.
    pub stage: Option<Stage>,
}

impl Options {
    /// Says the ruleset and its patches, `gb + our-firm`, and nothing else.
    #[must_use]
    pub fn under(rules: impl Into<String>) -> Self {
        Self {
            rules: Some(rules.into()),
            ..Self::default()
        }
    }
}

/// Splits `gb + scotland + our-firm` into the ruleset and its patches.
#[must_use]
pub fn split_rules(text: &str) -> (String, Vec<String>) {
    let mut parts = text.split('+').map(|p| p.trim().to_owned());
    let base = parts.next().unwrap_or_default();
    (base, parts.collect())
}
