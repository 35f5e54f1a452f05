//! All values of many runs at once, measurand by measurand: what a study of a fleet begins with.

use super::runs::{AT_ONCE, KNOWN_COLUMNS, KNOWN_NAMES, Known, complete, known};
use super::search::{Conditions, Wanted};
use super::tables::{self, Asked, Cell, Tables};
use crate::record::stored::Verdict;
use std::collections::HashMap;

/// Up to so many runs are looked up; of more, whole columns are read and those of other runs passed over.
const LOOKED_UP_MAX: usize = 2_000;

/// Runs, oldest first, and their values.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Columns {
    pub runs: Vec<Known>,
    /// In the order in which the runs have them first.
    pub columns: Vec<Column>,
    /// The same.
    pub checks: Vec<CheckColumn>,
}

/// The decisions on one check.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckColumn {
    pub name: String,
    /// Places of runs, and what was decided.
    pub decisions: Vec<(usize, Verdict)>,
}

/// The values of one reading of one requirement.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    pub check: String,
    pub measurand: String,
    /// The phase that it belongs to.
    pub reading: String,
    /// The tolerance as the plan has it.
    pub tolerance: String,
    /// Unit of all numbers; empty for a count.
    pub unit: String,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
    /// By run, and within a run as they were read.
    pub entries: Vec<Entry>,
}

/// A value of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entry {
    /// Its place among the runs.
    pub run: usize,
    pub decision: Verdict,
    /// Value and standard uncertainty; none where it was withheld.
    pub measured: Option<(f64, f64)>,
}

/// Before any entry was found: behind every run and place.
const FIRST_UNKNOWN: (usize, i64) = (usize::MAX, i64::MAX);

/// The values of every run that is wanted; checks, values and decisions that are searched for play no part.
pub(super) fn of(tables: &mut dyn Tables, wanted: &Wanted) -> Asked<Columns> {
    let mut conditions = Conditions::of(wanted);
    conditions.text.push_str(" ORDER BY run.started, run.folder");
    let query = format!("{KNOWN_COLUMNS} FROM run {KNOWN_NAMES}");
    let mut runs = conditions.rows(tables, &query, known)?;
    complete(tables, runs.iter_mut().map(|(number, run)| (*number, run)))?;
    let (numbers, runs): (Vec<i64>, Vec<Known>) = runs.into_iter().unzip();
    let places: HashMap<i64, usize> = numbers.iter().enumerate().map(|(place, number)| (*number, place)).collect();
    let mut columns = Vec::new();
    for (head, mut column) in heads(tables)? {
        let mut first = FIRST_UNKNOWN;
        if numbers.len() <= LOOKED_UP_MAX {
            for some in numbers.chunks(AT_ONCE) {
                first = first.min(entries(tables, head, some, &places, &mut column.entries)?);
            }
        } else {
            first = entries(tables, head, &[], &places, &mut column.entries)?;
        }
        column.entries.sort_by_key(|entry| entry.run);
        columns.push((first, column));
    }
    columns.retain(|(_, column)| !column.entries.is_empty());
    columns.sort_by_key(|(first, _)| *first);
    let columns: Vec<Column> = columns.into_iter().map(|(_, column)| column).collect();
    let mut checks = checks(tables, &places)?;
    checks.sort_by_cached_key(|check| {
        (columns.iter().position(|column| column.check == check.name).unwrap_or(columns.len()), check.name.clone())
    });
    Ok(Columns { runs, columns, checks })
}

/// The decisions on every check. One whose places to look at were written anew stands in several looks.
fn checks(tables: &mut dyn Tables, places: &HashMap<i64, usize>) -> Asked<Vec<CheckColumn>> {
    let query = "SELECT look.name AS number, name.text AS name, checked.run, checked.decision FROM look
         JOIN name ON name.id = look.name CROSS JOIN checked ON checked.look = look.id ORDER BY look.name, checked.run";
    let (mut checks, mut last) = (Vec::<CheckColumn>::new(), None);
    tables.each(query, &[], &mut |row| {
        let Some(run) = places.get(&row.get("run")?) else { return Ok(()) };
        let name: i64 = row.get("number")?;
        if last != Some(name) {
            checks.push(CheckColumn { name: row.get("name")?, decisions: Vec::new() });
            last = Some(name);
        }
        if let Some(check) = checks.last_mut() {
            check.decisions.push((*run, row.verdict("decision")?));
        }
        Ok(())
    })?;
    for check in &mut checks {
        check.decisions.sort_by_key(|(run, _)| *run);
    }
    Ok(checks)
}

/// Columns without entries.
fn heads(tables: &mut dyn Tables) -> Asked<Vec<(i64, Column)>> {
    let query =
        "SELECT head.id, name.text AS name, measurand.text AS measurand, label.text AS label, tolerance.text AS tolerance,
             unit.text AS unit, head.lower, head.upper
         FROM head JOIN look ON look.id = head.look JOIN name ON name.id = look.name
             JOIN name measurand ON measurand.id = head.measurand JOIN name label ON label.id = head.label
             JOIN name tolerance ON tolerance.id = head.tolerance JOIN name unit ON unit.id = head.unit
         ORDER BY head.id";
    tables::all(tables, query, &[], |row| {
        let column = Column {
            check: row.get("name")?,
            measurand: row.get("measurand")?,
            reading: row.get("label")?,
            tolerance: row.get("tolerance")?,
            unit: row.get("unit")?,
            lower: row.get("lower")?,
            upper: row.get("upper")?,
            entries: Vec::new(),
        };
        Ok((row.get("id")?, column))
    })
}

/// The values of some runs, or of all that have a place where none are named. Gives run and place of the first, or
/// [`FIRST_UNKNOWN`].
fn entries(
    tables: &mut dyn Tables,
    head: i64,
    some: &[i64],
    places: &HashMap<i64, usize>,
    entries: &mut Vec<Entry>,
) -> Asked<(usize, i64)> {
    let these = vec!["?"; some.len()].join(", ");
    let these = if some.is_empty() { String::new() } else { format!("AND run IN ({these})") };
    let query = format!("SELECT run, place, decision, value, u FROM value WHERE head = ?1 {these} ORDER BY run, place");
    let given: Vec<Cell> = std::iter::once(&head).chain(some).map(|number| Cell::from(*number)).collect();
    let mut first = FIRST_UNKNOWN;
    tables.each(&query, &given, &mut |row| {
        if let Some(run) = places.get(&row.get("run")?) {
            let (value, doubt): (Option<f64>, Option<f64>) = (row.get("value")?, row.get("u")?);
            first = first.min((*run, row.get("place")?));
            entries.push(Entry { run: *run, decision: row.verdict("decision")?, measured: value.zip(doubt) });
        }
        Ok(())
    })?;
    Ok(first)
}
