//! Units of measure: how they are written, what they are worth, and how values are shown in them.

use super::{Dimension, Misread, number};
use std::f64::consts::PI;
use std::fmt;

/// A unit of measure.
#[derive(Clone, Copy)]
pub struct Unit(&'static Definition);

/// A unit is worth `times / per × 10^power` of its dimension's SI unit. The power of ten is kept apart because shifting
/// the point of a decimal number is exact, multiplying by 0.001 is not.
struct Definition {
    /// How it is shown, then other ways to write it.
    symbols: &'static [&'static str],
    dimension: Dimension,
    power: i32,
    times: f64,
    per: f64,
}

const fn plain(dimension: Dimension, symbols: &'static [&'static str], power: i32) -> Definition {
    Definition { symbols, dimension, power, times: 1.0, per: 1.0 }
}

const fn odd(dimension: Dimension, symbols: &'static [&'static str], times: f64, per: f64, power: i32) -> Definition {
    Definition { symbols, dimension, power, times, per }
}

/// All units; of each dimension the usual one first. Micro and ohm each have two code points that look alike. Factors of non-SI units: SI Brochure, 9th edition (2019), table 8.
static UNITS: [Definition; 59] = [
    plain(Dimension::Count, &[""], 0),
    plain(Dimension::Ratio, &["%", "percent"], -2),
    plain(Dimension::Ratio, &["ppm"], -6),
    plain(Dimension::Length, &["mm"], -3),
    plain(Dimension::Length, &["µm", "\u{3bc}m", "um"], -6),
    plain(Dimension::Length, &["cm"], -2),
    plain(Dimension::Length, &["m"], 0),
    plain(Dimension::Length, &["km"], 3),
    plain(Dimension::Time, &["s"], 0),
    plain(Dimension::Time, &["ms"], -3),
    plain(Dimension::Time, &["µs", "\u{3bc}s", "us"], -6),
    plain(Dimension::Time, &["ns"], -9),
    odd(Dimension::Time, &["min"], 60.0, 1.0, 0),
    odd(Dimension::Time, &["h"], 3600.0, 1.0, 0),
    plain(Dimension::Speed, &["mm/s"], -3),
    plain(Dimension::Speed, &["m/s"], 0),
    plain(Dimension::Speed, &["cm/s"], -2),
    plain(Dimension::Speed, &["µm/s", "\u{3bc}m/s", "um/s"], -6),
    odd(Dimension::Speed, &["mm/min"], 1.0, 60.0, -3),
    odd(Dimension::Speed, &["m/min"], 1.0, 60.0, 0),
    plain(Dimension::Acceleration, &["mm/s²", "mm/s2", "mm/s^2"], -3),
    plain(Dimension::Acceleration, &["m/s²", "m/s2", "m/s^2"], 0),
    plain(Dimension::Voltage, &["V"], 0),
    plain(Dimension::Voltage, &["mV"], -3),
    plain(Dimension::Voltage, &["µV", "\u{3bc}V", "uV"], -6),
    plain(Dimension::Current, &["mA"], -3),
    plain(Dimension::Current, &["A"], 0),
    plain(Dimension::Current, &["µA", "\u{3bc}A", "uA"], -6),
    plain(Dimension::Resistance, &["mΩ", "m\u{2126}", "mOhm", "mohm"], -3),
    plain(Dimension::Resistance, &["Ω", "\u{2126}", "Ohm", "ohm"], 0),
    plain(Dimension::Resistance, &["kΩ", "k\u{2126}", "kOhm", "kohm"], 3),
    plain(Dimension::Temperature, &["°C", "℃", "degC", "deg C"], 0),
    plain(Dimension::TemperatureDifference, &["K"], 0),
    plain(Dimension::TemperatureDifference, &["mK"], -3),
    odd(Dimension::Angle, &["deg", "°"], PI, 180.0, 0),
    plain(Dimension::Angle, &["rad"], 0),
    plain(Dimension::Angle, &["mrad"], -3),
    plain(Dimension::Frequency, &["Hz"], 0),
    plain(Dimension::Frequency, &["kHz"], 3),
    plain(Dimension::Frequency, &["MHz"], 6),
    plain(Dimension::Power, &["W"], 0),
    plain(Dimension::Power, &["mW"], -3),
    odd(Dimension::Energy, &["Wh"], 3600.0, 1.0, 0),
    plain(Dimension::Energy, &["J"], 0),
    odd(Dimension::Energy, &["mWh"], 3600.0, 1.0, -3),
    odd(Dimension::Charge, &["mAh"], 3600.0, 1.0, -3),
    odd(Dimension::Charge, &["Ah"], 3600.0, 1.0, 0),
    plain(Dimension::Charge, &["C"], 0),
    plain(Dimension::Mass, &["kg"], 0),
    plain(Dimension::Mass, &["g"], -3),
    plain(Dimension::Force, &["N"], 0),
    plain(Dimension::Force, &["mN"], -3),
    plain(Dimension::PerLength, &["steps/mm", "step/mm"], 3),
    plain(Dimension::PerLength, &["edges/mm", "edge/mm"], 3),
    plain(Dimension::PerLength, &["lines/mm", "line/mm"], 3),
    plain(Dimension::PerLength, &["1/mm", "/mm"], 3),
    plain(Dimension::PerLength, &["steps/m"], 0),
    plain(Dimension::PerLength, &["edges/m"], 0),
    plain(Dimension::PerLength, &["1/m"], 0),
];

impl Unit {
    /// No unit at all: a count.
    pub const NONE: Unit = Unit(&UNITS[0]);

    pub(super) fn all() -> impl Iterator<Item = Unit> {
        UNITS.iter().map(Unit)
    }

    /// The unit that is written like this; `None` for an unknown one. The empty text is the count's.
    pub fn named(text: &str) -> Option<Unit> {
        let text = text.trim();
        let joined: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let tight = joined.replace(" / ", "/");
        Self::all().find(|unit| unit.0.symbols.contains(&tight.as_str()))
    }

    /// How it is shown: `mm/s`; empty for a count.
    pub fn symbol(self) -> &'static str {
        self.0.symbols[0]
    }

    /// What it is a unit of.
    pub fn dimension(self) -> Dimension {
        self.0.dimension
    }

    /// A value in this unit, from the SI value.
    pub fn from_si(self, si: f64) -> f64 {
        shifted(si, -self.0.power) * self.0.per / self.0.times
    }

    /// The SI value, from a value in this unit.
    pub fn to_si(self, value: f64) -> f64 {
        shifted(value * self.0.times / self.0.per, self.0.power)
    }

    pub(super) fn exact_si(self, number: &number::Decimal) -> f64 {
        if self.0.times == self.0.per {
            return number.scaled(self.0.power);
        }
        shifted(number.scaled(0) * self.0.times / self.0.per, self.0.power)
    }

    /// An SI value in this unit with at most six significant digits: "90 mm/s".
    pub fn show(self, si: f64) -> String {
        self.with_symbol(&self.number(si))
    }

    /// The same without the unit: "90".
    pub fn number(self, si: f64) -> String {
        number::significant(self.from_si(si), 6)
    }

    /// An SI value in this unit, rounded where its uncertainty (SI) has two significant digits (JCGM 100:2008, 7.2.6):
    /// "89.93 mm/s" for an uncertainty of 0.14 mm/s. Without uncertainty as [`Unit::show`].
    pub fn show_to(self, si: f64, uncertainty_si: f64) -> String {
        self.with_symbol(&self.number_to(si, uncertainty_si))
    }

    /// The same without the unit: "89.93".
    pub fn number_to(self, si: f64, uncertainty_si: f64) -> String {
        match number::places(self.from_si(uncertainty_si)) {
            Some(places) => number::rounded(self.from_si(si), places),
            None => self.number(si),
        }
    }

    /// An uncertainty (SI) in this unit with two significant digits: "0.14 mm/s". A temperature's is in K.
    pub fn show_uncertainty(self, uncertainty_si: f64) -> String {
        let unit = self.of_differences();
        unit.with_symbol(&unit.number_to(uncertainty_si, uncertainty_si))
    }

    /// The unit of a difference of two values in this unit: K for °C, otherwise the same.
    pub fn of_differences(self) -> Unit {
        if self.dimension() == Dimension::Temperature { Dimension::TemperatureDifference.usual_unit() } else { self }
    }

    fn with_symbol(self, number: &str) -> String {
        if self.symbol().is_empty() { number.into() } else { format!("{number} {}", self.symbol()) }
    }

    /// The unit after a number, which must be of a dimension. `written` is the whole text, for the message.
    pub(super) fn after_number(text: &str, dimension: Dimension, written: &str) -> Result<Unit, Misread> {
        let wanted = dimension.words();
        let Some(unit) = Self::named(text) else {
            return Err(Misread::new(format!("`{text}` is no unit known here; {wanted} is wanted"), ways(dimension)));
        };
        if unit.dimension() == dimension {
            return Ok(unit);
        }
        if unit == Unit::NONE {
            let what = format!("`{written}` has no unit; {wanted} is wanted");
            return Err(Misread::new(what, format!("write for example `{}`", dimension.example())));
        }
        let what = format!("`{written}` is {}; {wanted} is wanted", unit.dimension().words());
        Err(Misread::new(what, format!("write for example `{}`", dimension.example())))
    }
}

/// The units that a dimension is written in, in words.
fn ways(dimension: Dimension) -> String {
    let symbols: Vec<&str> = dimension.units().map(Unit::symbol).filter(|symbol| !symbol.is_empty()).collect();
    match symbols.split_last() {
        None => format!("write a number without a unit, for example `{}`", dimension.example()),
        Some((last, [])) => format!("the unit is {last}, for example `{}`", dimension.example()),
        Some((last, others)) => {
            format!("the units are {} and {last}, for example `{}`", others.join(", "), dimension.example())
        }
    }
}

/// Times a power of ten. Ten to a positive power up to 22 is exact in `f64`, so one division or one multiplication rounds
/// once.
fn shifted(value: f64, power: i32) -> f64 {
    if power < 0 { value / 10f64.powi(-power) } else { value * 10f64.powi(power) }
}

impl PartialEq for Unit {
    fn eq(&self, other: &Self) -> bool {
        self.symbol() == other.symbol()
    }
}

impl Eq for Unit {}

impl fmt::Debug for Unit {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "Unit({})", self.symbol())
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.symbol())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_worth_what_the_brochure_says() {
        // SI Brochure, 9th edition (2019), table 8: 1 min = 60 s, 1 h = 3600 s, 1° = (π/180) rad; prefixes, table 7.
        for (symbol, value, si) in [
            ("min", 1.0, 60.0),
            ("h", 1.0, 3600.0),
            ("deg", 180.0, PI),
            ("mm/min", 5400.0, 0.09),
            ("Wh", 1.0, 3600.0),
            ("mAh", 2200.0, 7920.0),
            ("kΩ", 1.5, 1500.0),
            ("ppm", 10.0, 1e-5),
            ("steps/mm", 80.0, 80_000.0),
            ("MHz", 2.0, 2e6),
            ("°C", 55.0, 55.0),
        ] {
            let unit = Unit::named(symbol).unwrap();
            assert!((unit.to_si(value) - si).abs() <= 1e-12 * si, "{symbol}: {}", unit.to_si(value));
            assert!((unit.from_si(si) - value).abs() <= 1e-12 * value, "{symbol}: {}", unit.from_si(si));
        }
    }

    #[test]
    fn every_way_to_write_a_unit_is_its_own() {
        let mut all: Vec<&str> = UNITS.iter().flat_map(|unit| unit.symbols).copied().collect();
        let count = all.len();
        all.sort_unstable();
        all.dedup();
        assert_eq!(all.len(), count);
    }

    #[test]
    fn every_example_is_a_quantity_of_its_dimension() {
        for unit in Unit::all() {
            let dimension = unit.dimension();
            assert_eq!(dimension.usual_unit().dimension(), dimension);
            let read = super::super::Quantity::parse(dimension.example(), dimension);
            assert!(read.is_ok(), "{read:?}");
        }
    }

    #[test]
    fn values_are_shown_as_their_author_writes_them() {
        let speed = Unit::named("mm/s").unwrap();
        assert_eq!(speed.show(0.09), "90 mm/s");
        assert_eq!(speed.show_to(0.089_934, 0.000_14), "89.93 mm/s");
        assert_eq!(speed.show_uncertainty(0.000_138), "0.14 mm/s");
        assert_eq!(speed.show_to(0.09, 0.0), "90 mm/s");
        assert_eq!(Unit::named("degC").unwrap().show_uncertainty(0.29), "0.29 K");
        assert_eq!(Unit::NONE.show(3.0), "3");
        assert_eq!(Unit::named("mOhm").unwrap().show_to(0.1804, 0.012), "180 mΩ");
    }
}
