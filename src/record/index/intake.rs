//! Puts the facts of records into the tables, many at a time.

use super::facts::{Checked, Facts, Value};
use super::tables;
use crate::record::answers::tables::{of_origin, of_verdict};
use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior, params};
use std::collections::HashMap;
use time::OffsetDateTime;

/// Numbers of names, checks and heads that were met before, so that they need not be looked up again.
#[derive(Debug, Default)]
pub(super) struct Names {
    names: HashMap<String, i64>,
    looks: HashMap<(i64, String), i64>,
    heads: HashMap<[i64; 5], i64>,
    /// That of the tables: once they are made anew, all numbers are others.
    generation: i64,
}

/// A row of `value`.
struct Row {
    head: i64,
    run: i64,
    place: i64,
    decision: i64,
    value: Option<f64>,
    doubt: Option<f64>,
}

/// Takes in a batch, all of it or nothing. What is there already stays as it is.
pub(super) fn take_in(connection: &mut Connection, names: &mut Names, batch: &[Facts]) -> rusqlite::Result<()> {
    let within = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let generation = tables::generation(&within)?;
    if names.generation != generation {
        *names = Names { generation, ..Names::default() };
    }
    let mut rows = Vec::new();
    let taken = batch.iter().try_for_each(|facts| run(&within, names, facts, &mut rows));
    let done = taken.and_then(|()| values(&within, rows)).and_then(|()| within.commit());
    if done.is_err() {
        // Numbers that were given in a transaction that came to nothing.
        *names = Names::default();
    }
    done
}

/// Removes a run.
pub(super) fn forget(within: &Transaction<'_>, run: i64) -> rusqlite::Result<()> {
    for table in ["late", "part"] {
        within.prepare_cached(&format!("DELETE FROM {table} WHERE run = ?1"))?.execute([run])?;
    }
    // By look and head, of which there are few: these tables lie in their order.
    within.prepare_cached("DELETE FROM checked WHERE run = ?1 AND look IN (SELECT id FROM look)")?.execute([run])?;
    within.prepare_cached("DELETE FROM value WHERE run = ?1 AND head IN (SELECT id FROM head)")?.execute([run])?;
    within.prepare_cached("DELETE FROM run WHERE id = ?1")?.execute([run])?;
    Ok(())
}

/// The number of a serial number.
pub(super) fn serial(within: &Connection, text: &str) -> rusqlite::Result<i64> {
    let known = within.prepare_cached("SELECT id FROM serial WHERE text = ?1")?.query_row([text], |row| row.get(0));
    if let Some(id) = known.optional()? {
        return Ok(id);
    }
    within.prepare_cached("INSERT INTO serial (text) VALUES (?1)")?.insert([text])
}

fn run(within: &Connection, names: &mut Names, facts: &Facts, rows: &mut Vec<Row>) -> rusqlite::Result<()> {
    let known = &facts.run;
    let serial = serial(within, &known.serial)?;
    let optional = |names: &mut Names, text: &Option<String>| text.as_ref().map(|text| names.name(within, text));
    let model = names.name(within, &known.model)?;
    let firmware = optional(names, &known.firmware).transpose()?;
    let plan = names.name(within, &known.plan)?;
    let jig = names.name(within, &known.jig)?;
    let bench = optional(names, &known.bench).transpose()?;
    let operator = optional(names, &known.operator).transpose()?;
    let ms = |moment: OffsetDateTime| (moment.unix_timestamp_nanos() / 1_000_000) as i64;
    let inserted = within
        .prepare_cached(
            "INSERT OR IGNORE INTO run VALUES (NULL, ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)",
        )?
        .execute(params![
            serial,
            known.id,
            ms(known.started),
            ms(known.ended),
            of_verdict(known.decision),
            of_origin(known.origin),
            known.is_simulated,
            known.is_interrupted,
            model,
            firmware,
            plan,
            known.revision,
            jig,
            bench,
            operator
        ])?;
    if inserted == 0 {
        return Ok(());
    }
    let run = within.last_insert_rowid();
    for earlier in &known.late_after {
        within.prepare_cached("INSERT OR IGNORE INTO late VALUES (?1, ?2)")?.execute(params![run, earlier])?;
    }
    for part in &known.parts {
        let (name, lot) = (names.name(within, &part.name)?, names.name(within, &part.lot)?);
        within.prepare_cached("INSERT OR IGNORE INTO part VALUES (?1, ?2, ?3)")?.execute([run, name, lot])?;
    }
    let mut place = 0;
    for check in &facts.checks {
        let look = names.look(within, check)?;
        // Of two checks of one name the worse decision stands.
        within
            .prepare_cached(
                "INSERT INTO checked VALUES (?1, ?2, ?3)
                 ON CONFLICT DO UPDATE SET decision = max(decision, excluded.decision)",
            )?
            .execute([look, run, of_verdict(check.decision)])?;
        for value in &check.values {
            let head = names.head(within, look, value)?;
            let (number, doubt) = value.measured.unzip();
            rows.push(Row { head, run, place, decision: of_verdict(value.decision), value: number, doubt });
            place += 1;
        }
    }
    Ok(())
}

/// In the order in which they lie, so that neighbours are written together.
fn values(within: &Connection, mut rows: Vec<Row>) -> rusqlite::Result<()> {
    rows.sort_unstable_by_key(|row| (row.head, row.run, row.place));
    let mut insert = within.prepare_cached("INSERT INTO value VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?;
    for row in rows {
        insert.execute(params![row.head, row.run, row.place, row.decision, row.value, row.doubt])?;
    }
    Ok(())
}

impl Names {
    fn name(&mut self, within: &Connection, text: &str) -> rusqlite::Result<i64> {
        if let Some(id) = self.names.get(text) {
            return Ok(*id);
        }
        let known = within.prepare_cached("SELECT id FROM name WHERE text = ?1")?.query_row([text], |row| row.get(0));
        let id = match known.optional()? {
            Some(id) => id,
            None => within.prepare_cached("INSERT INTO name (text) VALUES (?1)")?.insert([text])?,
        };
        self.names.insert(text.to_owned(), id);
        Ok(id)
    }

    fn look(&mut self, within: &Connection, check: &Checked) -> rusqlite::Result<i64> {
        let key = (self.name(within, &check.name)?, check.if_not.join("\n"));
        if let Some(id) = self.looks.get(&key) {
            return Ok(*id);
        }
        let known = within
            .prepare_cached("SELECT id FROM look WHERE name = ?1 AND if_not = ?2")?
            .query_row(params![key.0, key.1], |row| row.get(0));
        let id = match known.optional()? {
            Some(id) => id,
            None => within
                .prepare_cached("INSERT INTO look (name, if_not) VALUES (?1, ?2)")?
                .insert(params![key.0, key.1])?,
        };
        self.looks.insert(key, id);
        Ok(id)
    }

    fn head(&mut self, within: &Connection, look: i64, value: &Value) -> rusqlite::Result<i64> {
        let mut key = [look; 5];
        for (place, text) in [&value.measurand, &value.label, &value.tolerance, &value.unit].into_iter().enumerate() {
            key[place + 1] = self.name(within, text)?;
        }
        if let Some(id) = self.heads.get(&key) {
            return Ok(*id);
        }
        let known = within
            .prepare_cached(
                "SELECT id FROM head WHERE look = ?1 AND measurand = ?2 AND label = ?3 AND tolerance = ?4 AND unit = ?5",
            )?
            .query_row(key, |row| row.get(0));
        let id = match known.optional()? {
            Some(id) => id,
            None => within
                .prepare_cached(
                    "INSERT INTO head (look, measurand, label, tolerance, unit, lower, upper)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                )?
                .insert(params![key[0], key[1], key[2], key[3], key[4], value.lower, value.upper])?,
        };
        self.heads.insert(key, id);
        Ok(id)
    }
}
