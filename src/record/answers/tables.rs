//! Tables that can be asked in SQL, wherever they are.
//!
//! One text serves SQLite and PostgreSQL: it keeps to what both understand. `?` and `?3` stand for values and become `$1`, `$3`
//! where that is the custom. `CROSS JOIN … ON` has SQLite keep the order that is written; elsewhere it is a plain join.

use crate::record::stored::{Origin, Verdict};

/// What went wrong while asking.
#[derive(Debug)]
pub enum Trouble {
    /// SQLite refused.
    Index(rusqlite::Error),
    /// PostgreSQL refused.
    Store(postgres::Error),
    /// An answer that no version of ours wrote, in words.
    Strange(String),
}

/// An answer, or what went wrong.
pub type Asked<T> = Result<T, Trouble>;

/// A value in a table.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    Nothing,
    Whole(i64),
    Real(f64),
    Text(String),
}

/// A row of an answer.
#[derive(Debug, Default)]
pub struct Row {
    pub columns: Vec<String>,
    pub cells: Vec<Cell>,
}

/// A database with the tables of the index.
pub trait Tables {
    /// Hands on every row of a query.
    ///
    /// # Errors
    /// What the database says, and what `take` says.
    fn each(&mut self, query: &str, values: &[Cell], take: &mut dyn FnMut(&Row) -> Asked<()>) -> Asked<()>;
}

/// The rows of a query, each as what is made of it.
pub fn all<T>(
    tables: &mut dyn Tables,
    query: &str,
    values: &[Cell],
    mut make: impl FnMut(&Row) -> Asked<T>,
) -> Asked<Vec<T>> {
    let mut made = Vec::new();
    tables.each(query, values, &mut |row| {
        made.push(make(row)?);
        Ok(())
    })?;
    Ok(made)
}

/// The texts in the column `text` of a query.
pub fn texts(tables: &mut dyn Tables, query: &str, values: &[Cell]) -> Asked<Vec<String>> {
    all(tables, query, values, |row| row.get("text"))
}

impl Row {
    /// What stands in a column.
    ///
    /// # Errors
    /// No such column, or something else in it.
    pub fn get<T: FromCell>(&self, column: &str) -> Asked<T> {
        let at = self.columns.iter().position(|name| name == column);
        let cell = at.and_then(|at| self.cells.get(at));
        cell.and_then(T::from_cell).ok_or_else(|| Trouble::Strange(format!("`{column}` has {cell:?}")))
    }

    /// The decision of a column.
    ///
    /// # Errors
    /// Where there is none.
    pub fn verdict(&self, column: &str) -> Asked<Verdict> {
        self.one_of(column, &VERDICTS)
    }

    /// The origin of a run.
    ///
    /// # Errors
    /// Where there is none.
    pub fn origin(&self) -> Asked<Origin> {
        self.one_of("origin", &ORIGINS)
    }

    fn one_of<T: Copy>(&self, column: &str, all: &[T]) -> Asked<T> {
        let number: i64 = self.get(column)?;
        let one = usize::try_from(number).ok().and_then(|number| all.get(number));
        one.copied().ok_or_else(|| Trouble::Strange(format!("`{column}` has {number}")))
    }
}

/// Decisions as numbers, the worse the greater.
const VERDICTS: [Verdict; 4] = [Verdict::Conforms, Verdict::Undecided, Verdict::DoesNotConform, Verdict::Invalid];
const ORIGINS: [Origin; 3] = [Origin::Bench, Origin::Simulated, Origin::Replayed];

/// A decision as it stands in tables.
pub fn of_verdict(verdict: Verdict) -> i64 {
    verdict as i64
}

/// An origin as it stands in tables.
pub fn of_origin(origin: Origin) -> i64 {
    origin as i64
}

/// What a cell can be read as.
pub trait FromCell: Sized {
    /// None where it is something else.
    fn from_cell(cell: &Cell) -> Option<Self>;
}

impl FromCell for i64 {
    fn from_cell(cell: &Cell) -> Option<Self> {
        if let Cell::Whole(number) = cell { Some(*number) } else { None }
    }
}

impl FromCell for u32 {
    fn from_cell(cell: &Cell) -> Option<Self> {
        i64::from_cell(cell)?.try_into().ok()
    }
}

impl FromCell for bool {
    fn from_cell(cell: &Cell) -> Option<Self> {
        Some(i64::from_cell(cell)? != 0)
    }
}

impl FromCell for f64 {
    fn from_cell(cell: &Cell) -> Option<Self> {
        if let Cell::Real(number) = cell { Some(*number) } else { None }
    }
}

impl FromCell for String {
    fn from_cell(cell: &Cell) -> Option<Self> {
        if let Cell::Text(text) = cell { Some(text.clone()) } else { None }
    }
}

impl<T: FromCell> FromCell for Option<T> {
    fn from_cell(cell: &Cell) -> Option<Self> {
        if *cell == Cell::Nothing { Some(None) } else { T::from_cell(cell).map(Some) }
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

impl From<i64> for Cell {
    fn from(number: i64) -> Self {
        Self::Whole(number)
    }
}

impl From<f64> for Cell {
    fn from(number: f64) -> Self {
        Self::Real(number)
    }
}
