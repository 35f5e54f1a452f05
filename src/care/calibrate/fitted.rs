//! The line through a channel's readings, and what it makes of the channel's numbers.
//!
//! One reference stands behind all readings, so its uncertainty does not average out. Nobody knows, though, whether it is
//! the same everywhere or differs from reading to reading, so it counts twice: each reading's own, which weighs the reading
//! and judges how well the line fits, and shared, shifting all readings at once. The sum is no less than the truth whatever
//! the readings have in common: with a correlation r between them the variance is (1 − r) of the one and r of the other.

use super::{Doubt, Reading, Target};
use crate::capture::Calibration;
use crate::jig::{Encoder, SampleInput, TickClock};
use crate::stats::{DoubtfulLine, DoubtfulPoint, LineDoubt, NoLine};
use crate::written::Mistake;

/// A line takes so many readings: with two it always fits.
pub const READINGS_MIN: usize = 3;
/// Where points scatter about a true line by as much in fewer cases than this, their doubt is widened by what they show.
pub const WIDENED_BELOW: f64 = 0.05;
/// Where they do in fewer than this, no line is what they follow.
pub const REFUSED_BELOW: f64 = 0.001;
/// A slope that is in doubt by more than this, relative, is none.
const SLOPE_DOUBT_MAX: f64 = 0.5;
/// A clock that is off by more than this part is not the one that the jig file describes.
const CLOCK_ERROR_MAX: f64 = 0.1;

/// How well the line fits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fits {
    /// As well as the readings' doubts let expect.
    Well,
    /// Not quite: what the readings' own doubts leave was made so many times as large.
    Widened { factor: f64 },
    /// Not at all.
    Not,
}

/// A channel's readings with the line through them.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    pub readings: Vec<Reading>,
    /// Reference = slope × count + intercept.
    pub line: DoubtfulLine,
    /// Of slope and intercept, with what all readings share.
    pub doubt: LineDoubt,
    pub fits: Fits,
    /// The channel with its new numbers, and the dates that it had.
    pub calibrated: Target,
}

impl Fitted {
    /// The least and the greatest count that was read.
    pub fn counts(&self) -> (f64, f64) {
        span(&self.readings)
    }

    /// Standard uncertainty of the reference's value at a count.
    pub fn uncertainty_at(&self, count: f64) -> f64 {
        self.doubt.at(count).sqrt()
    }
}

/// Lays the line. `shared` is what the reference is in doubt of beside what stands with each reading.
///
/// # Errors
/// Where the readings show no line at all.
pub fn fit(target: &Target, readings: Vec<Reading>, shared: &[Doubt]) -> Result<Fitted, Mistake> {
    let points: Vec<DoubtfulPoint> = readings.iter().map(|reading| point(reading, shared)).collect();
    let line = DoubtfulLine::fit(&points).map_err(|no_line| no_line_words(no_line, &readings, target))?;
    let probability = line.probability();
    let fits = match probability {
        WIDENED_BELOW.. => Fits::Well,
        REFUSED_BELOW.. => Fits::Widened { factor: (line.chi_square() / line.degrees_of_freedom()).sqrt() },
        _ => Fits::Not,
    };
    let widened = if let Fits::Widened { factor } = fits { factor * factor } else { 1.0 };
    let own: Vec<f64> = readings.iter().map(|reading| reading.reference_uncertainty).collect();
    let shifts = shared.iter().map(|doubt| readings.iter().map(|reading| doubt.at(reading.reference)).collect());
    let doubt = std::iter::once(own)
        .chain(shifts)
        .fold(line.doubt.times(widened), |doubt, shift: Vec<f64>| doubt.and(line.response(&shift)));
    let calibrated = calibrated(target, &line, &doubt, span(&readings))?;
    Ok(Fitted { readings, line, doubt, fits, calibrated })
}

fn point(reading: &Reading, shared: &[Doubt]) -> DoubtfulPoint {
    let doubts = shared.iter().map(|doubt| doubt.at(reading.reference));
    DoubtfulPoint {
        x: reading.count,
        x_uncertainty: reading.count_uncertainty,
        y: reading.reference,
        y_uncertainty: doubts.fold(reading.reference_uncertainty, f64::hypot),
    }
}

fn span(readings: &[Reading]) -> (f64, f64) {
    let counts = || readings.iter().map(|reading| reading.count);
    (counts().fold(f64::INFINITY, f64::min), counts().fold(f64::NEG_INFINITY, f64::max))
}

fn no_line_words(no_line: NoLine, readings: &[Reading], target: &Target) -> Mistake {
    let counts = target.counts();
    let enough = format!("take at least {READINGS_MIN} readings, spread over the range that the channel is used in");
    match no_line {
        NoLine::TooFew => Mistake::new(format!("{} readings show no line", readings.len()), enough),
        NoLine::OnePlace => Mistake::new(format!("all readings have the same {counts}"), enough),
        NoLine::Unusable { point } => {
            let what = format!("the reading at {} has no doubt at all", readings[point].place);
            Mistake::new(what, "state the reference's standard uncertainty")
        }
        NoLine::Unsettled => {
            Mistake::new("the readings are too much in doubt to show a line", "spread them over a wider range")
        }
    }
}

/// The channel with the numbers that the line gives it.
fn calibrated(target: &Target, line: &DoubtfulLine, doubt: &LineDoubt, span: (f64, f64)) -> Result<Target, Mistake> {
    let relative = doubt.slope.sqrt() / line.slope.abs();
    if relative.is_nan() || relative > SLOPE_DOUBT_MAX {
        let what = format!("the readings do not show how the reference follows the {}", target.counts());
        return Err(Mistake::new(what, "look at the wires, and spread the readings over a wider range"));
    }
    if line.slope < 0.0 && !matches!(target, Target::Sample(_)) {
        let what = format!("the reference falls while the {} rise", target.counts());
        return Err(Mistake::new(what, "look at which column is which, and count towards the right end"));
    }
    Ok(match *target {
        Target::Sample(input) => Target::Sample(SampleInput {
            calibration: Calibration {
                gain: line.slope,
                offset: line.intercept,
                gain_uncertainty: relative,
                offset_uncertainty: offset_uncertainty(doubt, span),
            },
            ..input
        }),
        Target::Clock(clock) => {
            let stretch = line.slope * clock.ticks_per_second as f64;
            if (stretch - 1.0).abs() > CLOCK_ERROR_MAX {
                let what = format!("a second has {:.0} ticks by these readings", 1.0 / line.slope);
                return Err(Mistake::new(what, "look at the unit of the reference, and at the clock's `rate`"));
            }
            Target::Clock(TickClock { error: stretch - 1.0, uncertainty: relative * stretch, ..clock })
        }
        Target::Encoder(encoder) => {
            Target::Encoder(Encoder { edges_per_metre: 1.0 / line.slope, uncertainty: relative, ..encoder })
        }
    })
}

/// A jig file holds gain and offset as if they were independent. They are not: a line through readings far from zero is
/// known best among them, and there a higher gain goes with a lower offset. So the file's offset uncertainty is the least by
/// which gain and offset together understate no value between the first and the last reading, and no less than that of the
/// line where it is known best.
///
/// With u²(line at c) = V(offset) + 2 c cov + c² V(gain), and c² V(gain) being the gain's part in the file, the rest is
/// linear in c, so that it is greatest at one end.
fn offset_uncertainty(doubt: &LineDoubt, (low, high): (f64, f64)) -> f64 {
    let left_by_the_gain = |count: f64| doubt.intercept + 2.0 * count * doubt.covariance;
    let at_best = if doubt.slope > 0.0 { doubt.intercept - doubt.covariance.powi(2) / doubt.slope } else { 0.0 };
    left_by_the_gain(low).max(left_by_the_gain(high)).max(at_best).max(0.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::care::calibrate::tests_support::{clock, encoder, volts};

    fn reading(count: f64, count_uncertainty: f64, reference: f64, reference_uncertainty: f64) -> Reading {
        Reading { place: format!("{reference}"), count, count_uncertainty, reference, reference_uncertainty }
    }

    fn voltage_readings(error: impl Fn(f64) -> f64) -> Vec<Reading> {
        [6.0, 6.6, 7.2, 7.8, 8.4]
            .map(|volts| reading((volts + 0.0123) / 1.2531e-3, 0.05, volts + error(volts), 1e-3))
            .to_vec()
    }

    fn sample(fitted: &Fitted) -> Calibration {
        let Target::Sample(input) = fitted.calibrated else { panic!("a sampled channel") };
        input.calibration
    }

    #[test]
    fn a_line_that_is_there_is_found() {
        let fitted = fit(&volts(), voltage_readings(|_| 0.0), &[]).expect("a line");
        let found = sample(&fitted);
        assert!((found.gain - 1.2531e-3).abs() < 1e-12 && (found.offset + 0.0123).abs() < 1e-9, "{found:?}");
        assert_eq!(fitted.fits, Fits::Well);
    }

    /// The file's model, gain and offset independent, against the whole covariance, at every place of the span.
    #[test]
    fn the_jig_file_understates_no_value_of_the_span() {
        for span in [[6.0, 6.8, 7.6, 8.4], [-2.0, 0.0, 1.0, 3.0], [0.0, 0.1, 0.2, 5.0], [-5.0, -4.0, -3.0, -2.9]] {
            for shared in [&[][..], &[Doubt::Absolute(2e-3)], &[Doubt::Relative(1e-3), Doubt::Absolute(1e-3)]] {
                let readings = span.map(|volts| reading(volts / 1.25e-3, 0.3, volts, 5e-4)).to_vec();
                let fitted = fit(&volts(), readings, shared).expect("a line");
                let (file, (low, high)) = (sample(&fitted), fitted.counts());
                let mut spare = f64::INFINITY;
                for step in 0..=1000 {
                    let count = low + (high - low) * f64::from(step) / 1000.0;
                    let in_file = (file.gain * count * file.gain_uncertainty).hypot(file.offset_uncertainty);
                    let truly = fitted.uncertainty_at(count);
                    assert!(
                        in_file >= truly * (1.0 - 1e-9),
                        "{span:?} {shared:?}: {in_file} at {count}, truly {truly}"
                    );
                    spare = spare.min((in_file.powi(2) - truly.powi(2)) / file.offset_uncertainty.powi(2));
                }
                // And it is the least that does so, or what the line is in doubt of where it is known best.
                let best = fitted.uncertainty_at(-fitted.doubt.covariance / fitted.doubt.slope);
                let is_least = spare < 1e-6 || (file.offset_uncertainty / best - 1.0).abs() < 1e-6;
                assert!(is_least, "{span:?} {shared:?}: {spare} too much");
            }
        }
    }

    #[test]
    fn what_all_readings_share_is_not_averaged_away() {
        let of = |shared: &[Doubt]| {
            let readings =
                voltage_readings(|_| 0.0).into_iter().map(|one| Reading { reference_uncertainty: 0.0, ..one });
            fit(&volts(), readings.collect(), shared).expect("a line")
        };
        let shifted = of(&[Doubt::Absolute(3e-3)]);
        assert!(shifted.uncertainty_at(7.2 / 1.2531e-3) > 3e-3, "a shift of all");
        let stretched = of(&[Doubt::Relative(1e-3)]);
        assert!(sample(&stretched).gain_uncertainty > 1e-3, "a stretch of all");
        assert!(stretched.uncertainty_at(7.2 / 1.2531e-3) > 7.2e-3);
    }

    #[test]
    fn the_truth_is_covered_whatever_the_references_have_in_common() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, StandardNormal};
        const DRAWS: usize = 1000;
        let mut random = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(11);
        let mut deviate = || -> f64 { StandardNormal.sample(&mut random) };
        for common in [0.0_f64, 0.5, 1.0] {
            let mut inside = [0; 2];
            for _ in 0..DRAWS {
                let shared = deviate();
                let mut drawn = |volts: f64| {
                    let error = common.sqrt() * shared + (1.0 - common).sqrt() * deviate();
                    reading(volts / 1.25e-3 + 0.3 * deviate(), 0.3, volts + 2e-3 * error, 2e-3)
                };
                let readings: Vec<Reading> = [6.0, 6.6, 7.2, 7.8, 8.4].into_iter().map(&mut drawn).collect();
                let fitted = fit(&volts(), readings, &[]).expect("a line");
                let (found, middle) = (sample(&fitted), 7.2 / 1.25e-3);
                let off = found.gain * middle + found.offset - 7.2;
                inside[0] += usize::from((found.gain / 1.25e-3 - 1.0).abs() < 1.96 * found.gain_uncertainty);
                inside[1] += usize::from(off.abs() < 1.96 * fitted.uncertainty_at(middle));
            }
            for count in inside {
                assert!(count as f64 > 0.935 * DRAWS as f64, "{inside:?} of {DRAWS} with a correlation of {common}");
            }
        }
    }

    #[test]
    fn a_line_that_does_not_fit_is_widened_or_refused_and_the_worst_reading_is_known() {
        let slightly = |volts: f64| if volts == 7.2 { 3.2e-3 } else { 0.0 };
        let fitted = fit(&volts(), voltage_readings(slightly), &[]).expect("a line");
        let Fits::Widened { factor } = fitted.fits else { panic!("{:?}", fitted.fits) };
        let plain = fit(&volts(), voltage_readings(|_| 0.0), &[]).expect("a line");
        assert!(factor > 1.3 && sample(&fitted).gain_uncertainty > 1.2 * sample(&plain).gain_uncertainty);
        let badly = |volts: f64| if volts == 7.8 { 8e-3 } else { 0.0 };
        let fitted = fit(&volts(), voltage_readings(badly), &[]).expect("a line");
        assert_eq!((fitted.fits, fitted.line.worst()), (Fits::Not, 3));
    }

    #[test]
    fn a_clock_s_error_and_an_encoder_s_scale_come_of_the_slope() {
        let readings = [0.0, 100.0, 200.0, 300.0].map(|seconds: f64| {
            let ticks = seconds * 2e6 / (1.0 + 17e-6) + 812.0;
            reading(ticks.round(), 0.3, seconds, 1e-6)
        });
        let fitted = fit(&clock(), readings.to_vec(), &[Doubt::Relative(2e-8)]).expect("a line");
        let Target::Clock(found) = fitted.calibrated else { panic!("the clock") };
        assert!((found.error - 17e-6).abs() < 1e-8, "{}", found.error);
        assert!(found.uncertainty >= 2e-8 && found.uncertainty < 5e-8, "{}", found.uncertainty);

        let milliseconds = [0.0, 100.0, 200.0].map(|seconds| reading(2e3 * seconds, 0.3, seconds, 1e-6));
        let mistaken = fit(&clock(), milliseconds.to_vec(), &[]).expect_err("another unit");
        assert_eq!(mistaken.what, "a second has 2000 ticks by these readings");

        let readings = [0.0, 0.2, 0.4, 0.55].map(|metres: f64| reading((metres * 39_996.0).round(), 0.3, metres, 3e-6));
        let fitted = fit(&encoder(), readings.to_vec(), &[]).expect("a line");
        let Target::Encoder(found) = fitted.calibrated else { panic!("the encoder") };
        assert!((found.edges_per_metre - 39_996.0).abs() < 3.0, "{}", found.edges_per_metre);
    }

    #[test]
    fn readings_without_a_line_say_what_to_do() {
        let two = voltage_readings(|_| 0.0)[..2].to_vec();
        assert_eq!(fit(&volts(), two, &[]).expect_err("two").what, "2 readings show no line");
        let still = [6.0, 7.0, 8.0].map(|volts| reading(5000.0, 0.3, volts, 1e-3)).to_vec();
        assert_eq!(fit(&volts(), still, &[]).expect_err("one code").what, "all readings have the same code");
        let stuck = [6.0, 7.0, 8.0].map(|volts| reading(5000.0 + volts / 100.0, 1.0, volts, 1e-3)).to_vec();
        assert!(fit(&volts(), stuck, &[]).expect_err("no gain").what.contains("do not show how"));
        let backwards = [0.0, 1.0, 2.0].map(|metres| reading(-4e4 * metres, 0.3, metres, 1e-6)).to_vec();
        assert!(fit(&encoder(), backwards, &[]).expect_err("falls").what.contains("falls while the edges rise"));
    }
}
