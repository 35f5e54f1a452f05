//! The pack: at rest, under load, at its lowest, and after; what the unit takes from it, and for how long it will.
//!
//! Every level is a mean of samples or the end of a line through them, taken at the very moment that a definition names:
//! a level read from the last sample before a switching instant is late by up to one sample, which a resistance shows
//! (0.6 % of a pack with a 2 s time constant at 20 samples a second).

mod course;
mod energy;
mod in_use;
mod level;
mod load_step;
mod lowest;
mod ripple;
mod split;
mod trough;

pub(super) use energy::{CRUISE_POWER, DUTY_POWER, RUNNING_TIME, TRAVERSE_ENERGY};
pub(super) use in_use::RESISTANCE_IN_USE;
pub(super) use level::{CRUISE_CURRENT, HOLDING_CURRENT, IDLE_CURRENT, OFF_CURRENT, REST_VOLTAGE};
pub(super) use load_step::{RECOVERY_TIME, SERIES_RESISTANCE};
pub(super) use lowest::{BROWN_OUT_MARGIN, MINIMUM_VOLTAGE, SAG};
pub(super) use ripple::SUPPLY_RIPPLE;
pub(super) use split::{OHMIC_RESISTANCE, SLOW_RESISTANCE, SLOW_TIME};

use super::evidence::CheckEvidence;
use super::values::{WHOLE_CHECK, ticks};
use super::{Measurand, Pooling, Reading, Setup};
use crate::capture::{Cue, OutputChannel, SampleChannel, Tick};
use crate::quantity::Dimension;

const VOLTAGE: &[SampleChannel] = &[SampleChannel::PackVoltage];
const CURRENT: &[SampleChannel] = &[SampleChannel::PackCurrent];
const BOTH: &[SampleChannel] = &[SampleChannel::PackVoltage, SampleChannel::PackCurrent];
/// Longest stretch over which a rest is averaged, s.
const REST_S: f64 = 1.0;

const fn of_the_pack(
    name: &'static str,
    dimension: Dimension,
    about: &'static str,
    source: &'static str,
    samples: &'static [SampleChannel],
    reader: fn(&CheckEvidence, &Setup) -> Vec<Reading>,
) -> Measurand {
    Measurand { name, dimension, about, source, edges: &[], samples, pooling: Pooling::Mean, reader }
}

/// The same, where it is found from the steps.
const fn with_steps(measurand: Measurand) -> Measurand {
    Measurand { edges: &[crate::capture::EdgeChannel::Step], ..measurand }
}

/// The rest before the check's first activity: at most a second, and nothing before a switching of supply or pack. A
/// sample at the very tick of the activity may have seen it already.
fn rest(check: &CheckEvidence, setup: &Setup) -> (Tick, Tick) {
    let to = check.first_activity();
    let switched = check
        .driven
        .iter()
        .filter(|driven| driven.at < to && matches!(driven.output, OutputChannel::UnitSupply | OutputChannel::LowPack))
        .map(|driven| driven.at);
    let started = check.phases.iter().flat_map(|phase| &phase.cues);
    let started = started.filter(|timed| timed.cue == Cue::StartedUp && timed.at < to).map(|timed| timed.at);
    let from = switched.chain(started).max().unwrap_or(check.began).max(to.saturating_sub(ticks(REST_S, setup)));
    (from, to.saturating_sub(1))
}

/// The next thing that changes what the pack gives: a step, or a switching of anything but a control.
fn next_change(check: &CheckEvidence, after: Tick) -> Tick {
    let steps = check.phases.iter().flat_map(|phase| &phase.runs).map(|run| run.first);
    let switched = check.driven.iter().filter(|driven| !matches!(driven.output, OutputChannel::Press(_)));
    let changes = steps.chain(switched.map(|driven| driven.at));
    changes.filter(|at| *at > after).min().unwrap_or(check.ended).min(check.ended)
}

/// When the dummy load went on, and when it went off again or the check ended.
fn loads(check: &CheckEvidence) -> Vec<(Tick, Tick)> {
    let switched: Vec<_> = check.driven.iter().filter(|driven| driven.output == OutputChannel::DummyLoad).collect();
    let off =
        |index: usize| switched[index + 1..].iter().find(|driven| !driven.on).map_or(check.ended, |driven| driven.at);
    switched.iter().enumerate().filter(|(_, driven)| driven.on).map(|(index, driven)| (driven.at, off(index))).collect()
}

fn label_at(check: &CheckEvidence, at: Tick) -> String {
    let phase = check.phases.iter().rfind(|phase| phase.began <= at);
    phase.map_or_else(|| WHOLE_CHECK.into(), |phase| phase.phase.label.clone())
}
