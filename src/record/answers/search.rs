//! Runs, checks and values that are searched for.
//!
//! A value is looked for head by head: there are few of them for one measurand, each has its own unit, and its values lie
//! together.

use super::runs::{KNOWN_COLUMNS, KNOWN_NAMES, Known, complete, known, of_moment};
use super::tables::{self, Asked, Cell, Row, Tables, of_verdict};
use crate::quantity::Unit;
use crate::record::recorder::tidy;
use crate::record::stored::{Part, Verdict};
use time::OffsetDateTime;

/// What is searched for. What is left open may be anything.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    pub model: Option<String>,
    pub firmware: Option<String>,
    pub plan: Option<String>,
    /// The plan's revision.
    pub revision: Option<u32>,
    pub serial: Option<String>,
    /// Name of the bench or of its jig.
    pub bench: Option<String>,
    pub operator: Option<String>,
    /// A part and its lot, as the record has them.
    pub part: Option<Part>,
    /// Began then or later.
    pub from: Option<OffsetDateTime>,
    /// Began before.
    pub before: Option<OffsetDateTime>,
    /// Has a check of this name.
    pub check: Option<String>,
    /// Has a value within these limits, in that check if one is named.
    pub value: Option<WantedValue>,
    /// The decision on that value; without one on that check; without one on the unit.
    pub decision: Option<Verdict>,
}

/// A measurand and the limits of its value in SI.
#[derive(Debug, Clone, PartialEq)]
pub struct WantedValue {
    pub measurand: String,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// A run, with the check or the value that was searched for.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    pub run: Known,
    /// Name and decision.
    pub check: Option<(String, Verdict)>,
    pub value: Option<FoundValue>,
}

/// A measured value.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundValue {
    pub measurand: String,
    pub label: String,
    pub tolerance: String,
    pub unit: String,
    pub value: f64,
    pub standard_uncertainty: f64,
    pub decision: Verdict,
}

/// By what names runs are searched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Named {
    Model,
    Firmware,
    Plan,
    Bench,
    Operator,
    Check,
}

/// What of a measurand stands once.
struct Head {
    id: i64,
    check: String,
    check_id: i64,
    measurand: String,
    label: String,
    tolerance: String,
    unit: String,
}

/// What is searched for, oldest first.
pub(super) fn find(tables: &mut dyn Tables, wanted: &Wanted) -> Asked<Vec<Found>> {
    let mut found = searched(tables, wanted, (KNOWN_COLUMNS, KNOWN_NAMES), |row, of| {
        let (place, check, value) = match of {
            Of::Run => (0, None, None),
            Of::Check(check) => (0, Some((check.to_owned(), row.verdict("check_decision")?)), None),
            Of::Value(head) => {
                let check = (head.check.clone(), row.verdict("check_decision")?);
                (row.get::<i64>("place")?, Some(check), Some(value(row, head)?))
            }
        };
        let (number, run) = known(row)?;
        Ok((place, number, Found { run, check, value }))
    })?;
    if wanted.value.is_some() {
        found.sort_by_cached_key(|(place, _, found)| (found.run.started, found.run.id.clone(), *place));
    }
    complete(tables, found.iter_mut().map(|(_, number, found)| (*number, &mut found.run)))?;
    Ok(found.into_iter().map(|(.., found)| found).collect())
}

/// All names that there are.
pub(super) fn names(tables: &mut dyn Tables, named: Named) -> Asked<Vec<String>> {
    let ids = match named {
        Named::Model => "SELECT model FROM run",
        Named::Firmware => "SELECT firmware FROM run",
        Named::Plan => "SELECT plan FROM run",
        Named::Bench => "SELECT bench FROM run UNION SELECT jig FROM run",
        Named::Operator => "SELECT operator FROM run",
        Named::Check => "SELECT name FROM look",
    };
    tables::texts(tables, &format!("SELECT text FROM name WHERE id IN ({ids}) ORDER BY text"), &[])
}

/// Conditions on a run, and what stands for their question marks.
#[derive(Default)]
pub(super) struct Conditions {
    pub text: String,
    values: Vec<Cell>,
}

impl Conditions {
    pub fn of(wanted: &Wanted) -> Self {
        let mut conditions = Self::default();
        let names = [
            ("model", &wanted.model),
            ("firmware", &wanted.firmware),
            ("plan", &wanted.plan),
            ("operator", &wanted.operator),
        ];
        for (column, name) in names {
            if let Some(name) = name {
                let is_named = format!("run.{column} = (SELECT id FROM name WHERE text = ?)");
                conditions.add(&is_named, [name.as_str().into()]);
            }
        }
        if let Some(revision) = wanted.revision {
            conditions.add("run.revision = ?", [i64::from(revision).into()]);
        }
        if let Some(serial) = &wanted.serial {
            conditions.add("run.serial = (SELECT id FROM serial WHERE text = ?)", [serial.as_str().into()]);
        }
        if let Some(bench) = &wanted.bench {
            let is_named = "(SELECT id FROM name WHERE text = ?) IN (run.bench, run.jig)";
            conditions.add(is_named, [bench.as_str().into()]);
        }
        if let Some(from) = wanted.from {
            conditions.add("run.started >= ?", [of_moment(from).into()]);
        }
        if let Some(before) = wanted.before {
            conditions.add("run.started < ?", [of_moment(before).into()]);
        }
        if let Some(Part { name, lot, .. }) = &wanted.part {
            let carries = "EXISTS (SELECT 1 FROM part WHERE part.run = run.id
                AND part.name = (SELECT id FROM name WHERE text = ?) AND part.lot = (SELECT id FROM name WHERE text = ?))";
            conditions.add(carries, [name.as_str().into(), lot.as_str().into()]);
        }
        conditions
    }

    pub fn add(&mut self, condition: &str, values: impl IntoIterator<Item = Cell>) {
        self.text.push_str(if self.text.is_empty() { "WHERE " } else { " AND " });
        self.text.push_str(condition);
        self.values.extend(values);
    }

    fn decided(&mut self, column: &str, decision: Option<Verdict>) {
        if let Some(decision) = decision {
            self.add(&format!("{column} = ?"), [of_verdict(decision).into()]);
        }
    }

    /// The rows of a query that they hold for.
    pub fn rows<T>(&self, tables: &mut dyn Tables, query: &str, row: impl FnMut(&Row) -> Asked<T>) -> Asked<Vec<T>> {
        tables::all(tables, &format!("{query} {}", self.text), &self.values, row)
    }
}

/// What a row is of.
enum Of<'h> {
    Run,
    /// The check of this name.
    Check(&'h str),
    Value(&'h Head),
}

/// The numbers of the runs of which something is found, each behind that of its serial number; some more than once.
pub(super) fn numbers(tables: &mut dyn Tables, wanted: &Wanted) -> Asked<Vec<(i64, i64)>> {
    searched(tables, wanted, ("SELECT run.serial, run.id", ""), |row, _| Ok((row.get("serial")?, row.get("id")?)))
}

/// What is searched for, oldest first within a measurand's head. `asked`: columns, and the tables that they take beside
/// those that are searched.
fn searched<T>(
    tables: &mut dyn Tables,
    wanted: &Wanted,
    asked: (&str, &str),
    mut row: impl FnMut(&Row, Of<'_>) -> Asked<T>,
) -> Asked<Vec<T>> {
    let (columns, names) = asked;
    let mut conditions = Conditions::of(wanted);
    let query = match (&wanted.value, &wanted.check) {
        (Some(value), _) => return values(tables, wanted, value, asked, row),
        (None, Some(check)) => {
            conditions.add("look.name = (SELECT id FROM name WHERE text = ?)", [check.as_str().into()]);
            conditions.decided("checked.decision", wanted.decision);
            // A cross join is carried out in the order in which it is written.
            format!(
                "{columns}, checked.decision AS check_decision FROM look CROSS JOIN checked ON checked.look = look.id
                 CROSS JOIN run ON run.id = checked.run {names}"
            )
        }
        (None, None) => {
            conditions.decided("run.decision", wanted.decision);
            format!("{columns} FROM run {names}")
        }
    };
    conditions.text.push_str(" ORDER BY run.started, run.folder");
    conditions.rows(tables, &query, |found| row(found, wanted.check.as_deref().map_or(Of::Run, Of::Check)))
}

fn values<T>(
    tables: &mut dyn Tables,
    wanted: &Wanted,
    value: &WantedValue,
    (columns, names): (&str, &str),
    mut row: impl FnMut(&Row, Of<'_>) -> Asked<T>,
) -> Asked<Vec<T>> {
    let query = format!(
        "{columns}, value.place, value.value, value.u, value.decision AS value_decision,
             (SELECT decision FROM checked WHERE checked.look = ?1 AND checked.run = run.id) AS check_decision
         FROM value CROSS JOIN run ON run.id = value.run {names}"
    );
    let mut found = Vec::new();
    for head in heads(tables, &value.measurand)? {
        let is_asked_for = wanted.check.as_ref().is_none_or(|check| *check == head.check);
        // A unit that no version of ours wrote cannot be compared.
        let Some(unit) = Unit::named(&head.unit).filter(|_| is_asked_for) else { continue };
        let mut conditions = Conditions { values: vec![head.check_id.into()], ..Conditions::default() };
        conditions.add("value.head = ?2", [head.id.into()]);
        let of_run = Conditions::of(wanted);
        conditions.add(of_run.text.strip_prefix("WHERE ").unwrap_or("true"), of_run.values);
        conditions.decided("value.decision", wanted.decision);
        for (sign, limit) in [(">=", value.lower), ("<=", value.upper)] {
            if let Some(limit) = limit {
                conditions.add(&format!("value.value {sign} ?"), [tidy(unit.from_si(limit)).into()]);
            }
        }
        conditions.add("value.value IS NOT NULL", []);
        found.extend(conditions.rows(tables, &query, |found| row(found, Of::Value(&head)))?);
    }
    Ok(found)
}

fn value(row: &Row, head: &Head) -> Asked<FoundValue> {
    Ok(FoundValue {
        measurand: head.measurand.clone(),
        label: head.label.clone(),
        tolerance: head.tolerance.clone(),
        unit: head.unit.clone(),
        value: row.get("value")?,
        standard_uncertainty: row.get("u")?,
        decision: row.verdict("value_decision")?,
    })
}

fn heads(tables: &mut dyn Tables, measurand: &str) -> Asked<Vec<Head>> {
    let query = "SELECT head.id, head.look, name.text AS name, label.text AS label, tolerance.text AS tolerance, unit.text AS unit
         FROM head JOIN look ON look.id = head.look JOIN name ON name.id = look.name JOIN name label ON label.id = head.label
             JOIN name tolerance ON tolerance.id = head.tolerance JOIN name unit ON unit.id = head.unit
         WHERE head.measurand = (SELECT id FROM name WHERE text = ?1)";
    tables::all(tables, query, &[measurand.into()], |row| {
        Ok(Head {
            id: row.get("id")?,
            check: row.get("name")?,
            check_id: row.get("look")?,
            measurand: measurand.to_owned(),
            label: row.get("label")?,
            tolerance: row.get("tolerance")?,
            unit: row.get("unit")?,
        })
    })
}
