//! Estimates with their uncertainty, and the distributions that judge them. Knows nothing of units or benches.

mod component;
mod estimate;
pub mod spectrum;
mod spread;
pub mod student;
pub mod summary;
mod tally;

pub use component::{Component, Distribution, Evaluation};
pub use estimate::{Correlation, Estimate, whole_freedom};
pub use spread::Spread;
pub use tally::Tally;
