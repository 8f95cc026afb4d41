//! Answers beyond yes and no, read from the same registers: values and their workings.

mod ask;
mod bounds;
mod called;
mod compare;
mod differences;
mod explain;
mod mend;
mod order;
mod passing;
mod prove;
mod required;
mod residual;
mod rows;
mod sheet;
mod starter;
mod survey;
mod working;

pub use ask::{Asked, Input as AskedAs, Names, Target, asked, edit, worded, written_as};
pub use bounds::{
    AllBounds, Bound, Choices, Cure, End, LEAST_ROOM, MOST_MARGINS, Stop, bounded_facts, bounds,
    margins,
};
pub use compare::{Change, Comparison, Said, Turn, share_rules};
pub use differences::{Difference, Fate, Stated, differences};
pub use explain::{ReadBy, facts_read};
pub use mend::{Change as MendChange, Edit, Help, Mended, blocks, helps, mend, stock_mistakes};
pub use order::{Amount, Article, order, together};
pub use passing::Passing;
pub use prove::{
    BOXES, Map, Parameter, Part, Proof, Proved, State, Stretch, map, parameters, prove, stretches,
};
pub use required::{required, with_box};
pub use residual::{Place, Residual};
pub use rows::{RowJudge, RowReader};
pub use sheet::{Accepted, Sheet, Side, Terminal, Thing, ToRead, ToldFact, sheet, told};
pub use starter::{from_job, starter};
pub use survey::{NotJudged, Question, Survey, Waiting, known_facts, survey};
pub use working::{Figure, Input, Working, WorkingStep, value, worked_facts, workings};
