//! Stored form of a run's record, version 1: `record.json`. Its JSON Schema is `fixtures/schema/record-1.json`.
//!
//! These types stand for the file alone; the live ones stay free to change. A record once written is never changed, and
//! this version is read for ever. Values are in the unit that the plan's author wrote, times in seconds of bench time
//! since the capture's start, dates in RFC 3339.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Version of the stored form.
pub const FORMAT: u32 = 1;

/// A run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    /// [`FORMAT`].
    pub format: u32,
    /// The decision on the unit: `conforms`, `undecided`, `does not conform`, `invalid`.
    pub decision: Verdict,
    /// Why the run is invalid, where it is.
    pub invalid_because: Vec<String>,
    /// Whether somebody interrupted it.
    pub interrupted: bool,
    pub run: RunFacts,
    pub unit: UnitFacts,
    pub bench: BenchFacts,
    pub plan: PlanFacts,
    pub checks: Vec<Check>,
    /// What the operator was told without the run ending for it.
    pub warnings: Vec<String>,
    pub curves: Curves,
}

/// One of the four decisions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Verdict {
    #[serde(rename = "conforms")]
    Conforms,
    #[serde(rename = "undecided")]
    Undecided,
    #[serde(rename = "does not conform")]
    DoesNotConform,
    #[serde(rename = "invalid")]
    Invalid,
}

/// Where a run came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Origin {
    /// A real bench.
    Bench,
    /// A simulated world: certifies nothing.
    Simulated,
    /// Evidence that was kept or comes from another instrument, measured and decided again without a bench.
    Replayed,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunFacts {
    /// UUID version 7.
    pub id: String,
    pub started: String,
    pub ended: String,
    /// Bench time, s.
    pub took_s: f64,
    pub origin: Origin,
    /// Seed of the simulated world.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub seed: Option<u64>,
    /// Faults put into the simulated world, with their severity.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub faults: Vec<String>,
    /// Version of railproof.
    pub railproof: String,
    /// Ids of earlier runs of the same serial in the same results folder, oldest first.
    pub predecessors: Vec<String>,
}

impl RunFacts {
    /// Whether no unit was tested: the world of the run, or of the run whose evidence was judged again, was simulated.
    pub fn is_simulated(&self) -> bool {
        self.origin == Origin::Simulated || self.seed.is_some()
    }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct UnitFacts {
    pub maker: String,
    /// The model, as plans and unit files name it.
    pub model: String,
    /// The model's name as buyers know it.
    pub title: String,
    pub serial: String,
    /// What the unit said of itself: `model`, `firmware`, `serial`.
    pub reports: BTreeMap<String, String>,
    /// Parts and their lots.
    pub parts: Vec<Part>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    pub name: String,
    pub lot: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BenchFacts {
    /// The jig file's name for the jig.
    pub jig: String,
    /// What the jig says of itself.
    pub describes: String,
    pub operator: Option<String>,
    /// Calibration of each channel that the run used.
    pub calibrations: Vec<CalibrationFacts>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibrationFacts {
    pub channel: String,
    /// Date of the calibration, YYYY-MM-DD.
    pub date: String,
    /// Date up to which it holds.
    pub due: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanFacts {
    pub name: String,
    pub revision: u32,
    /// Highest accepted probability of calling a nonconforming value conforming.
    pub false_accept_at_most: f64,
    /// What the operator confirmed before anything moved.
    pub before: Vec<String>,
    /// The frozen input files, with their SHA-256 digests in hexadecimal.
    pub inputs: Vec<Input>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// `plan`, `unit` or `jig`.
    pub role: String,
    /// Name of the copy in the run's folder.
    pub file: String,
    pub sha256: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    pub name: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub because: Option<String>,
    pub decision: Verdict,
    /// Why it was not carried out, where it was not.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub not_carried_out: Option<String>,
    pub began_s: f64,
    pub took_s: f64,
    /// Nonconformities beyond the requirements.
    pub findings: Vec<String>,
    pub requirements: Vec<Requirement>,
    pub moves: Vec<Move>,
    /// What to look at first if it does not conform.
    pub if_not: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Move {
    pub label: String,
    pub began_s: f64,
    pub took_s: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Requirement {
    /// Catalogue name of the measurand.
    pub measurand: String,
    /// The tolerance as written in the plan.
    pub tolerance: String,
    /// Unit of every number below; empty for a count.
    pub unit: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub lower: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub upper: Option<f64>,
    pub decision: Verdict,
    pub readings: Vec<Reading>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    /// The phase that it belongs to.
    pub label: String,
    pub decision: Verdict,
    /// The measured value with its uncertainty and judgement.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub measured: Option<Measured>,
    /// Why there is no value, where there is none.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub withheld: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    pub value: f64,
    pub standard_uncertainty: f64,
    /// For a coverage probability of 95 %.
    pub expanded_uncertainty: f64,
    pub coverage_factor: f64,
    /// Effective degrees of freedom; absent where infinite.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub degrees_of_freedom: Option<f64>,
    pub budget: Vec<BudgetLine>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub acceptance_lower: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub acceptance_upper: Option<f64>,
    /// Distance to the nearest tolerance limit, positive inside.
    pub margin: f64,
    pub conformance_probability: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BudgetLine {
    pub from: String,
    pub standard_uncertainty: f64,
    /// Absent where infinite.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub degrees_of_freedom: Option<f64>,
}

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
