//! The simulated world: a drive unit, its pack and the bench that it stands on, as physics and not as a script.
//!
//! ```text
//! pack ──► supply ──► controller ──► driver ──► motor ──► belt ──► carriage ──► end switches, encoder
//!   ▲                   ▲   │                                           │
//!   └── load            │   └► light bar          (jig: clock, converters, outputs)
//!                     link, controls
//! ```
//!
//! Time is a number that the caller moves; nothing here reads a clock, and the same seed gives the same bytes on every
//! machine: own streams of chance, own sine, `libm` for the rest. Deliberately absent: any protocol code of the bench.
//! What the unit says and what the jig stamps is encoded here a second time, or a mistake would cancel itself out.

mod assembly;
mod belt;
mod bench;
mod board;
mod carriage;
mod chance;
mod contact;
mod controls;
mod driver;
mod end_stop;
mod faults;
mod feed;
mod firmware;
mod light_bar;
mod mechanics;
mod motor;
mod pack;
mod sensors;
mod served;
mod sine;
mod spread;
mod thermal;
mod train;
mod wiring;
mod world;

pub use assembly::{FirmwareVersion, MAKE_BITS, WorldSettings};
pub use bench::{Reference, SimClock, SimJig, SimPort, bench};
pub use chance::{Chance, Stream};
pub use faults::{Fault, FaultKind, FaultProblem};
pub use mechanics::{Mechanics, Seen, Wire};
pub use sensors::TICKS_PER_SECOND;
pub use served::{Heard, ServeSettings, Served};
pub use spread::{Parameter, Spread};
pub use wiring::{CheckWiring, SwitchedReference};
pub use world::World;

/// A moment of the simulated world: nanoseconds since it began.
pub type SimTime = u64;

#[cfg(test)]
mod tests;
