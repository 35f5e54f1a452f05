//! What the index is asked.

use super::heal::Scope;
use super::{Index, IndexError, intake};
use crate::record::stored::{Origin, Part, Verdict};
use rusqlite::{Connection, Row};
use time::OffsetDateTime;

/// A run as the index knows it.
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

impl Index {
    /// The runs of a serial number, by their ids.
    ///
    /// # Errors
    /// What the database says.
    pub fn runs_of(&mut self, serial: &str) -> Result<Vec<Known>, IndexError> {
        self.with(Scope::Serial(serial), |connection| {
            let query = format!("{KNOWN_COLUMNS} FROM run {KNOWN_NAMES} WHERE serial.text = ?1 ORDER BY run.folder");
            let mut query = connection.prepare(&query)?;
            let runs = query.query_map([serial], |row| known(connection, row))?;
            runs.collect()
        })
    }

    /// Serial numbers that have runs.
    ///
    /// # Errors
    /// What the database says.
    pub fn serials(&mut self) -> Result<Vec<String>, IndexError> {
        self.with(Scope::All, |connection| {
            let query = "SELECT text FROM serial WHERE id IN (SELECT serial FROM run) ORDER BY text";
            connection.prepare(query)?.query_map([], |row| row.get(0))?.collect()
        })
    }
}

pub(super) fn known(connection: &Connection, row: &Row<'_>) -> rusqlite::Result<Known> {
    let number: i64 = row.get("number")?;
    let mut parts = connection.prepare_cached(
        "SELECT name.text, lot.text FROM part JOIN name ON name.id = part.name JOIN name lot ON lot.id = part.lot
         WHERE part.run = ?1 ORDER BY name.text, lot.text",
    )?;
    let parts =
        parts.query_map([number], |row| Ok(Part { name: row.get(0)?, lot: row.get(1)?, carried_on_from: None }))?;
    let mut late = connection.prepare_cached("SELECT earlier FROM late WHERE run = ?1 ORDER BY earlier")?;
    let late = late.query_map([number], |row| row.get(0))?;
    Ok(Known {
        id: row.get("folder")?,
        serial: row.get("serial")?,
        started: moment(row, "started")?,
        ended: moment(row, "ended")?,
        decision: intake::verdict(row, "decision")?,
        origin: intake::origin(row)?,
        is_simulated: row.get("simulated")?,
        is_interrupted: row.get("interrupted")?,
        model: row.get("model")?,
        firmware: row.get("firmware")?,
        plan: row.get("plan")?,
        revision: row.get("revision")?,
        jig: row.get("jig")?,
        bench: row.get("bench")?,
        operator: row.get("operator")?,
        parts: parts.collect::<Result<_, _>>()?,
        late_after: late.collect::<Result<_, _>>()?,
    })
}

/// The moment of a column, which has ms since 1970.
fn moment(row: &Row<'_>, column: &str) -> rusqlite::Result<OffsetDateTime> {
    let number: i64 = row.get(column)?;
    let moment = OffsetDateTime::from_unix_timestamp_nanos(i128::from(number) * 1_000_000);
    moment.map_err(|_| rusqlite::Error::IntegralValueOutOfRange(0, number))
}
