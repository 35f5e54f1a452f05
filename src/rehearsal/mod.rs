//! Rehearsing a plan: units drawn from a population, each carried out on a simulated bench in process, with its truth known.
//!
//! A room of its own because it sees both the simulated world and the runner, which know nothing of each other. What the
//! outcomes mean is for [`crate::study::rehearse`]. Deliberately absent: files and clocks.

mod bench;
mod lot;
mod population;

pub use bench::{Rehearser, planned_checks};
pub use lot::{Lot, LotUnit};
pub use population::{Occurrence, Population};
