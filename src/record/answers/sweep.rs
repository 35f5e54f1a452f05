//! A whole fleet in one go: every run that is wanted, its checks and its values, in the order in which the tables have them.
//!
//! Nothing is gathered: what is handed out is forgotten. All of it is of one moment, whatever other processes add meanwhile.

use super::heading::{Heading, headings};
use super::runs::{KNOWN_COLUMNS, KNOWN_NAMES, Known, complete, known};
use super::search::{Wanted, numbers};
use super::tables::{self, Asked, Tables};
use crate::record::stored::Verdict;
use std::ops::ControlFlow;

/// Whoever takes in a fleet. Units come first, then checks, then values. A selected run has a place: 0 for the first that
/// was handed out, then 1 and so on.
pub trait Sweep {
    /// It begins; where it had begun before, what was handed out then is void.
    fn begin(&mut self) -> ControlFlow<()>;
    /// All runs of a serial number, by their ids, and whether each is selected; one of them is.
    fn unit(&mut self, runs: Vec<(Known, bool)>) -> ControlFlow<()>;
    /// The decision on a check.
    fn check(&mut self, run: usize, name: &str, decision: Verdict) -> ControlFlow<()>;
    /// A measured value, or that it was withheld.
    fn value(&mut self, run: usize, head: &Heading, value: &Swept) -> ControlFlow<()>;
}

/// One value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swept {
    /// Among the values of its run, from 0.
    pub place: u32,
    pub decision: Verdict,
    pub value: Option<f64>,
    pub standard_uncertainty: Option<f64>,
}

/// The selected runs: their numbers in ascending order, each with its place.
struct Selected(Vec<(i64, usize)>);

/// Hands out the runs of which something is found, whole. Who breaks it off knows why.
pub(super) fn all(tables: &mut dyn Tables, wanted: &Wanted, sweep: &mut dyn Sweep) -> Asked<ControlFlow<()>> {
    if sweep.begin().is_break() {
        return Ok(ControlFlow::Break(()));
    }
    let numbers = numbers(tables, wanted)?;
    let (selected, flow) = units(tables, numbers, sweep)?;
    if flow.is_break() || checks(tables, &selected, sweep)?.is_break() {
        return Ok(ControlFlow::Break(()));
    }
    values(tables, &selected, sweep)
}

/// `numbers`: those of the selected runs, each behind that of its serial number.
fn units(
    tables: &mut dyn Tables,
    mut numbers: Vec<(i64, i64)>,
    sweep: &mut dyn Sweep,
) -> Asked<(Selected, ControlFlow<()>)> {
    numbers.sort_unstable();
    numbers.dedup();
    let mut selected = Vec::with_capacity(numbers.len());
    let query = format!("{KNOWN_COLUMNS} FROM run {KNOWN_NAMES} WHERE run.serial = ?1 ORDER BY run.folder");
    for of_unit in numbers.chunk_by(|one, other| one.0 == other.0) {
        let serial = of_unit[0].0;
        let mut runs = tables::all(tables, &query, &[serial.into()], known)?;
        complete(tables, runs.iter_mut().map(|(number, run)| (*number, run)))?;
        let runs = runs.into_iter().map(|(number, run)| {
            let is_selected = of_unit.binary_search(&(serial, number)).is_ok();
            if is_selected {
                selected.push((number, selected.len()));
            }
            (run, is_selected)
        });
        if sweep.unit(runs.collect()).is_break() {
            return Ok((Selected(selected), ControlFlow::Break(())));
        }
    }
    selected.sort_unstable();
    Ok((Selected(selected), ControlFlow::Continue(())))
}

impl Selected {
    /// The first and the last number.
    fn range(&self) -> [i64; 2] {
        let [Some(first), Some(last)] = [self.0.first(), self.0.last()] else { return [0, -1] };
        [first.0, last.0]
    }

    /// Finds places of numbers that come in ascending order.
    fn places(&self) -> impl FnMut(i64) -> Option<usize> {
        let mut rest = &self.0[..];
        move |number| {
            let passed = rest.partition_point(|(earlier, _)| *earlier < number);
            rest = &rest[passed..];
            rest.first().filter(|(found, _)| *found == number).map(|(_, place)| *place)
        }
    }
}

fn checks(tables: &mut dyn Tables, selected: &Selected, sweep: &mut dyn Sweep) -> Asked<ControlFlow<()>> {
    let query = "SELECT look.id, name.text FROM look JOIN name ON name.id = look.name ORDER BY name.text, look.id";
    let looks = tables::all(tables, query, &[], |row| Ok((row.get::<i64>("id")?, row.get::<String>("text")?)))?;
    let query = "SELECT run, decision FROM checked WHERE look = ?1 AND run BETWEEN ?2 AND ?3 ORDER BY run";
    let [first, last] = selected.range();
    for (look, name) in looks {
        let (mut place, mut flow) = (selected.places(), ControlFlow::Continue(()));
        tables.each(query, &[look.into(), first.into(), last.into()], &mut |row| {
            if let Some(run) = place(row.get("run")?).filter(|_| flow.is_continue()) {
                flow = sweep.check(run, &name, row.verdict("decision")?);
            }
            Ok(())
        })?;
        if flow.is_break() {
            return Ok(flow);
        }
    }
    Ok(ControlFlow::Continue(()))
}

fn values(tables: &mut dyn Tables, selected: &Selected, sweep: &mut dyn Sweep) -> Asked<ControlFlow<()>> {
    let query = "SELECT run, place, decision, value, u FROM value WHERE head = ?1 AND run BETWEEN ?2 AND ?3 ORDER BY run, place";
    let [first, last] = selected.range();
    for heading in headings(tables)? {
        let (mut place, mut flow) = (selected.places(), ControlFlow::Continue(()));
        tables.each(query, &[heading.number.into(), first.into(), last.into()], &mut |row| {
            let Some(run) = place(row.get("run")?).filter(|_| flow.is_continue()) else { return Ok(()) };
            let value = Swept {
                place: row.get("place")?,
                decision: row.verdict("decision")?,
                value: row.get("value")?,
                standard_uncertainty: row.get("u")?,
            };
            flow = sweep.value(run, &heading, &value);
            Ok(())
        })?;
        if flow.is_break() {
            return Ok(flow);
        }
    }
    Ok(ControlFlow::Continue(()))
}
