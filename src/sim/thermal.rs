//! Heat from winding to motor case to housing to air: three masses and the resistances between them.

/// Heat capacities in J/K and thermal resistances in K/W of a 17-size motor on a printed mount (common practice for the
/// sizes; the figures are invented for the demo).
#[derive(Debug, Clone, PartialEq)]
pub struct ThermalMake {
    /// Heat capacity of the windings, J/K.
    pub winding: f64,
    /// Heat capacity of the motor's case and iron, J/K.
    pub case: f64,
    /// Heat capacity of the housing at the mount, J/K.
    pub housing: f64,
    /// From winding to case, K/W.
    pub winding_to_case: f64,
    /// From case to housing, K/W.
    pub case_to_housing: f64,
    /// From case to air, K/W.
    pub case_to_air: f64,
    /// From housing to air, K/W.
    pub housing_to_air: f64,
}

impl ThermalMake {
    /// As designed.
    pub const fn sound() -> Self {
        Self {
            winding: 30.0,
            case: 80.0,
            housing: 60.0,
            winding_to_case: 1.2,
            case_to_housing: 6.0,
            case_to_air: 9.0,
            housing_to_air: 8.0,
        }
    }
}

/// The temperatures of a unit, °C.
#[derive(Debug, Clone)]
pub struct Thermal {
    make: ThermalMake,
    /// Of the windings.
    pub winding: f64,
    /// Of the motor's case, where the jig's probe sits.
    pub case: f64,
    /// Of the housing at the motor mount.
    pub housing: f64,
    /// Of the air.
    pub air: f64,
}

impl Thermal {
    /// All at the temperature of the air.
    pub fn new(make: ThermalMake, air: f64) -> Self {
        Self { make, winding: air, case: air, housing: air, air }
    }

    /// Lets `seconds` (a few at most) pass while the windings take `watts`.
    pub fn pass(&mut self, seconds: f64, watts: f64) {
        let make = &self.make;
        let into_case = (self.winding - self.case) / make.winding_to_case;
        let into_housing = (self.case - self.housing) / make.case_to_housing;
        let case_loss = (self.case - self.air) / make.case_to_air;
        let housing_loss = (self.housing - self.air) / make.housing_to_air;
        self.winding += (watts - into_case) * seconds / make.winding;
        self.case += (into_case - into_housing - case_loss) * seconds / make.case;
        self.housing += (into_housing - housing_loss) * seconds / make.housing;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heat_is_kept_and_the_end_is_the_resistances_sum() {
        let make = ThermalMake::sound();
        let mut thermal = Thermal::new(make.clone(), 20.0);
        // At first all heat is in the winding: 3 W for 1 s warm 30 J/K by 0.1 K.
        thermal.pass(1.0, 3.0);
        assert!((thermal.winding - 20.1).abs() < 1e-12);
        for _ in 0..40_000 {
            thermal.pass(1.0, 3.0);
        }
        // At last: case to air directly and by way of the housing in parallel, winding above it by 3 W · 1.2 K/W.
        let by_housing = make.case_to_housing + make.housing_to_air;
        let to_air = make.case_to_air * by_housing / (make.case_to_air + by_housing);
        assert!((thermal.case - (20.0 + 3.0 * to_air)).abs() < 1e-6, "{}", thermal.case);
        assert!((thermal.winding - thermal.case - 3.6).abs() < 1e-6);
        assert!((thermal.housing - 20.0 - (thermal.case - 20.0) * make.housing_to_air / by_housing).abs() < 1e-6);
    }
}
