//! What a table of an export is: columns with a type, a meaning and the cell of each row. Both forms of file are written
//! from it, and so is its description.

use super::fleet::Fleet;
use parquet::data_type::ByteArray;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Text,
    /// A whole number of 64 bits.
    Whole,
    /// A double.
    Number,
    /// True or false.
    Flag,
    /// A moment in UTC, to the millisecond.
    Moment,
}

impl Kind {
    /// What it is for people.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Whole => "whole number",
            Self::Number => "number",
            Self::Flag => "true or false",
            Self::Moment => "moment",
        }
    }
}

/// What stands in a row's column.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    Text(ByteArray),
    Whole(i64),
    Number(f64),
    Flag(bool),
    /// Milliseconds since 1970.
    Moment(i64),
    /// Not known.
    Unknown,
}

/// A column of rows of one table.
pub struct Column<R: 'static> {
    /// Its last word is the unit of its numbers, where they have one.
    pub name: &'static str,
    pub kind: Kind,
    pub may_be_unknown: bool,
    /// What it means, for people.
    pub says: &'static str,
    pub cell: fn(&R, &Fleet) -> Cell,
}

impl<R> Column<R> {
    pub const fn new(name: &'static str, kind: Kind, says: &'static str, cell: fn(&R, &Fleet) -> Cell) -> Self {
        Self { name, kind, may_be_unknown: false, says, cell }
    }

    /// One that is not always known.
    pub const fn or_unknown(name: &'static str, kind: Kind, says: &'static str, cell: fn(&R, &Fleet) -> Cell) -> Self {
        Self { name, kind, may_be_unknown: true, says, cell }
    }
}

/// A row as it is held until it is written: as little as will tell its cells.
pub trait Row: Sized + 'static {
    /// Name of the table and of its folder.
    const TABLE: &'static str;
    /// What a row of it is.
    const SAYS: &'static str;
    const COLUMNS: &'static [Column<Self>];
}
