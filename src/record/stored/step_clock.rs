//! Stored form of the step-clock report. Values are in SI; their budgets are not kept, since the capture can be measured
//! again.

use serde::{Deserialize, Serialize};

/// The step clock of one motion in one direction.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StepClock {
    /// The move that it belongs to.
    pub label: String,
    /// `left` or `right`, where the jig has a direction line.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub direction: Option<String>,
    pub steps: u64,
    /// Steps at the very tick of the one before.
    pub doubled_steps: u64,
    /// Why there are no values, where there are none.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub withheld: Option<String>,
    pub phases: Vec<ClockPhase>,
}

/// A phase of a motion, as it was found from the step pulses.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClockPhase {
    /// In words: `ramp up`, `cruise`, `ramp down`, `crawl`, `no steady rate`.
    pub phase: String,
    pub began_s: f64,
    pub ended_s: f64,
    pub steps: u64,
    pub values: Vec<ClockValue>,
    pub n_period_jitter: Vec<NPeriodJitter>,
    pub allan_deviation: Vec<AllanDeviation>,
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub maximum_time_interval_error: Vec<MaximumTimeIntervalError>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub intervals: Option<ClockIntervals>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub longest_gap: Option<ClockGap>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClockValue {
    pub name: String,
    /// SI unit of the value; `1` for a ratio or a count.
    pub unit: String,
    pub value: f64,
    pub standard_uncertainty: f64,
}

/// Standard deviation of the duration of so many periods, s.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NPeriodJitter {
    pub periods: u64,
    pub value: f64,
    pub standard_uncertainty: f64,
}

/// Overlapping Allan deviation over one time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AllanDeviation {
    pub periods: u64,
    pub tau_s: f64,
    /// Second differences that it was taken from.
    pub differences: u64,
    pub value: f64,
    pub standard_uncertainty: f64,
}

/// The most by which the time interval error changes within one time, s; MTIE of ITU-T G.810.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MaximumTimeIntervalError {
    pub periods: u64,
    pub tau_s: f64,
    pub value: f64,
    pub standard_uncertainty: f64,
}

/// Distribution of the step interval.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClockIntervals {
    pub count: u64,
    /// Intervals in ns: HdrHistogram, V2 compressed, base64.
    pub hdr: String,
}

/// The longest interval of a phase.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClockGap {
    pub length_s: f64,
    /// When it began, since the capture's start and since the phase began.
    pub began_s: f64,
    pub into_phase_s: f64,
}
