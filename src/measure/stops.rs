//! Stop distance against speed: how long the unit takes to begin braking, and how hard it brakes.
//!
//! A stop from the speed v takes the way v·t + v²/(2a), t being the delay from the command to the first step that brakes,
//! and a the deceleration. Over several stops the way divided by the speed is a straight line in the speed, t + v/(2a). It
//! is fitted by least squares: what scatters most from stop to stop is the delay, alike at all speeds, so that all stops
//! weigh the same.

use super::evidence::{CheckEvidence, PhaseEvidence};
use super::stopping::distance;
use super::values::{carriage_speed, clock, cruise, encoder_scale, nobody};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::{Action, EdgeChannel};
use crate::quantity::Dimension;
use crate::stats::{Component, Estimate, summary::Line};

/// A straight line through two stops would fit whatever they were.
const STOPS_MIN: usize = 3;
/// The fastest stop is faster than the slowest by this factor at least, or nothing can be told apart.
const SPEEDS_APART: f64 = 1.5;

const fn of_stops(
    name: &'static str,
    dimension: Dimension,
    about: &'static str,
    reader: fn(&CheckEvidence, &Setup) -> Vec<Reading>,
) -> Measurand {
    Measurand {
        name,
        dimension,
        about,
        source: "common practice: least squares of way over speed against speed",
        edges: &[EdgeChannel::Step, EdgeChannel::Direction, EdgeChannel::EncoderA, EdgeChannel::EncoderB],
        samples: &[],
        pooling: Pooling::Mean,
        reader,
    }
}

pub(super) const DELAY: Measurand = of_stops(
    "stop delay",
    Dimension::Time,
    "from the command to stop until the carriage begins to brake, by stops at several speeds",
    |check, setup| read(check, setup, |fit| Ok(fit.delay(setup))),
);

pub(super) const DECELERATION: Measurand = of_stops(
    "braking deceleration",
    Dimension::Acceleration,
    "constant deceleration that explains how stop distances grow with speed",
    |check, setup| read(check, setup, |fit| fit.deceleration(setup)),
);

pub(super) const AT_FULL_SPEED: Measurand = of_stops(
    "stop distance at full speed",
    Dimension::Length,
    "stop distance at the unit's highest level, predicted from stops at several speeds",
    |check, setup| read(check, setup, |fit| Ok(fit.distance_at(top_speed(setup), setup))),
);

fn top_speed(setup: &Setup) -> f64 {
    setup.unit.levels.iter().copied().fold(0.0, f64::max)
}

/// The line through stops, each with its speed and the standard uncertainty of its point that resolution and link alone would
/// leave, s.
struct Fit {
    line: Line,
    stops: Vec<(f64, f64)>,
}

fn read(check: &CheckEvidence, setup: &Setup, value: impl Fn(&Fit) -> Result<Estimate, Withheld>) -> Vec<Reading> {
    let stops: Vec<Result<(f64, Estimate), Withheld>> =
        check.phases.iter().filter_map(|phase| stop(phase, setup)).collect();
    if stops.len() < STOPS_MIN {
        return Vec::new();
    }
    let label = format!("{} stops", stops.len());
    let result = stops.into_iter().collect::<Result<Vec<_>, _>>().and_then(|stops| value(&fit(&stops)?));
    vec![Reading { label, result }]
}

/// Speed and way of a stop by command.
fn stop(phase: &PhaseEvidence, setup: &Setup) -> Option<Result<(f64, Estimate), Withheld>> {
    if !matches!(phase.phase.action, Action::Stop { press: None, .. }) {
        return None;
    }
    let way = distance(phase, setup)?;
    let speed = cruise(phase)?.and_then(|cruise| carriage_speed(phase, cruise, setup));
    Some(speed.and_then(|speed| Ok((speed.value, way?))))
}

fn fit(stops: &[(f64, Estimate)]) -> Result<Fit, Withheld> {
    let speeds = || stops.iter().map(|stop| stop.0);
    let (slowest, fastest) = (speeds().fold(f64::INFINITY, f64::min), speeds().fold(0.0, f64::max));
    let points: Vec<(f64, f64)> = stops.iter().map(|(speed, way)| (*speed, way.value / speed)).collect();
    let line = Line::fit(&points).filter(|_| slowest > 0.0 && fastest >= SPEEDS_APART * slowest);
    let line = line.ok_or_else(|| nobody("the stops are not from speeds that are far enough apart"))?;
    let stops = stops.iter().map(|(speed, way)| (*speed, way.standard_uncertainty() / speed)).collect();
    Ok(Fit { line, stops })
}

impl Fit {
    /// What the fit leaves in doubt of the sum of the points, each times `weight` of how far its speed is from the mean: by the
    /// scatter of the stops, but never less than resolution alone leaves. Cells of the encoder weigh more at low speed than
    /// the scatter of all stops tells; where the sum rests on slow stops, that is added.
    fn doubts(&self, estimate: Estimate, sensitivity: f64, weight: impl Fn(f64) -> f64) -> Estimate {
        let count = self.stops.len() as f64;
        let known = self.stops.iter().map(|stop| stop.1 * stop.1).sum::<f64>() / count;
        let scatter = (self.line.y_mean_uncertainty.powi(2) * count).max(known);
        let weights = || self.stops.iter().map(|stop| (weight(stop.0 - self.line.x_mean).powi(2), stop.1 * stop.1));
        let sum = weights().map(|(weight, _)| weight).sum::<f64>();
        let slow = weights().map(|(weight, square)| weight * (square - known)).sum::<f64>().max(0.0);
        let doubt = sensitivity * (scatter * sum + slow).sqrt();
        estimate.and(Component::repeated("scatter of the stops", doubt, self.line.degrees_of_freedom))
    }

    /// The same of the line's height at a speed.
    fn doubts_at(&self, estimate: Estimate, sensitivity: f64, speed: f64) -> Estimate {
        let (count, spread, away) = (self.stops.len() as f64, self.spread(), speed - self.line.x_mean);
        self.doubts(estimate, sensitivity, |off| 1.0 / count + away * off / spread)
    }

    fn spread(&self) -> f64 {
        self.stops.iter().map(|stop| (stop.0 - self.line.x_mean).powi(2)).sum()
    }

    fn delay(&self, setup: &Setup) -> Estimate {
        let (delay, _) = self.line.at(0.0);
        self.doubts_at(Estimate::of(delay), 1.0, 0.0).and(clock(delay, setup))
    }

    fn deceleration(&self, setup: &Setup) -> Result<Estimate, Withheld> {
        let slope = self.line.slope;
        if slope <= 0.0 {
            return Err(nobody("the stop distances do not grow with the square of the speed"));
        }
        let deceleration = 0.5 / slope;
        let spread = self.spread();
        let estimate = self.doubts(Estimate::of(deceleration), deceleration / slope, |off| off / spread);
        Ok(estimate.and(clock(-2.0 * deceleration, setup)).and(encoder_scale(deceleration, setup)))
    }

    fn distance_at(&self, speed: f64, setup: &Setup) -> Estimate {
        let (time, _) = self.line.at(speed);
        let braking = self.line.slope * speed * speed;
        let estimate = self.doubts_at(Estimate::of(speed * time), speed, speed);
        estimate.and(clock(speed * time + braking, setup)).and(encoder_scale(-braking, setup))
    }
}
