//! Runs as the tables have them.

use super::tables::{self, Asked, Cell, Row, Tables, Trouble};
use crate::record::stored::{Origin, Part, Verdict};
use std::collections::BTreeMap;
use time::OffsetDateTime;

/// Runs that are asked for at once.
pub(super) const AT_ONCE: usize = 500;

/// A run as the tables know it.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// Its id, which its folder has as a name.
    pub id: String,
    pub serial: String,
    pub started: OffsetDateTime,
    pub ended: OffsetDateTime,
    pub decision: Verdict,
    pub origin: Origin,
    /// No unit was tested.
    pub is_simulated: bool,
    pub is_interrupted: bool,
    pub model: String,
    pub firmware: Option<String>,
    pub plan: String,
    pub revision: u32,
    pub jig: String,
    /// The bench's name, where it has one.
    pub bench: Option<String>,
    pub operator: Option<String>,
    pub parts: Vec<Part>,
    /// Earlier runs whose ids sort after this one's: the clock was set back in between.
    pub late_after: Vec<String>,
}

/// What [`known`] reads.
pub(super) const KNOWN_COLUMNS: &str = "
SELECT run.id AS number, run.folder, serial.text AS serial, run.started, run.ended, run.decision, run.origin,
    run.simulated, run.interrupted, model.text AS model, firmware.text AS firmware, plan.text AS plan, run.revision,
    jig.text AS jig, bench.text AS bench, operator.text AS operator";
/// The names that a run refers to.
pub(super) const KNOWN_NAMES: &str = "
JOIN serial ON serial.id = run.serial JOIN name model ON model.id = run.model
    LEFT JOIN name firmware ON firmware.id = run.firmware JOIN name plan ON plan.id = run.plan
    JOIN name jig ON jig.id = run.jig LEFT JOIN name bench ON bench.id = run.bench
    LEFT JOIN name operator ON operator.id = run.operator";

/// The runs of a serial number, by their ids.
pub(super) fn of(tables: &mut dyn Tables, serial: &str) -> Asked<Vec<Known>> {
    let query = format!("{KNOWN_COLUMNS} FROM run {KNOWN_NAMES} WHERE serial.text = ?1 ORDER BY run.folder");
    let mut runs = tables::all(tables, &query, &[serial.into()], known)?;
    complete(tables, runs.iter_mut().map(|(number, run)| (*number, run)))?;
    Ok(runs.into_iter().map(|(_, run)| run).collect())
}

/// A run and its number, still without its parts and the runs that it came late after.
pub(super) fn known(row: &Row) -> Asked<(i64, Known)> {
    let run = Known {
        id: row.get("folder")?,
        serial: row.get("serial")?,
        started: moment(row, "started")?,
        ended: moment(row, "ended")?,
        decision: row.verdict("decision")?,
        origin: row.origin()?,
        is_simulated: row.get("simulated")?,
        is_interrupted: row.get("interrupted")?,
        model: row.get("model")?,
        firmware: row.get("firmware")?,
        plan: row.get("plan")?,
        revision: row.get("revision")?,
        jig: row.get("jig")?,
        bench: row.get("bench")?,
        operator: row.get("operator")?,
        parts: Vec::new(),
        late_after: Vec::new(),
    };
    Ok((row.get("number")?, run))
}

/// Adds what [`known`] leaves out, many runs at a time: a store may be far away.
pub(super) fn complete<'k>(tables: &mut dyn Tables, runs: impl Iterator<Item = (i64, &'k mut Known)>) -> Asked<()> {
    let mut by_number: BTreeMap<i64, Vec<&mut Known>> = BTreeMap::new();
    for (number, run) in runs {
        by_number.entry(number).or_default().push(run);
    }
    let numbers: Vec<Cell> = by_number.keys().map(|number| Cell::from(*number)).collect();
    for some in numbers.chunks(AT_ONCE) {
        let these = vec!["?"; some.len()].join(", ");
        let parts = format!(
            "SELECT part.run, name.text AS name, lot.text AS lot FROM part JOIN name ON name.id = part.name
             JOIN name lot ON lot.id = part.lot WHERE part.run IN ({these}) ORDER BY name.text, lot.text"
        );
        tables.each(&parts, some, &mut |row| {
            let part = Part { name: row.get("name")?, lot: row.get("lot")?, carried_on_from: None };
            let of_run = by_number.get_mut(&row.get("run")?).into_iter().flatten();
            of_run.for_each(|run| run.parts.push(part.clone()));
            Ok(())
        })?;
        let late = format!("SELECT run, earlier FROM late WHERE run IN ({these}) ORDER BY earlier");
        tables.each(&late, some, &mut |row| {
            let earlier: String = row.get("earlier")?;
            let of_run = by_number.get_mut(&row.get("run")?).into_iter().flatten();
            of_run.for_each(|run| run.late_after.push(earlier.clone()));
            Ok(())
        })?;
    }
    Ok(())
}

/// A moment as it stands in tables: ms since 1970.
pub fn of_moment(moment: OffsetDateTime) -> i64 {
    (moment.unix_timestamp_nanos() / 1_000_000) as i64
}

fn moment(row: &Row, column: &str) -> Asked<OffsetDateTime> {
    let number: i64 = row.get(column)?;
    let moment = OffsetDateTime::from_unix_timestamp_nanos(i128::from(number) * 1_000_000);
    moment.map_err(|_| Trouble::Strange(format!("`{column}` has {number}")))
}
