//! The range method: what was done with pencil and paper, and still is a check on the analysis of variance (Measurement
//! Systems Analysis, AIAG; factors by Duncan, Quality Control and Industrial Statistics, appendix D3).

use super::{Spread, Table};
use crate::stats::control::{Factors, SUBGROUP_MAX};
use crate::stats::summary::mean;

/// What it gave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ranges {
    pub mean_range: f64,
    pub spread: Spread,
}

/// d₂ of a single range of so many values: its root mean square.
fn of_one_range(count: usize) -> Option<f64> {
    Factors::of(count).map(|factors| factors.d2.hypot(factors.d3))
}

fn range(values: impl Iterator<Item = f64>) -> f64 {
    let (low, high) =
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (value.min(low), value.max(high)));
    high - low
}

impl Ranges {
    /// Of a table without a hole; none where it has more units, appraisers or repeats than there are factors for.
    pub(super) fn of(table: &Table) -> Option<Self> {
        let cells = &table.cells;
        let (appraisers, units, repeats) = (cells.len(), cells[0].len(), cells[0][0].len());
        if appraisers.max(units).max(repeats) > SUBGROUP_MAX {
            return None;
        }
        let ranges: Vec<f64> = cells.iter().flatten().map(|cell| range(cell.iter().copied())).collect();
        let mean_range = mean(&ranges)?;
        let repeatability = mean_range / Factors::of(repeats)?.d2;
        let reproducibility = if appraisers > 1 {
            let of_each = cells.iter().filter_map(|row| mean(&row.concat()));
            let apart = range(of_each) / of_one_range(appraisers)?;
            (apart * apart - repeatability * repeatability / (units * repeats) as f64).max(0.0).sqrt()
        } else {
            0.0
        };
        let of_unit = |unit: usize| mean(&cells.iter().flat_map(|row| row[unit].iter().copied()).collect::<Vec<f64>>());
        let between = range((0..units).filter_map(of_unit)) / of_one_range(units)?;
        Some(Self { mean_range, spread: Spread::of(repeatability, reproducibility, between) })
    }
}
