//! What the page may ask.

use serde::Deserialize;

/// A design as it is on the page.
#[derive(Debug, Deserialize)]
pub struct Design {
    /// The name of its file.
    pub path: String,
    /// Its text.
    pub text: String,
}

/// One request, told apart by `ask`.
#[derive(Debug, Deserialize)]
#[serde(
    tag = "ask",
    rename_all = "kebab-case",
    rename_all_fields = "kebab-case"
)]
pub enum Request {
    /// The program's version, the rulesets and their typical jobs, and what is said of safety.
    About,
    /// The text of a new design.
    Start {
        /// The ruleset, as a design names it.
        rules: String,
        /// A typical job; all that is asked, if none is named.
        job: Option<String>,
        /// The name of the installation.
        name: String,
    },
    /// What is broken, open and met.
    Check {
        /// The design.
        design: Design,
    },
    /// What is still to be found out.
    Survey {
        /// The design.
        design: Design,
    },
    /// The text with an answer written in.
    Answer {
        /// The design, as it was surveyed.
        design: Design,
        /// What the question is known by: `supply.Ze`.
        question: String,
        /// The answer, as it was typed or tapped.
        answer: String,
    },
    /// What is to be bought, and what is to be built and tested.
    Build {
        /// The design.
        design: Design,
    },
    /// The text with a reading written in.
    Read {
        /// The design, as its sheet was made.
        design: Design,
        /// The place of the reading in the sheet.
        reading: usize,
        /// What was read.
        answer: String,
    },
    /// How figures are worked out.
    Working {
        /// The design.
        design: Design,
        /// The thing, as figures name it.
        subject: String,
        /// The fact.
        fact: String,
    },
    /// A rule in full.
    Explain {
        /// The design that it judges.
        design: Design,
        /// Its id.
        rule: String,
    },
    /// The words of the ruleset that the design names.
    Words {
        /// The design.
        design: Design,
    },
    /// The text as the formatter lays it out.
    Format {
        /// The text.
        text: String,
    },
}
