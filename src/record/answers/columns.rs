//! All values of many runs at once, measurand by measurand: what a study of a fleet begins with.

use super::heading::{Heading, headings};
use super::runs::{AT_ONCE, KNOWN_COLUMNS, KNOWN_NAMES, Known, complete, known};
use super::search::{Conditions, Wanted};
use super::tables::{Asked, Cell, Tables};
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
    pub heading: Heading,
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
    for heading in headings(tables)? {
        let (head, mut entries) = (heading.number, Vec::new());
        let mut first = FIRST_UNKNOWN;
        if numbers.len() <= LOOKED_UP_MAX {
            for some in numbers.chunks(AT_ONCE) {
                first = first.min(read(tables, head, some, &places, &mut entries)?);
            }
        } else {
            first = read(tables, head, &[], &places, &mut entries)?;
        }
        entries.sort_by_key(|entry| entry.run);
        if !entries.is_empty() {
            columns.push((first, Column { heading, entries }));
        }
    }
    columns.sort_by_key(|(first, _)| *first);
    let columns: Vec<Column> = columns.into_iter().map(|(_, column)| column).collect();
    let mut checks = checks(tables, &places)?;
    checks.sort_by_cached_key(|check| {
        (
            columns.iter().position(|column| column.heading.check == check.name).unwrap_or(columns.len()),
            check.name.clone(),
        )
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

/// The values of some runs, or of all that have a place where none are named. Gives run and place of the first, or
/// [`FIRST_UNKNOWN`].
fn read(
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
