//! What feeds the unit: packs, relays, and how much current the motor gets from them.

use super::World;
use crate::sim::driver::{BRIDGE_DROP, Drive, EFFICIENCY};
use crate::sim::firmware::BROWN_OUT_VOLTS;
use crate::sim::pack::{Draw, Terminals};

/// Power of the controller, W (invented for the demo).
const LOGIC_POWER: f64 = 0.25;
/// Power of a lit segment, W (invented for the demo).
const SEGMENT_POWER: f64 = 0.04;
/// The bench's dummy load, Ω.
const DUMMY_LOAD: f64 = 6.8;

impl World {
    pub(super) fn switch_supply(&mut self, on: bool) {
        if on == self.supply {
            return;
        }
        self.supply = on;
        if on {
            self.new_table = true;
            self.controller.power_up(self.now);
        } else {
            self.controller.power_down(self.now);
        }
    }

    /// Sets the motor's torque by what the supply can drive at the present speed.
    pub(super) fn energise(&mut self) {
        let asked = self.driver.current(self.known_drive);
        self.phase_current = 0.0;
        if asked > 0.0 {
            let volts = self.supply().0 - BRIDGE_DROP;
            let resistance = self.motor.resistance_at(self.thermal.winding);
            self.phase_current = self.motor.current(asked, volts, resistance, self.train.turns_per_s());
        }
        self.train.set_torque(self.motor.torque_amplitude(self.phase_current));
    }

    /// What the unit and the load draw from the pack just now.
    pub(super) fn draw(&self) -> Draw {
        let mut power = 0.0;
        if self.controller.is_powered() {
            let copper = self.copper_power();
            let mechanical = if copper > 0.0 { self.mechanical_power.max(0.0) } else { 0.0 };
            power = LOGIC_POWER
                + SEGMENT_POWER * f64::from(self.controller.lit())
                + (copper + mechanical) * (1.0 / EFFICIENCY);
        }
        Draw { power, conductance: if self.load { 1.0 / DUMMY_LOAD } else { 0.0 } }
    }

    pub(super) fn copper_power(&self) -> f64 {
        self.phase_current * self.phase_current * self.motor.resistance_at(self.thermal.winding)
    }

    /// Lets the pack in use live up to now, and draws from it what is drawn now.
    pub(super) fn use_pack(&mut self) -> Terminals {
        let used = usize::from(self.low_pack);
        let draw = self.draw();
        let seconds = (self.now - self.pack_times[used]) as f64 * 1e-9;
        self.pack_times[used] = self.now;
        self.copper_joules += self.copper_power() * (self.now - self.heated_at) as f64 * 1e-9;
        self.heated_at = self.now;
        // Bad contacts shake; the deviate is only drawn where it matters to the noise's stream.
        let unrest = if self.packs[used].is_unsteady() { self.contact.deviate() } else { 0.0 };
        let terminals = self.packs[used].pass(seconds, draw, unrest);
        if self.supply && terminals.volts < BROWN_OUT_VOLTS {
            self.controller.power_up(self.now);
            self.controller_at = self.controller.next_wake();
            self.known_drive = Drive::Off;
            self.new_table = true;
            self.energise();
            self.follow_speed(0);
            return self.packs[used].pass(0.0, self.draw(), unrest);
        }
        terminals
    }
}
