//! Quantities as people write them: a number with its unit, and tolerances as an engineer writes them.
//!
//! Every value is held in the SI unit of its dimension as `f64` (a temperature in °C, a difference of temperatures in K)
//! and remembers the unit it was written in, so that it is shown as its author thinks of it. Units follow the SI Brochure
//! (9th edition, 2019). Deliberately absent: files and places; whoever reads a file adds those.

mod dimension;
mod number;
mod tolerance;
mod unit;
mod value;

pub use dimension::Dimension;
pub use tolerance::Tolerance;
pub use unit::Unit;
pub use value::Quantity;

/// Why a text is not the quantity that is wanted, and what would be right.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}; {right}")]
pub struct Misread {
    /// What is wrong.
    pub what: String,
    /// What would be right.
    pub right: String,
}

impl Misread {
    fn new(what: impl Into<String>, right: impl Into<String>) -> Self {
        Self { what: what.into(), right: right.into() }
    }
}

impl From<Misread> for (String, String) {
    fn from(misread: Misread) -> Self {
        (misread.what, misread.right)
    }
}
