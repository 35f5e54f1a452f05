//! Jitter of the step clock over the cruise of a travel (definitions of JEDEC JESD65 and IEEE Std 2414).
//!
//! A period is the interval between two step pulses; its deviation is taken from the mean period of the cruise. What the
//! jig's own stamps add is known and is taken out again.

use super::evidence::{CheckEvidence, CruiseEvidence};
use super::pulses::Intervals;
use super::step_clock::of_the_step_clock;
use super::values::{
    RECTANGULAR, STAMP_VARIANCE_DOUBT, clock, each_cruise, is_rounded_well, seconds, stamp_variance, without_stamps,
};
use super::{Measurand, Pooling, Reading, Setup};
use crate::quantity::Dimension;
use crate::stats::{Estimate, Tally};

pub(super) const PERIOD_RMS: Measurand = of_the_step_clock(
    "period jitter rms",
    Dimension::Time,
    "standard deviation of the step period over the cruise",
    "JEDEC JESD65, period jitter",
    period_rms,
);

pub(super) const PERIOD_PEAK_TO_PEAK: Measurand = of_the_step_clock(
    "period jitter peak to peak",
    Dimension::Time,
    "longest less shortest step period of the cruise",
    "JEDEC JESD65, period jitter",
    period_peak_to_peak,
)
.pooled(Pooling::Worst);

pub(super) const PERIOD_P99: Measurand = of_the_step_clock(
    "period jitter p99",
    Dimension::Time,
    "deviation from the mean step period that 99 % of the periods of the cruise do not exceed",
    "JEDEC JESD65, period jitter; quantile of readings in whole ticks as common practice for grouped readings",
    |check, setup| period_quantile(check, setup, 0.99),
);

pub(super) const PERIOD_P99_9: Measurand = of_the_step_clock(
    "period jitter p99.9",
    Dimension::Time,
    "deviation from the mean step period that 99.9 % of the periods of the cruise do not exceed",
    "JEDEC JESD65, period jitter; quantile of readings in whole ticks as common practice for grouped readings",
    |check, setup| period_quantile(check, setup, 0.999),
);

pub(super) const CYCLE_TO_CYCLE: Measurand = of_the_step_clock(
    "cycle-to-cycle jitter",
    Dimension::Time,
    "root mean square of the change from one step period to the next over the cruise",
    "JEDEC JESD65, cycle-to-cycle jitter",
    cycle_to_cycle,
);

pub(super) const LONGEST_GAP: Measurand = of_the_step_clock(
    "longest step gap",
    Dimension::Time,
    "longest step period of the cruise",
    "common practice",
    longest_gap,
)
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

/// How much more a mean square of so many intervals is in doubt since an edge that is late lengthens one interval and
/// shortens the next: one and twice the squares of their correlations, of which there is one of −1/2.
const OF_INTERVALS: f64 = 1.5;
/// The same for changes of intervals, whose correlations are −2/3 and 1/6.
const OF_CHANGES: f64 = 1.0 + 2.0 * (4.0 / 9.0 + 1.0 / 36.0);

fn period_rms(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise, _| {
        let moments = Moments::of(&cruise.intervals);
        Ok(rms(moments.variance, 2.0, &moments, OF_INTERVALS / moments.count, setup))
    })
}

fn cycle_to_cycle(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise, _| {
        let moments = Moments::of(&cruise.intervals);
        let changes = (moments.count - 1.0).max(1.0);
        // Each change takes its middle edge twice: 1 + 4 + 1.
        Ok(rms(cruise.intervals.change_squares / changes, 6.0, &moments, OF_CHANGES / changes, setup))
    })
}

/// A root mean square in ticks², its known noise taken out. The variance of a mean square follows the fourth moment.
fn rms(mean_square: f64, edges: f64, moments: &Moments, share: f64, setup: &Setup) -> Estimate {
    let (left, doubt) = without_stamps(mean_square, edges, setup);
    let excess = (moments.fourth / moments.variance.powi(2).max(f64::MIN_POSITIVE) - 1.0).max(0.0);
    // Next to nothing left is no better known than what was seen.
    let steep = 2.0 * left.max(0.3 * mean_square.sqrt()).max(f64::MIN_POSITIVE);
    let value = seconds(left, setup);
    Estimate::of(value)
        .with("resolution", seconds(doubt, setup))
        .with("sampling", seconds(mean_square * (excess * share).sqrt() / steep, setup))
        .and(clock(value, setup))
}

/// How well the slope of a tail is known from its ten outermost readings, relative.
const DECAY_DOUBT: f64 = 0.35;

/// The largest of the deviations on one side, from its distance to the mean, in ticks: less what the jig's noise is likely to
/// have added to it, and how far that is in doubt. Noise of variance v moves the end of a tail that decays over a length d
/// by v/2d; a lonely reading, after which the tail seems long, not at all.
fn largest(distance: f64, tally: &Tally, setup: &Setup) -> (f64, f64) {
    let noise = 2.0 * stamp_variance(setup);
    let decay = tally.decay_of_largest().unwrap_or(0.0).max(f64::MIN_POSITIVE);
    let added = (0.5 * noise / decay).min(noise.sqrt()).min(distance.max(0.0));
    (distance - added, noise.sqrt().hypot(DECAY_DOUBT * added))
}

fn period_peak_to_peak(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise, _| {
        let mean = Moments::of(&cruise.intervals).mean;
        let (shortest, longest) = ends(&cruise.intervals);
        let (above, above_doubt) = largest(longest - mean, &tally(&cruise.intervals, |value| value), setup);
        let (below, below_doubt) = largest(mean - shortest, &tally(&cruise.intervals, |value| -value), setup);
        let value = seconds(above + below, setup);
        Ok(Estimate::of(value)
            .with("resolution", seconds(above_doubt.hypot(below_doubt), setup))
            .and(clock(value, setup)))
    })
}

fn longest_gap(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise: &CruiseEvidence, _| {
        let mean = Moments::of(&cruise.intervals).mean;
        let distance = ends(&cruise.intervals).1 - mean;
        let (distance, doubt) = largest(distance, &tally(&cruise.intervals, |value| value), setup);
        let value = seconds(cruise.intervals.base as f64 + mean + distance, setup);
        Ok(Estimate::of(value).with("resolution", seconds(doubt, setup)).and(clock(value, setup)))
    })
}

fn period_quantile(check: &CheckEvidence, setup: &Setup, probability: f64) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise, _| {
        let tail = Tail { intervals: &cruise.intervals, moments: Moments::of(&cruise.intervals) };
        let (value, resolution, sampling) =
            tail.quantile(probability, setup).unwrap_or_else(|| tail.whole_quantile(probability, setup));
        let value = seconds(value, setup);
        Ok(Estimate::of(value)
            .with("resolution", seconds(resolution, setup))
            .with("sampling", seconds(sampling, setup))
            .and(clock(value, setup)))
    })
}

/// How much more the rank of a quantile far out is in doubt since a late edge lengthens one interval and shortens the next:
/// two neighbours lie beyond it together in a tenth of the cases.
const RANKS_TOGETHER: f64 = 1.2;
/// How well the slope of a tail tells what noise adds to its quantile, relative.
const SLOPE_DOUBT: f64 = 0.2;
/// The tail's slope is taken from its quantile to the one that so many times as many readings lie beyond.
const SLOPE_FROM: f64 = 5.0;

/// Distances of the intervals from their mean, ticks.
struct Tail<'a> {
    intervals: &'a Intervals,
    moments: Moments,
}

impl Tail<'_> {
    /// A quantile of distances that fall off over more than a tick, each reading spread evenly over its tick: value, doubt by
    /// noise, doubt by sampling. `None` where they do not.
    fn quantile(&self, probability: f64, setup: &Setup) -> Option<(f64, f64, f64)> {
        let stamps = 2.0 * stamp_variance(setup);
        let found = self.spread_quantile(probability);
        let share = |middle: f64| self.within(middle + 0.5) - self.within(middle - 0.5);
        if !is_rounded_well(self.moments.variance - stamps, 2.0) || share(found - 1.0) < share(found) {
            return None;
        }
        // Noise of variance v moves the quantile of a density that falls as exp(−g·x) by g·v/2. Spreading is noise, too.
        let noise = stamps + RECTANGULAR.powi(2);
        let beyond = 1.0 - probability;
        let slope = SLOPE_FROM.ln() / (found - self.spread_quantile(1.0 - SLOPE_FROM * beyond)).max(f64::MIN_POSITIVE);
        let added = (0.5 * slope * noise).min(noise.sqrt());
        let of_stamps = STAMP_VARIANCE_DOUBT * (stamps - 2.0 * RECTANGULAR.powi(2)) / noise;
        let ranks = (probability * beyond * RANKS_TOGETHER / self.moments.count).sqrt();
        let sampling = 0.5 * (self.spread_quantile(probability + ranks) - self.spread_quantile(probability - ranks));
        Some((found - added, added * SLOPE_DOUBT.hypot(of_stamps), sampling))
    }

    /// A quantile of distances that come in few whole ticks, or in heaps: one of the readings.
    fn whole_quantile(&self, probability: f64, setup: &Setup) -> (f64, f64, f64) {
        let distances = tally(self.intervals, |value| (value - self.moments.mean).abs());
        let distance = distances.quantile(probability).unwrap_or(0.0);
        let noise = 2.0 * stamp_variance(setup);
        // What the noise can have added: nothing in a heap far out, its share of the standard deviation in a broad tail.
        let share = 1.0 - (1.0 - noise / self.moments.variance.max(f64::MIN_POSITIVE)).max(0.0).sqrt();
        let added = (distance * share).min(EXTREME_NOISE * noise.sqrt());
        let sampling = distances.quantile_uncertainty(probability).unwrap_or(0.0);
        (distance - 0.5 * added, (added * RECTANGULAR).hypot(RECTANGULAR), sampling)
    }

    /// The fraction of the distances up to `distance`, each interval spread evenly over its tick.
    fn within(&self, distance: f64) -> f64 {
        let (low, high) = (self.moments.mean - distance, self.moments.mean + distance);
        let part = |value: f64| ((value + 0.5).min(high) - (value - 0.5).max(low)).clamp(0.0, 1.0);
        let sum: f64 = self.intervals.deviations.iter().map(|(value, times)| part(*value as f64) * *times as f64).sum();
        sum / self.moments.count.max(1.0)
    }

    /// The distance that a fraction of the distances lies within, by bisection.
    fn spread_quantile(&self, probability: f64) -> f64 {
        let (shortest, longest) = ends(self.intervals);
        let (mut low, mut high) = (0.0, 1.0 + (longest - self.moments.mean).max(self.moments.mean - shortest));
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            *(if self.within(middle) < probability { &mut low } else { &mut high }) = middle;
        }
        high
    }
}

fn ends(intervals: &Intervals) -> (f64, f64) {
    let value = |entry: Option<&(i64, u64)>| entry.map_or(0.0, |entry| entry.0 as f64);
    (value(intervals.deviations.first()), value(intervals.deviations.last()))
}

fn tally(intervals: &Intervals, of: impl Fn(f64) -> f64) -> Tally {
    Tally::new(intervals.deviations.iter().map(|(value, times)| (of(*value as f64), *times)).collect())
}
