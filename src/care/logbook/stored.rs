//! The lines of a logbook as they are stored. Old ones are read for ever: a frozen logbook of each version is in the tests.

use crate::record::lines;
use crate::record::stored::Verdict;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The version that is written.
pub const VERSION: u32 = 1;

/// One line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// Version of this form.
    pub version: u32,
    /// When it was written, RFC 3339 in UTC.
    pub time: String,
    /// Whether the bench behind it was a simulated world.
    pub simulated: bool,
    /// What it tells.
    #[serde(flatten)]
    pub entry: Entry,
}

impl lines::Line for Line {
    const VERSION: u32 = VERSION;
}

/// What a line tells.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Entry {
    /// The jig was used.
    Use(Use),
    /// Somebody noted what was done to it.
    Note(Note),
    /// It was held against its references.
    Check(Check),
}

/// What a session cost the jig.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Use {
    /// The run that it was.
    pub run: String,
    /// Serial number of the unit, where one was on the jig.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Units that were plugged in.
    pub runs: u64,
    /// Closings of each output.
    pub cycles: BTreeMap<String, u64>,
    /// Ways from one end stop to the other.
    pub traverses: u64,
    /// Way of the carriage by the encoder, m.
    pub metres: f64,
}

/// A check of the jig.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Check {
    /// The run of the plan on the reference unit, where there was one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<String>,
    /// Serial number of the reference unit, where one was on the jig.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference_unit: Option<String>,
    /// The worst of all that was found.
    pub decision: Verdict,
    /// What was measured.
    pub values: Vec<CheckedValue>,
}

/// A value of a check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CheckedValue {
    /// What it is of.
    pub name: String,
    /// Serial number of the reference unit, where it was measured on one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on: Option<String>,
    /// Unit of every number here.
    pub unit: String,
    pub value: f64,
    pub standard_uncertainty: f64,
    pub decision: Verdict,
}

/// Maintenance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Note {
    /// What was done, in somebody's words.
    pub text: String,
    /// Who says so, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Parts that were renewed: their count begins anew.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub renewed: Vec<String>,
}
