//! What the jig's converters sample: pack and temperatures; the light bar is in [`super::bar`].

use super::World;
use crate::capture::{Part, SampleChannel};
use crate::sim::pack::Terminals;
use crate::sim::sensors::{PACK_TICKS, TEMPERATURE_TICKS, TICKS_PER_SECOND};

impl World {
    /// Connects a reference source to the input of a converter, which until then sees what is there. False where the jig has no such channel.
    pub fn connect_reference(&mut self, channel: SampleChannel, value: f64) -> bool {
        self.converters.of(channel).map(|converter| converter.connect(value)).is_some()
    }

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
        if self.controller.stepper.is_moving() {
            self.feed.shake(self.now, PACK_TICKS as f64 / TICKS_PER_SECOND as f64);
        }
        self.feed.smooth(self.train.power());
        let Terminals { volts, amps } = self.use_pack();
        let volts_code = self.converters.volts.code(volts, &mut self.noise);
        let amps_code = self.converters.amps.code(amps, &mut self.noise);
        out.push_sample(SampleChannel::PackVoltage, self.pack_tick, volts_code);
        out.push_sample(SampleChannel::PackCurrent, self.pack_tick, amps_code);
        self.pack_tick += PACK_TICKS;
        self.pack_at = self.clock.moment(self.pack_tick);
        self.controller.read_supply(self.now, if self.supply { volts } else { 0.0 });
        if self.controller.stepper.is_moving() {
            self.feed.energise(&mut self.train);
        }
    }

    fn sample_temperature(&mut self, out: &mut Part) {
        self.use_pack();
        self.feed.warm(TEMPERATURE_TICKS as f64 / TICKS_PER_SECOND as f64);
        let channels =
            [SampleChannel::MotorTemperature, SampleChannel::HousingTemperature, SampleChannel::AirTemperature];
        let thermal = self.feed.thermal();
        let celsius = [thermal.case, thermal.housing, thermal.air];
        for (index, channel) in channels.into_iter().enumerate() {
            let code = self.converters.celsius[index].code(celsius[index], &mut self.noise);
            out.push_sample(channel, self.temperature_tick, code);
        }
        self.temperature_tick += TEMPERATURE_TICKS;
        self.temperature_at = self.clock.moment(self.temperature_tick);
    }
}
