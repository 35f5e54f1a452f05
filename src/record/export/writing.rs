//! Turns a fleet that is swept out of the index into rows.

use super::ExportError;
use super::fleet::{Fleet, Head, Name};
use super::sheet::Sheet;
use super::staged::Staged;
use super::steps::{self, Steps};
use super::table::Row;
use super::tables::{CheckRow, PartRow, Ran, StepRow, ValueRow};
use crate::record::history::History;
use crate::record::index::{Heading, Known, Sweep, Swept};
use crate::record::stored::Verdict;
use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

/// Records that are read at once.
const BATCH: usize = 256;

/// Rows by table, and records whose step histograms are missing.
type Written = (BTreeMap<&'static str, u64>, Vec<String>);

/// The rows of an export.
pub struct Writing<'s> {
    staged: &'s mut Staged,
    fleet: Fleet,
    runs: Sheet<Ran>,
    parts: Sheet<PartRow>,
    checks: Sheet<CheckRow>,
    values: Sheet<ValueRow>,
    steps: Sheet<StepRow>,
    /// Number of the heading that the last value had.
    heading: Option<i64>,
    failure: Option<ExportError>,
}

impl<'s> Writing<'s> {
    pub fn new(staged: &'s mut Staged) -> Self {
        Self {
            staged,
            fleet: Fleet::default(),
            runs: Sheet::default(),
            parts: Sheet::default(),
            checks: Sheet::default(),
            values: Sheet::default(),
            steps: Sheet::default(),
            heading: None,
            failure: None,
        }
    }

    /// Adds the step histograms and writes what is held. `None` where there are no runs.
    ///
    /// # Errors
    /// What went wrong since it began.
    pub fn finish(mut self, results: &Path) -> Result<Option<Written>, ExportError> {
        if let Some(failure) = self.failure.take() {
            return Err(failure);
        }
        if self.runs.rows == 0 {
            return Ok(None);
        }
        let without_steps = self.read_steps(results)?;
        let (fleet, staged) = (&self.fleet, &mut *self.staged);
        self.runs.finish(fleet, staged)?;
        self.parts.finish(fleet, staged)?;
        self.checks.finish(fleet, staged)?;
        self.values.finish(fleet, staged)?;
        self.steps.finish(fleet, staged)?;
        let rows = BTreeMap::from([
            (Ran::TABLE, self.runs.rows),
            (PartRow::TABLE, self.parts.rows),
            (CheckRow::TABLE, self.checks.rows),
            (ValueRow::TABLE, self.values.rows),
            (StepRow::TABLE, self.steps.rows),
        ]);
        Ok(Some((rows, without_steps)))
    }

    fn read_steps(&mut self, results: &Path) -> Result<Vec<String>, ExportError> {
        let mut unread = Vec::new();
        let all = self.fleet.runs.len();
        for begin in (0..all).step_by(BATCH) {
            let places = begin..all.min(begin + BATCH);
            let folders: Vec<PathBuf> = places.clone().map(|place| self.folder(results, place)).collect();
            for ((run, folder), read) in places.zip(&folders).zip(steps::of_all(&folders)) {
                match read {
                    Ok(histograms) => {
                        histograms.iter().try_for_each(|histogram| self.histogram(run as u32, histogram))?;
                    }
                    Err(why) => unread.push(format!("{}: {why}", folder.display())),
                }
            }
        }
        Ok(unread)
    }

    fn folder(&self, results: &Path, place: usize) -> PathBuf {
        let run = &self.fleet.runs[place];
        let text = |name: Name| String::from_utf8_lossy(self.fleet.text(name).data()).into_owned();
        results.join(text(run.serial)).join(text(run.run))
    }

    fn histogram(&mut self, run: u32, steps: &Steps) -> Result<(), ExportError> {
        let check = self.fleet.name(&steps.check);
        let motion = self.fleet.name(&steps.motion);
        let direction = steps.direction.as_deref().map(|side| self.fleet.name(side));
        let phase = self.fleet.name(&steps.phase);
        for step in steps.histogram.iter_recorded() {
            let row = StepRow {
                run,
                check,
                motion,
                direction,
                phase,
                from_ns: steps.histogram.lowest_equivalent(step.value_iterated_to()),
                to_ns: steps.histogram.highest_equivalent(step.value_iterated_to()),
                intervals: step.count_at_value(),
            };
            self.steps.add(run, row, &self.fleet, self.staged)?;
        }
        Ok(())
    }

    fn add_unit(&mut self, runs: Vec<(Known, bool)>) -> Result<(), ExportError> {
        let Some(serial) = runs.first().map(|(run, _)| run.serial.clone()) else { return Ok(()) };
        let (runs, is_selected): (Vec<Known>, Vec<bool>) = runs.into_iter().unzip();
        let selected: Vec<String> =
            runs.iter().zip(is_selected).filter(|(_, is)| *is).map(|(run, _)| run.id.clone()).collect();
        let history = History::of(&serial, runs, Vec::new());
        let find = |id: &String| history.runs().find(|passed| passed.run.id == *id);
        let passed: Vec<_> = selected.iter().filter_map(find).collect();
        let places = self.fleet.add(&serial, passed.iter().map(|passed| (&passed.run, passed.kind)));
        for (place, passed) in places.into_iter().zip(passed) {
            let run = place as u32;
            self.runs.add(run, Ran { run }, &self.fleet, self.staged)?;
            for part in &passed.run.parts {
                let (part, lot) = (self.fleet.name(&part.name), self.fleet.name(&part.lot));
                self.parts.add(run, PartRow { run, part, lot }, &self.fleet, self.staged)?;
            }
        }
        Ok(())
    }

    fn add_value(&mut self, run: u32, heading: &Heading, value: &Swept) -> Result<(), ExportError> {
        if self.heading.replace(heading.number) != Some(heading.number) {
            let head = Head {
                check: self.fleet.name(&heading.check),
                measurand: self.fleet.name(&heading.measurand),
                reading: self.fleet.name(&heading.label),
                tolerance: self.fleet.name(&heading.tolerance),
                unit: self.fleet.name(&heading.unit),
                lower: heading.lower,
                upper: heading.upper,
            };
            self.fleet.heads.push(head);
        }
        let row = ValueRow {
            run,
            head: self.fleet.heads.len() as u32 - 1,
            place: value.place,
            decision: self.fleet.verdict(value.decision),
            value: value.value,
            standard_uncertainty: value.standard_uncertainty,
        };
        self.values.add(run, row, &self.fleet, self.staged)
    }

    fn add_check(&mut self, run: u32, name: &str, decision: Verdict) -> Result<(), ExportError> {
        let (check, decision) = (self.fleet.name(name), self.fleet.verdict(decision));
        self.checks.add(run, CheckRow { run, check, decision }, &self.fleet, self.staged)
    }

    fn going_on(&mut self, done: Result<(), ExportError>) -> ControlFlow<()> {
        match done {
            Ok(()) => ControlFlow::Continue(()),
            Err(failure) => {
                self.failure = Some(failure);
                ControlFlow::Break(())
            }
        }
    }
}

impl Sweep for Writing<'_> {
    fn begin(&mut self) -> ControlFlow<()> {
        let cleared = self.staged.clear();
        self.fleet = Fleet::default();
        (self.runs, self.parts, self.checks) = Default::default();
        (self.values, self.heading, self.failure) = Default::default();
        self.going_on(cleared)
    }

    fn unit(&mut self, runs: Vec<(Known, bool)>) -> ControlFlow<()> {
        let done = self.add_unit(runs);
        self.going_on(done)
    }

    fn check(&mut self, run: usize, name: &str, decision: Verdict) -> ControlFlow<()> {
        let done = self.add_check(run as u32, name, decision);
        self.going_on(done)
    }

    fn value(&mut self, run: usize, head: &Heading, value: &Swept) -> ControlFlow<()> {
        let done = self.add_value(run as u32, head, value);
        self.going_on(done)
    }
}
