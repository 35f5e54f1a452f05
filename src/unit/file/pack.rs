//! The pack and the housing of a unit file: what a pack holds, where the controller resets, what the housing stands.
//!
//! All of it is optional. Running time and margins are measured against it, and without it they have no value.

use super::{above_zero, positive, quantity};
use crate::measure::PackFacts;
use crate::quantity::Dimension;
use crate::written::Fields;

/// What is known of the pack: all of its key, or nothing.
pub(super) fn pack(file: &Fields<'_>) -> Option<PackFacts> {
    let Some(fields) = file.fields("pack", "{ nominal voltage: 7.2 V, capacity: 2200 mAh, … }") else {
        return Some(PackFacts::default());
    };
    let holds = ["nominal voltage", "capacity", "capacity uncertainty"];
    let energy =
        if holds.iter().any(|key| fields.node(key).is_some()) { energy(&fields).map(Some) } else { Some(None) };
    let brown_out = match fields.node("brown-out") {
        Some(_) => positive(&fields, "brown-out", Dimension::Voltage, "4.6 V").map(Some),
        None => Some(None),
    };
    fields.end();
    Some(PackFacts { energy: energy?, brown_out: brown_out? })
}

/// What a full pack holds, J, and the relative standard uncertainty of that.
fn energy(fields: &Fields<'_>) -> Option<(f64, f64)> {
    let voltage = positive(fields, "nominal voltage", Dimension::Voltage, "7.2 V");
    let capacity = positive(fields, "capacity", Dimension::Charge, "2200 mAh");
    let doubt = fields.need_parsed("capacity uncertainty", "3 %", |text| {
        let doubt = quantity(text, Dimension::Ratio).and_then(above_zero)?;
        if doubt > 0.5 {
            return Err(("a capacity as doubtful as this tells nothing".into(), "write at most `50 %`".into()));
        }
        Ok(doubt)
    });
    Some((voltage? * capacity?, doubt?))
}

/// The highest temperature that the housing stands for long, °C.
pub(super) fn housing(file: &Fields<'_>) -> Option<Option<f64>> {
    let Some(fields) = file.fields("housing", "{ limit: 50 °C }") else {
        return Some(None);
    };
    let limit = fields.need_parsed("limit", "50 °C", |text| quantity(text, Dimension::Temperature));
    fields.end();
    limit.map(Some)
}
