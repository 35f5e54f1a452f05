//! All values of many runs at once, measurand by measurand: what a study of a fleet begins with.

use super::answers::{KNOWN_COLUMNS, KNOWN_NAMES, Known, known};
use super::heal::Scope;
use super::search::Conditions;
use super::{Index, IndexError, Wanted, intake};
use crate::record::stored::Verdict;
use rusqlite::{Connection, Row, params};
use std::collections::HashMap;

/// Up to so many runs are looked up one by one; of more, whole columns are read and those of other runs passed over.
const LOOKED_UP_MAX: usize = 2_000;

/// Runs, oldest first, and their values.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Columns {
    pub runs: Vec<Known>,
    /// In the order in which the index met them first.
    pub columns: Vec<Column>,
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

impl Index {
    /// The values of every run that is wanted; checks, values and decisions that are searched for play no part.
    ///
    /// # Errors
    /// What the database says.
    pub fn columns(&mut self, wanted: &Wanted) -> Result<Columns, IndexError> {
        self.with(Scope::All, |connection| {
            let mut conditions = Conditions::of(wanted);
            conditions.text.push_str(" ORDER BY run.started, run.folder");
            let query = format!("{KNOWN_COLUMNS} FROM run {KNOWN_NAMES}");
            let numbered = |row: &Row<'_>| Ok((row.get::<_, i64>("number")?, known(connection, row)?));
            let (numbers, runs): (Vec<i64>, Vec<Known>) =
                conditions.rows(connection, &query, numbered)?.into_iter().unzip();
            let columns = heads(connection)?.into_iter().map(|(head, column)| {
                let entries = if numbers.len() <= LOOKED_UP_MAX {
                    looked_up(connection, head, &numbers)
                } else {
                    read_whole(connection, head, &numbers)
                };
                Ok(Column { entries: entries?, ..column })
            });
            let mut columns: Vec<Column> = columns.collect::<rusqlite::Result<_>>()?;
            columns.retain(|column| !column.entries.is_empty());
            Ok(Columns { runs, columns, checks: checks(connection, &numbers)? })
        })
    }
}

/// The decisions on every check. One whose places to look at were written anew stands in several looks.
fn checks(connection: &Connection, numbers: &[i64]) -> rusqlite::Result<Vec<CheckColumn>> {
    let places: HashMap<i64, usize> = numbers.iter().enumerate().map(|(place, number)| (*number, place)).collect();
    let mut query = connection.prepare_cached(
        "SELECT look.name AS number, name.text AS name, checked.run, checked.decision FROM look JOIN name ON name.id = look.name
         CROSS JOIN checked ON checked.look = look.id ORDER BY look.name, checked.run",
    )?;
    let (mut rows, mut checks, mut last) = (query.query([])?, Vec::<CheckColumn>::new(), None);
    while let Some(row) = rows.next()? {
        let Some(run) = places.get(&row.get::<_, i64>("run")?) else { continue };
        let name: i64 = row.get("number")?;
        if last != Some(name) {
            checks.push(CheckColumn { name: row.get("name")?, decisions: Vec::new() });
            last = Some(name);
        }
        if let Some(check) = checks.last_mut() {
            check.decisions.push((*run, intake::verdict(row, "decision")?));
        }
    }
    Ok(checks)
}

/// Columns without entries, as the checks were first met.
fn heads(connection: &Connection) -> rusqlite::Result<Vec<(i64, Column)>> {
    let mut query = connection.prepare_cached(
        "SELECT head.id, name.text AS name, measurand.text AS measurand, label.text AS label, tolerance.text AS tolerance,
             unit.text AS unit, head.lower, head.upper
         FROM head JOIN look ON look.id = head.look JOIN name ON name.id = look.name
             JOIN name measurand ON measurand.id = head.measurand JOIN name label ON label.id = head.label
             JOIN name tolerance ON tolerance.id = head.tolerance JOIN name unit ON unit.id = head.unit
         ORDER BY head.id",
    )?;
    let heads = query.query_map([], |row| {
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
    })?;
    heads.collect()
}

fn looked_up(connection: &Connection, head: i64, numbers: &[i64]) -> rusqlite::Result<Vec<Entry>> {
    let mut query = connection
        .prepare_cached("SELECT decision, value, u FROM value WHERE head = ?1 AND run = ?2 ORDER BY place")?;
    let mut entries = Vec::new();
    for (run, number) in numbers.iter().enumerate() {
        let mut rows = query.query(params![head, number])?;
        while let Some(row) = rows.next()? {
            entries.push(entry(row, run)?);
        }
    }
    Ok(entries)
}

fn read_whole(connection: &Connection, head: i64, numbers: &[i64]) -> rusqlite::Result<Vec<Entry>> {
    let places: HashMap<i64, usize> = numbers.iter().enumerate().map(|(place, number)| (*number, place)).collect();
    let mut query =
        connection.prepare_cached("SELECT run, decision, value, u FROM value WHERE head = ?1 ORDER BY run, place")?;
    let (mut rows, mut entries) = (query.query([head])?, Vec::new());
    while let Some(row) = rows.next()? {
        if let Some(run) = places.get(&row.get::<_, i64>("run")?) {
            entries.push(entry(row, *run)?);
        }
    }
    entries.sort_by_key(|entry| entry.run);
    Ok(entries)
}

fn entry(row: &Row<'_>, run: usize) -> rusqlite::Result<Entry> {
    let (value, doubt): (Option<f64>, Option<f64>) = (row.get("value")?, row.get("u")?);
    Ok(Entry { run, decision: intake::verdict(row, "decision")?, measured: value.zip(doubt) })
}
