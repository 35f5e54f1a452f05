//! The readings of a table.

use super::Failure;
use crate::cli::tabular::Tabular;
use crate::study::gauge::{Reading, Sample};
use crate::study::{Quantity, Tolerated};
use std::path::Path;

/// A sample for each measurand of a file.
pub fn samples(path: &Path) -> Result<Vec<Sample>, Failure> {
    let table = Tabular::read(path)?;
    let (unit, value) = (table.wanted("unit")?, table.wanted("value")?);
    let mut samples: Vec<Sample> = Vec::new();
    for row in &table.rows {
        let Some(number) = table.number(row, value)? else { continue };
        let text = |head: &str| table.column(head).map_or("", |column| row.1[column].as_str()).to_owned();
        let cell = |head: &str| table.column(head).map_or(Ok(None), |column| table.number(row, column));
        let (lower, upper) = (cell("lower")?, cell("upper")?);
        let measurand = Some(text("measurand")).filter(|name| !name.is_empty()).unwrap_or_else(|| "value".into());
        let quantity = Quantity {
            check: String::new(),
            measurand,
            reading: String::new(),
            unit: text("unit_of_value"),
            tolerance: (lower.is_some() || upper.is_some()).then(|| Tolerated { text: String::new(), lower, upper }),
        };
        let appraiser = Some(text("appraiser")).filter(|name| !name.is_empty()).unwrap_or_else(|| "one".into());
        let reading = Reading { unit: row.1[unit].clone(), appraiser, value: number, reference: cell("reference")? };
        match samples.iter_mut().find(|sample| sample.quantity.measurand == quantity.measurand) {
            Some(sample) if sample.quantity != quantity => {
                let why = format!("`{}` has another unit or other limits than in the rows above", quantity.measurand);
                return Err(table.wrong(row.0, &why));
            }
            Some(sample) => sample.readings.push(reading),
            None => samples.push(Sample { quantity, readings: vec![reading] }),
        }
    }
    Ok(samples)
}
