//! A rehearsal as it is stored: what was rehearsed, and unit by unit what came of it. Everything else is derived, so that
//! shards of a rehearsal put together say the same as the whole.

use crate::record::stored::Verdict;
use serde::{Deserialize, Serialize};

/// The version of this form.
pub const FORMAT: u32 = 1;

/// Rehearsed units of one plan, or a shard of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rehearsal {
    /// What was rehearsed; the same in every shard.
    pub rehearsal: Setting,
    /// Which part of the units; none where all are here.
    pub shard: Option<Shard>,
    /// The units, by number.
    pub units: Vec<Rehearsed>,
}

/// What decides every unit's outcome.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setting {
    pub format: u32,
    pub railproof: String,
    pub plan: String,
    pub revision: u32,
    pub model: String,
    pub population: String,
    /// Digests of plan, unit file, jig file and population file.
    pub sha256: [String; 4],
    pub seed: u64,
    /// Units of the whole rehearsal.
    pub units: u64,
    pub checks: Vec<PlannedCheck>,
    pub faults: Vec<FaultFacts>,
}

/// Which part of a rehearsal: the `part`th of `of`, counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shard {
    pub part: u64,
    pub of: u64,
}

impl Shard {
    /// Whether it has the unit of this number: each part takes its turn, so that all are as long.
    pub const fn has(self, number: u64) -> bool {
        number % self.of == self.part - 1
    }
}

/// A check of the plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlannedCheck {
    pub name: String,
    pub requirements: Vec<String>,
    /// Whether it switches what stays switched, so that the checks after it need it.
    pub needed: bool,
}

/// A fault of the population.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FaultFacts {
    pub name: String,
    pub explanation: String,
    /// Share of the units as built that have it.
    pub often: f64,
    /// From which severity on it breaks a promise.
    pub breaks_from: f64,
    /// Whether it is there or not, without degrees.
    pub all_or_nothing: bool,
}

/// What a unit was drawn for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Sample {
    /// Faults as often and as severe as the population has them.
    #[serde(rename = "as built")]
    AsBuilt,
    /// One fault at its worst.
    #[serde(rename = "worst")]
    Worst,
    /// One fault, of severities all the way up.
    #[serde(rename = "graded")]
    Graded,
}

/// What a unit really is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Truth {
    /// No fault.
    #[serde(rename = "sound")]
    Sound,
    /// A fault that breaks no promise.
    #[serde(rename = "slight")]
    Slight,
    /// A fault that breaks a promise.
    #[serde(rename = "broken")]
    Broken,
}

/// A fault of a unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Inflicted {
    pub fault: String,
    pub severity: f64,
}

/// A rehearsed unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rehearsed {
    pub number: u64,
    pub seed: u64,
    pub sample: Sample,
    pub faults: Vec<Inflicted>,
    pub truth: Truth,
    pub decision: Verdict,
    pub checks: Vec<ToldCheck>,
}

/// A check as it came out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ToldCheck {
    pub decision: Verdict,
    /// Bench time.
    pub ms: u32,
    /// The requirements that are the reason, by number, where it does not conform or is undecided.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub because: Vec<u16>,
}

impl Rehearsed {
    /// Whether this check would have kept the unit from being shipped, whatever the others say.
    pub fn caught_by(&self, check: usize) -> bool {
        self.checks[check].decision == Verdict::DoesNotConform
    }

    /// Its only fault.
    pub fn only_fault(&self) -> Option<&Inflicted> {
        match &self.faults[..] {
            [only] => Some(only),
            _ => None,
        }
    }
}
