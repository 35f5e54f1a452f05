//! Jitter of the step clock over the cruise of a travel (definitions of JEDEC JESD65 and IEEE Std 2414).
//!
//! A period is the interval between two step pulses; its deviation is taken from the mean period of the cruise. What the
//! jig's own stamps add is known and is taken out again.

use super::evidence::{CheckEvidence, CruiseEvidence};
use super::pulses::Intervals;
use super::values::{clock, each_cruise, seconds, stamp_variance, without_noise};
use super::{Measurand, Pooling, Reading, Setup};
use crate::capture::EdgeChannel;
use crate::quantity::Dimension;
use crate::stats::{Estimate, Tally};

const fn of_the_step_clock(
    name: &'static str,
    about: &'static str,
    source: &'static str,
    reader: fn(&CheckEvidence, &Setup) -> Vec<Reading>,
) -> Measurand {
    Measurand {
        name,
        dimension: Dimension::Time,
        about,
        source,
        edges: &[EdgeChannel::Step],
        samples: &[],
        pooling: Pooling::Mean,
        reader,
    }
}

pub(super) const PERIOD_RMS: Measurand = of_the_step_clock(
    "period jitter rms",
    "standard deviation of the step period over the cruise",
    "JEDEC JESD65, period jitter",
    period_rms,
);

pub(super) const PERIOD_PEAK_TO_PEAK: Measurand = of_the_step_clock(
    "period jitter peak to peak",
    "longest less shortest step period of the cruise",
    "JEDEC JESD65, period jitter",
    period_peak_to_peak,
)
.pooled(Pooling::Worst);

pub(super) const PERIOD_P99: Measurand = of_the_step_clock(
    "period jitter p99",
    "deviation from the mean step period that 99 % of the periods of the cruise do not exceed",
    "JEDEC JESD65, period jitter; quantile as definition 1 of Hyndman and Fan (1996)",
    |check, setup| period_quantile(check, setup, 0.99),
);

pub(super) const PERIOD_P99_9: Measurand = of_the_step_clock(
    "period jitter p99.9",
    "deviation from the mean step period that 99.9 % of the periods of the cruise do not exceed",
    "JEDEC JESD65, period jitter; quantile as definition 1 of Hyndman and Fan (1996)",
    |check, setup| period_quantile(check, setup, 0.999),
);

pub(super) const CYCLE_TO_CYCLE: Measurand = of_the_step_clock(
    "cycle-to-cycle jitter",
    "root mean square of the change from one step period to the next over the cruise",
    "JEDEC JESD65, cycle-to-cycle jitter",
    cycle_to_cycle,
);

pub(super) const LONGEST_GAP: Measurand =
    of_the_step_clock("longest step gap", "longest step period of the cruise", "common practice", longest_gap)
        .pooled(Pooling::Worst);

/// Noise of extremes among ten thousands of readings reaches about so many standard deviations.
const EXTREME_NOISE: f64 = 4.5;

/// Moments of the deviations, in ticks.
struct Moments {
    count: f64,
    mean: f64,
    variance: f64,
    fourth: f64,
}

impl Moments {
    fn of(intervals: &Intervals) -> Self {
        let count = intervals.total() as f64;
        let sum = |power: i32, centre: f64| -> f64 {
            intervals.deviations.iter().map(|(value, times)| (*value as f64 - centre).powi(power) * *times as f64).sum()
        };
        let mean = sum(1, 0.0) / count.max(1.0);
        Self { count, mean, variance: sum(2, mean) / (count - 1.0).max(1.0), fourth: sum(4, mean) / count.max(1.0) }
    }
}

/// Standard deviation of the intervals, ticks.
pub(super) fn deviation(intervals: &Intervals) -> f64 {
    Moments::of(intervals).variance.sqrt()
}

fn period_rms(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise, _| {
        let moments = Moments::of(&cruise.intervals);
        let excess = (moments.fourth / moments.variance.powi(2).max(f64::MIN_POSITIVE) - 1.0).max(0.0);
        Ok(rms(moments.variance, 2.0 * stamp_variance(setup), excess, moments.count, setup))
    })
}

fn cycle_to_cycle(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise, _| {
        let moments = Moments::of(&cruise.intervals);
        let excess = (moments.fourth / moments.variance.powi(2).max(f64::MIN_POSITIVE) - 1.0).max(0.0);
        let changes = (moments.count - 1.0).max(1.0);
        // Each change takes its middle edge twice: 1 + 4 + 1.
        Ok(rms(cruise.intervals.change_squares / changes, 6.0 * stamp_variance(setup), excess, changes, setup))
    })
}

/// A root mean square in ticks², its known noise taken out. The variance of a variance follows the fourth moment, and
/// is half as large again where a late edge lengthens one interval and shortens the next.
fn rms(variance: f64, noise: f64, excess: f64, count: f64, setup: &Setup) -> Estimate {
    let (left, doubt) = without_noise(variance, noise);
    let sampling = variance.sqrt() * (1.5 * excess / (4.0 * count)).sqrt();
    let value = seconds(left, setup);
    Estimate::of(value)
        .with("resolution", seconds(doubt, setup))
        .with("sampling", seconds(sampling, setup))
        .and(clock(value, setup))
}

/// An extreme of the deviations in ticks, from its distance to the mean, with what the jig's noise can have added to it:
/// nothing for a lonely outlier, its share of the standard deviation for one of a broad tail.
fn extreme(distance: f64, moments: &Moments, setup: &Setup) -> (f64, f64) {
    let noise = 2.0 * stamp_variance(setup);
    let share = 1.0 - (1.0 - noise / moments.variance.max(f64::MIN_POSITIVE)).max(0.0).sqrt();
    let added = (distance * share).min(EXTREME_NOISE * noise.sqrt());
    (distance - 0.5 * added, added * super::values::RECTANGULAR)
}

fn period_peak_to_peak(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise, _| {
        let moments = Moments::of(&cruise.intervals);
        let (shortest, longest) = ends(&cruise.intervals);
        let (above, above_doubt) = extreme(longest - moments.mean, &moments, setup);
        let (below, below_doubt) = extreme(moments.mean - shortest, &moments, setup);
        let tail = |sign: f64| tally(&cruise.intervals, |value| sign * value).largest_uncertainty().unwrap_or(0.0);
        let value = seconds(above + below, setup);
        Ok(Estimate::of(value)
            // The jig's noise acts on both ends in the same way.
            .with("resolution", seconds((above_doubt + below_doubt).hypot((4.0 * stamp_variance(setup)).sqrt()), setup))
            .with("sampling", seconds(tail(1.0).hypot(tail(-1.0)), setup))
            .and(clock(value, setup)))
    })
}

fn period_quantile(check: &CheckEvidence, setup: &Setup, probability: f64) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise, _| {
        let moments = Moments::of(&cruise.intervals);
        let distances = tally(&cruise.intervals, |value| (value - moments.mean).abs());
        let (value, doubt) = extreme(distances.quantile(probability).unwrap_or(0.0), &moments, setup);
        // Deviations come in whole ticks, so the quantile does too.
        let resolution = doubt.hypot(super::values::RECTANGULAR);
        let value = seconds(value, setup);
        Ok(Estimate::of(value)
            .with("resolution", seconds(resolution, setup))
            .with("sampling", seconds(distances.quantile_uncertainty(probability).unwrap_or(0.0), setup))
            .and(clock(value, setup)))
    })
}

fn longest_gap(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise: &CruiseEvidence, _| {
        let moments = Moments::of(&cruise.intervals);
        let (distance, doubt) = extreme(ends(&cruise.intervals).1 - moments.mean, &moments, setup);
        let value = seconds(cruise.intervals.base as f64 + moments.mean + distance, setup);
        Ok(Estimate::of(value)
            .with("resolution", seconds(doubt.hypot((2.0 * stamp_variance(setup)).sqrt()), setup))
            .with(
                "sampling",
                seconds(tally(&cruise.intervals, |value| value).largest_uncertainty().unwrap_or(0.0), setup),
            )
            .and(clock(value, setup)))
    })
}

fn ends(intervals: &Intervals) -> (f64, f64) {
    let value = |entry: Option<&(i64, u64)>| entry.map_or(0.0, |entry| entry.0 as f64);
    (value(intervals.deviations.first()), value(intervals.deviations.last()))
}

fn tally(intervals: &Intervals, of: impl Fn(f64) -> f64) -> Tally {
    Tally::new(intervals.deviations.iter().map(|(value, times)| (of(*value as f64), *times)).collect())
}
