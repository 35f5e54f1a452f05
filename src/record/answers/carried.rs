//! Which units carry a part lot, and what a record says of it.

use super::tables::{self, Asked, Tables};
use crate::record::stored::{Part, Verdict};

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

/// Serial numbers of which a record names the part with this lot.
pub(super) fn carriers(tables: &mut dyn Tables, part: &Part) -> Asked<Vec<String>> {
    let query =
        "SELECT DISTINCT serial.text FROM part JOIN run ON run.id = part.run JOIN serial ON serial.id = run.serial
         WHERE part.lot = (SELECT id FROM name WHERE text = ?1) AND part.name = (SELECT id FROM name WHERE text = ?2)
         ORDER BY serial.text";
    tables::texts(tables, query, &[part.lot.as_str().into(), part.name.as_str().into()])
}

/// Lots of a part that any record names.
pub(super) fn lots(tables: &mut dyn Tables, part: &str) -> Asked<Vec<String>> {
    let query = "SELECT text FROM name WHERE id IN
             (SELECT lot FROM part WHERE part.name = (SELECT id FROM name WHERE text = ?1)) ORDER BY text";
    tables::texts(tables, query, &[part.into()])
}

/// What the record of a run says of a part.
pub(super) fn said_of(tables: &mut dyn Tables, serial: &str, run: &str, part: &str) -> Asked<Said> {
    let mut said = Said::default();
    let of_run = [serial.into(), run.into()];
    // Few looks and heads, each of which leads to the run at once.
    let checks =
        "SELECT look.if_not, checked.decision FROM run JOIN serial ON serial.id = run.serial CROSS JOIN look ON true
         CROSS JOIN checked ON checked.look = look.id AND checked.run = run.id
         WHERE serial.text = ?1 AND run.folder = ?2";
    tables.each(checks, &of_run, &mut |row| {
        if is_named(part, &row.get::<String>("if_not")?) {
            said.of_part = said.of_part.max(Some(row.verdict("decision")?));
        }
        Ok(())
    })?;
    let values = "SELECT name.text AS name, look.if_not, measurand.text AS measurand, max(value.decision) AS decision
         FROM run JOIN serial ON serial.id = run.serial CROSS JOIN head ON true
         CROSS JOIN value ON value.head = head.id AND value.run = run.id AND value.decision > 0
         JOIN look ON look.id = head.look JOIN name ON name.id = look.name
         JOIN name measurand ON measurand.id = head.measurand
         WHERE serial.text = ?1 AND run.folder = ?2
         GROUP BY look.id, name.text, look.if_not, head.measurand, measurand.text ORDER BY min(value.place)";
    said.shortfalls = tables::all(tables, values, &of_run, |row| {
        Ok(Shortfall {
            check: row.get("name")?,
            measurand: row.get("measurand")?,
            decision: row.verdict("decision")?,
            is_of_part: is_named(part, &row.get::<String>("if_not")?),
        })
    })?;
    Ok(said)
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
