//! Plots of a run as SVG: carriage speed, step intervals, pack voltage, temperatures.
//!
//! Drawn by our own small writer: the plots share lettering, colours and line weights with the sheets that they stand on,
//! carry a description for those who cannot see them, and use only what both a browser and the PDF writer draw alike.

mod frame;
mod histogram;
mod individuals;
mod lines;
mod span;
mod stretch;
mod voltage;

pub use frame::{Caption, Frame};
pub use individuals::individuals;
pub use span::Span;
pub use stretch::Stretch;

use crate::record::Record;

/// A plot, ready to be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plot {
    /// What it shows.
    pub title: &'static str,
    /// What is to be seen on it, in words.
    pub description: String,
    /// The drawing, [`WIDTH`] by [`HEIGHT`] points.
    pub svg: String,
}

/// Width of a plot, pt.
pub const WIDTH: f64 = 250.0;
/// Height of a plot, pt.
pub const HEIGHT: f64 = 158.0;

/// The plots that a record has curves for.
pub fn plots(record: &Record) -> Vec<Plot> {
    plots_of(record, Stretch::WHOLE)
}

/// The same plots of a stretch of their axes along the bottom; one that has nothing there is left out.
pub fn plots_of(record: &Record, stretch: Stretch) -> Vec<Plot> {
    let curves = &record.curves;
    [
        lines::speed(&curves.speed, stretch),
        histogram::step_intervals(&curves.step_intervals, stretch),
        voltage::pack(&curves.pack_voltage, stretch),
        lines::temperatures(&curves.temperatures, stretch),
    ]
    .into_iter()
    .flatten()
    .collect()
}
