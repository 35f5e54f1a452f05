//! The tables of the store: which version they have, and how an older one becomes this one.
//!
//! Each version is a text of its own that is carried out after the one before, all of it or nothing, and noted in the table
//! `version`. Only who owns the database does this ([`prepare`]); a bench that finds another version says what to do.

use super::StoreError;
use postgres::Client;

/// What each version does, the first one first.
const VERSIONS: [&str; 1] = [include_str!("schema-1.sql")];
const RIGHTS: &str = include_str!("bench-role.sql");
/// The schema inside the database, so that another program's tables are left alone.
const SCHEMA: &str = "railproof";
/// Held while tables are made, so that two who prepare at once do not meet. Any number does that nobody else uses.
const PREPARING: i64 = 0x7261_696c_7072_6f66;

/// The version that this railproof reads and writes.
pub const VERSION: i64 = VERSIONS.len() as i64;

/// Has all names found in the store's schema.
pub(super) fn enter(client: &mut Client) -> Result<(), postgres::Error> {
    client.batch_execute(&format!("SET search_path = {SCHEMA}, pg_temp"))
}

/// Whether the tables are those of this version.
pub(super) fn check(client: &mut Client) -> Result<(), StoreError> {
    match version(client)? {
        Some(VERSION) => Ok(()),
        found => Err(StoreError::Version { found, wanted: VERSION }),
    }
}

/// Makes the tables, or brings those of an older version up to this one; then gives the bench role its rights. Gives the
/// version before.
pub(super) fn prepare(client: &mut Client) -> Result<Option<i64>, StoreError> {
    let mut within = client.transaction()?;
    within.execute("SELECT pg_advisory_xact_lock($1)", &[&PREPARING])?;
    within.batch_execute(&format!("CREATE SCHEMA IF NOT EXISTS {SCHEMA}"))?;
    within.batch_execute(
        "CREATE TABLE IF NOT EXISTS version (version BIGINT PRIMARY KEY, since TIMESTAMPTZ NOT NULL DEFAULT now())",
    )?;
    let found: Option<i64> = within.query_one("SELECT max(version) FROM version", &[])?.get(0);
    if found.is_some_and(|found| found > VERSION) {
        return Err(StoreError::Version { found, wanted: VERSION });
    }
    for (version, text) in (1_i64..).zip(VERSIONS).skip(found.unwrap_or(0) as usize) {
        within.batch_execute(text)?;
        within.execute("INSERT INTO version (version) VALUES ($1)", &[&version])?;
    }
    within.batch_execute(RIGHTS)?;
    within.commit()?;
    Ok(found)
}

fn version(client: &mut Client) -> Result<Option<i64>, StoreError> {
    let is_there = "SELECT to_regclass($1) IS NOT NULL";
    if !client.query_one(is_there, &[&format!("{SCHEMA}.version")])?.get::<_, bool>(0) {
        return Ok(None);
    }
    Ok(client.query_one("SELECT max(version) FROM version", &[])?.get(0))
}
