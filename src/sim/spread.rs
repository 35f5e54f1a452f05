//! How far units differ from each other: of each physical parameter, by how much from piece to piece.

use crate::quantity::Dimension;

/// A physical parameter of a unit and what stands around it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(missing_docs, reason = "each is explained by its name in `TABLE`")]
pub enum Parameter {
    HoldingTorque,
    PhaseResistance,
    PhaseInductance,
    RotorInertia,
    DetentTorque,
    MotorDamping,
    DriverCurrent,
    HoldCurrent,
    BeltStiffness,
    BeltPlay,
    BeltGear,
    BeltJumpForce,
    BeltDamping,
    PulleyRunout,
    CarriageMass,
    CarriageFriction,
    CarriageViscous,
    PackCharge,
    PackCapacity,
    PackSeries,
    PackSlow,
    PackSlowTime,
    PackContact,
    BenchPackCharge,
    SwitchPlace,
    SwitchHysteresis,
    SwitchScatter,
    SwitchBounce,
    HeatCapacity,
    ThermalResistance,
    SegmentLight,
    LightRipple,
    LightRippleFrequency,
    LightColour,
    ControlTravel,
    ControlBounce,
    ControllerClock,
    InterruptLatency,
    AirTemperature,
}

use Dimension::{Length, Ratio, TemperatureDifference};
use Parameter as P;

/// Parameter, its name in population files, what its spread is a quantity of, and the spread that a world has by itself: a
/// relative standard deviation where it is a ratio, a standard deviation else; of the controller's clock the most that it is
/// off, evenly drawn. The figures are small against every promise, and invented for the demo.
const TABLE: [(Parameter, &str, Dimension, f64); 39] = [
    (P::HoldingTorque, "motor holding torque", Ratio, 0.03),
    (P::PhaseResistance, "motor phase resistance", Ratio, 0.03),
    (P::PhaseInductance, "motor phase inductance", Ratio, 0.05),
    (P::RotorInertia, "motor rotor inertia", Ratio, 0.0),
    (P::DetentTorque, "motor detent torque", Ratio, 0.0),
    (P::MotorDamping, "motor damping", Ratio, 0.0),
    (P::DriverCurrent, "driver current", Ratio, 0.02),
    (P::HoldCurrent, "hold current", Ratio, 0.0),
    (P::BeltStiffness, "belt stiffness", Ratio, 0.05),
    (P::BeltPlay, "belt play", Ratio, 0.15),
    (P::BeltGear, "pulley diameter", Ratio, 2e-4),
    (P::BeltJumpForce, "belt jump force", Ratio, 0.0),
    (P::BeltDamping, "belt damping", Ratio, 0.0),
    (P::PulleyRunout, "pulley runout", Ratio, 0.2),
    (P::CarriageMass, "carriage mass", Ratio, 0.0),
    (P::CarriageFriction, "carriage friction", Ratio, 0.04),
    (P::CarriageViscous, "carriage viscous friction", Ratio, 0.0),
    (P::PackCharge, "pack charge", Ratio, 0.012),
    (P::PackCapacity, "pack capacity", Ratio, 0.0),
    (P::PackSeries, "pack series resistance", Ratio, 0.05),
    (P::PackSlow, "pack slow resistance", Ratio, 0.0),
    (P::PackSlowTime, "pack slow time", Ratio, 0.0),
    (P::PackContact, "contact resistance", Ratio, 0.10),
    (P::BenchPackCharge, "bench pack charge", Ratio, 0.004),
    (P::SwitchPlace, "end switch place", Length, 0.08e-3),
    (P::SwitchHysteresis, "end switch hysteresis", Ratio, 0.0),
    (P::SwitchScatter, "end switch scatter", Ratio, 0.0),
    (P::SwitchBounce, "end switch bounce", Ratio, 0.1),
    (P::HeatCapacity, "heat capacity", Ratio, 0.0),
    (P::ThermalResistance, "thermal resistance", Ratio, 0.0),
    (P::SegmentLight, "segment light", Ratio, 0.03),
    (P::LightRipple, "light ripple", Ratio, 0.1),
    (P::LightRippleFrequency, "light ripple frequency", Ratio, 0.02),
    (P::LightColour, "light colour", Ratio, 0.01),
    (P::ControlTravel, "control travel", Ratio, 0.05),
    (P::ControlBounce, "control bounce", Ratio, 0.1),
    (P::ControllerClock, "controller clock", Ratio, 50e-6),
    (P::InterruptLatency, "interrupt latency", Ratio, 0.03),
    (P::AirTemperature, "air temperature", TemperatureDifference, 0.0),
];

impl Parameter {
    /// All of them.
    pub fn all() -> impl Iterator<Item = Self> {
        TABLE.iter().map(|(parameter, ..)| *parameter)
    }

    const fn row(self) -> &'static (Self, &'static str, Dimension, f64) {
        &TABLE[self as usize]
    }

    /// Its name in population files.
    pub const fn name(self) -> &'static str {
        self.row().1
    }

    /// What its spread is a quantity of.
    pub const fn dimension(self) -> Dimension {
        self.row().2
    }

    /// The most that its spread may be: four deviations must not turn a part inside out.
    pub const fn spread_max(self) -> f64 {
        match self.dimension() {
            Length => 2e-3,
            TemperatureDifference => 10.0,
            _ => match self {
                // The share of a charge, not a share of it.
                P::PackCharge | P::BenchPackCharge => 0.02,
                P::ControllerClock => 0.01,
                _ => 0.25,
            },
        }
    }
}

/// The spread of every parameter.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread([f64; TABLE.len()]);

impl Default for Spread {
    fn default() -> Self {
        Self(TABLE.map(|(.., spread)| spread))
    }
}

impl Spread {
    /// Units that are all as designed.
    pub const NONE: Self = Self([0.0; TABLE.len()]);

    /// Of one parameter.
    pub const fn of(&self, parameter: Parameter) -> f64 {
        self.0[parameter as usize]
    }

    /// Sets that of one parameter.
    pub const fn set(&mut self, parameter: Parameter, spread: f64) {
        self.0[parameter as usize] = spread;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_parameter_stands_in_its_own_row() {
        for (row, parameter) in Parameter::all().enumerate() {
            assert_eq!(parameter as usize, row, "{}", parameter.name());
            assert!(Spread::default().of(parameter) <= parameter.spread_max(), "{}", parameter.name());
        }
    }
}
