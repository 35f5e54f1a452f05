//! The index's tables as [`Tables`].

use crate::record::answers::{Asked, Cell, Row, Tables, Trouble};
use rusqlite::types::{ToSqlOutput, Value, ValueRef};
use rusqlite::{Connection, ToSql, params_from_iter};

/// A connection that is asked.
pub(super) struct Local<'c>(pub &'c Connection);

impl Tables for Local<'_> {
    fn each(&mut self, query: &str, values: &[Cell], take: &mut dyn FnMut(&Row) -> Asked<()>) -> Asked<()> {
        let mut statement = self.0.prepare_cached(query)?;
        let columns: Vec<String> = statement.column_names().map(str::to_owned).collect();
        let mut row = Row { cells: Vec::with_capacity(columns.len()), columns };
        let mut found = statement.query(params_from_iter(values))?;
        while let Some(next) = found.next()? {
            row.cells.clear();
            for column in 0..row.columns.len() {
                row.cells.push(cell(next.get_ref(column)?)?);
            }
            take(&row)?;
        }
        Ok(())
    }
}

fn cell(value: ValueRef<'_>) -> Asked<Cell> {
    Ok(match value {
        ValueRef::Null => Cell::Nothing,
        ValueRef::Integer(number) => Cell::Whole(number),
        ValueRef::Real(number) => Cell::Real(number),
        ValueRef::Text(text) => Cell::Text(String::from_utf8_lossy(text).into_owned()),
        ValueRef::Blob(_) => return Err(Trouble::Strange("a column has bytes".into())),
    })
}

impl ToSql for Cell {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(match self {
            Self::Nothing => ToSqlOutput::Owned(Value::Null),
            Self::Whole(number) => ToSqlOutput::from(*number),
            Self::Real(number) => ToSqlOutput::from(*number),
            Self::Text(text) => ToSqlOutput::from(text.as_str()),
        })
    }
}

impl From<rusqlite::Error> for Trouble {
    fn from(error: rusqlite::Error) -> Self {
        Self::Index(error)
    }
}
