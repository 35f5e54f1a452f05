//! Steps against the carriage's way, from rest to rest: what the motor lost, what the belt lost, what is neither.
//!
//! A hybrid stepper that is pulled out of step settles again only where its field is the same: a whole number of turns of
//! the field later, that is in multiples of four full steps. A toothed belt that slips does so by whole teeth. What is
//! slack after a turn, and a pulley or encoder whose scale is a little off, is neither, and is taken out first.
//!
//! Limits: five turns of the field and two teeth are the same way (4 mm with 2 mm pitch and 0.8 mm a turn); the motor is
//! blamed then. A carriage with much slack can hide in it a loss that is not near a whole number. A loss of more than ten
//! turns at once is put down to the motor. A loss spread evenly over a whole travel and below 3 % of it looks like a
//! scale and is not counted; it shows in the cruise speed.

use super::evidence::{Balance, RunEvidence, TakeUp};
use super::observe::{Carried, Scale, Section, signed_pulses};
use super::pulses::Run;
use crate::capture::OutputChannel;

/// Places along the phase at which steps and carriage are compared.
const PLACES: usize = 64;
/// A scale can be off by so much; more is lost motion.
const SCALE_OFF_AT_MOST: f64 = 0.03;
/// What friction, ripple and the encoder's cells can leave between steps and carriage, as a part of a turn of the field.
const REMAINDER_AT_MOST: f64 = 0.375;
/// How near to a whole number of turns or teeth a loss has to be, as a part of a turn of the field.
const WHOLE_WITHIN: f64 = 0.25;
/// From so many turns on the nearest whole number is taken.
const MANY_TURNS: f64 = 10.0;

/// Compares them.
pub(super) fn balance(
    section: &Section<'_>,
    runs: &[Run],
    evidence: &[RunEvidence],
    scale: &Scale,
    carried: &mut Carried,
) -> Balance {
    let signed: i64 = runs.iter().map(Run::signed).sum();
    let moved = f64::from(section.path.end() - section.path.start()) * scale.steps_per_edge;
    let slacks = evidence.iter().map(|run| slack(run, scale));
    let lag = signed as f64 - moved - slacks.clone().sum::<f64>();
    let slack = slacks.map(f64::abs).fold(carried.slack, f64::max);
    let lost = lag - off_scale(section, runs, scale);
    let rightward = runs.iter().max_by_key(|run| run.pulses.len()).is_some_and(|run| run.rightward);
    let switched_on = section.driven.iter().any(|driven| driven.output == OutputChannel::UnitSupply);
    let (motor, teeth, unexplained) = explain(lost, slack, scale);
    carried.slack = slack;
    Balance {
        directed: section.direction_before.is_some() || !section.direction.is_empty(),
        pulses: section.pulses.len(),
        rightward,
        motor,
        teeth,
        unexplained,
        rotor_known: carried.rightward.is_some() && !switched_on,
    }
}

/// Steps that went into slack after a turn.
fn slack(run: &RunEvidence, scale: &Scale) -> f64 {
    let steps = match run.take_up {
        Some(TakeUp::Followed(steps)) => steps.max(0.0),
        Some(TakeUp::Never) if (run.pulses as f64) < scale.field_turn => run.pulses as f64,
        _ => 0.0,
    };
    if run.rightward { steps } else { -steps }
}

/// What a wrong scale of pulley or encoder accounts for: the median drift between places, which a loss in fewer than
/// half of them does not move.
fn off_scale(section: &Section<'_>, runs: &[Run], scale: &Scale) -> f64 {
    let signed: i64 = runs.iter().map(Run::signed).sum();
    scale_drift(section, runs, scale) * signed as f64
}

/// By how much a step is worth more than the carriage's way for it, relative; 0 where that is more than a wrong scale.
pub(super) fn scale_drift(section: &Section<'_>, runs: &[Run], scale: &Scale) -> f64 {
    let count = section.pulses.len();
    if count < 8 * PLACES {
        return 0.0;
    }
    let places: Vec<(f64, f64)> = (0..=PLACES)
        .map(|place| section.pulses[(count - 1) * place / PLACES].tick())
        .map(|at| {
            let moved = (section.path.position_at(at) - f64::from(section.path.start())) * scale.steps_per_edge;
            (signed_pulses(section.pulses, runs, at) as f64, moved)
        })
        .collect();
    let mut drifts: Vec<f64> = places
        .windows(2)
        .filter(|pair| pair[1].0 != pair[0].0)
        .map(|pair| 1.0 - (pair[1].1 - pair[0].1) / (pair[1].0 - pair[0].0))
        .collect();
    if drifts.is_empty() {
        return 0.0;
    }
    let middle = drifts.len() / 2;
    let drift = *drifts.select_nth_unstable_by(middle, f64::total_cmp).1;
    if drift.abs() > SCALE_OFF_AT_MOST { 0.0 } else { drift }
}

/// Splits a loss into whole turns of the field, whole teeth and what is neither. A carriage comes to rest anywhere in its
/// slack, which accounts for as much.
fn explain(lost: f64, slack: f64, scale: &Scale) -> (f64, f64, f64) {
    let turn = scale.field_turn;
    if lost.abs() <= REMAINDER_AT_MOST * turn {
        return (0.0, 0.0, 0.0);
    }
    let motor = (lost / turn).round() * turn;
    let teeth = (lost / scale.steps_per_tooth).round() * scale.steps_per_tooth;
    let (beside_motor, beside_teeth) = ((lost - motor).abs(), (lost - teeth).abs());
    let whole = WHOLE_WITHIN * turn;
    if lost.abs() >= MANY_TURNS * turn || (motor != 0.0 && beside_motor <= whole && beside_motor <= beside_teeth + 1.0)
    {
        (motor, 0.0, 0.0)
    } else if teeth != 0.0 && beside_teeth <= whole {
        (0.0, teeth, 0.0)
    } else if lost.abs() <= REMAINDER_AT_MOST * turn + slack {
        (0.0, 0.0, 0.0)
    } else {
        (0.0, 0.0, lost)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SCALE: Scale =
        Scale { ticks_per_second: 2e6, steps_per_edge: 2.0, field_turn: 64.0, steps_per_tooth: 160.0, stamp: 0.3 };

    #[test]
    fn whole_turns_are_the_motors_and_whole_teeth_the_belts() {
        for (lost, expected) in [
            (0.0, (0.0, 0.0, 0.0)),
            (-20.0, (0.0, 0.0, 0.0)),
            (64.0, (64.0, 0.0, 0.0)),
            (-70.0, (-64.0, 0.0, 0.0)),
            (131.0, (128.0, 0.0, 0.0)),
            (160.0, (0.0, 160.0, 0.0)),
            (-153.0, (0.0, -160.0, 0.0)),
            (320.0, (320.0, 0.0, 0.0)),
            (30.0, (0.0, 0.0, 30.0)),
            (1000.0, (1024.0, 0.0, 0.0)),
        ] {
            assert_eq!(explain(lost, 4.0, &SCALE), expected, "{lost}");
        }
        assert_eq!(explain(35.0, 20.0, &SCALE), (0.0, 0.0, 0.0));
        assert_eq!(explain(66.0, 20.0, &SCALE), (64.0, 0.0, 0.0));
    }
}
