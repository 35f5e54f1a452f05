//! What stands once in the store, such as names, and the numbers that stand for it.
//!
//! Numbers are given outside the transaction of the run that needs them: many benches may meet over one name, and none of them
//! has to wait for another one's files. A name that no run uses in the end does no harm.

use crate::record::index::{Facts, Value};
use postgres::types::ToSql;
use postgres::{Client, Error};
use std::collections::{BTreeSet, HashMap};

/// Numbers that were given before.
#[derive(Default)]
pub(super) struct Names {
    names: HashMap<String, i64>,
    looks: HashMap<(i64, String), i64>,
    heads: HashMap<Head, i64>,
}

/// Look, measurand, label, tolerance, unit.
type Head = [i64; 5];

impl Names {
    /// The number of a name that [`Names::meet`] met.
    pub fn name(&self, text: &str) -> i64 {
        self.names[text]
    }

    /// The number of a check and the places to look at.
    pub fn look(&self, check: &str, if_not: &[String]) -> i64 {
        self.looks[&(self.name(check), if_not.join("\n"))]
    }

    /// The number of what stands once of a value.
    pub fn head(&self, look: i64, texts: [&str; 4]) -> i64 {
        self.heads[&self.key(look, texts)]
    }

    fn key(&self, look: i64, [measurand, label, tolerance, unit]: [&str; 4]) -> Head {
        [look, self.name(measurand), self.name(label), self.name(tolerance), self.name(unit)]
    }

    /// Gives numbers to all that a run's facts name and that has none yet.
    pub fn meet(&mut self, client: &mut Client, facts: &Facts) -> Result<(), Error> {
        let run = &facts.run;
        let mut texts: BTreeSet<&str> = [&run.model, &run.plan, &run.jig].map(String::as_str).into();
        texts.extend([&run.firmware, &run.bench, &run.operator].into_iter().flatten().map(String::as_str));
        texts.extend(run.parts.iter().flat_map(|part| [part.name.as_str(), part.lot.as_str()]));
        for check in &facts.checks {
            texts.insert(&check.name);
            texts.extend(check.values.iter().flat_map(of_value));
        }
        self.meet_names(client, texts.into_iter().filter(|text| !self.names.contains_key(*text)).collect())?;
        let mut looks = BTreeSet::new();
        for check in &facts.checks {
            let key = (self.name(&check.name), check.if_not.join("\n"));
            if !self.looks.contains_key(&key) {
                looks.insert(key);
            }
        }
        self.meet_looks(client, looks)?;
        let mut heads = BTreeSet::new();
        let mut limits = HashMap::new();
        for check in &facts.checks {
            let look = self.look(&check.name, &check.if_not);
            for value in &check.values {
                let key = self.key(look, of_value(value));
                if !self.heads.contains_key(&key) && heads.insert(key) {
                    limits.insert(key, (value.lower, value.upper));
                }
            }
        }
        for key in heads {
            let id = head(client, key, limits[&key])?;
            self.heads.insert(key, id);
        }
        Ok(())
    }

    fn meet_names(&mut self, client: &mut Client, mut unknown: Vec<&str>) -> Result<(), Error> {
        // In the order of their bytes, so that two benches never wait for each other in a circle.
        let add = "INSERT INTO name (text) SELECT * FROM unnest($1::text[]) ON CONFLICT DO NOTHING";
        for is_last in [false, true] {
            if unknown.is_empty() {
                break;
            }
            for row in client.query("SELECT text, id FROM name WHERE text = ANY($1)", &[&unknown])? {
                self.names.insert(row.get(0), row.get(1));
            }
            unknown.retain(|text| !self.names.contains_key(*text));
            if !is_last && !unknown.is_empty() {
                client.execute(add, &[&unknown])?;
            }
        }
        Ok(())
    }

    fn meet_looks(&mut self, client: &mut Client, unknown: BTreeSet<(i64, String)>) -> Result<(), Error> {
        for (name, if_not) in unknown {
            let found = "SELECT id FROM look WHERE name = $1 AND if_not = $2";
            let id = number(client, found, "INSERT INTO look (name, if_not) VALUES ($1, $2)", &[&name, &if_not], &[])?;
            self.looks.insert((name, if_not), id);
        }
        Ok(())
    }
}

fn head(client: &mut Client, key: Head, (lower, upper): (Option<f64>, Option<f64>)) -> Result<i64, Error> {
    let [look, measurand, label, tolerance, unit] = &key;
    number(
        client,
        "SELECT id FROM head WHERE look = $1 AND measurand = $2 AND label = $3 AND tolerance = $4 AND unit = $5",
        "INSERT INTO head (look, measurand, label, tolerance, unit, lower, upper) VALUES ($1, $2, $3, $4, $5, $6, $7)",
        &[look, measurand, label, tolerance, unit],
        &[&lower, &upper],
    )
}

/// Measurand, label, tolerance and unit.
pub(super) fn of_value(value: &Value) -> [&str; 4] {
    [&value.measurand, &value.label, &value.tolerance, &value.unit]
}

/// The number of a serial number.
pub(super) fn serial(client: &mut Client, text: &str) -> Result<i64, Error> {
    let found = "SELECT id FROM serial WHERE text = $1";
    number(client, found, "INSERT INTO serial (text) VALUES ($1)", &[&text], &[])
}

/// A value of a statement.
type Given<'a> = &'a (dyn ToSql + Sync);

/// The number that is found by a key, or else given to it together with what more there is of it.
fn number(client: &mut Client, find: &str, add: &str, key: &[Given<'_>], more: &[Given<'_>]) -> Result<i64, Error> {
    if let Some(row) = client.query_opt(find, key)? {
        return Ok(row.get(0));
    }
    // Another bench may do the same just now: then its number is found.
    client.execute(&format!("{add} ON CONFLICT DO NOTHING"), &[key, more].concat())?;
    Ok(client.query_one(find, key)?.get(0))
}
