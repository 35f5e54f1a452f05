//! Estimates with their uncertainty, and the distributions that judge them. Knows nothing of units or benches.

pub mod change;
mod component;
pub mod control;
mod deviation;
mod doubtful_line;
mod estimate;
mod logistic;
pub mod monte_carlo;
pub mod multiplicity;
pub mod normality;
mod pooled;
mod proportion;
pub mod ranks;
mod separable;
mod sine_fit;
pub mod spectrum;
mod spread;
pub mod student;
pub mod summary;
mod tally;
pub mod two_means;

/// Coverage probability of every expanded uncertainty that is told (JCGM 100:2008, 6.3.3).
pub const COVERAGE: f64 = 0.95;

pub use component::{Component, Distribution, Evaluation};
pub use deviation::deviation_uncertainty;
pub use doubtful_line::{DoubtfulLine, DoubtfulPoint, LineDoubt, NoLine};
pub use estimate::{Correlation, Estimate, whole_freedom};
pub use logistic::{Logistic, Reached};
pub use monte_carlo::Drawn;
pub use proportion::exact_interval;
pub use separable::{NoFit, Separable, exponential, likeness};
pub use sine_fit::{Extreme, SineFit};
pub use spread::Spread;
pub use tally::Tally;
