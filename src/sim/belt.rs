//! Toothed belt and its pulley: 2 mm pitch, twenty teeth, a spring with play, and teeth that jump when pulled too hard.

/// Distance of two teeth, m.
pub const PITCH: f64 = 2e-3;
/// Teeth of the pulley.
pub const PULLEY_TEETH: f64 = 20.0;
/// Belt per turn of the pulley, m.
pub const PER_TURN: f64 = PITCH * PULLEY_TEETH;
/// Force while a tooth rides over the next one, as a share of the force that lifts it (invented for the demo).
pub const RIDE_SHARE: f64 = 0.9;

/// A belt drive as assembled.
#[derive(Debug, Clone, PartialEq)]
pub struct Belt {
    /// Stiffness between pulley and carriage, N/m: a glass-fibre belt 6 mm wide, both spans tensioned (common practice,
    /// no source).
    pub stiffness: f64,
    /// Damping ratio of the carriage on the belt (invented for the demo).
    pub damping_ratio: f64,
    /// Whole play between pulley and carriage, m.
    pub backlash: f64,
    /// Force that lifts a tooth out of the pulley, N.
    pub jump_force: f64,
    /// Belt moved per nominal belt length: below 1 where a worn pulley has a smaller pitch diameter.
    pub gear: f64,
    /// Amplitude of the pulley's runout as belt travel, m, once a turn.
    pub runout: f64,
}

impl Belt {
    /// A belt as it should be.
    pub const fn sound() -> Self {
        Self { stiffness: 1.0e5, damping_ratio: 0.08, backlash: 20e-6, jump_force: 150.0, gear: 1.0, runout: 8e-6 }
    }
}

#[cfg(test)]
mod tests {
    use super::super::driver::MICROSTEPS;
    use super::super::motor::FULL_STEPS_PER_TURN;
    use super::PER_TURN;

    /// 1.8° step, 1/16 microsteps, 20 teeth of 2 mm: 40 mm a turn, 80 steps/mm, 12.5 µm a step (arithmetic of the
    /// trade; common practice, no source).
    #[test]
    fn eighty_steps_to_the_millimetre() {
        assert!((PER_TURN - 0.040).abs() < 1e-15);
        let steps_per_mm = FULL_STEPS_PER_TURN * MICROSTEPS as f64 / (PER_TURN * 1e3);
        assert!((steps_per_mm - 80.0).abs() < 1e-12);
        assert!((super::super::train::MICROSTEP - 12.5e-6).abs() < 1e-18);
    }
}
