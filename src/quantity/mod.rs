//! Quantities: dimensions, units, exact literals, intervals of possible values, comparison with
//! slack, dates, and how all of them are printed.
//!
//! Inside the program every quantity is a number in SI base units (`f64`, temperatures in kelvin);
//! units stand only where text is read or written.

mod compare;
mod dates;
mod decimal;
mod dim;
mod fold;
mod format;
mod interval;
mod interval_functions;
mod ratio;
mod round;
mod unit;
mod unit_error;
mod units;

pub use compare::{TruthSet, absolute_floor, boundary_ge, boundary_le, holds_le, le, lt};
pub use dates::{
    DateError, civil_from_days, days_from_civil, days_in_month, format_date, parse_date,
};
pub use decimal::{parse_quantity, parse_relative};
pub use dim::Dim;
pub use fold::fold;
pub use format::{format_interval, format_number, format_quantity, format_toward, format_within};
pub use interval::{Interval, product};
pub use ratio::Ratio;
pub use round::{Rounding, one_digit, round_to};
pub use unit::Unit;
pub use unit_error::{UnitError, UnitMistake};
