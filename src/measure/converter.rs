//! A jig's converter between codes and values, and what it owes to a budget.
//!
//! Gain and offset are shared by all values of one channel, so that an offset cancels in a difference. What rounding to
//! whole codes leaves in a mean depends on the noise: a mean of rounded readings of a still value is off by up to half a
//! code, however many they are; noise of half a code makes it as good as exact.

use super::values::{bench, ticks};
use super::{Setup, Withheld};
use crate::capture::{Calibration, Sample, SampleChannel, Tick};
use crate::stats::{Component, Distribution, Estimate, summary};

/// A level needs so many samples.
pub(super) const SAMPLES_MIN: usize = 5;
/// Variance of rounding to whole codes, where noise or course spread it evenly.
pub const ROUNDING: f64 = 1.0 / 12.0;

/// The line of a budget for what scatters.
const REPEAT: &str = "repeat";

/// A sampled channel with its calibration.
#[derive(Debug, Clone, Copy)]
pub(super) struct Converter {
    channel: SampleChannel,
    calibration: Calibration,
}

impl Converter {
    /// That of a channel.
    pub fn of(channel: SampleChannel, setup: &Setup) -> Result<Self, Withheld> {
        let calibration = setup.jig.calibrations[channel.index()];
        let calibration = calibration.ok_or_else(|| bench(format!("`{}` has no calibration", channel.name())))?;
        Ok(Self { channel, calibration })
    }

    /// The value at a code between codes.
    pub fn value(&self, code: f64) -> f64 {
        self.calibration.gain * code + self.calibration.offset
    }

    /// Value per code.
    pub fn gain(&self) -> f64 {
        self.calibration.gain
    }

    /// Value at code 0.
    pub fn offset(&self) -> f64 {
        self.calibration.offset
    }

    /// The line for the gain. `sensitivity` is the change of the value per relative change of the gain.
    pub fn gain_line(&self, sensitivity: f64) -> Component {
        let (from, cause) = match self.channel {
            SampleChannel::PackVoltage => ("calibration, voltage gain", "gain of pack voltage"),
            SampleChannel::PackCurrent => ("calibration, current gain", "gain of pack current"),
            SampleChannel::MotorTemperature => ("calibration, gain", "gain of motor temperature"),
            SampleChannel::HousingTemperature => ("calibration, gain", "gain of housing temperature"),
            SampleChannel::AirTemperature => ("calibration, gain", "gain of air temperature"),
            SampleChannel::Light(_)
            | SampleChannel::LightFlicker
            | SampleChannel::Red
            | SampleChannel::Green
            | SampleChannel::Blue => ("calibration, gain", "gain of light"),
        };
        Component::normal(from, self.calibration.gain_uncertainty).through(sensitivity, "1").shared(cause)
    }

    /// The line for the offset. `sensitivity` is the change of the value per change of the channel's offset.
    pub fn offset_line(&self, sensitivity: f64) -> Component {
        let (from, unit, cause) = match self.channel {
            SampleChannel::PackVoltage => ("calibration, voltage offset", "V", "offset of pack voltage"),
            SampleChannel::PackCurrent => ("calibration, current offset", "A", "offset of pack current"),
            SampleChannel::MotorTemperature => ("calibration, offset", "K", "offset of motor temperature"),
            SampleChannel::HousingTemperature => ("calibration, offset", "K", "offset of housing temperature"),
            SampleChannel::AirTemperature => ("calibration, offset", "K", "offset of air temperature"),
            SampleChannel::Light(_)
            | SampleChannel::LightFlicker
            | SampleChannel::Red
            | SampleChannel::Green
            | SampleChannel::Blue => ("calibration, offset", "1", "offset of light"),
        };
        Component::normal(from, self.calibration.offset_uncertainty).through(sensitivity, unit).shared(cause)
    }

    /// A mean level with its budget.
    pub fn level(&self, samples: &[Sample]) -> Result<Estimate, Withheld> {
        if samples.len() < SAMPLES_MIN {
            return Err(self.too_few());
        }
        let codes = codes(samples);
        let count = codes.len() as f64;
        let mean = summary::mean(&codes).unwrap_or(f64::NAN);
        let scatter = summary::standard_deviation(&codes).unwrap_or(f64::NAN);
        Ok(Estimate::of(self.value(mean))
            .and(self.rounding(scatter * scatter, 1.0))
            .and(self.gain_line(self.gain() * mean))
            .and(self.offset_line(1.0))
            .with_freedom(REPEAT, self.gain() * scatter / count.sqrt(), count - 1.0))
    }

    /// The mean over a stretch, of something that has a course: what changes with time is no doubt of its mean. Only the
    /// noise from sample to sample is, and that the stretch begins and ends between two samples.
    pub fn mean(&self, samples: &[Sample]) -> Result<Estimate, Withheld> {
        let level = self.level(samples)?;
        let (noise, count) = (noise(samples), samples.len() as f64);
        let whole = level.budget.iter().find(|line| line.from == REPEAT).map_or(0.0, Component::standard_uncertainty);
        let budget = level.budget.into_iter().filter(|line| line.from != REPEAT).collect();
        Ok(Estimate { budget, ..level }
            .and(Component::triangular("sampling at the ends", whole / count.sqrt()))
            .with_freedom(REPEAT, self.gain() * noise / count.sqrt(), count - 2.0))
    }

    /// Why a level has no value.
    pub fn too_few(&self) -> Withheld {
        bench(format!("too few samples of `{}` came", self.channel.name()))
    }

    /// The line for what rounding leaves in a mean of codes that scatter with this variance (rounding included).
    pub fn rounding(&self, variance_codes: f64, sensitivity: f64) -> Component {
        let left = rounding_of_a_mean((variance_codes - ROUNDING).max(0.0)) * Distribution::Rectangular.half_width();
        Component::rectangular("resolution", left * self.gain() * sensitivity)
    }
}

/// Standard deviation of the error that rounding to whole numbers leaves in the mean of many readings with normal noise of
/// this variance. The mean error at x is Σ (−1)^k sin(2πkx) exp(−2π²k²σ²) / (πk); this is its rms over all x, and for no noise
/// 1/√12 (B. Widrow, I. Kollár, Quantization Noise, 2008: characteristic function of a rounded variable).
pub fn rounding_of_a_mean(noise_variance: f64) -> f64 {
    let square = 4.0 * std::f64::consts::PI.powi(2);
    if noise_variance < 1e-4 {
        return ROUNDING.sqrt();
    }
    let term = |order: f64| (-square * order * order * noise_variance).exp() / (0.5 * square * order * order);
    (1..=60).map(|order| term(f64::from(order))).sum::<f64>().sqrt()
}

/// Codes as numbers.
pub(super) fn codes(samples: &[Sample]) -> Vec<f64> {
    samples.iter().map(|sample| f64::from(sample.code)).collect()
}

/// Standard deviation of a sample's noise in codes, from the second differences, which a straight course does not touch;
/// the few large ones are the load's.
pub(super) fn noise(samples: &[Sample]) -> f64 {
    let bends = samples.windows(3).map(|three| {
        let bend = i64::from(three[0].code) - 2 * i64::from(three[1].code) + i64::from(three[2].code);
        bend.unsigned_abs()
    });
    let mut sorted: Vec<u64> = bends.collect();
    if sorted.is_empty() {
        return 0.0;
    }
    let middle = sorted.len() / 2;
    let typical = *sorted.select_nth_unstable(middle).1;
    let ordinary = sorted.iter().filter(|bend| **bend <= 6 * (typical + 1));
    let (count, squares) =
        ordinary.fold((0.0, 0.0), |(count, squares), bend| (count + 1.0, squares + (*bend as f64).powi(2)));
    (squares / f64::max(count, 1.0) / 6.0).sqrt()
}

/// The last stretch of `seconds` before `to`, but not before `from`.
pub(super) fn last_of(from: Tick, to: Tick, seconds: f64, setup: &Setup) -> (Tick, Tick) {
    (from.max(to.saturating_sub(ticks(seconds, setup))), to)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By brute force: the mean rounding error over places and noise, summed over the normal density.
    #[test]
    fn what_rounding_leaves_in_a_mean_agrees_with_summing_it_up() {
        for sigma in [0.0_f64, 0.1, 0.2, 0.3, 0.5] {
            let places = 200;
            let mean_square = (0..places)
                .map(|place| {
                    let x = (f64::from(place) + 0.5) / f64::from(places);
                    let (sum, weight) = (-400..=400)
                        .map(|step| f64::from(step) / 80.0)
                        .map(|z| ((x + sigma * z).round() - x, (-0.5 * z * z).exp()))
                        .fold((0.0, 0.0), |(sum, weight), (value, w)| (sum + value * w, weight + w));
                    (sum / weight).powi(2)
                })
                .sum::<f64>()
                / f64::from(places);
            let found = rounding_of_a_mean(sigma * sigma);
            assert!((found - mean_square.sqrt()).abs() < 0.002, "{sigma}: {found} against {}", mean_square.sqrt());
        }
    }

    #[test]
    fn noise_is_seen_through_a_course_and_a_step() {
        let sample = |index: i32| {
            let load = if index > 500 { 900 } else { 0 };
            Sample { at: index as Tick, code: 3 * index + load + [0, 2, -1, 1, -2][(index % 5) as usize] }
        };
        let samples: Vec<Sample> = (0..1000).map(sample).collect();
        let found = noise(&samples);
        assert!(found > 1.0 && found < 3.0, "{found}");
        assert_eq!(noise(&samples[..2]), 0.0);
    }
}
