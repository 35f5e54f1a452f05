//! Scatter seen through cells one edge wide.
//!
//! Readings that scatter with variance σ² about a place anywhere in a cell, each taken as the middle of its cell, vary
//! inside their series by σ² + 1/12 less what all of them share: rounding's own error is evenly spread and independent of
//! the reading's, and its part that is common to a series moves the mean instead.

use super::super::converter::{ROUNDING, rounding_of_a_mean};

/// From this scatter on, in cells, nothing is shared and σ² + 1/12 holds.
const WIDE: f64 = 1.0;
/// Places of the table below that.
const PLACES: usize = 128;

/// Table of the variance seen inside a series, by scatter.
pub(super) struct Scatters {
    seen: Vec<f64>,
}

impl Scatters {
    pub fn new() -> Self {
        let seen = |index: usize| {
            let scatter = WIDE * index as f64 / (PLACES - 1) as f64;
            (scatter * scatter + ROUNDING - rounding_of_a_mean(scatter * scatter).powi(2)).max(0.0)
        };
        Self { seen: (0..PLACES).map(seen).collect() }
    }

    /// The scatter that shows with this variance.
    pub fn behind(&self, variance: f64) -> f64 {
        let above = self.seen.partition_point(|seen| *seen < variance);
        if above == PLACES {
            return (variance - ROUNDING).sqrt();
        }
        let Some(below) = above.checked_sub(1) else {
            return 0.0;
        };
        let part = (variance - self.seen[below]) / (self.seen[above] - self.seen[below]);
        WIDE * (below as f64 + part) / (PLACES - 1) as f64
    }

    /// Variance of what the readings of a series that varies like this share.
    pub fn hidden(&self, variance: f64) -> f64 {
        rounding_of_a_mean(self.behind(variance).powi(2)).powi(2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By brute force: readings at normal quantiles about places all over a cell.
    #[test]
    fn a_scatter_is_found_again_behind_its_cells() {
        let scatters = Scatters::new();
        let quantiles: Vec<f64> = (0..2000)
            .map(|k| crate::stats::student::one_sided_quantile((f64::from(k) + 0.5) / 2000.0, f64::INFINITY))
            .collect();
        for scatter in [0.05, 0.2, 0.5, 0.9, 2.0] {
            let inside: f64 = (0..100)
                .map(|place| (f64::from(place) + 0.5) / 100.0)
                .map(|place| quantiles.iter().map(|z| (place + scatter * z).floor()).collect::<Vec<f64>>())
                .map(|cells| crate::stats::summary::standard_deviation(&cells).unwrap_or(0.0).powi(2))
                .sum::<f64>()
                / 100.0;
            let found = scatters.behind(inside);
            assert!((found / scatter - 1.0).abs() < 0.03, "{scatter}: {found}");
        }
        assert_eq!(scatters.behind(0.0), 0.0);
        assert!((scatters.hidden(0.0) - ROUNDING).abs() < 1e-12 && scatters.hidden(2.0) < 1e-6);
    }
}
