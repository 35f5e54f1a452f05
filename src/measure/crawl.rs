//! Time-lapse motion: a small increment at a regular interval.
//!
//! A burst of steps begins after a pause of at least a quarter of the nominal interval. The carriage's increment is taken
//! between the rests before two bursts; the first increment of a phase takes up slack and is left out.

use super::evidence::{Burst, CheckEvidence, PhaseEvidence};
use super::values::{
    RECTANGULAR, encoder_scale, mean_interval, no_pulses, reading, seconds, stamp_variance, unit, without_noise,
};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::{Action, EdgeChannel, Side};
use crate::quantity::Dimension;
use crate::stats::monte_carlo::{self, Effort};
use crate::stats::{COVERAGE, Component, Estimate, deviation_uncertainty, summary};

const ENCODER: &[EdgeChannel] = &[EdgeChannel::Step, EdgeChannel::EncoderA, EdgeChannel::EncoderB];

pub(super) const INTERVAL: Measurand = Measurand {
    name: "crawl interval",
    dimension: Dimension::Time,
    about: "mean time from one increment's first step pulse to the next's",
    source: "common practice",
    edges: &[EdgeChannel::Step],
    samples: &[],
    pooling: Pooling::Mean,
    reader: |check, setup| each_crawl(check, setup, |crawl| crawl.interval(setup)),
};

pub(super) const INCREMENT: Measurand = Measurand {
    name: "crawl increment",
    dimension: Dimension::Length,
    about: "mean way of the carriage from one rest to the next; negative where it goes the wrong way",
    source: "common practice",
    edges: ENCODER,
    samples: &[],
    pooling: Pooling::Mean,
    reader: |check, setup| each_crawl(check, setup, |crawl| crawl.increment(setup)),
};

pub(super) const INTERVAL_SCATTER: Measurand = Measurand {
    name: "crawl interval scatter",
    dimension: Dimension::Time,
    about: "standard deviation of the crawl interval",
    source: "common practice; standard deviation with n − 1",
    edges: &[EdgeChannel::Step],
    samples: &[],
    pooling: Pooling::Mean,
    reader: |check, setup| each_crawl(check, setup, |crawl| crawl.interval_scatter(setup)),
};

pub(super) const INCREMENT_SCATTER: Measurand = Measurand {
    name: "crawl increment scatter",
    dimension: Dimension::Length,
    about: "standard deviation of the carriage's way from one rest to the next",
    source: "common practice; standard deviation with n − 1",
    edges: ENCODER,
    samples: &[],
    pooling: Pooling::Mean,
    reader: |check, setup| each_crawl(check, setup, |crawl| crawl.increment_scatter(setup)),
};

/// The fewest bursts that make a crawl.
const BURSTS_MIN: usize = 4;

/// Intervals in ticks and increments in edges, positive as commanded; the first of each left out.
struct Crawl {
    intervals: Vec<f64>,
    increments: Vec<f64>,
}

impl Crawl {
    fn of(phase: &PhaseEvidence) -> Option<Self> {
        let Action::Crawl { towards } = phase.phase.action else {
            return None;
        };
        let sign = if towards == Side::Right { 1.0 } else { -1.0 };
        let bursts = phase.crawl.get(1..).filter(|bursts| bursts.len() + 1 >= BURSTS_MIN)?;
        let each = |value: fn(&[Burst]) -> f64| bursts.windows(2).map(value).collect::<Vec<f64>>();
        Some(Self {
            intervals: each(|pair| (pair[1].at - pair[0].at) as f64),
            increments: each(|pair| f64::from(pair[1].cell - pair[0].cell))
                .into_iter()
                .map(|cells| sign * cells)
                .collect(),
        })
    }

    fn interval(&self, setup: &Setup) -> Estimate {
        let mean = summary::mean(&self.intervals).unwrap_or(0.0);
        let scatter = summary::standard_deviation(&self.intervals).unwrap_or(0.0);
        mean_interval(mean, scatter, self.intervals.len() as f64, setup)
    }

    fn increment(&self, setup: &Setup) -> Estimate {
        let (count, per_metre) = (self.increments.len() as f64, setup.jig.encoder_edges_per_metre);
        let mean = summary::mean(&self.increments).unwrap_or(0.0) / per_metre;
        // Of whole cells the increments seem to differ more than they do. How much is a guess where it is most of what is seen.
        let seen = summary::standard_deviation(&self.increments).unwrap_or(0.0).powi(2);
        let scatter = (seen - 2.0 * RECTANGULAR.powi(2)).max(0.5 * seen).sqrt() / per_metre;
        Estimate::of(mean)
            // First and last rest are each known to within a cell; those between cancel.
            .with("resolution", std::f64::consts::SQRT_2 * RECTANGULAR / per_metre / count)
            .and(encoder_scale(mean, setup))
            .with_freedom("repeat", scatter / count.sqrt(), count - 1.0)
    }

    fn interval_scatter(&self, setup: &Setup) -> Estimate {
        scatter(&self.intervals, 2.0 * stamp_variance(setup), seconds(1.0, setup))
    }

    fn increment_scatter(&self, setup: &Setup) -> Estimate {
        scatter(&self.increments, 2.0 * RECTANGULAR.powi(2), 1.0 / setup.jig.encoder_edges_per_metre)
    }
}

/// Draws of a scatter's distribution: one digit of its uncertainty, since there are few readings, and the same draws for
/// every capture.
const EFFORT: Effort = Effort { probability: COVERAGE, digits: 1, draws_max: 50_000 };
const SEED: u64 = 0x0063_7261_776c;

/// Standard deviation of few readings in whole units of `scale`, the known noise taken out.
///
/// It bends: of few readings the truth may lie far above, but never below nothing. So the doubt is propagated by JCGM 101:2008:
/// the variance of ν + 1 readings is that of all, times chi-squared of ν degrees of freedom over ν.
fn scatter(readings: &[f64], noise: f64, scale: f64) -> Estimate {
    let freedom = readings.len() as f64 - 1.0;
    let variance = summary::standard_deviation(readings).unwrap_or(0.0).powi(2);
    let (left, doubt) = without_noise(variance, noise);
    let estimate = Estimate::of(scale * left);
    if variance == 0.0 {
        // Readings that are all the same may differ by as much as one unit hides: no more than one time in twenty do some
        // fifteen places that are spread over most of it all fall into the same one.
        return estimate.and(Component::rectangular("resolution", 0.5 * scale));
    }
    let drawn = monte_carlo::propagate(SEED, EFFORT, |draw| {
        let total = variance * freedom / draw.chi_squared(freedom);
        scale * (total - 2.0 * noise * draw.fraction()).max(0.0).sqrt()
    });
    estimate
        .with("resolution", scale * doubt)
        .with_freedom("sampling", scale * variance.sqrt() * deviation_uncertainty(freedom), freedom)
        .confirmed_or_replaced(drawn.as_ref(), COVERAGE)
}

fn each_crawl(check: &CheckEvidence, setup: &Setup, value: impl Fn(&Crawl) -> Estimate) -> Vec<Reading> {
    check
        .phases
        .iter()
        .filter(|phase| matches!(phase.phase.action, Action::Crawl { .. }))
        .filter_map(|phase| {
            let result = match Crawl::of(phase) {
                Some(crawl) => Ok(value(&crawl)),
                None => Err(no_crawl(phase, setup)?),
            };
            Some(reading(phase, result))
        })
        .collect()
}

/// Why there is no crawl in a phase that lasted long enough for one.
fn no_crawl(phase: &PhaseEvidence, setup: &Setup) -> Option<Withheld> {
    let lasted = seconds((phase.ended - phase.began) as f64, setup);
    if phase.balance.pulses == 0 {
        return Some(no_pulses(phase));
    }
    let enough = lasted >= (BURSTS_MIN as f64 + 1.0) * setup.unit.crawl_interval;
    enough.then(|| unit(format!("only {} increments came", phase.crawl.len())))
}

/// Mean speed of a crawl.
pub(super) fn mean_speed(phase: &PhaseEvidence, setup: &Setup) -> Option<Result<Estimate, Withheld>> {
    if !matches!(phase.phase.action, Action::Crawl { .. }) {
        return None;
    }
    let Some(crawl) = Crawl::of(phase) else {
        return no_crawl(phase, setup).map(Err);
    };
    let (increment, interval) = (crawl.increment(setup), crawl.interval(setup));
    let speed = increment.value / interval.value;
    Some(Ok(Estimate::combined(speed, &[(&increment, 1.0 / interval.value), (&interval, -speed / interval.value)])))
}
