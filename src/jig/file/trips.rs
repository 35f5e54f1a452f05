//! Trips: limits that stop a run at once, whatever its plan asks for. They protect bench and unit; they judge nothing, so
//! they stand well beyond what any requirement allows. Where a file says nothing, the usual ones hold: there is no jig
//! without.

use crate::quantity::{Dimension, Tolerance};
use crate::written::{Fields, Mistake};

/// The limits of a jig, in SI; temperatures in °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trips {
    /// Highest current out of the pack, A.
    pub pack_current_max: f64,
    /// Lowest voltage of the pack while it feeds the unit, V.
    pub pack_voltage_min: f64,
    /// Highest temperature of the motor's case, °C.
    pub motor_temperature_max: f64,
    /// Highest temperature of the housing at the motor mount, °C.
    pub housing_temperature_max: f64,
    /// How far the motor may go on towards an end whose switch is closed, m.
    pub overrun_max: f64,
    /// How long the unit may stand still while it is told to move, s; added to the pause of a crawl.
    pub standstill_max: f64,
    /// How long the motor may be stepped after the unit was told to stop, s; added to the time that braking takes.
    pub run_on_max: f64,
}

impl Default for Trips {
    /// Those of a small drive on a two-cell pack: cells are harmed below 2.5 V, insulation of class B stands 130 °C inside
    /// the motor, printed PLA gives way near 60 °C (common practice).
    fn default() -> Self {
        Self {
            pack_current_max: 5.0,
            pack_voltage_min: 5.0,
            motor_temperature_max: 95.0,
            housing_temperature_max: 60.0,
            overrun_max: 8e-3,
            standstill_max: 2.0,
            run_on_max: 1.0,
        }
    }
}

/// What a jig file says of them.
pub(super) fn trips(file: &Fields<'_>) -> Option<Trips> {
    let usual = Trips::default();
    let Some(fields) = file.fields("trips", "{ pack current: at most 5 A, pack voltage: at least 5 V }") else {
        return file.node("trips").is_none().then_some(usual);
    };
    let limit = |key, example, dimension, usual| {
        if fields.node(key).is_none() {
            return Some(usual);
        }
        fields.need_parsed(key, example, |text: &str| one_limit(text, dimension, example))
    };
    let pack_current_max = limit("pack current", "at most 5 A", Dimension::Current, usual.pack_current_max);
    let pack_voltage_min = limit("pack voltage", "at least 5 V", Dimension::Voltage, usual.pack_voltage_min);
    let heat = Dimension::Temperature;
    let motor_temperature_max = limit("motor temperature", "at most 95 °C", heat, usual.motor_temperature_max);
    let housing_temperature_max = limit("housing temperature", "at most 60 °C", heat, usual.housing_temperature_max);
    let overrun_max = limit("overrun", "at most 8 mm", Dimension::Length, usual.overrun_max);
    let standstill_max = limit("standstill", "at most 2 s", Dimension::Time, usual.standstill_max);
    let run_on_max = limit("run-on", "at most 1 s", Dimension::Time, usual.run_on_max);
    fields.end();
    Some(Trips {
        pack_current_max: pack_current_max?,
        pack_voltage_min: pack_voltage_min?,
        motor_temperature_max: motor_temperature_max?,
        housing_temperature_max: housing_temperature_max?,
        overrun_max: overrun_max?,
        standstill_max: standstill_max?,
        run_on_max: run_on_max?,
    })
}

/// A limit to the one side that the example shows, above zero.
fn one_limit(text: &str, dimension: Dimension, example: &'static str) -> Result<f64, Mistake> {
    let tolerance = Tolerance::parse(text, dimension).map_err(|misread| Mistake::new(misread.what, misread.right))?;
    let right = || format!("write for example `{example}`");
    let limit = match tolerance.limits() {
        (None, Some(upper)) if example.starts_with("at most") => upper,
        (Some(lower), None) if example.starts_with("at least") => lower,
        _ => return Err(Mistake::new(format!("`{text}` does not say beyond what a run is stopped"), right())),
    };
    if limit > 0.0 { Ok(limit) } else { Err(Mistake::new(format!("`{text}` would stop every run"), right())) }
}
