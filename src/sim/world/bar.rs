//! What the jig sees of the light bar: each segment, the flicker of the whole in bursts, its colour.

use super::World;
use crate::capture::{Part, SampleChannel, Tick};
use crate::sim::SimTime;
use crate::sim::firmware::SEGMENTS;
use crate::sim::light_bar::STRAY_LIGHT;
use crate::sim::sensors::{FLICKER_BURST, FLICKER_EVERY_TICKS, FLICKER_TICKS, LIGHT_TICKS};

/// Red, green and blue that reach the colour sensor from elsewhere, each (invented for the demo).
const STRAY_COLOUR: f64 = 0.0003;
/// Samples of flicker that are taken in one go: a board's buffer.
const FLICKER_AT_ONCE: Tick = 16;

impl World {
    pub(super) fn sample_light(&mut self, out: &mut Part) {
        let lit = usize::from(self.controller.lit());
        for segment in 0..SEGMENTS {
            let dark = segment >= lit || self.dead_segment == Some(segment);
            let light = if dark { STRAY_LIGHT } else { self.segments[segment] };
            let code = self.converters.light[segment].code(light, &mut self.noise);
            out.push_sample(SampleChannel::Light(segment as u8), self.light_tick, code);
        }
        // Every second time: the colour sensor integrates for longer.
        if (self.light_tick / LIGHT_TICKS).is_multiple_of(2) {
            self.sample_colour(out);
        }
        self.light_tick += LIGHT_TICKS;
        self.light_at = self.clock.moment(self.light_tick);
    }

    fn sample_colour(&mut self, out: &mut Part) {
        let light = self.bar_light();
        for (index, channel) in [SampleChannel::Red, SampleChannel::Green, SampleChannel::Blue].into_iter().enumerate()
        {
            let seen = STRAY_COLOUR + light * self.light_bar.colour[index];
            let code = self.converters.colour[index].code(seen, &mut self.bar_noise);
            out.push_sample(channel, self.light_tick, code);
        }
    }

    /// Mean light of the bar; 1 is all segments fully lit.
    fn bar_light(&self) -> f64 {
        let lit = usize::from(self.controller.lit());
        let light = (0..lit.min(SEGMENTS)).filter(|&segment| self.dead_segment != Some(segment));
        light.map(|segment| self.segments[segment]).sum::<f64>() * (1.0 / SEGMENTS as f64)
    }

    /// Takes the samples that are due and were to be taken a little later, several in one go.
    pub fn settle_samples(&mut self, out: &mut Part) {
        self.sample_flicker(out);
    }

    /// Takes the samples of flicker that were due up to now, while the bar still shows what it showed for all of them.
    pub(super) fn sample_flicker(&mut self, out: &mut Part) {
        if self.flicker_from > self.now {
            return;
        }
        let mean = self.bar_light();
        let mut at = self.clock.moment(self.flicker_tick);
        while at <= self.now {
            let light = mean * self.light_bar.flicker(at, self.controller.timing());
            let code = self.converters.flicker.code(light, &mut self.bar_noise);
            out.push_sample(SampleChannel::LightFlicker, self.flicker_tick, code);
            self.flicker_tick += FLICKER_TICKS;
            let burst = self.flicker_tick / FLICKER_EVERY_TICKS;
            if self.flicker_tick - burst * FLICKER_EVERY_TICKS >= FLICKER_BURST * FLICKER_TICKS {
                self.flicker_tick = (burst + 1) * FLICKER_EVERY_TICKS;
            }
            at = self.clock.moment(self.flicker_tick);
        }
        self.flicker_from = at;
        self.flicker_at = self.next_flicker();
    }

    /// When the next samples of flicker are taken in one go.
    fn next_flicker(&self) -> SimTime {
        let burst = self.flicker_tick / FLICKER_EVERY_TICKS * FLICKER_EVERY_TICKS;
        let last = burst + (FLICKER_BURST - 1) * FLICKER_TICKS;
        self.clock.moment((self.flicker_tick + (FLICKER_AT_ONCE - 1) * FLICKER_TICKS).min(last))
    }
}
