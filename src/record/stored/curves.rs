//! Stored form of the curves that reports draw.

use serde::{Deserialize, Serialize};

/// Curves for the reports, thinned out.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Curves {
    pub speed: Vec<SpeedCurve>,
    pub step_intervals: Vec<IntervalCurve>,
    pub pack_voltage: Vec<VoltageBand>,
    pub temperatures: Vec<TemperatureCurve>,
}

/// Carriage speed over a travel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpeedCurve {
    pub label: String,
    /// Seconds since the travel began, and mm/s.
    pub points: Vec<(f64, f64)>,
}

/// Distribution of the step interval over the cruise of travels of one speed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct IntervalCurve {
    pub label: String,
    /// Commanded interval, ns.
    pub nominal_ns: f64,
    /// Intervals in ns: HdrHistogram, V2 compressed, base64.
    pub hdr: String,
    /// Interval in ns and how many, for drawing without decoding.
    pub counts: Vec<(u64, u64)>,
}

/// Lowest and highest pack voltage of a stretch of the run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VoltageBand {
    pub at_s: f64,
    pub low_v: f64,
    pub high_v: f64,
}

/// A temperature over the run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TemperatureCurve {
    /// Channel's name.
    pub label: String,
    /// Seconds since the run began, and °C.
    pub points: Vec<(f64, f64)>,
}
