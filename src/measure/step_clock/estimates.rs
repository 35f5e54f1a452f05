//! Ticks of a step clock turned into values with their budgets.
//!
//! What the jig's stamps add to a jitter is known and is taken out again. How far a root mean square of so many periods may
//! be off is taken from its own scatter between chunks of the cruise: that holds for edges that are late independently of
//! each other, for a clock that wanders, and for rare gaps alike.

use super::super::values::{RECTANGULAR, clock, seconds, stamp_variance, unit, without_stamps};
use super::super::{Setup, Withheld};
use super::lags::{Batches, Lag};
use super::profile::PartErrors;
use super::ramp::Ramp;
use super::steady::Steadied;
use crate::stats::Estimate;

/// Noise of extremes among ten thousands of readings reaches about so many standard deviations.
const EXTREME_NOISE: f64 = 4.5;

/// A root mean square in ticks², the known noise of the stamps taken out.
struct Rms {
    mean_square: f64,
    /// How many times the variance of one edge is in it: 1 for an edge, 2 for an interval, 6 for a change of intervals.
    edges: f64,
    /// Standard uncertainty of the mean square by sampling, and its degrees of freedom.
    sampling: (f64, f64),
}

impl Rms {
    /// Of one lag.
    fn over(mean_square: f64, edges: f64, count: f64, batches: &Batches) -> Self {
        // Of a normal distribution, half as large again since an edge that is late lengthens one and shortens another.
        let normal = (mean_square * (3.0 / count.max(1.0)).sqrt(), f64::INFINITY);
        let sampling = batches.uncertainty().map_or(normal, |uncertainty| (uncertainty, batches.count - 1.0));
        Self { mean_square, edges, sampling }
    }

    /// As a value that is `scale` for each tick.
    fn estimate(&self, scale: f64, setup: &Setup) -> Estimate {
        let (left, doubt) = without_stamps(self.mean_square, self.edges, setup);
        // Next to nothing left is no better known than what was seen.
        let steep = 2.0 * left.max(0.3 * self.mean_square.sqrt()).max(f64::MIN_POSITIVE);
        Estimate::of(scale * left).with("resolution", scale * doubt).with_freedom(
            "sampling",
            scale * self.sampling.0 / steep,
            self.sampling.1,
        )
    }
}

/// Mean period, s.
pub(super) fn mean_period(steady: &Steadied, setup: &Setup) -> Option<Estimate> {
    let count = steady.intervals() as f64;
    let value = seconds(steady.mean_period()?, setup);
    let scatter = steady.counted().moments().variance.sqrt();
    Some(
        Estimate::of(value)
            .with("resolution", seconds((2.0 * stamp_variance(setup)).sqrt() / count, setup))
            .with_freedom("repeat", seconds(scatter / count, setup), count - 1.0)
            .and(clock(value, setup)),
    )
}

/// Step rate, Hz.
pub(super) fn rate(steady: &Steadied, setup: &Setup) -> Option<Estimate> {
    let period = mean_period(steady, setup).filter(|period| period.value > 0.0)?;
    Some(Estimate::combined(1.0 / period.value, &[(&period, -period.value.powi(-2))]))
}

/// Step rate against a nominal one, Hz; 1.
pub(super) fn rate_error(steady: &Steadied, nominal: f64, setup: &Setup) -> Option<Estimate> {
    let rate = rate(steady, setup)?;
    Some(Estimate::combined(rate.value / nominal - 1.0, &[(&rate, 1.0 / nominal)]))
}

/// Standard deviation of the duration of so many periods, s.
pub(super) fn jitter(lag: &Lag, setup: &Setup) -> Option<Estimate> {
    let estimate = Rms::over(lag.variance()?, 2.0, lag.count, &lag.batches).estimate(seconds(1.0, setup), setup);
    Some(with_clock(estimate, setup))
}

/// Root mean square of the change from one period to the next, s.
pub(super) fn cycle_to_cycle(steady: &Steadied, setup: &Setup) -> Option<Estimate> {
    let lag = steady.lag(1)?;
    let mean_square = lag.second_mean_square()?;
    let estimate = Rms::over(mean_square, 6.0, lag.second_count, &lag.second_batches);
    Some(with_clock(estimate.estimate(seconds(1.0, setup), setup), setup))
}

/// Longest less shortest period, s.
pub(super) fn peak_to_peak(steady: &Steadied, setup: &Setup) -> Option<Estimate> {
    let (least, most) = steady.counted().extremes()?;
    Some(extreme((most - least) as f64, steady.counted().moments().variance, 2.0 * stamp_variance(setup), 0.0, setup))
}

/// An extreme in ticks, less half of what the stamps' noise can have added: nothing for a lonely outlier, its share of the
/// standard deviation for one of a broad tail.
fn extreme(distance: f64, variance: f64, noise: f64, short: f64, setup: &Setup) -> Estimate {
    let share = 1.0 - (1.0 - noise / variance.max(f64::MIN_POSITIVE)).max(0.0).sqrt();
    // Both ends carry it.
    let added = (distance * share).min(2.0 * EXTREME_NOISE * noise.sqrt());
    let estimate = Estimate::of(seconds(distance - 0.5 * added, setup))
        .with("resolution", seconds(added * RECTANGULAR, setup))
        .with("envelope", seconds(short * RECTANGULAR, setup));
    with_clock(estimate, setup)
}

/// Root mean square time interval error against the clock that fits best, s.
pub(super) fn time_interval_error(steady: &Steadied, setup: &Setup) -> Result<Estimate, Withheld> {
    let strays = steady.strays().ok_or_else(|| unit("fewer than three steps make no clock"))?;
    let count = steady.intervals() as f64 + 1.0;
    // A clock that wanders gives fewer independent readings (Bartlett's formula for a first-order process).
    let squared = strays.correlation.min(0.999_999).powi(2);
    let independent = (count * (1.0 - squared) / (1.0 + squared)).max(1.0);
    let excess = (2.0 * steady.counted().moments().excess - 2.0).max(1.0);
    let mean_square = strays.rms.powi(2);
    let sampling = (mean_square * (excess / independent).sqrt(), independent);
    let estimate = Rms { mean_square, edges: 1.0, sampling };
    Ok(with_clock(estimate.estimate(seconds(1.0, setup), setup), setup))
}

/// Highest less lowest time interval error against the clock that fits best, s.
pub(super) fn time_interval_error_peak_to_peak(steady: &Steadied, setup: &Setup) -> Result<Estimate, Withheld> {
    let strays = steady.strays().ok_or_else(|| unit("fewer than three steps make no clock"))?;
    Ok(extreme(strays.peak_to_peak, strays.rms.powi(2), stamp_variance(setup), strays.short, setup))
}

/// The largest time interval error against the commanded clock, from the cruise's first step on, s. `nominal` is its rate.
pub(super) fn error_against_command(steady: &Steadied, nominal: f64, setup: &Setup) -> Option<Estimate> {
    let period = 1.0 / nominal / seconds(1.0, setup);
    let (farthest, short) = steady.farthest_from(period);
    let span = (steady.span().1 - steady.span().0) as f64;
    Some(
        Estimate::of(seconds(farthest, setup))
            .with("resolution", seconds((2.0 * stamp_variance(setup)).sqrt(), setup))
            .with("envelope", seconds(short.min(farthest.abs()) * RECTANGULAR, setup))
            .and(clock(seconds(span, setup), setup)),
    )
}

/// The most by which the time interval error changes within so many periods, s; `off` is how far it may be off either way.
pub(super) fn maximum_error(steady: &Steadied, periods: u64, ticks: f64, off: f64, setup: &Setup) -> Estimate {
    // Of edges that know nothing of each other, the change over any number of periods has twice the variance of one.
    let change = steady.lag(periods).and_then(Lag::variance).map(|variance| 0.5 * variance);
    let variance = change.or_else(|| Some(steady.strays()?.rms.powi(2))).unwrap_or(0.0);
    extreme(ticks, variance, stamp_variance(setup), 2.0 * off, setup)
}

/// The largest time interval error against the commanded profile, s; its start was fitted to so many steps.
pub(super) fn profile_error(part: &PartErrors, fitted: usize, setup: &Setup) -> Estimate {
    let stamps = (stamp_variance(setup) * (1.0 + 1.0 / fitted as f64)).sqrt();
    Estimate::of(seconds(part.farthest, setup))
        .with("resolution", seconds(stamps, setup))
        .and(clock(seconds(part.elapsed, setup), setup))
}

/// Root mean square time interval error against the commanded profile, s.
pub(super) fn profile_rms(part: &PartErrors, setup: &Setup) -> Estimate {
    let mean_square = part.squares / part.steps;
    let (left, doubt) = without_stamps(mean_square, 1.0, setup);
    let moved = part.products / part.steps / mean_square.sqrt().max(f64::MIN_POSITIVE);
    Estimate::of(seconds(left, setup))
        .with("resolution", seconds(doubt, setup))
        .and(clock(seconds(moved, setup), setup))
}

/// Overlapping Allan deviation over one lag; 1.
pub(super) fn allan_deviation(steady: &Steadied, lag: &Lag, slope: f64, setup: &Setup) -> Option<Estimate> {
    let mean_square = lag.second_mean_square()?;
    let period = steady.mean_period().filter(|period| *period > 0.0)?;
    let mut rms = Rms::over(mean_square, 6.0, lag.second_count, &lag.second_batches);
    if lag.second_batches.uncertainty().is_none() {
        let freedom = freedom(steady.intervals() as f64 + 1.0, lag, slope);
        rms.sampling = (mean_square * (2.0 / freedom).sqrt(), freedom);
    }
    Some(rms.estimate(0.5_f64.sqrt() / (lag.periods as f64 * period), setup))
}

/// Equivalent degrees of freedom of an overlapping Allan variance (NIST SP 1065, table 5, from memory). The kind of noise
/// is told by how the variance goes with tau: `slope` is the change of its binary logarithm per octave.
fn freedom(edges: f64, lag: &Lag, slope: f64) -> f64 {
    let m = lag.periods as f64;
    let formula = match slope {
        ..-1.5 => (edges + 1.0) * (edges - 2.0 * m) / (2.0 * (edges - m)),
        ..-0.5 => (1.5 * (edges - 1.0) / m - 2.0 * (edges - 2.0) / edges) * 4.0 * m * m / (4.0 * m * m + 5.0),
        ..0.5 => 5.0 * edges * edges / (4.0 * m * (edges + 3.0 * m)),
        _ => {
            (edges - 2.0) / m * ((edges - 1.0).powi(2) - 3.0 * m * (edges - 1.0) + 4.0 * m * m) / (edges - 3.0).powi(2)
        }
    };
    // Thinned edges cannot give more than there are: of white noise in phase, correlations −2/3 and 1/6 at one and two lags.
    formula.min(lag.second_count / 1.944).max(1.0)
}

/// Acceleration of a ramp, m/s². Negative where a ramp that should rise falls.
pub(super) fn acceleration(ramp: &Ramp, setup: &Setup) -> Estimate {
    let scale = (1.0 / seconds(1.0, setup)).powi(2) / setup.unit.steps_per_metre;
    let value = ramp.acceleration.0 * scale;
    Estimate::of(value)
        .with_freedom("fit", ramp.acceleration.1 * scale, ramp.points as f64 - 3.0)
        .and(clock(-2.0 * value, setup))
}

/// Jerk of a ramp, m/s³.
pub(super) fn jerk(ramp: &Ramp, setup: &Setup) -> Option<Estimate> {
    let scale = (1.0 / seconds(1.0, setup)).powi(3) / setup.unit.steps_per_metre;
    let (jerk, doubt) = ramp.jerk?;
    let estimate = Estimate::of(jerk * scale).with_freedom("fit", doubt * scale, ramp.points as f64 - 4.0);
    Some(estimate.and(clock(-3.0 * jerk * scale, setup)))
}

/// How early or late the steps of a ramp are against constant acceleration, s.
pub(super) fn scatter(ramp: &Ramp, setup: &Setup) -> Estimate {
    let freedom = ramp.points as f64 - 3.0;
    let rms = Rms {
        mean_square: ramp.scatter.powi(2),
        edges: 1.0,
        sampling: (ramp.scatter.powi(2) * (2.0 / freedom).sqrt(), freedom),
    };
    with_clock(rms.estimate(seconds(1.0, setup), setup), setup)
}

fn with_clock(estimate: Estimate, setup: &Setup) -> Estimate {
    let value = estimate.value;
    estimate.and(clock(value, setup))
}
