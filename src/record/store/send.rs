//! One run into the store: all of it in one transaction, under its id.

use super::names::{of_value, serial};
use super::parcel::Parcel;
use super::{Store, StoreError};
use crate::record::answers::of_moment;
use crate::record::answers::tables::{of_origin, of_verdict};
use postgres::{Client, Error, Statement};
use std::collections::BTreeMap;

/// What is carried out for every run.
pub(super) struct Statements {
    run: Statement,
    seal: Statement,
    late: Statement,
    part: Statement,
    checked: Statement,
    value: Statement,
    file: Statement,
    content: Statement,
}

impl Statements {
    fn prepare(client: &mut Client) -> Result<Self, Error> {
        Ok(Self {
            run: client.prepare(
                "INSERT INTO run (serial, folder, started, ended, decision, origin, simulated, interrupted, model, firmware,
                     plan, revision, jig, bench, operator)
                 VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)
                 ON CONFLICT DO NOTHING RETURNING id",
            )?,
            seal: client.prepare(
                "INSERT INTO seal (run, bench, chain, counter, head, key, sealed) VALUES ($1, $2, $3, $4, $5, $6, $7)",
            )?,
            late: client.prepare("INSERT INTO late (run, earlier) SELECT $1, * FROM unnest($2::text[])")?,
            part: client.prepare(
                "INSERT INTO part (run, name, lot) SELECT $1, * FROM unnest($2::bigint[], $3::bigint[])
                 ON CONFLICT DO NOTHING",
            )?,
            checked: client.prepare(
                "INSERT INTO checked (run, look, decision) SELECT $1, * FROM unnest($2::bigint[], $3::bigint[])",
            )?,
            value: client.prepare(
                "INSERT INTO value (run, head, place, decision, value, u) SELECT $1, * FROM unnest($2::bigint[], $3::bigint[],
                     $4::bigint[], $5::double precision[], $6::double precision[])",
            )?,
            file: client.prepare(
                "INSERT INTO file (run, name, sha256, bytes) SELECT $1, * FROM unnest($2::text[], $3::text[], $4::bigint[])",
            )?,
            content: client.prepare(
                "INSERT INTO content (sha256, bytes) SELECT * FROM unnest($1::text[], $2::bytea[]) ON CONFLICT DO NOTHING",
            )?,
        })
    }
}

impl Store {
    /// Brings a run. Whether it is new: one that is there already stays as it is.
    pub(super) fn send(&mut self, parcel: &Parcel) -> Result<bool, StoreError> {
        let run = &parcel.facts.run;
        self.names.meet(&mut self.client, &parcel.facts)?;
        let serial = serial(&mut self.client, &run.serial)?;
        let statements = match self.statements.take() {
            Some(statements) => statements,
            None => Statements::prepare(&mut self.client)?,
        };
        let statements = self.statements.insert(statements);
        let names = &self.names;
        let name = |text: &String| names.name(text);
        let mut within = self.client.transaction()?;
        let inserted = within.query_opt(
            &statements.run,
            &[
                &serial,
                &run.id,
                &of_moment(run.started),
                &of_moment(run.ended),
                &of_verdict(run.decision),
                &of_origin(run.origin),
                &i64::from(run.is_simulated),
                &i64::from(run.is_interrupted),
                &name(&run.model),
                &run.firmware.as_ref().map(name),
                &name(&run.plan),
                &i64::from(run.revision),
                &name(&run.jig),
                &run.bench.as_ref().map(name),
                &run.operator.as_ref().map(name),
            ],
        )?;
        let Some(number) = inserted.map(|row| row.get::<_, i64>(0)) else { return Ok(false) };
        let seal = &parcel.seal;
        let counter = i64::try_from(seal.counter).unwrap_or(i64::MAX);
        within.execute(
            &statements.seal,
            &[&number, &seal.bench, &seal.chain, &counter, &parcel.head, &seal.key, &seal.sealed],
        )?;
        if !run.late_after.is_empty() {
            within.execute(&statements.late, &[&number, &run.late_after])?;
        }
        if !run.parts.is_empty() {
            let (parts, lots): (Vec<i64>, Vec<i64>) =
                run.parts.iter().map(|part| (name(&part.name), name(&part.lot))).unzip();
            within.execute(&statements.part, &[&number, &parts, &lots])?;
        }
        let rows = Rows::of(parcel, names);
        within.execute(&statements.checked, &[&number, &rows.looks, &rows.looked])?;
        within.execute(
            &statements.value,
            &[&number, &rows.heads, &rows.places, &rows.decisions, &rows.values, &rows.doubts],
        )?;
        let mut contents: BTreeMap<&str, &[u8]> = BTreeMap::new();
        for file in &parcel.files {
            contents.extend(file.content.as_ref().map(|content| (file.sha256.as_str(), content.as_slice())));
        }
        // In the order of their digests, so that two benches never wait for each other in a circle.
        let (digests, bytes): (Vec<&str>, Vec<&[u8]>) = contents.into_iter().unzip();
        within.execute(&statements.content, &[&digests, &bytes])?;
        let files = parcel.files.iter();
        let (file_names, sealed): (Vec<&str>, Vec<&str>) =
            files.clone().map(|file| (file.name.as_str(), file.sha256.as_str())).unzip();
        let lengths: Vec<i64> = files.map(|file| i64::try_from(file.bytes).unwrap_or(i64::MAX)).collect();
        within.execute(&statements.file, &[&number, &file_names, &sealed, &lengths])?;
        within.commit()?;
        Ok(true)
    }
}

/// Checks and values of a run in columns.
#[derive(Default)]
struct Rows {
    looks: Vec<i64>,
    looked: Vec<i64>,
    heads: Vec<i64>,
    places: Vec<i64>,
    decisions: Vec<i64>,
    values: Vec<Option<f64>>,
    doubts: Vec<Option<f64>>,
}

impl Rows {
    fn of(parcel: &Parcel, names: &super::Names) -> Self {
        let mut rows = Self::default();
        // Of two checks of one name the worse decision stands.
        let mut checked: BTreeMap<i64, i64> = BTreeMap::new();
        for check in &parcel.facts.checks {
            let look = names.look(&check.name, &check.if_not);
            let decision = checked.entry(look).or_default();
            *decision = of_verdict(check.decision).max(*decision);
            for value in &check.values {
                rows.heads.push(names.head(look, of_value(value)));
                rows.places.push(rows.places.len() as i64);
                rows.decisions.push(of_verdict(value.decision));
                let (number, doubt) = value.measured.unzip();
                rows.values.push(number);
                rows.doubts.push(doubt);
            }
        }
        (rows.looks, rows.looked) = checked.into_iter().unzip();
        rows
    }
}
