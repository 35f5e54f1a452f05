//! Against references: how far readings lie from what the units are known to have (bias), and whether that grows with the
//! value (linearity).

use super::Reading;
use crate::stats::student;
use crate::stats::summary::Line;
use crate::stats::two_means::MeanDifference;

/// Bias and linearity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trueness {
    /// Mean of reading less reference, and its 95 % interval.
    pub bias: f64,
    pub interval: Option<(f64, f64)>,
    /// How likely so great a bias is where there is none.
    pub probability: Option<f64>,
    pub linearity: Option<Linearity>,
}

/// How bias changes with the value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Linearity {
    pub slope: f64,
    /// Bias at a reference of zero.
    pub intercept: f64,
    pub probability: f64,
}

impl Trueness {
    /// None without references.
    pub(super) fn of(readings: &[Reading]) -> Option<Self> {
        let points: Vec<(f64, f64)> = readings
            .iter()
            .filter_map(|reading| Some((reading.reference?, reading.value - reading.reference?)))
            .collect();
        let biases: Vec<f64> = points.iter().map(|point| point.1).collect();
        let bias = crate::stats::summary::mean(&biases)?;
        let test = MeanDifference::paired(&biases);
        let linearity = Line::fit(&points).filter(|line| line.slope_uncertainty > 0.0).map(|line| Linearity {
            slope: line.slope,
            intercept: line.y_mean - line.slope * line.x_mean,
            probability: 2.0
                * student::cumulative(-(line.slope / line.slope_uncertainty).abs(), line.degrees_of_freedom),
        });
        let interval = test.map(|test| test.interval(0.95));
        Some(Self { bias, interval, probability: test.map(|test| test.two_sided()), linearity })
    }
}
