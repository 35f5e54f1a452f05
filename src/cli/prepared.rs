//! Plan, unit file and jig file, read and found to fit before anything else is done; and what a record says of them.

use super::inputs::{InputFile, gather, refuse};
use super::{Exit, Failure};
use crate::decide::Decision;
use crate::event::RunOutcome;
use crate::jig::{Dates, JigFile};
use crate::plan::{Draft, Plan};
use crate::record::{self, stored};
use crate::run::envelope;
use crate::unit::Unit;
use anyhow::anyhow;
use std::path::Path;

/// Everything that was read and found right.
pub struct Prepared {
    pub plan: Plan,
    pub unit: Unit,
    pub jig: JigFile,
    /// Plan, unit file and jig file as they were read.
    pub inputs: [(&'static str, InputFile); 3],
}

impl Prepared {
    /// Reads and checks the three files. Their mistakes are told together.
    pub fn read(plan: &Path, unit: &Path, jig: &Path) -> Result<Self, Failure> {
        let plan_file = InputFile::read(plan)?;
        let unit_file = InputFile::read(unit)?;
        let jig_file = InputFile::read(jig)?;
        let mut problems = Vec::new();
        let draft = gather(Draft::read(&plan_file.source), &mut problems);
        let unit = gather(Unit::read(&unit_file.source), &mut problems);
        let jig = gather(JigFile::read(&jig_file.source), &mut problems);
        let (Some(draft), Some(unit), Some(jig)) = (draft, unit, jig) else { return Err(refuse(&problems)) };
        let plan = draft.fit(&envelope(&unit, &jig)).map_err(|problems| refuse(&problems))?;
        Ok(Self { plan, unit, jig, inputs: [("plan", plan_file), ("unit", unit_file), ("jig", jig_file)] })
    }

    /// Whether the unit file allows this serial number.
    pub fn check_serial(&self, serial: &str) -> Result<(), Failure> {
        self.unit.serial_numbers.check(serial).map_err(|why| {
            let model = &self.unit.model;
            Failure::new(Exit::Usage, anyhow!("`{serial}` is no serial number of a {model}; {why}"))
        })
    }

    /// A run on a jig past its calibration proves nothing, but for channels that are `excused`.
    pub fn within_calibration(&self, outcome: RunOutcome, day: time::Date, excused: &[&str]) -> RunOutcome {
        let overdue = self.jig.overdue(day).into_iter().filter(|(channel, _)| !excused.contains(&channel.as_str()));
        overdue.fold(outcome, |outcome, (channel, dates)| {
            let why = format!("the calibration of the jig's `{channel}` was due on {}; calibrate it", dates.due);
            invalidated(outcome, why)
        })
    }

    /// The unit, before it has said anything of itself.
    pub fn unit_facts(&self, serial: &str, parts: Vec<stored::Part>) -> stored::UnitFacts {
        stored::UnitFacts {
            maker: self.unit.maker.clone(),
            model: self.unit.model.clone(),
            title: self.unit.title.clone(),
            serial: serial.to_owned(),
            reports: Default::default(),
            parts,
        }
    }

    /// The bench with its calibrations.
    pub fn bench_facts(&self, describes: String, operator: Option<String>) -> stored::BenchFacts {
        let calibration = |(channel, dates): (String, Dates)| stored::CalibrationFacts {
            environment: self.jig.environments.get(&channel).cloned(),
            channel,
            date: dates.calibrated.to_string(),
            due: dates.due.to_string(),
        };
        stored::BenchFacts {
            name: None,
            key: None,
            jig: self.jig.name.clone(),
            describes,
            operator,
            calibrations: self.jig.dates().into_iter().map(calibration).collect(),
            overdue_because: None,
        }
    }

    /// The three files as they are frozen with a run.
    pub fn frozen(&self) -> [(String, Vec<u8>); 3] {
        self.inputs.each_ref().map(|(role, input)| (frozen_name(role), input.bytes.clone()))
    }

    /// The three files with their digests.
    pub fn input_facts(&self) -> Vec<stored::Input> {
        let facts = |(role, input): &(&str, InputFile)| stored::Input {
            role: (*role).to_owned(),
            file: frozen_name(role),
            sha256: record::digest(&input.bytes),
        };
        self.inputs.iter().map(facts).collect()
    }
}

/// Where an input file stands in the run's folder: by its role, whatever its name was.
pub fn frozen_name(role: &str) -> String {
    format!("inputs/{role}.yaml")
}

/// The outcome of a run that proves nothing.
pub fn invalidated(mut outcome: RunOutcome, why: String) -> RunOutcome {
    if !outcome.invalid_because.contains(&why) {
        outcome.invalid_because.push(why);
    }
    outcome.decision = Decision::Invalid;
    outcome
}
