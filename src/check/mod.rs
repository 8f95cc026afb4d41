//! Rules over a design → findings.

mod cases;
mod causes;
mod coverage;
mod departures;
mod figures;
mod finding;
mod judge;
mod labels;
mod link;
mod link_aggregate;
mod link_object;
mod link_presence;
mod link_term;
mod link_value;
mod missing;
mod plain;
mod settings;
mod show;
mod standing;
mod subject;
mod verdicts;
mod view;

pub use cases::{CaseResult, run_cases};
pub use coverage::{Branch, Branches, Seen};
pub use departures::{Departures, Used, mistaken_departures};
pub use finding::{
    Counts, FigureValue, Finding, Missing, Outcome, Reason, Report, WayState, WitnessValue,
};
pub use judge::{Judged, check, judge, too_large};
pub use link::{FactKey, Known, LeafInfo, Linker, What};
pub use settings::{Settings, installation_name};
pub use show::{show_number, show_typed, show_val, tame};
pub use standing::{Standing, Totals};
pub use subject::Subject;
pub use verdicts::{Linked, Verdict};
pub use view::one_line;
