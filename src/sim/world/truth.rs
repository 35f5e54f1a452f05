//! What only a simulated world can tell: how things truly are, which no jig sees.

use super::World;
use crate::sim::carriage::TRAVEL;
use crate::sim::pack::Terminals;

impl World {
    /// Nominal distance of the two end switches, m.
    pub const TRAVEL: f64 = TRAVEL;

    /// Whether the unit gets its supply from the jig.
    pub fn supply_is_on(&self) -> bool {
        self.supply
    }

    /// True place of the carriage from the left switch's nominal trigger point, m.
    pub fn carriage(&self) -> f64 {
        self.train.carriage()
    }

    /// True speed of the carriage, m/s.
    pub fn carriage_speed(&self) -> f64 {
        self.train.carriage_speed()
    }

    /// How far the rotor truly lags behind the field that the driver asks for, in full steps.
    pub fn lag_full_steps(&self) -> f64 {
        self.train.lag_full_steps()
    }

    /// True share of its charge that the pack in use has left.
    pub fn charge(&self) -> f64 {
        self.feed.charge()
    }

    /// True voltage and current at the contacts of the pack in use, V and A.
    pub fn supply(&self) -> (f64, f64) {
        let Terminals { volts, amps } = self.feed.terminals();
        (volts, amps)
    }

    /// True temperatures of winding, motor case and housing, °C.
    pub fn temperatures(&self) -> [f64; 3] {
        let thermal = self.feed.thermal();
        [thermal.winding, thermal.case, thermal.housing]
    }
}
