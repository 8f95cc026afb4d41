//! Physics that is more than a formula of the ruleset language can say tightly about sets.
//!
//! Each function comes twice: for single values, and for sets, where the result holds every value
//! that the inputs allow and hardly any other. Everything else of the trade (resistance, drop,
//! electrodes, adiabatic heating) is plain arithmetic and stands in the rulesets.

mod behind_source;
mod neutral;
mod open_pen;

pub use behind_source::{behind_source, behind_source_set};
pub use neutral::{neutral_current, neutral_current_set};
pub use open_pen::{open_pen_leaves_out, open_pen_voltage, open_pen_voltage_set};
