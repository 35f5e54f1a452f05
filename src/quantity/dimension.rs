//! What kind of quantity something is.

use super::Unit;

/// What kind of quantity something is. Beside each: the unit in which values of it are held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// A number of whole things; no unit.
    Count,
    /// A ratio of two like quantities; 1.
    Ratio,
    /// m.
    Length,
    /// s.
    Time,
    /// m/s.
    Speed,
    /// m/s².
    Acceleration,
    /// V.
    Voltage,
    /// A.
    Current,
    /// Ω.
    Resistance,
    /// °C.
    Temperature,
    /// K.
    TemperatureDifference,
    /// rad.
    Angle,
    /// Hz.
    Frequency,
    /// W.
    Power,
    /// J.
    Energy,
    /// C.
    Charge,
    /// kg.
    Mass,
    /// N.
    Force,
    /// Steps, edges or lines in a length; 1/m.
    PerLength,
}

impl Dimension {
    /// With its article: "a speed".
    pub const fn words(self) -> &'static str {
        match self {
            Self::Count => "a plain count",
            Self::Ratio => "a ratio",
            Self::Length => "a length",
            Self::Time => "a time",
            Self::Speed => "a speed",
            Self::Acceleration => "an acceleration",
            Self::Voltage => "a voltage",
            Self::Current => "a current",
            Self::Resistance => "a resistance",
            Self::Temperature => "a temperature",
            Self::TemperatureDifference => "a difference of temperatures",
            Self::Angle => "an angle",
            Self::Frequency => "a frequency",
            Self::Power => "a power",
            Self::Energy => "an energy",
            Self::Charge => "a charge",
            Self::Mass => "a mass",
            Self::Force => "a force",
            Self::PerLength => "a number per length",
        }
    }

    /// How a quantity of it is written, for messages: "90 mm/s".
    pub const fn example(self) -> &'static str {
        match self {
            Self::Count => "6",
            Self::Ratio => "2.5 %",
            Self::Length => "280 mm",
            Self::Time => "500 ms",
            Self::Speed => "90 mm/s",
            Self::Acceleration => "1600 mm/s²",
            Self::Voltage => "7.2 V",
            Self::Current => "350 mA",
            Self::Resistance => "180 mΩ",
            Self::Temperature => "55 °C",
            Self::TemperatureDifference => "15 K",
            Self::Angle => "0.45 deg",
            Self::Frequency => "250 Hz",
            Self::Power => "5 W",
            Self::Energy => "16 Wh",
            Self::Charge => "2200 mAh",
            Self::Mass => "1.5 kg",
            Self::Force => "12 N",
            Self::PerLength => "80 steps/mm",
        }
    }

    /// How a tolerance on it is written, for messages: "90 mm/s ± 5 %".
    pub fn tolerance_example(self) -> String {
        match self {
            Self::Count => "at most 0".into(),
            Self::Ratio => "0 % ± 2.5 %".into(),
            Self::Temperature => "at most 55 °C".into(),
            other => format!("{} ± 5 %` or `at most {}", other.example(), other.example()),
        }
    }

    /// The units that it is written in, the usual one first.
    pub fn units(self) -> impl Iterator<Item = Unit> {
        Unit::all().filter(move |unit| unit.dimension() == self)
    }

    /// The unit that its values are usually shown in.
    pub fn usual_unit(self) -> Unit {
        self.units().next().expect("every dimension has a unit; a test counts them")
    }
}
