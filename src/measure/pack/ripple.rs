//! Supply ripple: how far the pack's voltage swings about its slow course in cruise.
//!
//! The converter's own noise is seen at rest and taken out in squares. Samples come too seldom to follow a driver's
//! chopping, but not in step with it either, so that their rms is that of the voltage itself.

use super::super::converter::Converter;
use super::super::evidence::CheckEvidence;
use super::super::values::{bench, each_cruise, nobody, ticks};
use super::super::{Measurand, Reading, Setup, Withheld};
use super::{VOLTAGE, of_the_pack, rest, with_steps};
use crate::capture::{SampleChannel, Tick};
use crate::quantity::Dimension;
use crate::stats::Estimate;
use crate::stats::summary::Line;

pub(in super::super) const SUPPLY_RIPPLE: Measurand = with_steps(of_the_pack(
    "supply ripple",
    Dimension::Voltage,
    "rms of the voltage about a straight line through each quarter of a second while the step rate of a travel is steady, \
     less, in squares, the same at rest before the check's first step",
    "common practice",
    VOLTAGE,
    ripple,
));

/// Stretch through which the slow course is straight, s.
const STRAIGHT_S: f64 = 0.25;
/// A line through fewer samples leaves nothing to tell a swing by.
const STRAIGHT_MIN: usize = 8;

/// Squares about straight lines, in codes².
#[derive(Debug, Clone, Copy, Default)]
struct Swing {
    squares: f64,
    samples: f64,
    degrees_of_freedom: f64,
}

impl Swing {
    fn of(check: &CheckEvidence, (from, to): (Tick, Tick), setup: &Setup) -> Option<Self> {
        let length = ticks(STRAIGHT_S, setup).max(1);
        let mut swing = Self::default();
        for index in 0..to.checked_sub(from)? / length {
            let begins = from + index * length;
            let samples = check.samples(SampleChannel::PackVoltage, begins, begins + length - 1);
            let points: Vec<(f64, f64)> =
                samples.iter().map(|sample| ((sample.at - begins) as f64, f64::from(sample.code))).collect();
            let Some(line) = Line::fit(&points).filter(|_| points.len() >= STRAIGHT_MIN) else {
                continue;
            };
            let count = points.len() as f64;
            swing.squares += line.y_mean_uncertainty.powi(2) * count * line.degrees_of_freedom;
            swing.samples += count;
            swing.degrees_of_freedom += line.degrees_of_freedom;
        }
        (swing.degrees_of_freedom > 0.0).then_some(swing)
    }
}

fn ripple(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise, _| ripple_in(check, (cruise.began, cruise.ended), setup))
}

fn ripple_in(check: &CheckEvidence, stretch: (Tick, Tick), setup: &Setup) -> Result<Estimate, Withheld> {
    let converter = Converter::of(SampleChannel::PackVoltage, setup)?;
    let still = Swing::of(check, rest(check, setup), setup).ok_or_else(|| {
        nobody("the check has no rest before its first step, which tells the converter's noise from ripple")
    })?;
    let moving = Swing::of(check, stretch, setup)
        .ok_or_else(|| bench("the cruise is shorter than a quarter of a second, or has too few samples"))?;
    // Noise leaves its variance for each degree of freedom, a swing its square for each sample.
    let noise = still.squares / still.degrees_of_freedom;
    let ripple = ((moving.squares - moving.degrees_of_freedom * noise) / moving.samples).max(0.0);
    // The ripple is what it was in this cruise; only the noise on top of it is left to chance. A mean square of n samples of
    // noise about a course that swings by `ripple` has the variance (2σ⁴ + 4σ²·ripple) / n.
    let by_noise = (2.0 * noise * noise + 4.0 * noise * ripple) / moving.samples;
    let square_doubt = (by_noise + 2.0 * noise * noise / still.degrees_of_freedom).sqrt();
    // Where there is much ripple this is half of that over the ripple; where there is none, its root.
    let value = ripple.sqrt();
    let doubt = (ripple + square_doubt).sqrt() - value;
    let gain = converter.gain();
    let freedom = moving.degrees_of_freedom.min(still.degrees_of_freedom);
    Ok(Estimate::of(gain * value).and(converter.gain_line(gain * value)).with_freedom("repeat", gain * doubt, freedom))
}
