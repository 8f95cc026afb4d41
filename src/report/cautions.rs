//! What is said of safety and of who decides: each text once, for every answer and format.

use serde_json::{Value, json};

/// Said of every answer.
pub const ALWAYS: &str = "Only what the ruleset states is judged. Local codes and the judgement of a qualified person decide;\nisolate and prove dead before any enclosure is opened.";

/// Said where somebody is sent to look.
pub const OPENING: &str = "Isolate, lock off and prove dead before any enclosure is opened. The supplier's equipment is opened, and its fuse withdrawn, only by those allowed to.";

/// Said where somebody is sent to measure.
pub const TESTING: &str = "Dead tests come before live ones; live tests are for competent people with instruments proved before and after.";

/// An answer for programs, with what is said of every answer.
#[must_use]
pub fn with(mut answer: Value) -> Value {
    if let Value::Object(map) = &mut answer {
        map.insert("caution".to_owned(), json());
    }
    answer
}

/// What is said of every answer, for programs.
#[must_use]
pub fn json() -> Value {
    json!(in_a_line())
}

/// What is said of every answer, in one line.
#[must_use]
pub fn in_a_line() -> String {
    ALWAYS.replace('\n', " ")
}
