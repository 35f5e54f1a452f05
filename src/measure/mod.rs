//! Measurands: definitions, and the pure functions that read them from a capture with their uncertainty.
//!
//! A [`Session`] takes a capture as it arrives, keeps what each phase needs in reused buffers, and hands out one
//! [`CheckEvidence`] per check. A [`Measurand`] of the [`CATALOGUE`] turns that into [`Reading`]s. The same code serves a
//! live run and a stored one. Deliberately absent: files, ports, clocks, plans, limits.

mod balance;
mod catalogue;
mod closer;
mod colour;
mod controls;
mod converter;
mod crawl;
mod ends;
mod evidence;
mod flicker;
mod heat;
mod jitter;
mod levels;
mod light;
mod observe;
mod pack;
mod pooling;
mod position;
mod positioning;
mod pulses;
mod session;
mod setup;
mod speed;
mod step_clock;
mod stopping;
mod stops;
mod strides;
mod symmetry;
mod talk;
mod traces;
mod track;
mod values;

pub use catalogue::{CATALOGUE, Measurand, find};
pub use closer::{
    Cause, CloserLook, Doubled, Family, Followed, Gap, Listed, LookCloser, LostWay, Place, Spectrum, TimerTick,
    WayCause,
};
pub use converter::{ROUNDING, rounding_of_a_mean};
pub use evidence::{CheckEvidence, PhaseEvidence, TimedCue};
pub use pooling::Pooling;
pub use session::Session;
pub use setup::{JigFacts, PackFacts, Setup, UnitFacts};
pub use step_clock::{
    AllanPoint, ClockValue, LongestGap, MaximumError, Motion, MoveClock, PartErrors, PhaseClock, PhaseKind, Profile,
    ProfileErrors, Rules as StepClockRules, Steadied, SteadyClock, StepClock, Strays, TimerFinding, TimerFit,
};
pub use traces::{IntervalTrace, SpeedTrace, TemperatureTrace, Traces, VoltageBand};

use crate::stats::Estimate;

/// One value of a measurand, usually of one phase of the check.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// What it belongs to, in words: "to the right end at 90 mm/s".
    pub label: String,
    /// The value in SI, or why there is none.
    pub result: Result<Estimate, Withheld>,
}

/// A value that is not given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Withheld {
    /// Why: "the left end stop never closed".
    pub why: String,
    /// Whose fault that is.
    pub blame: Blame,
}

/// Who is to blame for a value that is not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Blame {
    /// The unit: it does not conform.
    Unit,
    /// The bench: the run is invalid.
    Bench,
    /// Nobody: another instrument captured it, and cannot tell. It stays undecided.
    Nobody,
}
