//! What feeds the unit, and where that power goes: packs and their relays, the current that the motor gets from them, heat.

use super::SimTime;
use super::assembly::Assembly;
use super::chance::{Chance, Stream};
use super::driver::{BRIDGE_DROP, Drive, Driver, EFFICIENCY};
use super::motor::Motor;
use super::pack::{Draw, Pack, Terminals};
use super::thermal::Thermal;
use super::train::Train;

/// Power of the controller, W (invented for the demo).
const LOGIC_POWER: f64 = 0.25;
/// Power of a lit segment, W (invented for the demo).
const SEGMENT_POWER: f64 = 0.04;
/// The bench's dummy load, Ω.
const DUMMY_LOAD: f64 = 6.8;
/// Share of a change of mechanical power that the driver's capacitors pass on within 4 ms (invented for the demo).
const STORE_SHARE: f64 = 0.25;
/// Resistance of a contact that opens for a moment, Ω.
const OPEN_CONTACT: f64 = 15.0;

/// The unit's own pack and the bench's nearly empty one, one of them in use, and what draws from it.
#[derive(Debug, Clone)]
pub struct Feed {
    motor: Motor,
    driver: Driver,
    thermal: Thermal,
    drive: Drive,
    // The driver had its supply cut: its table begins anew.
    new_table: bool,
    phase_current: f64,
    mechanical_power: f64,
    packs: [Pack; 2],
    used_at: [SimTime; 2],
    load: bool,
    low_pack: bool,
    unrest: f64,
    dips_per_s: f64,
    dip_ends: SimTime,
    copper_joules: f64,
    heated_at: SimTime,
    contact: Chance,
}

impl Feed {
    /// The full pack in use, at rest, everything as warm as the air.
    pub(super) fn new(assembly: &Assembly, air: f64, seed: u64) -> Self {
        Self {
            motor: assembly.motor.clone(),
            driver: assembly.driver.clone(),
            thermal: Thermal::new(assembly.thermal.clone(), air),
            drive: Drive::Off,
            new_table: true,
            phase_current: 0.0,
            mechanical_power: 0.0,
            packs: [Pack::new(assembly.pack.clone(), air), Pack::new(assembly.bench_pack.clone(), air)],
            used_at: [0; 2],
            load: false,
            low_pack: false,
            unrest: 0.0,
            dips_per_s: assembly.dips_per_s,
            dip_ends: SimTime::MAX,
            copper_joules: 0.0,
            heated_at: 0,
            contact: Chance::new(seed ^ 0xd1b5, Stream::Contact),
        }
    }

    /// What the driver does with the motor.
    pub fn drive(&self) -> Drive {
        self.drive
    }

    /// The driver does something else with the motor.
    pub fn set_drive(&mut self, drive: Drive, train: &mut Train) {
        if self.new_table && drive != Drive::Off {
            self.new_table = false;
            train.align_field();
        }
        self.drive = drive;
        self.energise(train);
    }

    /// The driver's supply was cut.
    pub fn renew_table(&mut self) {
        self.new_table = true;
    }

    /// Sets the motor's torque by what the supply can drive at the present speed.
    pub fn energise(&mut self, train: &mut Train) {
        let asked = self.driver.current(self.drive);
        self.phase_current = 0.0;
        if asked > 0.0 {
            let volts = self.terminals().volts - BRIDGE_DROP;
            let resistance = self.motor.resistance_at(self.thermal.winding);
            self.phase_current = self.motor.current(asked, volts, resistance, train.turns_per_s());
        }
        train.set_torque(self.motor.torque_amplitude(self.phase_current));
    }

    /// Connects the bench's dummy load, or takes it off.
    pub fn set_load(&mut self, on: bool) {
        self.load = on;
    }

    /// Changes over to the nearly empty pack, or back.
    pub fn set_low_pack(&mut self, on: bool) {
        self.low_pack = on;
    }

    /// Lets the pack in use live up to now, and draws from it what is drawn now. `lit` are the segments that a controller
    /// under supply lights.
    pub fn pass(&mut self, now: SimTime, lit: Option<u8>) -> Terminals {
        let used = usize::from(self.low_pack);
        let draw = self.draw(lit);
        let seconds = (now - self.used_at[used]) as f64 * 1e-9;
        self.used_at[used] = now;
        self.copper_joules += self.copper_power() * (now - self.heated_at) as f64 * 1e-9;
        self.heated_at = now;
        // Bad contacts shake; the deviate is only drawn where it matters to the noise's stream.
        self.unrest = if self.packs[used].is_unsteady() { self.contact.deviate() } else { 0.0 };
        self.packs[used].pass(seconds, draw, self.unrest)
    }

    /// Draws from the pack what is drawn now, in the moment that was passed to last.
    pub fn redraw(&mut self, lit: Option<u8>) -> Terminals {
        let draw = self.draw(lit);
        self.packs[usize::from(self.low_pack)].pass(0.0, draw, self.unrest)
    }

    fn draw(&self, lit: Option<u8>) -> Draw {
        let mut power = 0.0;
        if let Some(lit) = lit {
            let copper = self.copper_power();
            let mechanical = if copper > 0.0 { self.mechanical_power.max(0.0) } else { 0.0 };
            power = LOGIC_POWER + SEGMENT_POWER * f64::from(lit) + (copper + mechanical) * (1.0 / EFFICIENCY);
        }
        Draw { power, conductance: if self.load { 1.0 / DUMMY_LOAD } else { 0.0 } }
    }

    fn copper_power(&self) -> f64 {
        self.phase_current * self.phase_current * self.motor.resistance_at(self.thermal.winding)
    }

    /// Passes mechanical power on through the driver's capacitors; to be called every 4 ms.
    pub fn smooth(&mut self, power: f64) {
        self.mechanical_power += STORE_SHARE * (power - self.mechanical_power);
    }

    /// A shaken contact may open for a moment within the next `seconds`.
    pub fn shake(&mut self, now: SimTime, seconds: f64) {
        if self.dips_per_s > 0.0 && self.dip_ends == SimTime::MAX && self.contact.happens(self.dips_per_s * seconds) {
            self.dip_ends = now + (self.contact.between(8e6, 30e6)) as u64;
            self.packs[usize::from(self.low_pack)].set_extra_contact(OPEN_CONTACT);
        }
    }

    /// When a contact that has opened for a moment closes again.
    #[inline]
    pub fn dip_ends(&self) -> SimTime {
        self.dip_ends
    }

    /// It closes.
    pub fn end_dip(&mut self) {
        self.dip_ends = SimTime::MAX;
        self.packs.iter_mut().for_each(|pack| pack.set_extra_contact(0.0));
    }

    /// Lets the heat of the last `seconds` flow.
    pub fn warm(&mut self, seconds: f64) {
        self.thermal.pass(seconds, self.copper_joules / seconds);
        self.copper_joules = 0.0;
    }

    /// Temperatures.
    pub fn thermal(&self) -> &Thermal {
        &self.thermal
    }

    /// Voltage and current at the contacts of the pack in use, as last found.
    pub fn terminals(&self) -> Terminals {
        self.packs[usize::from(self.low_pack)].terminals()
    }

    /// Share of its charge that the pack in use has left.
    pub fn charge(&self) -> f64 {
        self.packs[usize::from(self.low_pack)].charge()
    }
}
