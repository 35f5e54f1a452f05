//! The store's tables as [`Tables`].

use crate::record::answers::{Asked, Cell, Row, Tables, Trouble};
use postgres::Client;
use postgres::fallible_iterator::FallibleIterator;
use postgres::types::{ToSql, Type};

/// A connection that is asked.
pub(super) struct Far<'c>(pub &'c mut Client);

impl Tables for Far<'_> {
    fn each(&mut self, query: &str, values: &[Cell], take: &mut dyn FnMut(&Row) -> Asked<()>) -> Asked<()> {
        let statement = self.0.prepare(&in_their_words(query)).map_err(Trouble::Store)?;
        let columns = statement.columns().iter().map(|column| column.name().to_owned()).collect();
        let mut row = Row { columns, cells: Vec::new() };
        let mut found = self.0.query_raw(&statement, values.iter().map(value)).map_err(Trouble::Store)?;
        while let Some(next) = found.next().map_err(Trouble::Store)? {
            row.cells.clear();
            for column in 0..next.len() {
                row.cells.push(cell(&next, column)?);
            }
            take(&row)?;
        }
        Ok(())
    }
}

/// The query as PostgreSQL writes it: `?` becomes `$1`, one more than the greatest before, and `?3` becomes `$3`.
fn in_their_words(query: &str) -> String {
    let mut text = String::with_capacity(query.len() + 16);
    let mut greatest = 0_usize;
    let mut pieces = query.split('?');
    text.push_str(pieces.next().unwrap_or_default());
    for piece in pieces {
        let digits = piece.bytes().take_while(u8::is_ascii_digit).count();
        let number = piece[..digits].parse().unwrap_or(greatest + 1);
        greatest = greatest.max(number);
        text.push_str(&format!("${number}{}", &piece[digits..]));
    }
    text.replace("CROSS JOIN", "JOIN")
}

fn cell(row: &postgres::Row, at: usize) -> Asked<Cell> {
    let kind = row.columns()[at].type_();
    let cell = if *kind == Type::INT8 {
        row.try_get::<_, Option<i64>>(at).map(|number| number.map(Cell::Whole))
    } else if *kind == Type::FLOAT8 {
        row.try_get::<_, Option<f64>>(at).map(|number| number.map(Cell::Real))
    } else if *kind == Type::TEXT {
        row.try_get::<_, Option<String>>(at).map(|text| text.map(Cell::Text))
    } else {
        return Err(Trouble::Strange(format!("`{}` is of the type {kind}", row.columns()[at].name())));
    };
    Ok(cell.map_err(Trouble::Store)?.unwrap_or(Cell::Nothing))
}

fn value(cell: &Cell) -> Box<dyn ToSql + Sync + '_> {
    match cell {
        Cell::Nothing => Box::new(None::<i64>),
        Cell::Whole(number) => Box::new(number),
        Cell::Real(number) => Box::new(number),
        Cell::Text(text) => Box::new(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_text_becomes_the_other() {
        for (ours, theirs) in [
            ("SELECT 1", "SELECT 1"),
            ("a = ? AND b = ?", "a = $1 AND b = $2"),
            ("a = ?1 AND b = ?2 AND c = ?", "a = $1 AND b = $2 AND c = $3"),
            ("a = ?12 OR b = ?1 OR c IN (?, ?)", "a = $12 OR b = $1 OR c IN ($13, $14)"),
            ("a CROSS JOIN b ON true", "a JOIN b ON true"),
        ] {
            assert_eq!(in_their_words(ours), theirs);
        }
    }
}
