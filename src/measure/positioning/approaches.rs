//! The approaches of a check to its targets, found from its phases.
//!
//! A target is a place that the plan travels `to`, or `by` a distance from such a place. From which side the carriage came
//! its last steps say. Where the unit counts its places from is no matter: every parameter is a difference.

use super::super::evidence::{CheckEvidence, PhaseEvidence};
use super::super::position::Position;
use super::super::values::{no_pulses, nobody, unit};
use super::super::{Setup, Withheld};
use crate::capture::{Action, Destination};

/// Fewer approaches from one side say next to nothing of their scatter; ISO 230-2 asks for five.
const APPROACHES_MIN: usize = 3;
/// Fewer targets are no axis; ISO 230-2 asks for five, and for five to a metre.
const TARGETS_MIN: usize = 2;
/// Places nearer together are one target, m.
const SAME_PLACE: f64 = 1e-6;

/// A target with the deviations of all approaches to it, in encoder edges.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Approached {
    /// The target, m.
    pub place: f64,
    /// Deviations after approaches towards the right.
    pub up: Vec<f64>,
    /// Deviations after approaches towards the left.
    pub down: Vec<f64>,
}

/// The targets in order of place; `None` where the check travels to none. Places that are not come to often enough from both
/// sides are where the carriage turned round, and are left out.
pub(super) fn find(check: &CheckEvidence, setup: &Setup) -> Option<Result<Vec<Approached>, Withheld>> {
    let mut targets: Vec<Approached> = Vec::new();
    let mut place = None;
    for phase in &check.phases {
        match &phase.phase.action {
            Action::Travel { to: Destination::Position(to), .. } => place = Some(*to),
            Action::Travel { to: Destination::By(by), .. } => place = place.map(|place| place + by),
            action if action.moves_the_carriage() => place = None,
            Action::Power { .. } | Action::Pack { .. } => place = None,
            _ => continue,
        }
        let Some(place) = place else { continue };
        if let Err(withheld) = approach(phase, place, setup, &mut targets) {
            return Some(Err(withheld));
        }
    }
    if targets.is_empty() {
        return None;
    }
    targets.retain(|target| target.up.len() >= APPROACHES_MIN && target.down.len() >= APPROACHES_MIN);
    targets.sort_by(|one, other| one.place.total_cmp(&other.place));
    if targets.len() >= TARGETS_MIN {
        return Some(Ok(targets));
    }
    Some(Err(nobody(format!(
        "fewer than {TARGETS_MIN} targets were approached {APPROACHES_MIN} times from either side; the check's moves decide"
    ))))
}

fn approach(phase: &PhaseEvidence, place: f64, setup: &Setup, into: &mut Vec<Approached>) -> Result<(), Withheld> {
    if let Some(why) = phase.given_up() {
        return Err(unit(why));
    }
    let Some(last) = phase.runs.last() else {
        return Err(no_pulses(phase));
    };
    let rest = Position::resting(phase.rail.settled.unwrap_or(phase.rail.end));
    let deviation = rest.at - place * setup.jig.encoder_edges_per_metre;
    let known = into.iter().position(|target| (target.place - place).abs() < SAME_PLACE);
    let index = known.unwrap_or_else(|| {
        into.push(Approached { place, up: Vec::new(), down: Vec::new() });
        into.len() - 1
    });
    let target = &mut into[index];
    if last.rightward { &mut target.up } else { &mut target.down }.push(deviation);
    Ok(())
}
