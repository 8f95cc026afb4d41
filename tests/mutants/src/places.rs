//! Operators that can be changed, and the text that holds both forms.

use std::fmt;
use std::fs;
use std::ops::{Range, RangeInclusive};
use std::path::{Path, PathBuf};

use syn::spanned::Spanned as _;
use syn::visit::{self, Visit};
use syn::{BinOp, Expr};

use crate::{Failed, inside, text};

/// One operator, and what it is changed into.
#[derive(Clone)]
pub struct Place {
    /// The file, inside the project.
    pub file: PathBuf,
    /// Its lines.
    pub lines: RangeInclusive<usize>,
    whole: Range<usize>,
    operator: Range<usize>,
    /// The operator as it stands, and as it is changed.
    words: (String, &'static str),
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}:{}: `{}` as `{}`",
            self.file.display(),
            self.lines.start(),
            self.words.0,
            self.words.1
        )
    }
}

impl Place {
    /// The expression with its switch.
    fn switched(&self, number: usize, of: &str) -> String {
        let whole = &of[self.whole.clone()];
        let changed = format!(
            "{}{}{}",
            &of[self.whole.start..self.operator.start],
            self.words.1,
            &of[self.operator.end..self.whole.end]
        );
        format!("(if crate::source::mutant({number}) {{ {changed} }} else {{ {whole} }})")
    }
}

/// All places in the files of a folder.
pub fn of_folder(project: &Path, folder: &Path, into: &mut Vec<Place>) -> Result<(), Failed> {
    let mut entries: Vec<PathBuf> = fs::read_dir(project.join(folder))?
        .map(|e| e.map(|e| e.path()))
        .collect::<Result<_, _>>()?;
    entries.sort();
    for entry in entries {
        if entry.is_dir() {
            of_folder(project, &inside(project, &entry), into)?;
        } else if entry.extension().is_some_and(|e| e == "rs") {
            let source = text(&entry)?;
            let mut seen = Seen {
                file: inside(project, &entry),
                into,
            };
            seen.visit_file(&syn::parse_file(&source)?);
        }
    }
    Ok(())
}

struct Seen<'a> {
    file: PathBuf,
    into: &'a mut Vec<Place>,
}

const fn changed(op: &BinOp) -> Option<&'static str> {
    Some(match op {
        BinOp::Add(_) => "-",
        BinOp::Sub(_) => "+",
        BinOp::Mul(_) => "/",
        BinOp::Div(_) => "*",
        BinOp::And(_) => "||",
        BinOp::Or(_) => "&&",
        BinOp::Lt(_) => "<=",
        BinOp::Le(_) => "<",
        BinOp::Gt(_) => ">=",
        BinOp::Ge(_) => ">",
        BinOp::Eq(_) => "!=",
        BinOp::Ne(_) => "==",
        BinOp::BitAnd(_) => "|",
        BinOp::BitOr(_) => "&",
        BinOp::AddAssign(_) => "-=",
        BinOp::SubAssign(_) => "+=",
        _ => return None,
    })
}

/// Whether a switch inside would change what the expression is: `let` in a condition.
fn holds_let(e: &Expr) -> bool {
    match e {
        Expr::Let(_) => true,
        Expr::Binary(b) => holds_let(&b.left) || holds_let(&b.right),
        _ => false,
    }
}

impl<'ast> Visit<'ast> for Seen<'_> {
    fn visit_expr_binary(&mut self, e: &'ast syn::ExprBinary) {
        if let Some(new) = changed(&e.op)
            && !holds_let(&e.left)
            && !holds_let(&e.right)
        {
            let at = e.span();
            let op = e.op.span();
            self.into.push(Place {
                file: self.file.clone(),
                lines: at.start().line..=at.end().line,
                whole: at.byte_range(),
                operator: op.byte_range(),
                words: (op.source_text().unwrap_or_default(), new),
            });
        }
        visit::visit_expr_binary(self, e);
    }

    // A switch is read at run time.
    fn visit_item_const(&mut self, _: &'ast syn::ItemConst) {}
    fn visit_item_static(&mut self, _: &'ast syn::ItemStatic) {}
    fn visit_impl_item_const(&mut self, _: &'ast syn::ImplItemConst) {}
    fn visit_type_array(&mut self, _: &'ast syn::TypeArray) {}
    fn visit_pat(&mut self, _: &'ast syn::Pat) {}
    fn visit_item_fn(&mut self, f: &'ast syn::ItemFn) {
        if f.sig.constness.is_none() {
            visit::visit_item_fn(self, f);
        }
    }
    fn visit_impl_item_fn(&mut self, f: &'ast syn::ImplItemFn) {
        if f.sig.constness.is_none() {
            visit::visit_impl_item_fn(self, f);
        }
    }
}

/// Some of the places, at random, none inside another. The same number picks the same.
pub fn picked(all: &[Place], count: usize, seed: u64) -> Vec<Place> {
    let mut state = seed;
    let mut left: Vec<&Place> = all.iter().collect();
    let mut picked: Vec<Place> = Vec::new();
    while picked.len() < count && !left.is_empty() {
        // SplitMix64.
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (state ^ (state >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        let place = left.swap_remove(((z ^ (z >> 31)) % left.len() as u64) as usize);
        let apart = |other: &Place| {
            other.file != place.file
                || other.whole.end <= place.whole.start
                || place.whole.end <= other.whole.start
        };
        if picked.iter().all(apart) {
            picked.push(place.clone());
        }
    }
    picked
}

/// A file's text with the switches of the places in it.
pub fn written(file: &Path, source: &str, picked: &[Place]) -> String {
    let mut here: Vec<(usize, &Place)> = picked
        .iter()
        .enumerate()
        .filter(|(_, p)| p.file == file)
        .collect();
    here.sort_by_key(|(_, p)| p.whole.start);
    let mut text = source.to_owned();
    for (number, place) in here.iter().rev() {
        text.replace_range(place.whole.clone(), &place.switched(*number, source));
    }
    text
}
