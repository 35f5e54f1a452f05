//! What many values have in common, told once for all of them.

use super::tables::{self, Asked, Tables};

/// What many values have in common.
#[derive(Debug, Clone, PartialEq)]
pub struct Heading {
    /// No other one has it.
    pub number: i64,
    pub check: String,
    pub measurand: String,
    /// The phase that the values belong to.
    pub label: String,
    /// The tolerance as the plan has it.
    pub tolerance: String,
    /// Unit of all numbers; empty for a count.
    pub unit: String,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// All of them, in an order that a rebuilt index has, too.
pub(super) fn headings(tables: &mut dyn Tables) -> Asked<Vec<Heading>> {
    let query =
        "SELECT head.id, name.text AS name, measurand.text AS measurand, label.text AS label, tolerance.text AS tolerance,
             unit.text AS unit, head.lower, head.upper
         FROM head JOIN look ON look.id = head.look JOIN name ON name.id = look.name
             JOIN name measurand ON measurand.id = head.measurand JOIN name label ON label.id = head.label
             JOIN name tolerance ON tolerance.id = head.tolerance JOIN name unit ON unit.id = head.unit
         ORDER BY measurand.text, name.text, label.text, tolerance.text, head.id";
    tables::all(tables, query, &[], |row| {
        Ok(Heading {
            number: row.get("id")?,
            check: row.get("name")?,
            measurand: row.get("measurand")?,
            label: row.get("label")?,
            tolerance: row.get("tolerance")?,
            unit: row.get("unit")?,
            lower: row.get("lower")?,
            upper: row.get("upper")?,
        })
    })
}
