//! Two sets in a table: a column each, or named row by row.

use super::Failure;
use crate::cli::tabular::Tabular;
use crate::study::{Observed, Quantity, Series, Tolerated};
use std::path::Path;

/// A set with its name.
type Named = (String, Vec<Series>);

/// The two sets of a file.
pub fn sets(path: &Path, paired: bool) -> Result<[Named; 2], Failure> {
    let table = Tabular::read(path)?;
    if table.column("value").is_some() { long(&table) } else { wide(&table, paired) }
}

/// A column a set: rows are pairs where both are there, if pairs are asked for.
fn wide(table: &Tabular, paired: bool) -> Result<[Named; 2], Failure> {
    let [first, second] = &table.heads[..] else {
        let why = format!("{} columns; a table to compare has two, or columns `set` and `value`", table.heads.len());
        return Err(table.wrong(1, &why));
    };
    let series = |column: usize| -> Result<Vec<Series>, Failure> {
        let mut values = Vec::new();
        for row in &table.rows {
            if let Some(value) = table.number(row, column)? {
                let side = if paired { "" } else { &table.heads[column] };
                values.push(Observed { serial: format!("{side} row {}", row.0), value });
            }
        }
        let quantity = Quantity {
            check: String::new(),
            measurand: "value".into(),
            reading: String::new(),
            unit: String::new(),
            tolerance: None,
        };
        Ok(vec![Series::plain(quantity, values)])
    };
    Ok([(first.clone(), series(0)?), (second.clone(), series(1)?)])
}

/// A row a value.
fn long(table: &Tabular) -> Result<[Named; 2], Failure> {
    let (set, value) = (table.wanted("set")?, table.wanted("value")?);
    let mut sets: Vec<Named> = Vec::new();
    for row in &table.rows {
        let Some(number) = table.number(row, value)? else { continue };
        let text = |head: &str| table.column(head).map_or("", |column| row.1[column].as_str()).to_owned();
        let limit = |head: &str| table.column(head).map_or(Ok(None), |column| table.number(row, column));
        let (lower, upper) = (limit("lower")?, limit("upper")?);
        let name = &row.1[set];
        let place = match sets.iter().position(|(known, _)| known == name) {
            Some(place) => place,
            None if sets.len() == 2 => {
                let why = format!("`{name}` is a third set beside `{}` and `{}`", sets[0].0, sets[1].0);
                return Err(table.wrong(row.0, &why));
            }
            None => {
                sets.push((name.clone(), Vec::new()));
                sets.len() - 1
            }
        };
        let measurand = Some(text("measurand")).filter(|name| !name.is_empty()).unwrap_or_else(|| "value".into());
        let tolerated = (lower.is_some() || upper.is_some()).then(|| Tolerated { text: String::new(), lower, upper });
        let (check, reading, unit) = (text("check"), text("reading"), text("unit"));
        let quantity = Quantity { check, measurand, reading, unit, tolerance: tolerated };
        let serial = Some(text("serial")).filter(|serial| !serial.is_empty());
        let observed = Observed { serial: serial.unwrap_or_else(|| format!("{name} row {}", row.0)), value: number };
        let series = &mut sets[place].1;
        match series.iter_mut().find(|series| series.quantity.name() == quantity.name()) {
            Some(series) if series.quantity.unit != quantity.unit => {
                let why = format!(
                    "`{}` is in `{}` here and in `{}` above",
                    quantity.name(),
                    quantity.unit,
                    series.quantity.unit
                );
                return Err(table.wrong(row.0, &why));
            }
            Some(series) => series.values.push(observed),
            None => series.push(Series::plain(quantity, vec![observed])),
        }
    }
    <[Named; 2]>::try_from(sets)
        .map_err(|sets| table.wrong(1, &format!("there are {} sets in column `set`; two are compared", sets.len())))
}
