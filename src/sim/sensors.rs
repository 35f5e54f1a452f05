//! The jig as the world sees it: a clock with an error of its own, a linear encoder, converters with gain, offset, noise
//! and steps. The constants are those that the simulated jig's file and the capture board's state; they stand here a
//! second time on purpose, so that a mistake in one does not cancel itself out.

use super::SimTime;
use super::chance::Chance;
use crate::capture::{EdgeChannel, Part, SampleChannel, Tick};

/// Ticks of the jig's clock in a second, nominally.
pub const TICKS_PER_SECOND: u64 = 2_000_000;
/// Standard deviation of the jig clock's rate, relative.
const CLOCK_UNCERTAINTY: f64 = 10e-6;
/// Distance of two encoder edges, both tracks together, m.
const ENCODER_EDGE: f64 = 25e-6;
/// Standard deviation of the encoder's scale, relative.
const ENCODER_UNCERTAINTY: f64 = 50e-6;
/// Ticks between two pack samples: 250 Hz.
pub const PACK_TICKS: Tick = TICKS_PER_SECOND / 250;
/// Ticks between two light samples: 20 Hz.
pub const LIGHT_TICKS: Tick = TICKS_PER_SECOND / 20;
/// Ticks between two samples of the bar's flicker: 1 kHz.
pub const FLICKER_TICKS: Tick = TICKS_PER_SECOND / 1000;
/// Samples of flicker in a burst.
pub const FLICKER_BURST: Tick = 256;
/// Ticks from the beginning of a burst to that of the next.
pub const FLICKER_EVERY_TICKS: Tick = 2 * TICKS_PER_SECOND;
/// Ticks between two temperature samples: 1 Hz.
pub const TEMPERATURE_TICKS: Tick = TICKS_PER_SECOND;

/// The jig's clock. Counted in whole numbers: its ticks per nanosecond are a binary fraction of 64 digits.
#[derive(Debug, Clone, Copy)]
pub struct JigClock {
    ticks_per_ns: u64,
    ns_per_tick: f64,
}

impl JigClock {
    /// A clock with a rate error drawn from its uncertainty.
    pub fn drawn(chance: &mut Chance) -> Self {
        Self::of(TICKS_PER_SECOND as f64 * 1e-9 * (1.0 + CLOCK_UNCERTAINTY * chance.deviate()))
    }

    /// The same clock, off by a relative error on top.
    pub fn off_by(self, error: f64) -> Self {
        if error == 0.0 { self } else { Self::of((1.0 + error) / self.ns_per_tick) }
    }

    /// A clock without error.
    pub fn exact(ticks_per_second: u64) -> Self {
        Self::of(ticks_per_second as f64 * 1e-9)
    }

    fn of(ticks_per_ns: f64) -> Self {
        Self { ticks_per_ns: (ticks_per_ns * 2.0_f64.powi(64)) as u64, ns_per_tick: 1.0 / ticks_per_ns }
    }

    /// The last tick at or before a moment.
    #[inline]
    pub fn tick(&self, moment: SimTime) -> Tick {
        ((u128::from(moment) * u128::from(self.ticks_per_ns)) >> 64) as Tick
    }

    /// The first whole nanosecond after the beginning of a tick.
    pub fn moment(&self, tick: Tick) -> SimTime {
        (tick as f64 * self.ns_per_tick) as u64 + 1
    }
}

/// The jig's linear encoder on the carriage: two tracks a quarter period apart, A ahead of B towards the right end.
#[derive(Debug, Clone)]
pub struct Encoder {
    edge: f64,
    cell: i64,
    low: f64,
    high: f64,
}

impl Encoder {
    /// An encoder with a scale error drawn from its uncertainty, `error` on top, and the carriage at a place.
    pub fn drawn(chance: &mut Chance, carriage: f64, error: f64) -> Self {
        let edge = ENCODER_EDGE * (1.0 + ENCODER_UNCERTAINTY * chance.deviate()) * (1.0 + error);
        let mut encoder = Self { edge, cell: 0, low: 0.0, high: 0.0 };
        encoder.enter(libm::floor(carriage / edge) as i64);
        encoder
    }

    fn enter(&mut self, cell: i64) {
        self.cell = cell;
        self.low = cell as f64 * self.edge;
        self.high = (cell + 1) as f64 * self.edge;
    }

    /// Whether a place is beyond the present cell, so that there are edges to stamp.
    #[inline(always)]
    pub fn is_left_by(&self, carriage: f64) -> bool {
        carriage >= self.high || carriage < self.low
    }

    /// The levels of its two tracks.
    pub fn levels(&self) -> (bool, bool) {
        let quarter = self.cell & 3;
        (quarter == 1 || quarter == 2, quarter >= 2)
    }

    /// Stamps the edges of a straight movement from `from` at `began` to `to`, `ns_long` later.
    #[inline(never)]
    pub fn travel(&mut self, from: f64, to: f64, began: SimTime, ns_long: f64, clock: &JigClock, out: &mut Part) {
        let slowness = ns_long / (to - from);
        while self.is_left_by(to) {
            let rightward = to >= self.high;
            let line = if rightward { self.high } else { self.low };
            let border = self.cell + i64::from(rightward);
            // A changes at odd borders and B at even ones; to the right the first two of four rise.
            let channel = if border & 1 == 1 { EdgeChannel::EncoderA } else { EdgeChannel::EncoderB };
            let level = matches!(border & 3, 1 | 2) == rightward;
            let passed = ((line - from) * slowness) as i64 as SimTime;
            out.push_edge(channel, clock.tick(began + passed), level);
            self.enter(if rightward { border } else { border - 1 });
        }
    }
}

/// A converter: what it makes of a true value.
#[derive(Debug, Clone, Copy)]
pub struct Converter {
    codes_per_value: f64,
    offset_codes: f64,
    noise_codes: f64,
    /// What a reference source at its input holds it at, whatever else would be there.
    reference: Option<f64>,
}

/// How a converter is specified.
struct Specified {
    per_code: f64,
    gain_uncertainty: f64,
    offset_uncertainty: f64,
    noise: f64,
}

impl Converter {
    fn drawn(specified: Specified, chance: &mut Chance) -> Self {
        let gain = 1.0 + specified.gain_uncertainty * chance.deviate();
        let offset = specified.offset_uncertainty * chance.deviate();
        Self {
            codes_per_value: gain / specified.per_code,
            offset_codes: offset / specified.per_code,
            noise_codes: specified.noise / specified.per_code,
            reference: None,
        }
    }

    /// Connects a reference source to its input.
    pub fn connect(&mut self, value: f64) {
        self.reference = Some(value);
    }

    /// Takes the reference source away again.
    pub fn disconnect(&mut self) {
        self.reference = None;
    }

    /// The same converter, its gain drifted by a relative error.
    pub fn drifted(self, error: f64) -> Self {
        Self { codes_per_value: self.codes_per_value * (1.0 + error), ..self }
    }

    /// The code for a true value.
    #[inline]
    pub fn code(&self, value: f64, chance: &mut Chance) -> i32 {
        let value = self.reference.unwrap_or(value);
        let exact = value * self.codes_per_value + self.offset_codes + self.noise_codes * chance.deviate();
        // Rounded to the nearest, by hand: a library call for each sample would be felt.
        (exact + if exact < 0.0 { -0.5 } else { 0.5 }) as i32
    }
}

/// All converters of the jig.
#[derive(Debug, Clone)]
pub struct Converters {
    /// Pack voltage, V.
    pub volts: Converter,
    /// Pack current, A.
    pub amps: Converter,
    /// Motor, housing and air temperature, °C.
    pub celsius: [Converter; 3],
    /// Light of each segment; 1 is fully lit.
    pub light: [Converter; 6],
    /// Light of the whole bar, quickly; 1 is all segments fully lit.
    pub flicker: Converter,
    /// Red, green and blue of the bar.
    pub colour: [Converter; 3],
}

impl Converters {
    /// That of a channel; none where the simulated jig has no such channel.
    pub fn of(&mut self, channel: SampleChannel) -> Option<&mut Converter> {
        match channel {
            SampleChannel::PackVoltage => Some(&mut self.volts),
            SampleChannel::PackCurrent => Some(&mut self.amps),
            SampleChannel::MotorTemperature => Some(&mut self.celsius[0]),
            SampleChannel::HousingTemperature => Some(&mut self.celsius[1]),
            SampleChannel::AirTemperature => Some(&mut self.celsius[2]),
            SampleChannel::Light(segment) => self.light.get_mut(usize::from(segment)),
            SampleChannel::LightFlicker => Some(&mut self.flicker),
            SampleChannel::Red => Some(&mut self.colour[0]),
            SampleChannel::Green => Some(&mut self.colour[1]),
            SampleChannel::Blue => Some(&mut self.colour[2]),
        }
    }

    /// Converters with errors drawn from their calibration's uncertainty.
    pub fn drawn(chance: &mut Chance, bar_chance: &mut Chance) -> Self {
        let volts = Specified { per_code: 1.25e-3, gain_uncertainty: 1e-3, offset_uncertainty: 2e-3, noise: 0.8e-3 };
        let amps = Specified { per_code: 0.5e-3, gain_uncertainty: 3e-3, offset_uncertainty: 1e-3, noise: 0.8e-3 };
        let celsius = |chance: &mut Chance| {
            let one = Specified { per_code: 0.0625, gain_uncertainty: 0.0, offset_uncertainty: 0.29, noise: 0.03 };
            Converter::drawn(one, chance)
        };
        let light = |chance: &mut Chance| {
            let one =
                Specified { per_code: 1.0 / 1024.0, gain_uncertainty: 0.05, offset_uncertainty: 0.0, noise: 2e-3 };
            Converter::drawn(one, chance)
        };
        Self {
            volts: Converter::drawn(volts, chance),
            amps: Converter::drawn(amps, chance),
            celsius: std::array::from_fn(|_| celsius(chance)),
            light: std::array::from_fn(|_| light(chance)),
            flicker: Converter::drawn(
                Specified { per_code: 1.0 / 4096.0, gain_uncertainty: 0.05, offset_uncertainty: 1e-3, noise: 1e-4 },
                bar_chance,
            ),
            colour: std::array::from_fn(|_| {
                let one = Specified { per_code: 1e-4, gain_uncertainty: 0.02, offset_uncertainty: 5e-4, noise: 1e-4 };
                Converter::drawn(one, bar_chance)
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::chance::Stream;
    use super::*;

    fn exact_clock() -> JigClock {
        JigClock::of(0.002)
    }

    #[test]
    fn a_leads_b_to_the_right_and_edges_lie_a_quarter_period_apart() {
        let mut encoder = Encoder { edge: 25e-6, cell: 0, low: 0.0, high: 0.0 };
        encoder.enter(0);
        let (clock, mut out) = (exact_clock(), Part::default());
        // 0.1 mm in 1 ms from the middle of a cell: four edges, 250 µs apart, the first after 125 µs. Begun
        // 0.1 µs after a tick, so that none lies on the border of one.
        encoder.travel(12.5e-6, 112.5e-6, 100, 1e6, &clock, &mut out);
        let ticks = |channel| out.edges(channel).iter().map(|edge| (edge.tick(), edge.level())).collect::<Vec<_>>();
        assert_eq!(ticks(EdgeChannel::EncoderA), [(250, true), (1250, false)]);
        assert_eq!(ticks(EdgeChannel::EncoderB), [(750, true), (1750, false)]);
        let mut back = Part::default();
        encoder.travel(112.5e-6, 12.5e-6, 1_000_100, 1e6, &clock, &mut back);
        assert_eq!(back.edges(EdgeChannel::EncoderB)[0], crate::capture::Edge::new(2250, true));
        assert_eq!(encoder.cell, 0);
    }

    #[test]
    fn ticks_and_moments_agree() {
        let clock = JigClock::drawn(&mut Chance::new(5, Stream::Jig));
        for tick in [0, 1, 7, 2_000_000, 599_999_999] {
            assert_eq!(clock.tick(clock.moment(tick)), tick);
        }
    }

    #[test]
    fn converters_stay_within_their_calibration() {
        let mut chance = Chance::new(9, Stream::Jig);
        let mut noise = Chance::new(9, Stream::Noise);
        for _ in 0..100 {
            let converters = Converters::drawn(&mut chance, &mut Chance::new(9, Stream::Bar));
            let volts = f64::from(converters.volts.code(7.6, &mut noise)) * 1.25e-3;
            assert!((volts - 7.6).abs() < 3.5 * (7.6e-3 + 2e-3) + 4e-3, "{volts}");
            let celsius = f64::from(converters.celsius[0].code(23.0, &mut noise)) * 0.0625;
            assert!((celsius - 23.0).abs() < 1.3, "{celsius}");
        }
    }
}
