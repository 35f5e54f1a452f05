//! What many runs tell together. What did new firmware change? How does the line keep
//! from its limits? Can the jig tell good from bad? What would a plan let through?
//!
//! Everything here is a pure function of what records hold, or of a table that was handed in: no files, ports or clocks. A
//! study names the method of every number and its source, and where the numbers do not suffice it says what is missing.

pub mod capability;
pub mod claim;
pub mod compare;
pub mod gauge;
pub mod rehearse;
mod series;

pub use series::{Gathered, Observed, Quantity, Refused, Series, Tolerated, Worse, gathered};

/// Readable to within rounding: values that all are one value.
fn is_constant(values: &[f64]) -> bool {
    let greatest = values.iter().fold(0.0_f64, |greatest, value| greatest.max(value.abs()));
    values.windows(2).all(|pair| (pair[0] - pair[1]).abs() <= 1e-12 * greatest)
}
