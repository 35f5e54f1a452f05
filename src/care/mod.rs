//! What keeps a jig true: its check before a shift, its drift, its logbook, what it has worn, the calibration of its channels.
//!
//! A jig is a measuring instrument that works for its living. Its relays and contacts wear, its gains drift, and a bad jig
//! passes bad units. Deliberately absent: printing, and any bench: who chooses one hands it in.

pub mod calibrate;
pub mod check;
pub mod drift;
pub mod logbook;
mod usage;
pub mod wear;

pub use usage::Usage;
