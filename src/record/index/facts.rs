//! What the index keeps of a record: the part of `record.json` that is searched, read without the rest.
//!
//! A record is mostly budgets and curves; reading only what is kept takes a fraction of the time. Every format has these
//! fields in the same places.

use crate::record::answers::Known;
use crate::record::stored::{FORMAT, Origin, Part, Verdict};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::Read;
use std::path::Path;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

/// No honest record is longer, bytes.
const LENGTH_MAX: u64 = 256 << 20;

/// What is kept of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Facts {
    pub run: Known,
    pub checks: Vec<Checked>,
}

/// A check and its values.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    pub name: String,
    /// What the plan says to look at if it does not conform.
    pub if_not: Vec<String>,
    pub decision: Verdict,
    pub values: Vec<Value>,
}

/// A measured value; a requirement without any reading stands as one without a label.
#[derive(Debug, Clone, PartialEq)]
pub struct Value {
    pub measurand: String,
    pub label: String,
    pub tolerance: String,
    pub unit: String,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
    pub decision: Verdict,
    /// Value and standard uncertainty; none where the value was withheld.
    pub measured: Option<(f64, f64)>,
}

/// The facts of the record in a run's folder; otherwise what is wrong with it.
pub(super) fn read(folder: &Path, serial: &str, id: &str) -> Result<Facts, String> {
    let facts = Facts::parse(&bytes(&folder.join("record.json"))?)?;
    let run = &facts.run;
    if run.id != id || run.serial != serial {
        return Err(format!("it is the record of {}, run {}, in another one's folder", run.serial, run.id));
    }
    Ok(facts)
}

/// The bytes of a record's file.
pub fn bytes(path: &Path) -> Result<Vec<u8>, String> {
    let said = |error: std::io::Error| error.to_string();
    let kind = fs::symlink_metadata(path).map_err(said)?;
    if !kind.is_file() || kind.len() > LENGTH_MAX {
        return Err("it is no file of a record's size".into());
    }
    let mut bytes = Vec::with_capacity(kind.len() as usize + 1);
    File::open(path).map_err(said)?.take(LENGTH_MAX).read_to_end(&mut bytes).map_err(said)?;
    Ok(bytes)
}

impl Facts {
    /// The facts in the text of a record.
    ///
    /// # Errors
    /// Why it is none that this version reads.
    pub fn parse(bytes: &[u8]) -> Result<Self, String> {
        let record: Record = serde_json::from_slice(bytes).map_err(|error| error.to_string())?;
        if !(1..=FORMAT).contains(&record.format) {
            return Err(format!("it is of format {}; this version reads 1 to {FORMAT}", record.format));
        }
        let Record { run, unit, bench, plan, .. } = record;
        let late_after = run.predecessors.into_iter().filter(|earlier| *earlier > run.id).collect();
        let known = Known {
            serial: unit.serial,
            started: moment(&run.started)?,
            ended: moment(&run.ended)?,
            decision: record.decision,
            origin: run.origin,
            is_simulated: run.origin == Origin::Simulated || run.seed.is_some(),
            is_interrupted: record.interrupted,
            model: unit.model,
            firmware: unit.reports.get("firmware").cloned(),
            plan: plan.name,
            revision: plan.revision,
            jig: bench.jig,
            bench: bench.name,
            operator: bench.operator,
            parts: unit.parts,
            late_after,
            id: run.id,
        };
        Ok(Self { run: known, checks: record.checks.into_iter().map(checked).collect() })
    }
}

fn moment(text: &str) -> Result<OffsetDateTime, String> {
    OffsetDateTime::parse(text, &Rfc3339).map_err(|_| format!("`{text}` is no date and time"))
}

fn checked(check: Check) -> Checked {
    let values = check.requirements.into_iter().flat_map(|requirement| {
        let Requirement { measurand, tolerance, unit, lower, upper, decision, readings } = requirement;
        let value = move |label: String, decision: Verdict, measured: Option<Measured>| Value {
            measurand: measurand.clone(),
            label,
            tolerance: tolerance.clone(),
            unit: unit.clone(),
            lower,
            upper,
            decision,
            measured: measured.map(|measured| (measured.value, measured.standard_uncertainty)),
        };
        let none = readings.is_empty().then(|| value(String::new(), decision, None));
        let values: Vec<Value> = readings.into_iter().map(|one| value(one.label, one.decision, one.measured)).collect();
        none.into_iter().chain(values)
    });
    Checked { values: values.collect(), name: check.name, if_not: check.if_not, decision: check.decision }
}

#[derive(Deserialize)]
struct Record {
    format: u32,
    decision: Verdict,
    interrupted: bool,
    run: RunFacts,
    unit: UnitFacts,
    bench: BenchFacts,
    plan: PlanFacts,
    checks: Vec<Check>,
}

#[derive(Deserialize)]
struct RunFacts {
    id: String,
    started: String,
    ended: String,
    origin: Origin,
    #[serde(default)]
    seed: Option<u64>,
    predecessors: Vec<String>,
}

#[derive(Deserialize)]
struct UnitFacts {
    model: String,
    serial: String,
    reports: BTreeMap<String, String>,
    parts: Vec<Part>,
}

#[derive(Deserialize)]
struct BenchFacts {
    jig: String,
    #[serde(default)]
    name: Option<String>,
    operator: Option<String>,
}

#[derive(Deserialize)]
struct PlanFacts {
    name: String,
    revision: u32,
}

#[derive(Deserialize)]
struct Check {
    name: String,
    decision: Verdict,
    requirements: Vec<Requirement>,
    if_not: Vec<String>,
}

#[derive(Deserialize)]
struct Requirement {
    measurand: String,
    tolerance: String,
    unit: String,
    #[serde(default)]
    lower: Option<f64>,
    #[serde(default)]
    upper: Option<f64>,
    decision: Verdict,
    readings: Vec<Reading>,
}

#[derive(Deserialize)]
struct Reading {
    label: String,
    decision: Verdict,
    #[serde(default)]
    measured: Option<Measured>,
}

#[derive(Deserialize)]
struct Measured {
    value: f64,
    standard_uncertainty: f64,
}
