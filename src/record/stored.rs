//! Stored form of a run's record, version 2: `record.json`. Its JSON Schema is `fixtures/schema/record-2.json`.
//!
//! These types stand for the file alone; the live ones stay free to change. A record once written is never changed, and
//! every version is read for ever: one of format 1 becomes one of this version as it is read, with what it did not keep left
//! open. Values are in the unit that the plan's author wrote, times in seconds of bench time since the capture's start,
//! dates in RFC 3339.

mod checks;
mod curves;
mod first;
mod reading;
mod step_clock;

pub use checks::{
    BudgetLine, Check, Correlation, Evaluation, Input as BudgetInput, Measured, Move, Reading, Requirement,
    RoundReading, Rounds,
};
pub use curves::{Curves, IntervalCurve, SpeedCurve, TemperatureCurve, VoltageBand};
pub use step_clock::{
    AllanDeviation, ClockGap, ClockIntervals, ClockPhase, ClockValue, MaximumTimeIntervalError, NPeriodJitter,
    StepClock,
};

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Version of the stored form.
pub const FORMAT: u32 = 2;

/// A run. Any version of it can be read; see `reading.rs`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, remote = "Self")]
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

/// What a run's record will say that its capture does not, noted before anything moves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Begun {
    pub run: RunFacts,
    pub unit: UnitFacts,
    pub bench: BenchFacts,
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

impl Record {
    /// The calibrations that were past their due date on the day of the run.
    pub fn overdue(&self) -> impl Iterator<Item = &CalibrationFacts> {
        // Days of RFC 3339 sort as texts.
        let day = self.run.started.get(..10).unwrap_or_default();
        self.bench.calibrations.iter().filter(move |calibration| calibration.due.as_str() < day)
    }
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
    /// Id of the run that it was told at, where it was not told again at this one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub carried_on_from: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BenchFacts {
    /// The bench's name, as its seals have it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub name: Option<String>,
    /// Fingerprint of the key that the bench seals with; none where it has no key.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub key: Option<String>,
    /// The jig file's name for the jig.
    pub jig: String,
    /// What the jig says of itself.
    pub describes: String,
    pub operator: Option<String>,
    /// Calibration of each channel that the run used.
    pub calibrations: Vec<CalibrationFacts>,
    /// Why the run was carried out although a calibration was past its due date, where one was.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub overdue_because: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibrationFacts {
    pub channel: String,
    /// Date of the calibration, YYYY-MM-DD.
    pub date: String,
    /// Date up to which it holds.
    pub due: String,
    /// Under what conditions it was made, where the jig file says so.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub environment: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanFacts {
    pub name: String,
    pub revision: u32,
    /// How values are decided.
    pub rule: Rule,
    /// What the operator confirmed before anything moved.
    pub before: Vec<String>,
    /// The frozen input files, with their SHA-256 digests in hexadecimal.
    pub inputs: Vec<Input>,
}

/// A decision rule with its number.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rule {
    pub name: RuleName,
    /// The greatest probability of a false decision, for the two rules that state one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub probability: Option<f64>,
    /// Width of the guard band in expanded uncertainties of 95 %, for the rule that states one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub factor: Option<f64>,
}

/// What a decision rule is called, in plans too.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum RuleName {
    #[serde(rename = "simple acceptance")]
    SimpleAcceptance,
    #[serde(rename = "guard band")]
    GuardBand,
    #[serde(rename = "false accept at most")]
    FalseAccept,
    #[serde(rename = "false reject at most")]
    FalseReject,
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
