//! Calibration of one channel of a jig: readings against a reference become the numbers of its jig file.
//!
//! A [`Target`] is what is calibrated: a sampled channel, the clock, the encoder. [`readings`] takes pairs of what the jig
//! counts (codes, ticks, edges) and what a reference says; [`fit`] lays the straight line through them with the doubt of
//! both; [`rewrite`] puts the numbers into the file's text and [`replace`] that into the place of the old one. [`Live`]
//! reads a channel on the bench itself; nothing moves for it.

mod doubt;
mod fitted;
mod live;
mod quadrature;
pub mod readings;
mod replace;
mod rewrite;
mod target;
mod validity;

pub use doubt::{Doubt, reading_uncertainty};
pub use fitted::{Fits, Fitted, READINGS_MIN, REFUSED_BELOW, WIDENED_BELOW, fit};
pub use live::{Live, NotRead};
pub use readings::Reading;
pub use replace::replace;
pub use rewrite::{Change, Renewal, Rewritten, rewrite};
pub use target::{Target, Term};
pub use validity::Validity;

#[cfg(test)]
mod tests_support;
