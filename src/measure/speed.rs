//! Times, lengths and speeds of a travel.

use super::evidence::{CheckEvidence, Contact, PhaseEvidence, Touched};
use super::position::distance;
use super::values::{self, RECTANGULAR, interval, reading, seconds, unit};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::{Action, Cue, Destination, EdgeChannel, OutputChannel};
use crate::quantity::Dimension;
use crate::stats::{Component, Estimate};

pub(super) const START_UP_TIME: Measurand = Measurand {
    name: "start-up time",
    dimension: Dimension::Time,
    about: "from switching the supply on to the end of the start-up banner",
    source: "common practice",
    edges: &[],
    samples: &[],
    pooling: Pooling::Worst,
    reader: start_up_time,
};

pub(super) const TRAVEL_TIME: Measurand = Measurand {
    name: "travel time",
    dimension: Dimension::Time,
    about: "from the first step pulse of a travel to its last",
    source: "common practice",
    edges: &[EdgeChannel::Step],
    samples: &[],
    pooling: Pooling::Mean,
    reader: travel_time,
};

pub(super) const TRAVEL_LENGTH: Measurand = Measurand {
    name: "travel length",
    dimension: Dimension::Length,
    about: "way of the carriage between the first contacts of the two end switches, by the jig's encoder",
    source: "common practice",
    edges: &[EdgeChannel::EncoderA, EdgeChannel::EncoderB, EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop],
    samples: &[],
    pooling: Pooling::Mean,
    reader: travel_length,
};

pub(super) const TRAVEL_IN_STEPS: Measurand = Measurand {
    name: "travel in steps",
    dimension: Dimension::Count,
    about: "steps between the first contacts of the two end switches, by the pulses towards an end less those away from it",
    source: "common practice",
    edges: &[EdgeChannel::Step, EdgeChannel::Direction, EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop],
    samples: &[],
    pooling: Pooling::Mean,
    reader: travel_in_steps,
};

pub(super) const CRUISE_SPEED: Measurand = Measurand {
    name: "cruise speed",
    dimension: Dimension::Speed,
    about: "mean speed of the carriage while the step rate is steady, by the jig's encoder; negative where it goes the wrong way",
    source: "common practice",
    edges: &[EdgeChannel::Step, EdgeChannel::Direction, EdgeChannel::EncoderA, EdgeChannel::EncoderB],
    samples: &[],
    pooling: Pooling::Mean,
    reader: cruise_speed,
};

pub(super) const STEP_RATE_ERROR: Measurand = Measurand {
    name: "step rate error",
    dimension: Dimension::Ratio,
    about: "steady step rate of a travel against the rate of the commanded speed",
    source: "common practice",
    edges: &[EdgeChannel::Step],
    samples: &[],
    pooling: Pooling::Mean,
    reader: step_rate_error,
};

fn start_up_time(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let power_ups = check.phases.iter().filter(|phase| phase.phase.action == Action::Power { on: true });
    power_ups
        .map(|phase| {
            let started = phase.cue(|cue| *cue == Cue::StartedUp);
            let by = started.map_or(phase.ended, |started| started.at);
            let switched = check
                .driven
                .iter()
                .rfind(|driven| driven.output == OutputChannel::UnitSupply && driven.on && driven.at <= by);
            let result = match (switched, started) {
                (Some(switched), Some(started)) => {
                    let ticks = started.at.saturating_sub(switched.at) as f64;
                    Ok(interval(ticks, setup).with("link", seconds(started.doubt as f64, setup)))
                }
                (_, None) => Err(unit("the unit did not report that it had started")),
                (None, _) => Err(values::bench("the jig did not say when it switched the supply on")),
            };
            reading(phase, result)
        })
        .collect()
}

fn travel_time(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    travels(check)
        .map(|phase| {
            let result = match (phase.runs.first(), phase.runs.last(), phase.given_up()) {
                (_, _, Some(why)) => Err(unit(why)),
                (Some(first), Some(last), None) => Ok(interval((last.last - first.first) as f64, setup)),
                _ => Err(values::no_pulses(phase)),
            };
            reading(phase, result)
        })
        .collect()
}

fn travel_length(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    between_ends(check, |_, from, to| Ok(distance(&from.position, &to.position, setup)))
}

fn travel_in_steps(check: &CheckEvidence, _: &Setup) -> Vec<Reading> {
    between_ends(check, |phase, from, to| {
        if !phase.balance.directed {
            return Err(values::bench("the level of the direction line was never captured"));
        }
        // The step during which a contact comes is half done, at either end.
        Ok(Estimate::of((to.steps - from.steps).abs() as f64 - 1.0).and(Component::triangular("steps", 1.0)))
    })
}

/// One reading for each travel that ran from one end into the other.
fn between_ends(
    check: &CheckEvidence,
    value: impl Fn(&PhaseEvidence, &Touched, &Contact) -> Result<Estimate, Withheld>,
) -> Vec<Reading> {
    travels(check)
        .filter_map(|phase| {
            let Action::Travel { to: Destination::End(side), .. } = phase.phase.action else {
                return None;
            };
            let switch = phase.switch(side);
            let Some(contact) = switch.contact else {
                return (!switch.pressed_before).then(|| reading(phase, Err(values::never_closed(side))));
            };
            Some(reading(phase, value(phase, &contact.other_end?, &contact)))
        })
        .collect()
}

fn cruise_speed(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    values::each_cruise(check, setup, |phase, cruise, _| values::carriage_speed(phase, cruise, setup))
}

fn step_rate_error(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    values::each_cruise(check, setup, |_, cruise, speed| {
        let span = (cruise.ended - cruise.began) as f64;
        let rate = cruise.intervals.total() as f64 / seconds(span, setup);
        let error = rate / (speed * setup.unit.steps_per_metre) - 1.0;
        let scatter = super::jitter::deviation(&cruise.intervals);
        Ok::<Estimate, Withheld>(
            Estimate::of(error)
                .with("resolution", std::f64::consts::SQRT_2 * RECTANGULAR / span)
                .and(values::clock(-1.0, setup))
                .with("repeat", scatter / span),
        )
    })
}

fn travels(check: &CheckEvidence) -> impl Iterator<Item = &PhaseEvidence> {
    check.phases.iter().filter(|phase| matches!(phase.phase.action, Action::Travel { .. }))
}
