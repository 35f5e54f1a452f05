//! What measuring needs to know of the unit's model and of the jig: numbers only, in SI.

use crate::capture::{Calibration, EdgeChannel, SampleChannel};

/// What a unit of this model is meant to be.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitFacts {
    /// Step pulses per metre of carriage travel.
    pub steps_per_metre: f64,
    /// Step pulses per full step of the motor.
    pub microsteps: u32,
    /// How fast the firmware's step timer counts, Hz, where the unit file says so.
    pub step_timer: Option<f64>,
    /// Belt pitch, m.
    pub belt_pitch: f64,
    /// Belt moved in a turn of the pulley, m.
    pub pulley_turn: f64,
    /// Acceleration of every ramp, m/s².
    pub acceleration: f64,
    /// Usable travel between the end stops, m.
    pub travel: f64,
    /// Nominal speed of each level, m/s; level 1 first. A level that crawls has its mean speed.
    pub levels: Vec<f64>,
    /// Segments of the light bar; at level n, n of them are lit.
    pub segments: u8,
    /// How often the light bar is refreshed, Hz, where the unit file says so.
    pub refresh: Option<f64>,
    /// Nominal increment of a crawl, m.
    pub crawl_increment: f64,
    /// Nominal interval of a crawl, s.
    pub crawl_interval: f64,
    /// Its pack.
    pub pack: PackFacts,
    /// The highest temperature that its housing stands for long, °C, where its maker says one.
    pub housing_limit: Option<f64>,
}

/// What is known of a model's pack.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PackFacts {
    /// Energy of a full pack, J, and the relative standard uncertainty of that.
    pub energy: Option<(f64, f64)>,
    /// Voltage below which the controller resets.
    pub brown_out: Option<f64>,
}

/// How the jig's raw ticks, codes and counts become values, and how far each is in doubt.
#[derive(Debug, Clone, PartialEq)]
pub struct JigFacts {
    /// Nominal ticks per second.
    pub ticks_per_second: u64,
    /// Calibrated relative error of the jig's clock: true seconds = nominal seconds × (1 + this).
    pub clock_error: f64,
    /// Standard uncertainty of that, relative.
    pub clock_uncertainty: f64,
    /// Standard uncertainty of one edge's stamp beyond the tick's resolution, s.
    pub stamp_uncertainty: f64,
    /// Edges of both encoder tracks per metre.
    pub encoder_edges_per_metre: f64,
    /// Standard uncertainty of that scale, relative.
    pub encoder_uncertainty: f64,
    /// Which digital channels the jig has.
    pub edges: Vec<EdgeChannel>,
    /// Calibration of each sample channel that the jig has, by [`SampleChannel::index`].
    pub calibrations: [Option<Calibration>; SampleChannel::COUNT],
    /// Relative light above which a segment counts as lit.
    pub lit_above: f64,
}

/// Both.
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    /// The unit's model.
    pub unit: UnitFacts,
    /// The jig.
    pub jig: JigFacts,
}
