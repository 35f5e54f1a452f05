//! Estimates with their uncertainty, and the distributions that judge them. Knows nothing of units or benches.

mod estimate;
pub mod student;
pub mod summary;
mod tally;

pub use estimate::{Component, Estimate, whole_freedom};
pub use tally::Tally;
