//! Steps against the carriage: steps that the motor lost or made up, teeth that the belt jumped, slack after a turn.

use super::evidence::{CheckEvidence, Contact, PhaseEvidence, TakeUp};
use super::position;
use super::values::{bench, encoder_scale, no_pulses, reading, unit};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::{EdgeChannel, Side};
use crate::quantity::Dimension;
use crate::stats::{Component, Estimate};

const EDGES: &[EdgeChannel] =
    &[EdgeChannel::Step, EdgeChannel::Direction, EdgeChannel::EncoderA, EdgeChannel::EncoderB];

pub(super) const MISSING_STEPS: Measurand = Measurand {
    name: "missing steps",
    dimension: Dimension::Count,
    about: "step pulses that the motor did not follow from rest to rest, in whole turns of its field (four full steps)",
    source: "common practice; a hybrid stepper out of step settles a whole number of field turns away",
    edges: EDGES,
    samples: &[],
    pooling: Pooling::Worst,
    reader: |check, _| lost(check, 1.0),
};

pub(super) const EXTRA_STEPS: Measurand = Measurand {
    name: "extra steps",
    dimension: Dimension::Count,
    about: "steps that the motor made without pulses from rest to rest, in whole turns of its field (four full steps)",
    source: "common practice; a hybrid stepper out of step settles a whole number of field turns away",
    edges: EDGES,
    samples: &[],
    pooling: Pooling::Worst,
    reader: |check, _| lost(check, -1.0),
};

pub(super) const BELT_SLIP: Measurand = Measurand {
    name: "belt slip",
    dimension: Dimension::Length,
    about: "what the carriage lost against the steps from one contact of an end to the next of the same end, beyond whole \
            turns of the motor's field; at least the whole teeth that the belt jumped on the way",
    source: "common practice",
    edges: &[
        EdgeChannel::Step,
        EdgeChannel::Direction,
        EdgeChannel::EncoderA,
        EdgeChannel::EncoderB,
        EdgeChannel::LeftEndStop,
        EdgeChannel::RightEndStop,
    ],
    samples: &[],
    pooling: Pooling::Worst,
    reader: belt_slip,
};

pub(super) const BACKLASH: Measurand = Measurand {
    name: "backlash",
    dimension: Dimension::Length,
    about: "steps taken after a turn before the carriage follows, as a length",
    source: "common practice; as reversal value of ISO 230-2, without its targets",
    edges: EDGES,
    samples: &[],
    pooling: Pooling::Mean,
    reader: backlash,
};

/// Steps lost (`sign` 1) or made up (`sign` −1) in the direction of most of a phase's pulses.
fn lost(check: &CheckEvidence, sign: f64) -> Vec<Reading> {
    let phases = check.phases.iter().filter(|phase| phase.phase.action.moves_the_carriage());
    phases.filter_map(|phase| Some(reading(phase, lost_in(phase, sign)?))).collect()
}

fn lost_in(phase: &PhaseEvidence, sign: f64) -> Option<Result<Estimate, Withheld>> {
    let balance = &phase.balance;
    if balance.pulses == 0 {
        let rests_there = phase.should_hit().is_some_and(|side| phase.switch(side).pressed_before);
        return (!rests_there).then(|| Err(no_pulses(phase)));
    }
    if !balance.directed {
        return Some(Err(bench("the level of the direction line was never captured")));
    }
    // The rotor of a unit that was just switched on snaps to its field with the first step.
    if !balance.rotor_known {
        return None;
    }
    if balance.unexplained != 0.0 {
        return Some(Err(unit(format!(
            "carriage and steps drifted apart by {:.0} steps, which is neither whole turns of the motor's field nor whole teeth",
            balance.unexplained.abs()
        ))));
    }
    let forward = if balance.rightward { 1.0 } else { -1.0 };
    Some(Ok(Estimate::exact((sign * forward * balance.motor).max(0.0))))
}

fn belt_slip(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    [Side::Left, Side::Right].into_iter().flat_map(|side| slip_between_contacts(check, side, setup)).collect()
}

fn slip_between_contacts(check: &CheckEvidence, side: Side, setup: &Setup) -> Vec<Reading> {
    let contacts: Vec<(usize, &Contact)> = check
        .phases
        .iter()
        .enumerate()
        .filter_map(|(index, phase)| Some((index, phase.switch(side).contact.as_ref()?)))
        .collect();
    contacts
        .windows(2)
        .map(|pair| {
            let between = &check.phases[pair[0].0 + 1..=pair[1].0];
            let motor: f64 = between.iter().map(|phase| phase.balance.motor).sum();
            let teeth: f64 = between.iter().map(|phase| phase.balance.teeth.abs()).sum();
            let slipped = (pair[1].1.lag - pair[0].1.lag - motor).abs().max(teeth);
            Reading {
                label: format!("{} end to {} end, {}", side.name(), side.name(), check.phases[pair[1].0].phase.label),
                result: Ok(slip(slipped, pair[0].1, pair[1].1, setup)),
            }
        })
        .collect()
}

fn backlash(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let phases = check.phases.iter().filter(|phase| phase.phase.action.moves_the_carriage());
    phases.flat_map(|phase| turns(phase, setup)).collect()
}

/// One reading for each turn of a phase that was followed by enough steps to see the carriage follow. Without the
/// direction of the last motion the first run is no turn.
fn turns(phase: &PhaseEvidence, setup: &Setup) -> Vec<Reading> {
    let field_turn = 4 * setup.unit.microsteps as usize;
    let runs = phase.runs.iter().skip(usize::from(!phase.balance.rotor_known));
    runs.filter_map(|run| match run.take_up? {
        TakeUp::Followed(steps) => Some(reading(phase, Ok(one_crossing(steps.max(0.0), setup)))),
        TakeUp::Never if run.pulses > field_turn => {
            Some(reading(phase, Err(unit("the carriage did not follow after a turn"))))
        }
        TakeUp::Never => None,
    })
    .collect()
}

/// A length of steps to the crossing of one border of the encoder, from a rest anywhere in a cell.
fn one_crossing(steps: f64, setup: &Setup) -> Estimate {
    let value = steps / setup.unit.steps_per_metre;
    Estimate::of(value)
        .and(Component::rectangular("cell of the encoder", 0.5 / setup.jig.encoder_edges_per_metre))
        .and(Component::rectangular("step", 0.5 / setup.unit.steps_per_metre))
        .and(encoder_scale(value, setup))
}

/// A difference of two lags, each from one step count and one position. Both contacts were come to from the same side, so
/// that slack is in neither.
fn slip(steps: f64, one: &Contact, other: &Contact, setup: &Setup) -> Estimate {
    let between = position::way(&one.position, &other.position, setup);
    let slipped = steps / setup.unit.steps_per_metre;
    Estimate::combined(slipped, &[(&between, 1.0)])
        .and(Component::triangular("steps", 1.0 / setup.unit.steps_per_metre))
}
