//! Hybrid stepper: how much torque its currents make, and how much current its windings let in.
//!
//! The torque follows the sine of the lag between field and rotor, so an overload is not a flag but a rotor that falls
//! more than half a cycle behind and catches the next one: four full steps lost, as in life.

/// A 1.8° two-phase motor.
#[derive(Debug, Clone, PartialEq)]
pub struct Motor {
    /// Torque that the rated current holds at rest, N·m.
    pub holding_torque: f64,
    /// Amplitude of the rated current of a phase, A.
    pub rated_current: f64,
    /// Resistance of a phase at 25 °C, Ω.
    pub resistance: f64,
    /// Inductance of a phase, H.
    pub inductance: f64,
    /// Inertia of the rotor, kg·m².
    pub rotor_inertia: f64,
    /// Amplitude of the cogging torque without current, N·m.
    pub detent_torque: f64,
    /// Ratio of the rotor's damping in its field to the critical one.
    pub damping_ratio: f64,
    /// Whether it is wound or wired so that it turns the wrong way.
    pub reversed: bool,
}

/// Full steps in a turn: 1.8°.
pub const FULL_STEPS_PER_TURN: f64 = 200.0;
/// Electrical cycles in a turn: four full steps each.
pub const CYCLES_PER_TURN: f64 = FULL_STEPS_PER_TURN / 4.0;
/// Rise of copper's resistance per kelvin at 25 °C (handbook value for annealed copper, from memory).
pub const COPPER_PER_KELVIN: f64 = 0.003_93;
/// What is left of the torque constant when the iron saturates beyond the rated current (common practice, no source).
const SATURATED_SLOPE: f64 = 0.3;

impl Motor {
    /// The Dunlin 600's 17-size motor. Values of a common 40 mm long type (common practice, no source).
    pub const fn size_17() -> Self {
        Self {
            holding_torque: 0.40,
            rated_current: 1.5,
            resistance: 1.5,
            inductance: 2.6e-3,
            rotor_inertia: 54e-7,
            detent_torque: 0.012,
            damping_ratio: 0.15,
            reversed: false,
        }
    }

    /// An 11-size motor, which fits the same pulley and is too weak (common practice, no source).
    pub const fn size_11() -> Self {
        Self {
            holding_torque: 0.06,
            rated_current: 0.67,
            resistance: 5.6,
            inductance: 4.2e-3,
            rotor_inertia: 9e-7,
            detent_torque: 0.003,
            damping_ratio: 0.15,
            reversed: false,
        }
    }

    /// Torque per ampere below saturation, N·m/A; also the crest of the induced voltage per rad/s, V·s.
    pub fn torque_constant(&self) -> f64 {
        self.holding_torque / self.rated_current
    }

    /// The greatest torque that a current amplitude makes, N·m.
    pub fn torque_amplitude(&self, current: f64) -> f64 {
        let linear = current.min(self.rated_current);
        self.torque_constant() * (linear + SATURATED_SLOPE * (current - linear))
    }

    /// The current amplitude, `asked` at most, that a supply can drive at a speed, A.
    ///
    /// At pull-out the induced voltage E stands in phase with the current I: V² = (R·I + E)² + (ω·L·I)². `resistance` is
    /// that of the warm winding.
    pub fn current(&self, asked: f64, volts: f64, resistance: f64, turns_per_s: f64) -> f64 {
        let induced = self.torque_constant() * std::f64::consts::TAU * turns_per_s.abs();
        if volts <= induced {
            return 0.0;
        }
        let reactance = self.inductance * std::f64::consts::TAU * CYCLES_PER_TURN * turns_per_s;
        let (active, reactive) = (resistance * asked + induced, reactance * asked);
        if active * active + reactive * reactive <= volts * volts {
            return asked;
        }
        let impedance_squared = resistance * resistance + reactance * reactance;
        let cross = resistance * induced;
        // A square root is rounded exactly by every processor (IEEE 754), so the world stays the same everywhere.
        let root = (cross * cross + impedance_squared * (volts * volts - induced * induced)).sqrt();
        (root - cross) / impedance_squared
    }

    /// Warm resistance of a phase, Ω.
    pub fn resistance_at(&self, celsius: f64) -> f64 {
        self.resistance * (1.0 + COPPER_PER_KELVIN * (celsius - 25.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn current_falls_with_speed_and_rises_with_supply() {
        let motor = Motor::size_17();
        let at = |volts, turns| motor.current(f64::INFINITY, volts, motor.resistance, turns);
        // At rest, Ohm's law.
        assert!((at(7.0, 0.0) - 7.0 / 1.5).abs() < 1e-12);
        assert!(at(7.0, 1.0) > at(7.0, 2.0) && at(7.0, 2.0) > at(7.0, 4.0));
        assert!(at(8.0, 2.0) > at(7.0, 2.0));
        assert_eq!(at(7.0, 100.0), 0.0);
        // Less than it can drive is as asked.
        assert_eq!(motor.current(1.5, 7.0, motor.resistance, 1.0), 1.5);
        // The current found satisfies the phase's voltage equation.
        let (current, induced) = (at(7.0, 2.25), motor.torque_constant() * std::f64::consts::TAU * 2.25);
        let reactive = motor.inductance * std::f64::consts::TAU * 50.0 * 2.25 * current;
        let volts = ((motor.resistance * current + induced).powi(2) + reactive.powi(2)).sqrt();
        assert!((volts - 7.0).abs() < 1e-9, "{volts}");
    }

    #[test]
    fn the_rated_current_holds_the_holding_torque_and_more_saturates() {
        let motor = Motor::size_11();
        assert!((motor.torque_amplitude(0.67) - 0.06).abs() < 1e-12);
        assert!(motor.torque_amplitude(1.34) < 0.08);
    }
}
