//! The line: how many units conform at once and in the end, which checks fail most, how far the values keep from their limits,
//! and whether they stay as they were.
//!
//! Each unit counts with its first run: what was reworked until it conformed says nothing of how the line makes units.

mod indices;
mod row;
mod yields;

pub use indices::{Index, Indices, Limits, Path};
pub use row::{Group, Row, Sample, Stepped};
pub use yields::{CheckYield, Share, Yields, first_runs};

use super::Refused;
use crate::stats::multiplicity;

/// How the line is studied.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Confidence of every interval.
    pub confidence: f64,
    /// The chance of any false proof of a step, a drift or a difference of groups, each over all quantities.
    pub risk: f64,
    /// Spread of the jig that was given for measurands, instead of what the values' own uncertainties say.
    pub jig: Vec<super::compare::Given>,
}

impl Default for Settings {
    fn default() -> Self {
        Self { confidence: 0.95, risk: 0.05, jig: Vec::new() }
    }
}

/// What came of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Capability {
    /// What was studied, in words.
    pub name: String,
    pub simulated: bool,
    pub settings: Settings,
    /// None of a table.
    pub yields: Option<Yields>,
    pub rows: Vec<Row>,
    pub refused: Vec<Refused>,
    pub told: Vec<String>,
    /// By what groups were formed.
    pub by: Option<String>,
}

/// Studies quantities one by one; what is proven, is proven among all of them.
pub fn rows(samples: Vec<Sample>, settings: &Settings) -> (Vec<Row>, Vec<Refused>) {
    let mut rows = Vec::new();
    let mut refused = Vec::new();
    for sample in samples {
        let name = sample.quantity.name();
        match Row::of(sample, settings) {
            Ok(row) => rows.push(row),
            Err(why) => refused.push(Refused { name, why }),
        }
    }
    corrected(&mut rows, |row| row.step.as_mut().map(|step| &mut step.probability));
    corrected(&mut rows, |row| row.drift.as_mut().map(|(_, probability)| probability));
    corrected(&mut rows, |row| row.groups_differ.as_mut());
    (rows, refused)
}

/// Probabilities of one test over all rows, raised for their number (Holm).
fn corrected(rows: &mut [Row], of: impl Fn(&mut Row) -> Option<&mut f64>) {
    let raw: Vec<f64> = rows.iter_mut().filter_map(|row| of(row).copied()).collect();
    let mut raised = multiplicity::holm(&raw).into_iter();
    for row in rows {
        if let Some(probability) = of(row) {
            *probability = raised.next().unwrap_or(1.0);
        }
    }
}

#[cfg(test)]
mod tests;
