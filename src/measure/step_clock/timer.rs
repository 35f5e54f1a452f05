//! How fine the timer behind the steps is, and how true: a step period is a whole number of the timer's ticks.
//!
//! Three causes make a steady rate differ from the commanded one, and the way that the difference goes with the rate tells
//! them apart. A clock that is off makes every period longer or shorter by the same part. Rounding to whole ticks is no fault:
//! the unit file says how fast the timer counts, and the nearest whole number is what the unit can do. A period that is a
//! constant longer than that, whatever the rate, is a compare register that is so many ticks off, and costs the more of a
//! rate the higher it is: one of 0.5 µs is 0.5 % at 10,000 steps a second. So the periods of several speeds are held
//! against the nearest that the timer can make, and a line is laid through the differences: its slope is the clock's, its
//! height at no period the register's.

use super::super::evidence::{CheckEvidence, PhaseEvidence};
use super::super::values::{RECTANGULAR, clock, nobody, reading, seconds, stamp_variance, travels, unit, whole};
use super::super::{Measurand, Reading, Setup, Withheld};
use super::cruise::{BLOCK, STEADY_PER_CENT};
use super::divide::Motion;
use super::measurands::{motion, of_the_step_clock};
use super::steady::Steadied;
use crate::capture::Tick;
use crate::quantity::Dimension;
use crate::stats::{COVERAGE, Component, Estimate};

pub(in super::super) const RATE_GRANULARITY: Measurand = of_the_step_clock(
    "rate granularity",
    Dimension::Ratio,
    "by how much the steady step rate of a travel changes when its period is one tick of the unit's step timer longer or \
     shorter: a tick by the unit file, or else as found, over the period",
    "common practice",
    rate_granularity,
);

pub(in super::super) const PERIOD_OFFSET: Measurand = of_the_step_clock(
    "period offset",
    Dimension::Time,
    "by how much every step period is longer than the nearest to the commanded one that the step timer of the unit file can \
     make, its clock's error apart: height at no period of the line through the differences at three speeds or more",
    "common practice: weighted least squares",
    |check, setup| of_the_fit(check, setup, |fitted| fitted.offset.clone()),
);

pub(in super::super) const TIMER_CLOCK_ERROR: Measurand = of_the_step_clock(
    "timer clock error",
    Dimension::Ratio,
    "by how much the clock of the unit's step timer is fast or, negative, slow, told apart from rounding and from an offset \
     of all periods by their line at three speeds or more",
    "common practice: weighted least squares",
    |check, setup| of_the_fit(check, setup, |fitted| fitted.clock_error.clone()),
);

/// The fewest speeds that make a line with something left to prove it.
const SPEEDS_MIN: usize = 3;
/// Square of the scatter about the line over the expected one, from which on the scatter itself is the doubt: chance makes as
/// much of three speeds once in twenty times, of five once in a hundred.
const MORE_THAN_CHANCE: f64 = 4.0;
/// What a whole number of ticks may be off to count as one.
const WHOLE_WITHIN: f64 = 0.1;
/// An offset that is in doubt by a larger part of a tick does not tell one number of ticks from another.
const IN_DOUBT: f64 = 0.25;

/// What the periods at several speeds say of the timer behind them.
#[derive(Debug, Clone, PartialEq)]
pub struct TimerFit {
    /// Tick of the timer, by the unit file, s.
    pub tick_s: f64,
    /// By how much every period is longer than it should be, s.
    pub offset: Estimate,
    /// Relative error of the timer's clock; positive where it is fast.
    pub clock_error: Estimate,
    /// Largest deviation of a period from the line, s.
    pub farthest_s: f64,
    /// The highest commanded step rate, Hz.
    pub fastest_hz: f64,
    /// Speeds that were looked at.
    pub speeds: usize,
}

/// What such a line means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimerFinding {
    /// The periods are the nearest that the timer can make.
    AsCommanded,
    /// Every period is so many ticks longer, or, negative, shorter: a compare register that is as many off.
    CompareOff { ticks: i32 },
    /// Every period is longer or shorter by what is no whole number of ticks: time that each step costs.
    Offset,
    /// Half a tick or more from the line: the periods are not the nearest ones, or the timer counts otherwise.
    RoundedOtherwise,
    /// The speeds are too close together, or their steps too few or too late, to tell one from another.
    InDoubt,
}

impl TimerFit {
    /// What it means.
    pub fn finding(&self) -> TimerFinding {
        let ticks = self.offset.value / self.tick_s;
        let doubt = self.offset.expanded_uncertainty(COVERAGE) / self.tick_s;
        if self.farthest_s >= 0.5 * self.tick_s {
            TimerFinding::RoundedOtherwise
        } else if doubt > IN_DOUBT {
            TimerFinding::InDoubt
        } else if (ticks - ticks.round()).abs() > WHOLE_WITHIN.max(doubt) {
            TimerFinding::Offset
        } else if ticks.round() == 0.0 {
            TimerFinding::AsCommanded
        } else {
            TimerFinding::CompareOff { ticks: ticks.round() as i32 }
        }
    }

    /// What the offset costs of the highest rate, relative.
    pub fn cost_at_fastest(&self) -> f64 {
        -self.offset.value * self.fastest_hz
    }
}

impl Motion {
    /// First and last step of the cruise, and its period; `None` without one, or where the order of the steps is in doubt.
    pub(in super::super) fn steady(&self) -> Option<(Tick, Tick, Tick)> {
        let clock = self.cruise.as_ref().filter(|_| self.disorder.is_none()).map(|cruise| &cruise.clock)?;
        let (from, to) = clock.span();
        Some((from, to, clock.mean_period()? as Tick))
    }
}

impl CheckEvidence {
    /// The timer behind the steps, where the unit file says how fast it counts and the check cruises at three speeds or more.
    pub fn timer(&self, setup: &Setup) -> Option<TimerFit> {
        let hz = setup.unit.step_timer.filter(|_| self.losses.is_empty())?;
        fit(&points(self, hz, setup).into_iter().flatten().collect::<Vec<_>>(), 1.0 / hz, setup)
    }
}

/// A cruise: the nearest period that the timer can make, how much longer it was, and the standard uncertainty of that, s.
struct Point {
    period: f64,
    longer: f64,
    uncertainty: f64,
    nominal_hz: f64,
}

fn points(check: &CheckEvidence, timer_hz: f64, setup: &Setup) -> Vec<Result<Point, Withheld>> {
    let told = travels(check, setup).filter(|(_, speed)| speed.is_finite()).filter_map(|(phase, speed)| {
        let nominal_hz = speed * setup.unit.steps_per_metre;
        let period = (timer_hz / nominal_hz).round().max(1.0) / timer_hz;
        let point = |(mean, uncertainty)| Point { period, longer: mean - period, uncertainty, nominal_hz };
        Some(motion(phase)?.and_then(|(_, cruise)| measured(&cruise.clock, setup)).map(point))
    });
    told.collect()
}

/// Period of the even clock that fits the steps best, and its standard uncertainty but for the jig's clock, s. Unlike the mean
/// interval it hardly knows of a first or last step that still belongs to a ramp: a block of steps at either end, as far off as
/// one at a steady rate may be, tilts the line by six times that over the square of their number. A clock that wanders gives
/// fewer independent readings (Bartlett's formula for a first-order process).
fn measured(steady: &Steadied, setup: &Setup) -> Result<(f64, f64), Withheld> {
    let strays = steady.strays().ok_or_else(|| unit("the cruise was too short"))?;
    let count = steady.intervals() as f64 + 1.0;
    let squared = strays.correlation.min(0.999_999).powi(2);
    let independent = (count * (1.0 - squared) / (1.0 + squared)).max(1.0);
    let late = strays.rms.max(stamp_variance(setup).sqrt());
    let tilt = 6.0 * 0.01 * (STEADY_PER_CENT as f64) * (BLOCK as f64) * strays.period / count.powi(2);
    let ends = 2.0 * RECTANGULAR * std::f64::consts::SQRT_2 * tilt;
    let uncertainty = (late * 12_f64.sqrt() / (count * independent.sqrt())).hypot(ends);
    Ok((seconds(strays.period, setup), seconds(uncertainty, setup)))
}

/// Weighted least squares through the differences.
fn fit(points: &[Point], tick_s: f64, setup: &Setup) -> Option<TimerFit> {
    let mut periods: Vec<f64> = points.iter().map(|point| point.period).collect();
    periods.sort_by(f64::total_cmp);
    periods.dedup();
    if periods.len() < SPEEDS_MIN {
        return None;
    }
    let weight = |point: &Point| point.uncertainty.powi(-2);
    let total: f64 = points.iter().map(weight).sum();
    let mean = |of: fn(&Point) -> f64| points.iter().map(|point| weight(point) * of(point)).sum::<f64>() / total;
    let (period, longer) = (mean(|point| point.period), mean(|point| point.longer));
    let spread: f64 = points.iter().map(|point| weight(point) * (point.period - period).powi(2)).sum();
    let products = points.iter().map(|point| weight(point) * (point.period - period) * (point.longer - longer));
    let slope = products.sum::<f64>() / spread;
    let offset = longer - slope * period;
    let from_line = |point: &Point| point.longer - offset - slope * point.period;
    let freedom = points.len() as f64 - 2.0;
    let scatter = points.iter().map(|point| weight(point) * from_line(point).powi(2)).sum::<f64>() / freedom;
    let (wider, freedom) = if scatter > MORE_THAN_CHANCE { (scatter.sqrt(), freedom) } else { (1.0, f64::INFINITY) };
    let fitted = |uncertainty: f64| Component::repeated("fit", wider * uncertainty, freedom);
    let slow = 1.0 + slope;
    Some(TimerFit {
        tick_s,
        offset: Estimate::of(offset)
            .and(fitted((1.0 / total + period.powi(2) / spread).sqrt()))
            .and(clock(offset, setup)),
        clock_error: Estimate::of(1.0 / slow - 1.0)
            .and(fitted(spread.powf(-0.5) / slow.powi(2)))
            .and(clock(-1.0 / slow, setup)),
        farthest_s: points.iter().map(|point| from_line(point).abs()).fold(0.0, f64::max),
        fastest_hz: points.iter().map(|point| point.nominal_hz).fold(0.0, f64::max),
        speeds: periods.len(),
    })
}

/// One reading of the whole check; none where it has too few speeds to ask for one.
fn of_the_fit(check: &CheckEvidence, setup: &Setup, value: fn(&TimerFit) -> Estimate) -> Vec<Reading> {
    let Some(hz) = setup.unit.step_timer else {
        return vec![whole(Err(nobody(NO_TIMER)))];
    };
    match points(check, hz, setup).into_iter().collect::<Result<Vec<_>, _>>() {
        Err(withheld) => vec![whole(Err(withheld))],
        Ok(points) => fit(&points, 1.0 / hz, setup).iter().map(|fitted| whole(Ok(value(fitted)))).collect(),
    }
}

const NO_TIMER: &str = "the unit file does not say how fast the firmware's timer counts (`step timer` under `drive`)";

fn rate_granularity(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let told = travels(check, setup).filter_map(|(phase, _)| {
        let granularity = motion(phase)?.and_then(|(_, cruise)| {
            let (period, uncertainty) = measured(&cruise.clock, setup)?;
            let period = Estimate::of(period).with("repeat", uncertainty).and(clock(period, setup));
            let tick = tick(phase, setup)?;
            let value = tick.value / period.value;
            Ok(Estimate::combined(value, &[(&tick, 1.0 / period.value), (&period, -value / period.value)]))
        });
        Some(reading(phase, granularity))
    });
    told.collect()
}

/// The timer's tick, s: by the unit file, or else as a closer look found it.
fn tick(phase: &PhaseEvidence, setup: &Setup) -> Result<Estimate, Withheld> {
    if let Some(hz) = setup.unit.step_timer {
        return Ok(Estimate::exact(1.0 / hz));
    }
    match phase.closer.as_ref().and_then(|look| look.timer.as_ref()) {
        Some(Ok(found)) => Ok(found.tick(setup)),
        _ => Err(nobody(NO_TIMER)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(ticks: f64, doubt: f64, farthest: f64) -> TimerFinding {
        let tick_s = 0.5e-6;
        let offset = Estimate::of(ticks * tick_s).with("fit", doubt * tick_s);
        let clock_error = Estimate::exact(0.0);
        TimerFit { tick_s, offset, clock_error, farthest_s: farthest * tick_s, fastest_hz: 7200.0, speeds: 3 }.finding()
    }

    #[test]
    fn what_is_in_doubt_by_ticks_is_no_finding() {
        assert_eq!(finding(0.02, 0.01, 0.1), TimerFinding::AsCommanded);
        assert_eq!(finding(-1.98, 0.01, 0.1), TimerFinding::CompareOff { ticks: -2 });
        assert_eq!(finding(0.3, 0.01, 0.1), TimerFinding::Offset);
        assert_eq!(finding(1.15, 0.1, 0.1), TimerFinding::CompareOff { ticks: 1 });
        assert_eq!(finding(0.9, 0.5, 0.1), TimerFinding::InDoubt);
        assert_eq!(finding(0.0, 0.01, 0.6), TimerFinding::RoundedOtherwise);
    }
}
