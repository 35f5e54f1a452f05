//! A run's evidence: edges, samples, the transcript of the unit's link and marks of what the bench did, on one clock.
//!
//! Everything that is later measured and decided is a pure function of this stream and the three input files, so that a
//! stored run can be judged again. Deliberately absent: files' places, ports, clocks, units of measure, limits.

mod bound;
mod channel;
mod chunks;
pub mod csv;
pub mod file;
#[cfg(test)]
mod gathered;
mod in_order;
mod mark;
mod part;
mod phases;
pub mod vcd;
mod wires;

pub use bound::Bounded;
pub use channel::{Calibration, EdgeChannel, OutputChannel, SampleChannel};
pub use in_order::{Happened, InOrder};
pub use mark::{Action, Cue, Destination, Mark, MarkKind, Phase, Side};
pub use part::{Driven, Edge, Line, Loss, Part, Sample, TICK_MAX, Talker, Tick};
pub use phases::{AsFound, Found, Motion, Namer, PhaseFinder, Rules};
pub use wires::{Calibrations, Channel, ForeignError, Taken, Wire};

/// Whoever takes a capture as it arrives: the measuring session, the file writer, or both.
///
/// Order: marks and parts come as they happened, and what a part holds is complete up to a mark that follows it. Inside
/// a part each channel is in order of time; different channels are not sorted among themselves.
pub trait CaptureSink {
    /// Takes what arrived since the last part.
    fn part(&mut self, part: &Part);
    /// Takes a mark.
    fn mark(&mut self, mark: &Mark);
}
