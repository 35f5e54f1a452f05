//! The jig: what senses and switches around a unit. One trait, several kinds; the runner cannot tell them apart.

pub mod capture_board;
mod file;
pub mod pi;

pub use file::{
    ClockReference, ColourReading, Dates, EdgeInput, Encoder, JigFile, JigKind, LoadReference, LoopBack, OutputLine,
    PowerReading, References, SampleInput, SampleSource, SampleWire, TickClock, Trips, UnitReference, ValueReference,
    WearLimit, WearPart,
};

use crate::capture::{OutputChannel, Part, Tick};
use crate::clock::HostTime;

/// Who a jig says it is.
#[derive(Debug, Clone, PartialEq)]
pub struct JigIdentity {
    /// Kind and version in words: "capture board, firmware 1.0".
    pub describes: String,
    /// Ticks of its clock in a second, nominally.
    pub ticks_per_second: u64,
    /// Whether the world behind it is simulated. Every output of the run then says so.
    pub simulated: bool,
}

/// What senses and switches around a unit.
///
/// A jig opens with all outputs in their safe state, and returns to it when dropped.
pub trait Jig {
    /// Who it says it is.
    fn identity(&self) -> &JigIdentity;
    /// Switches an output and says when it did.
    fn drive(&mut self, output: OutputChannel, on: bool) -> Result<Tick, JigError>;
    /// Appends all that has arrived, without waiting.
    fn collect(&mut self, into: &mut Part) -> Result<(), JigError>;
    /// Waits until everything that happened up to now is in `into`, and returns that moment.
    fn settle(&mut self, into: &mut Part) -> Result<Tick, JigError>;
    /// The tick at a host time of the recent past, and the standard uncertainty of that relation in ticks.
    fn tick_at(&self, moment: HostTime) -> (Tick, Tick);
    /// Puts every output into its safe state: supply off, load off, nothing pressed. Tries all of them even if one fails.
    fn make_safe(&mut self) -> Result<(), JigError>;
}

/// Why a jig cannot go on. Each of these makes a run invalid.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum JigError {
    /// Its port failed.
    #[error(transparent)]
    Port(#[from] crate::port::PortError),
    /// It lacks a channel.
    #[error("the jig has no channel `{channel}`; add it to the jig file or choose another jig")]
    NoChannel { channel: String },
    /// It is not there at all.
    #[error("{what}; {remedy}")]
    Absent { what: String, remedy: String },
    /// It speaks, but not as agreed.
    #[error("{what}; {remedy}")]
    Protocol { what: String, remedy: String },
    /// It did not answer.
    #[error("the jig did not answer within {waited_ms} ms; check its cable and supply")]
    Silent { waited_ms: u64 },
}
