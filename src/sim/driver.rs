//! Microstepping driver: sixteen microsteps to a full step, sine-shaped currents, a current setting for running and a
//! lower one for holding.

/// Microsteps in a full step.
pub const MICROSTEPS: i64 = 16;
/// Microsteps in an electrical cycle.
pub const MICROSTEPS_PER_CYCLE: i64 = 4 * MICROSTEPS;
/// Where in the cycle the driver's table starts when it gets its supply: both phases equal (common practice, no source).
pub const TABLE_START: i64 = 8;
/// What the bridge and its sense resistor drop, V (common practice, no source).
pub const BRIDGE_DROP: f64 = 0.5;
/// Share of the power that reaches the windings (common practice, no source).
pub const EFFICIENCY: f64 = 0.9;

/// How the driver is set.
#[derive(Debug, Clone, PartialEq)]
pub struct Driver {
    /// Amplitude of the phase current while stepping, A.
    pub run_current: f64,
    /// The same at rest, A.
    pub hold_current: f64,
}

/// What the driver does with the motor just now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Drive {
    /// No current: the rotor is free but for its detents.
    Off,
    /// Holding at rest.
    Hold,
    /// Stepping.
    Run,
}

impl Driver {
    /// As set at assembly for the 17-size motor: its rated current, half of it at rest.
    pub const fn as_set() -> Self {
        Self { run_current: 1.5, hold_current: 0.75 }
    }

    /// The current amplitude that is asked for, A.
    pub fn current(&self, drive: Drive) -> f64 {
        match drive {
            Drive::Off => 0.0,
            Drive::Hold => self.hold_current,
            Drive::Run => self.run_current,
        }
    }
}

/// The place in the cycle where a newly supplied driver holds the rotor: nearest to where the rotor stands, in
/// microsteps.
pub fn nearest_table_start(rotor_microsteps: f64) -> i64 {
    let cycles = (rotor_microsteps - TABLE_START as f64) / MICROSTEPS_PER_CYCLE as f64;
    TABLE_START + MICROSTEPS_PER_CYCLE * libm::floor(cycles + 0.5) as i64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_newly_supplied_driver_pulls_the_rotor_by_at_most_half_a_cycle() {
        for place in -200..200 {
            let start = nearest_table_start(f64::from(place));
            assert_eq!(start.rem_euclid(MICROSTEPS_PER_CYCLE), TABLE_START);
            assert!((start as f64 - f64::from(place)).abs() <= 32.0);
        }
    }
}
