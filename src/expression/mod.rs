//! The expression language: text → typed tree → register code → evaluation over sets of values,
//! with the joint verdict that refines what plain set evaluation leaves open.

mod derivative;
mod evaluate;
mod parse;
mod program;
mod range;
mod refine;
mod syntax;
mod table;
mod typed;
mod typing;
mod val;

pub use parse::parse;
pub use program::{Data, Leaf, LeafId, LeafKind, LeafSource, Op, Program, Reg};
pub use range::Ranges;
pub use refine::{Asked, Budget, Cone, ConeLeaf, Decision, Fuel, Named, Refiner, Witness};
pub use syntax::{Aggregate, Expr, ExprKind, OriginTest, Range};
pub use table::{Between, Beyond, Cell, Key, KeyType, Row, RowKey, Table, TableId, hull};
pub use typed::{
    Call, Compiled, LimitId, LineTerm, ObjectTerm, Over, ReadFact, Term, TermId, TermKind, Ty,
};
pub use typing::{Limit, Limits, Scope, Tables, Typer, TypingError, present_when};
pub use val::{Flags, Presence, SetWords, Val};
