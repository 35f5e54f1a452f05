//! Measurands of the step clock that a plan can require, beyond the jitter of single periods.

use super::super::evidence::{CheckEvidence, PhaseEvidence};
use super::super::values::{no_pulses, reading, travels, unit};
use super::super::{Measurand, Pooling, Reading, Setup, Withheld};
use super::cruise::Cruise;
use super::divide::Motion;
use super::estimates;
use super::ramp::Ramp;
use super::steady::Steadied;
use crate::capture::{Action, Destination, EdgeChannel};
use crate::quantity::Dimension;
use crate::stats::Estimate;

/// A way of fewer pulses may be all ramp.
const SHORT: u64 = 1000;

/// A measurand that the step pulses alone tell.
pub(in super::super) const fn of_the_step_clock(
    name: &'static str,
    dimension: Dimension,
    about: &'static str,
    source: &'static str,
    reader: fn(&CheckEvidence, &Setup) -> Vec<Reading>,
) -> Measurand {
    Measurand {
        name,
        dimension,
        about,
        source,
        edges: &[EdgeChannel::Step],
        samples: &[],
        pooling: Pooling::Mean,
        reader,
    }
}

pub(in super::super) const FULL_STEP_JITTER: Measurand = of_the_step_clock(
    "full-step jitter",
    Dimension::Time,
    "standard deviation of the duration of as many step periods as make a full step, over the cruise, each step beginning one",
    "JEDEC JESD65, N-period jitter",
    |check, setup| {
        each_steady(check, setup, |steady| {
            let lag = steady.lag(full_step(setup)).ok_or_else(|| unit(NO_OCTAVE))?;
            estimates::jitter(lag, setup).ok_or_else(|| unit(TOO_SHORT))
        })
    },
);

pub(in super::super) const TIME_INTERVAL_ERROR: Measurand = of_the_step_clock(
    "time interval error",
    Dimension::Time,
    "root mean square of how early or late the steps of the cruise are against the even clock that fits them best",
    "IEEE Std 2414, time interval error; the line of least squares is common practice",
    |check, setup| each_steady(check, setup, |steady| estimates::time_interval_error(steady, setup)),
);

pub(in super::super) const PROFILE_TIME_ERROR: Measurand = of_the_step_clock(
    "profile time error",
    Dimension::Time,
    "how late (or, negative, early) the step is that is farthest from the commanded profile: ramps of the unit file's \
     acceleration, the commanded rate between them, its start fitted to the ramp up",
    "IEEE Std 2414, time interval error; steps of a ramp as in D. Austin (2005); the fitted start is common practice",
    profile_time_error,
);

pub(in super::super) const ALLAN_DEVIATION: Measurand = of_the_step_clock(
    "Allan deviation",
    Dimension::Ratio,
    "overlapping Allan deviation of the step clock over the time of a full step, over the cruise",
    "IEEE Std 1139; NIST SP 1065, overlapping Allan deviation",
    |check, setup| {
        each_steady(check, setup, |steady| {
            let lag = steady.lag(full_step(setup)).ok_or_else(|| unit(NO_OCTAVE))?;
            estimates::allan_deviation(steady, lag, -2.0, setup).ok_or_else(|| unit(TOO_SHORT))
        })
    },
);

pub(in super::super) const RAMP_ACCELERATION: Measurand = of_the_step_clock(
    "ramp acceleration",
    Dimension::Acceleration,
    "acceleration of the steps between a tenth and nine tenths of the cruise's rate, by a fit of constant acceleration",
    "common practice: weighted least squares of the step count against time",
    |check, setup| each_ramp(check, setup, Motion::ramp_up),
);

pub(in super::super) const RAMP_DECELERATION: Measurand = of_the_step_clock(
    "ramp deceleration",
    Dimension::Acceleration,
    "deceleration of the steps between nine tenths and a tenth of the cruise's rate, by a fit of constant acceleration",
    "common practice: weighted least squares of the step count against time",
    |check, setup| each_ramp(check, setup, Motion::ramp_down),
);

const NO_OCTAVE: &str = "the cruise was too short, or a full step has not 1, 2, 4, 8 … steps";
const TOO_SHORT: &str = "the cruise was too short";

/// Steps of a full step.
fn full_step(setup: &Setup) -> u64 {
    u64::from(setup.unit.microsteps)
}

/// The clock of a travel that should cruise, and its cruise; `None` where none can be asked for because the way was too short.
pub(super) fn motion(phase: &PhaseEvidence) -> Option<Result<(&Motion, &Cruise), Withheld>> {
    let Some(run) = phase.main_run() else {
        return Some(Err(no_pulses(phase)));
    };
    let clock = &run.clock;
    let to_an_end = matches!(phase.phase.action, Action::Travel { to: Destination::End(_), .. });
    match (&clock.cruise, clock.disorder) {
        (_, Some(_)) => Some(Err(super::super::values::bench("steps are stamped earlier than the ones before them"))),
        (Some(cruise), None) => Some(Ok((clock, cruise))),
        (None, None) if clock.steps < SHORT && !to_an_end => None,
        (None, None) => Some(Err(unit("the steps never reached a steady rate"))),
    }
}

fn each(
    check: &CheckEvidence,
    setup: &Setup,
    value: impl Fn((&Motion, &Cruise)) -> Result<Estimate, Withheld>,
) -> Vec<Reading> {
    travels(check, setup).filter_map(|(phase, _)| Some(reading(phase, motion(phase)?.and_then(&value)))).collect()
}

fn profile_time_error(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let told = travels(check, setup).filter_map(|(phase, speed)| {
        let result = motion(phase)?.and_then(|_| {
            // What was not commanded compares with nothing; the catalogue says so.
            let unknown = || if speed.is_finite() { Err(unit(TOO_SHORT)) } else { Ok(Estimate::of(f64::NAN)) };
            match phase.main_run().and_then(|run| run.profile.as_ref()) {
                None => unknown(),
                Some(Err(why)) => Err(unit(*why)),
                Some(Ok(errors)) => errors
                    .farthest()
                    .map_or_else(unknown, |part| Ok(estimates::profile_error(part, errors.fitted, setup))),
            }
        });
        Some(reading(phase, result))
    });
    told.collect()
}

fn each_steady(
    check: &CheckEvidence,
    setup: &Setup,
    value: impl Fn(&Steadied) -> Result<Estimate, Withheld>,
) -> Vec<Reading> {
    each(check, setup, |(_, cruise)| value(&cruise.clock))
}

fn each_ramp(check: &CheckEvidence, setup: &Setup, ramp: fn(&Motion) -> Option<Ramp>) -> Vec<Reading> {
    each(check, setup, |(motion, _)| {
        let fitted = ramp(motion).ok_or_else(|| unit("the ramp has too few steps for a fit"))?;
        Ok(estimates::acceleration(&fitted, setup))
    })
}
