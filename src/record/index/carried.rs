//! Which units carry a part lot, and what a record says of it.

use super::heal::Scope;
use super::{Index, IndexError, intake};
use crate::record::stored::{Part, Verdict};
use rusqlite::params;

/// What a record says of one part, and of all that it does not say conforms.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Said {
    /// The worst decision of the checks whose plan says to look at the part when they are not met; none where no check does.
    pub of_part: Option<Verdict>,
    /// Requirements that do not conform, each once.
    pub shortfalls: Vec<Shortfall>,
}

/// A requirement that does not conform.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shortfall {
    pub check: String,
    pub measurand: String,
    pub decision: Verdict,
    /// Whether the plan says to look at the part then.
    pub is_of_part: bool,
}

impl Index {
    /// Serial numbers of which a record names the part with this lot.
    ///
    /// # Errors
    /// What the database says.
    pub fn carriers(&mut self, part: &Part) -> Result<Vec<String>, IndexError> {
        self.with(Scope::All, |connection| {
            let mut query = connection.prepare(
                "SELECT DISTINCT serial.text FROM part JOIN run ON run.id = part.run JOIN serial ON serial.id = run.serial
                 WHERE part.lot = (SELECT id FROM name WHERE text = ?1) AND part.name = (SELECT id FROM name WHERE text = ?2)
                 ORDER BY serial.text",
            )?;
            query.query_map([&part.lot, &part.name], |row| row.get(0))?.collect()
        })
    }

    /// Lots of a part that any record names.
    ///
    /// # Errors
    /// What the database says.
    pub fn lots(&mut self, part: &str) -> Result<Vec<String>, IndexError> {
        self.with(Scope::All, |connection| {
            let mut query = connection.prepare(
                "SELECT text FROM name WHERE id IN
                     (SELECT lot FROM part WHERE part.name = (SELECT id FROM name WHERE text = ?1)) ORDER BY text",
            )?;
            query.query_map([part], |row| row.get(0))?.collect()
        })
    }

    /// What the record of a run says of a part.
    ///
    /// # Errors
    /// What the database says.
    pub fn said_of(&mut self, serial: &str, run: &str, part: &str) -> Result<Said, IndexError> {
        self.with(Scope::Serial(serial), |connection| {
            let mut said = Said::default();
            // Few looks and heads, each of which leads to the run at once.
            let mut checks = connection.prepare_cached(
                "SELECT look.if_not, checked.decision FROM run JOIN serial ON serial.id = run.serial CROSS JOIN look
                 CROSS JOIN checked ON checked.look = look.id AND checked.run = run.id
                 WHERE serial.text = ?1 AND run.folder = ?2",
            )?;
            let mut rows = checks.query(params![serial, run])?;
            while let Some(row) = rows.next()? {
                let if_not: String = row.get("if_not")?;
                if is_named(part, &if_not) {
                    said.of_part = said.of_part.max(Some(intake::verdict(row, "decision")?));
                }
            }
            let mut values = connection.prepare_cached(
                "SELECT name.text AS name, look.if_not, measurand.text AS measurand, max(value.decision) AS decision
                 FROM run JOIN serial ON serial.id = run.serial CROSS JOIN head
                 CROSS JOIN value ON value.head = head.id AND value.run = run.id AND value.decision > 0
                 JOIN look ON look.id = head.look JOIN name ON name.id = look.name
                 JOIN name measurand ON measurand.id = head.measurand
                 WHERE serial.text = ?1 AND run.folder = ?2 GROUP BY look.id, head.measurand ORDER BY min(value.place)",
            )?;
            let mut rows = values.query(params![serial, run])?;
            while let Some(row) = rows.next()? {
                let if_not: String = row.get("if_not")?;
                said.shortfalls.push(Shortfall {
                    check: row.get("name")?,
                    measurand: row.get("measurand")?,
                    decision: intake::verdict(row, "decision")?,
                    is_of_part: is_named(part, &if_not),
                });
            }
            Ok(said)
        })
    }
}

/// Whether the places to look at name a part: `belt tension` names the belt, `beltway` does not.
fn is_named(part: &str, places: &str) -> bool {
    let (part, places) = (part.to_lowercase(), places.to_lowercase());
    places.match_indices(&part).any(|(at, found)| {
        let is_edge = |neighbour: Option<char>| neighbour.is_none_or(|neighbour| !neighbour.is_alphanumeric());
        is_edge(places[..at].chars().next_back()) && is_edge(places[at + found.len()..].chars().next())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_name_a_part_as_a_word() {
        assert!(is_named("belt", "driver current setting\nbelt tension\npack lot"));
        assert!(is_named("Belt", "tension of the belt"));
        assert!(!is_named("belt", "beltway") && !is_named("belt", "") && !is_named("pack", "unpacked"));
        assert!(is_named("end stop", "Left end stop, its wire") && is_named("ß", "die ß"));
    }
}
