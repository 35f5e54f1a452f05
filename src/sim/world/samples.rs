//! What the jig's converters sample: pack and temperatures; the light bar is in [`super::bar`].

use super::World;
use crate::capture::{Part, SampleChannel};
use crate::sim::SimTime;
use crate::sim::pack::Terminals;
use crate::sim::sensors::{PACK_TICKS, TEMPERATURE_TICKS, TICKS_PER_SECOND};

/// Share of a change of mechanical power that the driver's capacitors pass on within a sample's 4 ms (invented for the
/// demo).
const STORE_SHARE: f64 = 0.25;
/// Resistance of a contact that opens for a moment, Ω.
const OPEN_CONTACT: f64 = 15.0;

impl World {
    /// Takes the samples that are due.
    pub(super) fn sample(&mut self, out: &mut Part) {
        if self.pack_at <= self.now {
            self.sample_pack(out);
        }
        if self.light_at <= self.now {
            self.sample_light(out);
        }
        if self.temperature_at <= self.now {
            self.sample_temperature(out);
        }
        if self.flicker_at <= self.now {
            self.sample_flicker(out);
        }
        self.sample_at = self.pack_at.min(self.light_at).min(self.temperature_at).min(self.flicker_at);
    }

    fn sample_pack(&mut self, out: &mut Part) {
        if self.dips_per_s > 0.0 && self.dip_ends == SimTime::MAX && self.controller.stepper.is_moving() {
            let period = PACK_TICKS as f64 / TICKS_PER_SECOND as f64;
            if self.contact.happens(self.dips_per_s * period) {
                self.dip_ends = self.now + (self.contact.between(8e6, 30e6)) as u64;
                self.packs[usize::from(self.low_pack)].set_extra_contact(OPEN_CONTACT);
            }
        }
        self.mechanical_power += STORE_SHARE * (self.train.power() - self.mechanical_power);
        let Terminals { volts, amps } = self.use_pack();
        let volts_code = self.converters.volts.code(volts, &mut self.noise);
        let amps_code = self.converters.amps.code(amps, &mut self.noise);
        out.push_sample(SampleChannel::PackVoltage, self.pack_tick, volts_code);
        out.push_sample(SampleChannel::PackCurrent, self.pack_tick, amps_code);
        self.pack_tick += PACK_TICKS;
        self.pack_at = self.clock.moment(self.pack_tick);
        self.controller.read_supply(self.now, if self.supply { volts } else { 0.0 });
        if self.controller.stepper.is_moving() {
            self.energise();
        }
    }

    fn sample_temperature(&mut self, out: &mut Part) {
        self.use_pack();
        let seconds = TEMPERATURE_TICKS as f64 / TICKS_PER_SECOND as f64;
        self.thermal.pass(seconds, self.copper_joules / seconds);
        self.copper_joules = 0.0;
        let channels =
            [SampleChannel::MotorTemperature, SampleChannel::HousingTemperature, SampleChannel::AirTemperature];
        let celsius = [self.thermal.case, self.thermal.housing, self.thermal.air];
        for (index, channel) in channels.into_iter().enumerate() {
            let code = self.converters.celsius[index].code(celsius[index], &mut self.noise);
            out.push_sample(channel, self.temperature_tick, code);
        }
        self.temperature_tick += TEMPERATURE_TICKS;
        self.temperature_at = self.clock.moment(self.temperature_tick);
    }
}
