//! The index's tables, and how one tells whether they are of this version.
//!
//! Names that recur stand once, in `name`; what recurs of a measured value (check, measurand, reading, tolerance) stands once,
//! in `head`. A value is then two references, its decision and two numbers. Values lie together by head, so that one
//! measurand of a whole fleet is read in one go.

use rusqlite::{Connection, TransactionBehavior};

/// Version of the tables. One more with every change of them, and of what is taken in.
const VERSION: i64 = 2;

/// `serial.listed`: when its folder was last changed, as seen when all in it had been taken in; ns since 1970.
/// `run.started`, `run.ended`: ms since 1970. `late`: earlier runs whose ids sort after the run's own, since a clock was set back.
const TABLES: &str = "
CREATE TABLE name (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);
CREATE TABLE serial (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE, listed INTEGER);
CREATE TABLE run (
    id INTEGER PRIMARY KEY, serial INTEGER NOT NULL, folder TEXT NOT NULL, started INTEGER NOT NULL,
    ended INTEGER NOT NULL, decision INTEGER NOT NULL, origin INTEGER NOT NULL, simulated INTEGER NOT NULL, interrupted INTEGER NOT NULL,
    model INTEGER NOT NULL, firmware INTEGER, plan INTEGER NOT NULL, revision INTEGER NOT NULL,
    jig INTEGER NOT NULL, bench INTEGER, operator INTEGER, UNIQUE (serial, folder));
CREATE TABLE late (run INTEGER NOT NULL, earlier TEXT NOT NULL, PRIMARY KEY (run, earlier)) WITHOUT ROWID;
CREATE TABLE part (run INTEGER NOT NULL, name INTEGER NOT NULL, lot INTEGER NOT NULL, PRIMARY KEY (run, name, lot)) WITHOUT ROWID;
CREATE INDEX part_lot ON part (lot, name, run);
CREATE TABLE look (id INTEGER PRIMARY KEY, name INTEGER NOT NULL, if_not TEXT NOT NULL, UNIQUE (name, if_not));
CREATE TABLE checked (look INTEGER NOT NULL, run INTEGER NOT NULL, decision INTEGER NOT NULL, PRIMARY KEY (look, run)) WITHOUT ROWID;
CREATE TABLE head (
    id INTEGER PRIMARY KEY, look INTEGER NOT NULL, measurand INTEGER NOT NULL, label INTEGER NOT NULL,
    tolerance INTEGER NOT NULL, unit INTEGER NOT NULL, lower REAL, upper REAL,
    UNIQUE (measurand, look, label, tolerance, unit));
CREATE TABLE value (
    head INTEGER NOT NULL, run INTEGER NOT NULL, place INTEGER NOT NULL, decision INTEGER NOT NULL, value REAL, u REAL,
    PRIMARY KEY (head, run, place)) WITHOUT ROWID;
";

/// Makes the tables of an empty database, and makes those of another version anew: then its version is given.
pub(super) fn make_sure(connection: &mut Connection) -> rusqlite::Result<Option<i64>> {
    if version(connection)? == VERSION {
        return Ok(None);
    }
    let within = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Another process may have been faster.
    let found = version(&within)?;
    if found == VERSION {
        return Ok(None);
    }
    let is_new: bool = within.query_one("SELECT count(*) = 0 FROM sqlite_schema", [], |row| row.get(0))?;
    fill(&within)?;
    within.commit()?;
    Ok((!is_new).then_some(found))
}

/// Empties the database.
pub(super) fn make_anew(connection: &mut Connection) -> rusqlite::Result<()> {
    let within = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    fill(&within)?;
    within.commit()
}

/// Whether every page is what it has to be.
pub(super) fn check(connection: &Connection) -> rusqlite::Result<()> {
    let said: String = connection.query_one("PRAGMA quick_check(1)", [], |row| row.get(0))?;
    let corrupt = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_CORRUPT);
    if said == "ok" { Ok(()) } else { Err(rusqlite::Error::SqliteFailure(corrupt, Some(said))) }
}

fn fill(within: &Connection) -> rusqlite::Result<()> {
    let mut tables =
        within.prepare("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")?;
    let names: Vec<String> = tables.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?;
    drop(tables);
    for name in names {
        within.execute_batch(&format!("DROP TABLE \"{}\"", name.replace('"', "\"\"")))?;
    }
    within.execute_batch(TABLES)?;
    within.pragma_update(None, "user_version", VERSION)
}

fn version(connection: &Connection) -> rusqlite::Result<i64> {
    connection.pragma_query_value(None, "user_version", |row| row.get(0))
}

/// Changes whenever the tables are made anew: what was found out before does not hold then.
pub(super) fn generation(connection: &Connection) -> rusqlite::Result<i64> {
    connection.pragma_query_value(None, "schema_version", |row| row.get(0))
}
