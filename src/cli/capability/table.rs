//! The values of a table.

use super::Failure;
use crate::cli::tabular::Tabular;
use crate::study::capability::Sample;
use crate::study::{Quantity, Tolerated};
use std::path::Path;

/// A sample for each measurand of a file; limits that are given hold for all of them.
pub fn samples(path: &Path, lower: Option<f64>, upper: Option<f64>) -> Result<Vec<Sample>, Failure> {
    let table = Tabular::read(path)?;
    let value = if table.heads.len() == 1 { 0 } else { table.wanted("value")? };
    let mut samples: Vec<Sample> = Vec::new();
    for row in &table.rows {
        let Some(number) = table.number(row, value)? else { continue };
        let text = |head: &str| table.column(head).map_or("", |column| row.1[column].as_str()).to_owned();
        let cell = |head: &str| table.column(head).map_or(Ok(None), |column| table.number(row, column));
        let (lower, upper) = (cell("lower")?.or(lower), cell("upper")?.or(upper));
        let tolerance = (lower.is_some() || upper.is_some()).then(|| Tolerated { text: String::new(), lower, upper });
        let (check, reading, unit) = (text("check"), text("reading"), text("unit"));
        let measurand = Some(text("measurand")).filter(|name| !name.is_empty()).unwrap_or_else(|| "value".into());
        let quantity = Quantity { check, measurand, reading, unit, tolerance };
        let place = samples.iter().position(|sample| sample.quantity.name() == quantity.name());
        let place = place.unwrap_or_else(|| {
            let empty = Vec::new;
            let (groups, subgroups) = (Vec::new(), Vec::new());
            samples.push(Sample {
                quantity: quantity.clone(),
                values: empty(),
                doubts: empty(),
                moments: vec![],
                groups,
                subgroups,
            });
            samples.len() - 1
        });
        let sample = &mut samples[place];
        if sample.quantity != quantity {
            let why = format!("`{}` has another unit or other limits than in the rows above", quantity.name());
            return Err(table.wrong(row.0, &why));
        }
        sample.values.push(number);
        sample.doubts.extend(cell("uncertainty")?);
        for (head, names) in [("group", &mut sample.groups), ("subgroup", &mut sample.subgroups)] {
            if table.column(head).is_some() {
                names.push(text(head));
            }
        }
    }
    Ok(samples)
}
