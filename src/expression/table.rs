//! Tables: what stands between their rows, beyond their ends, and in empty cells.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::val::{Flags, Presence, Val};
use crate::quantity::{Dim, Interval};
use crate::source::words;
use crate::vocabulary::{WordSet, Words, words};

/// Names a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct TableId(pub u16);

words! {
    /// What holds between two rows.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
    pub enum Between {
        /// Only the rows.
        Nothing = "nothing",
        /// The next larger row.
        NextLarger = "next-larger",
        /// A straight line.
        Linear = "linear",
    }
}

words! {
    /// What holds beyond the first and last row.
    #[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
    pub enum Beyond {
        /// No value.
        Nothing = "none",
        /// The end row.
        Hold = "hold",
    }
}

/// What a key is.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub enum KeyType {
    /// A number of this dimension.
    Number(Dim, Between, Beyond),
    /// A word of a choice.
    Word(#[serde(with = "words")] Words),
}

/// A key of a table.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Key {
    /// Its name.
    pub name: String,
    /// What it is.
    pub ty: KeyType,
}

/// What a cell holds.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Cell {
    /// A figure in SI units.
    Value(f64),
    /// Not permitted, does not exist.
    None,
    /// Not transcribed.
    Gap,
}

/// One level of rows: the values of one key, ascending, and what stands under each.
#[derive(Clone, Debug, Serialize, Deserialize)]
enum Level {
    Number(Vec<(f64, Level)>, Between, Beyond),
    /// Rows by word; the second is for every word that has no row of its own.
    Word(Vec<(u8, Level)>, Option<Box<Level>>),
    Cell(Cell),
}

/// A table of the ruleset.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Table {
    /// Its name.
    pub name: String,
    /// What it is.
    pub title: String,
    /// Where its figures were seen.
    pub source: String,
    /// Its keys, in the order in which they are given.
    pub keys: Vec<Key>,
    /// Dimension of what it gives.
    pub gives: Dim,
    /// Whether some cell is "not permitted".
    pub optional: bool,
    rows: Level,
}

/// One row as loaded: a key is a number in SI, a word, or any word (`None`).
pub type Row = (Vec<RowKey>, Cell);

/// One key of a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RowKey {
    /// A number in SI units.
    Number(f64),
    /// Index of a word.
    Word(u8),
    /// Any word.
    Any,
}

impl Table {
    /// Each cell under the keys that lead to it, in SI units and words.
    #[must_use]
    pub fn cells(&self) -> BTreeMap<String, String> {
        let mut all = BTreeMap::new();
        self.collect(&self.rows, String::new(), 0, &mut all);
        all
    }

    fn collect(
        &self,
        level: &Level,
        under: String,
        depth: usize,
        all: &mut BTreeMap<String, String>,
    ) {
        match level {
            Level::Number(rows, ..) => {
                for (key, below) in rows {
                    self.collect(below, format!("{under}{key}; "), depth + 1, all);
                }
            }
            Level::Word(rows, any) => {
                let words = match self.keys.get(depth).map(|k| &k.ty) {
                    Some(KeyType::Word(words)) => words.as_slice(),
                    _ => &[],
                };
                for (key, below) in rows {
                    let word = words.get(*key as usize).map_or("", String::as_str);
                    self.collect(below, format!("{under}{word}; "), depth + 1, all);
                }
                if let Some(below) = any {
                    self.collect(below, format!("{under}any; "), depth + 1, all);
                }
            }
            Level::Cell(cell) => {
                all.insert(under, format!("{cell:?}"));
            }
        }
    }

    /// Builds a table from its rows.
    ///
    /// # Errors
    /// The index of a row whose keys repeat those of another.
    pub fn new(
        name: String,
        title: String,
        source: String,
        keys: Vec<Key>,
        gives: Dim,
        rows: &[Row],
    ) -> Result<Self, usize> {
        let optional = rows.iter().any(|(_, c)| *c == Cell::None);
        let all: Vec<usize> = (0..rows.len()).collect();
        let level = build(&keys, 0, rows, &all)?;
        Ok(Self {
            name,
            title,
            source,
            keys,
            gives,
            optional,
            rows: level,
        })
    }

    /// What the table gives for sets of keys: the union of all rows that can match. Where a key may
    /// be a choice, `member` gives the members of the key at a place one by one, as long as there
    /// are some; what lies between them is never looked up.
    #[must_use]
    pub fn look_up_each(
        &self,
        keys: impl Iterator<Item = Val>,
        member: impl Fn(usize, usize) -> Option<Val>,
    ) -> Val {
        let mut buffer = [Val::EMPTY; 8];
        let mut count = 0;
        let mut flags = Flags::NONE;
        for key in keys.take(8) {
            flags = flags.with(key.flags);
            if let Some(slot) = buffer.get_mut(count) {
                *slot = key;
            }
            count += 1;
        }
        let val = self.rows_of(&mut buffer, 0, count, &member);
        if val.bits == 0 {
            return Val::any(flags.with(val.flags));
        }
        val.flagged(flags)
    }

    /// The rows for each choice of the members of the keys from a place on.
    fn rows_of(
        &self,
        keys: &mut [Val; 8],
        from: usize,
        count: usize,
        member: &impl Fn(usize, usize) -> Option<Val>,
    ) -> Val {
        if from == count {
            // A key that cannot be computed for some value may be any number there.
            for (val, key) in keys.iter_mut().zip(&self.keys) {
                let numeric = matches!(key.ty, KeyType::Number(..));
                if numeric && val.flags.any(Flags::NOT_COMPUTABLE) {
                    *val = Val::any(val.flags);
                }
            }
            return self.rows.look_up(keys.get(..count).unwrap_or(&[]));
        }
        let mut all = Val::EMPTY;
        for n in 0.. {
            match (member(from, n), keys.get_mut(from)) {
                (Some(val), Some(slot)) => *slot = val,
                _ if n > 0 => break,
                _ => return self.rows_of(keys, from + 1, count, member),
            }
            all = all.union(self.rows_of(keys, from + 1, count, member));
        }
        all
    }

    /// Where its figures lie; nothing, if it has none. What rests on a gap decides nothing.
    #[must_use]
    pub fn range(&self) -> Option<Interval> {
        self.rows.range()
    }
}

fn build(keys: &[Key], depth: usize, rows: &[Row], mine: &[usize]) -> Result<Level, usize> {
    let Some(key) = keys.get(depth) else {
        return match mine {
            [one] => Ok(Level::Cell(rows.get(*one).map_or(Cell::Gap, |r| r.1))),
            [_, again, ..] => Err(*again),
            [] => Ok(Level::Cell(Cell::Gap)),
        };
    };
    let key_of = |i: usize| rows.get(i).and_then(|r| r.0.get(depth)).copied();
    match &key.ty {
        KeyType::Number(_, between, beyond) => {
            let mut groups: Vec<(f64, Vec<usize>)> = Vec::new();
            for i in mine {
                let Some(RowKey::Number(x)) = key_of(*i) else {
                    return Err(*i);
                };
                match groups.iter_mut().find(|(y, _)| *y == x) {
                    Some((_, list)) => list.push(*i),
                    None => groups.push((x, vec![*i])),
                }
            }
            groups.sort_by(|a, b| a.0.total_cmp(&b.0));
            let rows = groups
                .into_iter()
                .map(|(x, list)| Ok((x, build(keys, depth + 1, rows, &list)?)))
                .collect::<Result<_, usize>>()?;
            Ok(Level::Number(rows, *between, *beyond))
        }
        KeyType::Word(_) => {
            let mut groups: Vec<(Option<u8>, Vec<usize>)> = Vec::new();
            for i in mine {
                let word = match key_of(*i) {
                    Some(RowKey::Word(w)) => Some(w),
                    Some(RowKey::Any) => None,
                    _ => return Err(*i),
                };
                match groups.iter_mut().find(|(w, _)| *w == word) {
                    Some((_, list)) => list.push(*i),
                    None => groups.push((word, vec![*i])),
                }
            }
            let (mut named, mut rest) = (Vec::new(), None);
            for (word, list) in groups {
                let below = build(keys, depth + 1, rows, &list)?;
                match word {
                    Some(w) => named.push((w, below)),
                    None => rest = Some(Box::new(below)),
                }
            }
            Ok(Level::Word(named, rest))
        }
    }
}

/// No row: no value for that assignment.
const NO_ROW: Val = Val {
    flags: Flags::NOT_COMPUTABLE,
    ..Val::EMPTY
};

impl Level {
    fn range(&self) -> Option<Interval> {
        let all =
            |levels: &mut dyn Iterator<Item = &Self>| levels.map(Self::range).fold(None, hull);
        match self {
            Self::Number(rows, ..) => all(&mut rows.iter().map(|(_, l)| l)),
            Self::Word(rows, rest) => all(&mut rows.iter().map(|(_, l)| l).chain(rest.as_deref())),
            Self::Cell(Cell::Value(x)) => Some(Interval::point(*x)),
            Self::Cell(Cell::None | Cell::Gap) => None,
        }
    }

    fn look_up(&self, keys: &[Val]) -> Val {
        match self {
            Self::Cell(Cell::Value(x)) => Val::number(*x),
            Self::Cell(Cell::None) => Val::ABSENT,
            Self::Cell(Cell::Gap) => Val::any(Flags::GAP),
            Self::Word(rows, rest) => {
                let Some((key, below)) = keys.split_first() else {
                    return NO_ROW;
                };
                let mut left = key.bits;
                let mut all = Val::EMPTY;
                for (word, level) in rows {
                    let bit = WordSet::one(usize::from(*word)).bits();
                    if left & bit != 0 {
                        left &= !bit;
                        all = all.union(level.look_up(below));
                    }
                }
                if left != 0 {
                    all = all.union(rest.as_ref().map_or(NO_ROW, |r| r.look_up(below)));
                }
                all
            }
            Self::Number(rows, between, beyond) => {
                let Some((key, below)) = keys.split_first() else {
                    return NO_ROW;
                };
                if key.bits & Presence::PRESENT == 0 {
                    return NO_ROW;
                }
                let found = number_rows(rows, *between, *beyond, key.as_interval(), below);
                if key.bits & Presence::ABSENT == 0 {
                    found
                } else {
                    found.union(NO_ROW)
                }
            }
        }
    }
}

fn close(a: f64, b: f64) -> bool {
    a.is_finite() && b.is_finite() && (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
}

fn number_rows(
    rows: &[(f64, Level)],
    between: Between,
    beyond: Beyond,
    key: Interval,
    below: &[Val],
) -> Val {
    let (Some(first), Some(last)) = (rows.first(), rows.last()) else {
        return NO_ROW;
    };
    let mut all = Val::EMPTY;
    let low_out = key.lo < first.0 && !close(key.lo, first.0);
    let high_out = key.hi > last.0 && !close(key.hi, last.0);
    let ends = |out: bool, level: &Level| match (out, beyond) {
        (false, _) => Val::EMPTY,
        (true, Beyond::Hold) => level.look_up(below),
        (true, Beyond::Nothing) => NO_ROW,
    };
    // Below the first row of a table of steps the first row is the next larger one.
    if between == Between::NextLarger {
        if low_out {
            all = all.union(first.1.look_up(below));
        }
    } else {
        all = all.union(ends(low_out, &first.1));
    }
    all = all.union(ends(high_out, &last.1));
    match between {
        Between::Nothing => {
            // The rows are ascending, so those that match stand together.
            let from = rows.partition_point(|(x, _)| *x < key.lo && !close(*x, key.lo));
            let to = rows.partition_point(|(x, _)| *x <= key.hi || close(*x, key.hi));
            let within = rows.get(from..to).unwrap_or(&[]);
            for (_, level) in within {
                all = all.union(level.look_up(below));
            }
            // Of the part between the ends only a row itself has one.
            let (lo, hi) = (key.lo.max(first.0), key.hi.min(last.0));
            let on_row = matches!(within, [(x, _)] if close(lo, *x) && close(hi, *x));
            if lo <= hi && !on_row {
                all = all.union(NO_ROW);
            }
        }
        Between::NextLarger => {
            // A row serves keys above the one before, up to its own.
            let from = rows.partition_point(|(x, _)| *x < key.lo && !close(key.lo, *x));
            let last = rows.partition_point(|(x, _)| *x < key.hi && !close(key.hi, *x));
            for (_, level) in rows.get(from..(last + 1).min(rows.len())).unwrap_or(&[]) {
                all = all.union(level.look_up(below));
            }
        }
        Between::Linear => {
            // A key that misses an end by its rounding alone stands on it.
            let on_end = |x: f64| {
                let end = [first.0, last.0].into_iter().find(|end| close(x, *end));
                end.unwrap_or(x)
            };
            let (lo, hi) = (on_end(key.lo).max(first.0), on_end(key.hi).min(last.0));
            if lo <= hi {
                all = all
                    .union(on_line(rows, lo, below))
                    .union(on_line(rows, hi, below));
                let from = rows.partition_point(|(x, _)| *x <= lo);
                let to = rows.partition_point(|(x, _)| *x < hi);
                for (_, level) in rows.get(from..to).unwrap_or(&[]) {
                    all = all.union(level.look_up(below));
                }
            }
        }
    }
    all
}

fn on_line(rows: &[(f64, Level)], x: f64, below: &[Val]) -> Val {
    let after = rows.partition_point(|(y, _)| *y < x && !close(*y, x));
    let Some((y1, upper)) = rows.get(after) else {
        return NO_ROW;
    };
    let b = upper.look_up(below);
    if close(*y1, x) {
        return b;
    }
    let Some((y0, lower)) = after.checked_sub(1).and_then(|i| rows.get(i)) else {
        return NO_ROW;
    };
    let a = lower.look_up(below);
    if (a.bits | b.bits) != Presence::PRESENT {
        return a.union(b);
    }
    let share = Interval::point((x - y0) / (y1 - y0));
    let (ia, ib) = (a.as_interval(), b.as_interval());
    Val::interval(ia.add(ib.sub(ia).mul(share))).flagged(a.flags.with(b.flags))
}

/// Both, where either may be without a value.
#[must_use]
pub fn hull(a: Option<Interval>, b: Option<Interval>) -> Option<Interval> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.hull(b)),
        (one, None) | (None, one) => one,
    }
}
