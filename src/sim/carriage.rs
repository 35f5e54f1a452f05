//! Carriage on its rail: mass, friction, slope, and the hard stops beyond the switches.

/// Standard acceleration of free fall, m/s² (3rd CGPM, 1901).
pub const FREE_FALL: f64 = 9.80665;
/// Distance of the two switches' trigger points, m.
pub const TRAVEL: f64 = 0.560;
/// Distance of each hard stop beyond its trigger point, m.
pub const STOP_BEYOND: f64 = 5e-3;
/// Stiffness of a hard stop, N/m (invented for the demo).
pub const STOP_STIFFNESS: f64 = 6e5;
/// Damping of a hard stop, N·s/m (invented for the demo).
pub const STOP_DAMPING: f64 = 600.0;

/// What moves along the rail, and what hinders it.
#[derive(Debug, Clone, PartialEq)]
pub struct Carriage {
    /// Carriage with its load, kg.
    pub mass: f64,
    /// Friction that does not depend on speed, N.
    pub friction: f64,
    /// Friction per speed, N·s/m.
    pub viscous: f64,
    /// Force along the rail towards the right end, N: weight on a sloping rail.
    pub slope_force: f64,
    /// Greatest pull of a stiff cable against the motion, N; zero without one.
    pub cable_force: f64,
}

/// Stiffness of a stiff cable, N/m: how quickly its pull builds up and fades (invented for the demo).
pub const CABLE_STIFFNESS: f64 = 5.0e3;

impl Carriage {
    /// Mass of the empty carriage, kg (invented for the demo).
    pub const EMPTY: f64 = 0.5;

    /// A sound carriage under a load, on a rail that rises towards the right by an angle.
    pub fn sound(load_kg: f64, rise_degrees: f64) -> Self {
        let mass = Self::EMPTY + load_kg;
        let angle = rise_degrees.to_radians();
        let pressing = FREE_FALL * mass * libm::cos(angle);
        Self {
            mass,
            // 4 N of preload in the rollers and 0.2 of the weight: 8 N under 1.5 kg (invented for the demo).
            friction: 4.0 + 0.204 * pressing,
            viscous: 8.0,
            slope_force: -FREE_FALL * mass * libm::sin(angle),
            cable_force: 0.0,
        }
    }
}
