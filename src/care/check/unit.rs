//! The reference unit's travel against what other means found: the encoder's scale and the places of the end switches together.
//! The worst of its readings counts, as in a plan. What the encoder's calibration is in doubt of stays in the budget, since the
//! run's own readings have it; that errs towards undecided.

use super::{Found, Proof};
use crate::event::RunOutcome;
use crate::jig::UnitReference;
use crate::measure::Withheld;
use crate::plan::Plan;
use crate::stats::Estimate;

/// What has the value in a plan.
const MEASURAND: &str = "travel length";
/// What it rests on.
const RESTS_ON: [&str; 4] = ["encoder a", "encoder b", "left end stop", "right end stop"];

/// What the run on a unit shows of the reference. `serial` is that of the unit on the jig, where one is on it.
pub fn travel(reference: &UnitReference, serial: Option<&str>, run: Option<(&Plan, &RunOutcome)>) -> Proof {
    let (channel, what) = (String::from("encoder"), format!("travel of {}", reference.serial));
    let found = match (serial, run) {
        (Some(serial), _) if serial != reference.serial => Proof::not_checked(
            channel,
            what,
            format!("{serial} is on the jig, whose travel the jig file does not know"),
        ),
        (Some(_), Some((plan, outcome))) => {
            let readings = readings(plan, outcome);
            let judged = readings.iter().filter_map(|reading| reading.ok()).map(|estimate| {
                let estimate = estimate.clone().with("reference", reference.uncertainty);
                Proof::measured(channel.clone(), what.clone(), &reference.travel, estimate)
            });
            match (judged.min_by(|one, other| chance(one).total_cmp(&chance(other))), readings.first()) {
                (Some(worst), _) => worst,
                (None, Some(Err(withheld))) => Proof::nothing(channel, what, withheld.why.clone()),
                (None, _) => Proof::not_checked(channel, what, format!("the plan requires no {MEASURAND}")),
            }
        }
        _ => Proof::not_checked(channel, what, "no --reference-unit"),
    };
    found.also_of(&RESTS_ON)
}

/// How likely it is that the reference is met.
fn chance(proof: &Proof) -> f64 {
    match &proof.found {
        Found::Measured { judgement, .. } => judgement.conformance_probability,
        _ => 0.0,
    }
}

/// Everything that a run said of the travel.
fn readings<'r>(plan: &Plan, outcome: &'r RunOutcome) -> Vec<Result<&'r Estimate, &'r Withheld>> {
    let mut found = Vec::new();
    for check in &outcome.checks {
        for required in &check.requirements {
            let planned = plan.checks.get(check.check).and_then(|check| check.requirements.get(required.requirement));
            if planned.is_some_and(|planned| planned.measurand.name == MEASURAND) {
                let results = required.readings.iter().map(|reading| &reading.result);
                found.extend(results.map(|result| result.as_ref().map(|(estimate, _)| estimate)));
            }
        }
    }
    found
}
