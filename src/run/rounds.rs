//! The rounds of a check: what the readings of all of them say together, and whether another round would help.
//!
//! Each time that a round ends, the check is decided by all readings so far. To look again and again is to give a unit that
//! does not conform as many chances to pass. So each look has its share of the accepted risk alone, which the plan hands to
//! the requirement's rule (Bonferroni's inequality: the chance of one or more of several events is at most the sum of
//! theirs). However the looks depend on each other, all of them together then accept falsely no more often than the plan says.
//! To leave off early, because more rounds promise nothing, can only make that rarer.

use super::assess::{judged, reading_decision};
use crate::decide::{self, Decision, Rule};
use crate::event::{ReadingOutcome, RequirementOutcome};
use crate::measure::{Blame, Pooling, Reading, Withheld};
use crate::plan::{Check, Requirement};
use crate::stats::{COVERAGE, Estimate};
use std::collections::HashMap;

/// What was read of a requirement in each round.
pub(super) type Rounds<'r> = &'r [&'r [Reading]];

/// A requirement as all rounds together decide it.
pub(super) fn decide(number: usize, requirement: &Requirement, rounds: Rounds<'_>, plans: &Rule) -> RequirementOutcome {
    let rule = requirement.rule.as_ref().unwrap_or(plans);
    let readings: Vec<ReadingOutcome> = match rounds {
        [only] => {
            only.iter().map(|reading| outcome(&reading.label, reading.result.clone(), requirement, rule)).collect()
        }
        several => {
            let rows = by_reading(several);
            rows.iter().map(|(label, each)| together(label, each, requirement, rule)).collect()
        }
    };
    let decision = readings.iter().map(reading_decision).max().unwrap_or(Decision::Undecided);
    RequirementOutcome { requirement: number, decision, readings }
}

/// What each round says of each reading, by its label, in the order of the first round that has it. Readings of one label
/// meet in their order; a round that says nothing of one proves nothing.
fn by_reading<'r>(rounds: Rounds<'r>) -> Vec<(&'r str, Vec<Result<Estimate, Withheld>>)> {
    let silent = Withheld { why: "the round gave no such value".into(), blame: Blame::Nobody };
    let (mut rows, mut places) = (Vec::new(), HashMap::new());
    for (round, readings) in rounds.iter().enumerate() {
        let mut of_label: HashMap<&str, usize> = HashMap::new();
        for reading in *readings {
            let label = reading.label.as_str();
            let before = of_label.entry(label).or_default();
            let place = *places.entry((label, *before)).or_insert_with(|| {
                rows.push((label, vec![Err(silent.clone()); rounds.len()]));
                rows.len() - 1
            });
            rows[place].1[round] = reading.result.clone();
            *before += 1;
        }
    }
    rows
}

fn together(
    label: &str,
    rounds: &[Result<Estimate, Withheld>],
    requirement: &Requirement,
    rule: &Rule,
) -> ReadingOutcome {
    let each: Vec<ReadingOutcome> =
        rounds.iter().map(|round| outcome(label, round.clone(), requirement, rule)).collect();
    let has_gap = each.iter().any(|reading| reading.result.is_err());
    let averaged = requirement.measurand.pooling == Pooling::Mean && !has_gap;
    let estimates: Vec<&Estimate> = rounds.iter().flatten().collect();
    let mean = Estimate::pooled(&estimates).filter(|_| averaged);
    let decided = match mean {
        Some(mean) => outcome(label, Ok(mean), requirement, rule),
        None => worst(&each),
    };
    ReadingOutcome {
        rounds: each.into_iter().map(|reading| reading.result.map(|(estimate, _)| estimate)).collect(),
        ..decided
    }
}

/// The reading of the worst round, which says which one that was where it has no value.
fn worst(rounds: &[ReadingOutcome]) -> ReadingOutcome {
    let rank = |reading: &ReadingOutcome| {
        let conforms = reading.result.as_ref().map_or(0.0, |(_, judgement)| judgement.conformance_probability);
        let margin = reading.result.as_ref().map_or(0.0, |(_, judgement)| judgement.margin);
        (reading_decision(reading), -conforms, -margin)
    };
    let worst =
        (0..rounds.len()).reduce(|worst, next| if rank(&rounds[next]) > rank(&rounds[worst]) { next } else { worst });
    let worst = worst.unwrap_or_default();
    let mut reading = rounds[worst].clone();
    if let Err(withheld) = &mut reading.result {
        withheld.why = format!("round {}: {}", worst + 1, withheld.why);
    }
    reading
}

fn outcome(label: &str, result: Result<Estimate, Withheld>, requirement: &Requirement, rule: &Rule) -> ReadingOutcome {
    ReadingOutcome { label: label.to_owned(), result: judged(result, &requirement.limits, rule), rounds: Vec::new() }
}

/// What there is to do after a round.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum After {
    /// Another round may settle what is undecided.
    Again,
    /// Everything is decided.
    Decided,
    /// Something stays undecided, and why no round follows.
    Enough(String),
}

/// Whether another round of a check would help, after so many.
pub(super) fn after(planned: &Check, outcomes: &[RequirementOutcome], done: usize, plans: &Rule) -> After {
    if outcomes.iter().map(|outcome| outcome.decision).max() != Some(Decision::Undecided) {
        return After::Decided;
    }
    let most = planned.rounds_max as usize;
    if done >= most {
        return After::Enough(format!("still undecided after {done} rounds, the most that the plan allows"));
    }
    let times = most as f64 / done as f64;
    let undecided: Vec<(&Requirement, &ReadingOutcome)> = outcomes
        .iter()
        .map(|outcome| (&planned.requirements[outcome.requirement], outcome))
        .flat_map(|(requirement, outcome)| outcome.readings.iter().map(move |reading| (requirement, reading)))
        .filter(|(_, reading)| reading_decision(reading) == Decision::Undecided)
        .collect();
    let settles = |(requirement, reading): &(&Requirement, &ReadingOutcome)| {
        requirement.measurand.pooling == Pooling::Mean
            && reading.result.as_ref().is_ok_and(|(estimate, _)| may_settle(estimate, requirement, times, plans))
    };
    if undecided.iter().any(settles) {
        return After::Again;
    }
    After::Enough(match undecided.first() {
        Some((requirement, reading)) => why_not(requirement, reading, most, times),
        None => "what was not measured no further round would tell".to_owned(),
    })
}

/// Whether a value is likely to be decided once there are `times` as many rounds: with less scatter, and where it is or as
/// far from there as the mean may well move until then.
fn may_settle(estimate: &Estimate, requirement: &Requirement, times: f64, plans: &Rule) -> bool {
    let rule = requirement.rule.as_ref().unwrap_or(plans);
    let (then, moved) = (estimate.after_more(times), estimate.may_move(times));
    [-moved, 0.0, moved].into_iter().any(|by| {
        let moved = Estimate { value: then.value + by, ..then.clone() };
        decide::judge(&moved, &requirement.limits, rule).decision != Decision::Undecided
    })
}

/// Why more rounds would leave a reading undecided.
fn why_not(requirement: &Requirement, reading: &ReadingOutcome, most: usize, times: f64) -> String {
    let name = requirement.measurand.name;
    match &reading.result {
        Err(_) => format!("{name} has no value, and more rounds would give it none"),
        Ok(_) if requirement.measurand.pooling != Pooling::Mean => {
            format!("of {name} the worst round counts, so that more rounds would not settle it")
        }
        Ok((estimate, judgement)) => {
            let unit = requirement.tolerance.unit();
            let expanded = |estimate: &Estimate| unit.show_uncertainty(estimate.expanded_uncertainty(COVERAGE));
            format!(
                "even {most} rounds would hardly settle {name}: they would bring its expanded uncertainty from {} to {}, and it lies {} from the limit",
                expanded(estimate),
                expanded(&estimate.after_more(times)),
                unit.show_uncertainty(judgement.margin.abs()),
            )
        }
    }
}

#[cfg(test)]
mod tests;
