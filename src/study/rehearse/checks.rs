//! What each check is worth: what it costs, what it catches, what nothing else catches, and what it holds up without cause.

use super::stored::{PlannedCheck, Rehearsed, Truth};
use crate::record::stored::Verdict;

/// What a check is worth.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckWorth {
    /// Its name.
    pub name: String,
    /// Whether later checks need what it switches.
    pub needed: bool,
    /// Mean bench time on sound units, s; `None` without any.
    pub seconds: Option<f64>,
    /// Broken units that it finds not to conform.
    pub catches: u64,
    /// Those that no other check does: what dropping it would let through.
    pub unique: u64,
    /// The faults of those, with how many of each, most first.
    pub unique_faults: Vec<(String, u64)>,
    /// Sound units that it alone rejects.
    pub false_rejects: u64,
    /// Sound units that it alone leaves undecided.
    pub undecided: u64,
    /// Its requirements.
    pub requirements: Vec<RequirementWorth>,
}

/// What a requirement is worth.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RequirementWorth {
    /// Its measurand.
    pub name: String,
    /// Broken units for which it is a reason that the check does not conform.
    pub catches: u64,
    /// Those for which it is the only reason in the whole plan: what leaving it out would let through.
    pub unique: u64,
    /// Sound units for which it is a reason that the check does not conform or is undecided.
    pub holds_up: u64,
}

/// What each check of a plan is worth.
pub(super) fn worths(checks: &[PlannedCheck], units: &[Rehearsed]) -> Vec<CheckWorth> {
    (0..checks.len()).map(|number| worth(number, &checks[number], units)).collect()
}

fn of_truth(units: &[Rehearsed], truth: Truth) -> impl Iterator<Item = &Rehearsed> {
    units.iter().filter(move |unit| unit.truth == truth)
}

fn worth(number: usize, check: &PlannedCheck, units: &[Rehearsed]) -> CheckWorth {
    let alone = |unit: &Rehearsed| (0..unit.checks.len()).all(|other| other == number || !unit.caught_by(other));
    let only_trouble = |unit: &Rehearsed| {
        (0..unit.checks.len()).all(|other| other == number || unit.checks[other].decision == Verdict::Conforms)
    };
    let sound_with = |verdict| {
        of_truth(units, Truth::Sound)
            .filter(|unit| unit.checks[number].decision == verdict && only_trouble(unit))
            .count() as u64
    };
    let caught: Vec<&Rehearsed> = of_truth(units, Truth::Broken).filter(|unit| unit.caught_by(number)).collect();
    let mut unique_faults: Vec<(String, u64)> = Vec::new();
    for unit in caught.iter().filter(|unit| alone(unit)) {
        let names: Vec<&str> = unit.faults.iter().map(|one| one.fault.as_str()).collect();
        let names = names.join(" + ");
        match unique_faults.iter_mut().find(|(known, _)| *known == names) {
            Some((_, count)) => *count += 1,
            None => unique_faults.push((names, 1)),
        }
    }
    unique_faults.sort_by(|one, other| other.1.cmp(&one.1).then_with(|| one.0.cmp(&other.0)));
    CheckWorth {
        name: check.name.clone(),
        needed: check.needed,
        seconds: seconds(number, units),
        catches: caught.len() as u64,
        unique: unique_faults.iter().map(|(_, count)| count).sum(),
        unique_faults,
        false_rejects: sound_with(Verdict::DoesNotConform),
        undecided: sound_with(Verdict::Undecided),
        requirements: (0..check.requirements.len())
            .map(|requirement| of_requirement(number, requirement, check, units, &caught))
            .collect(),
    }
}

/// Summed in whole milliseconds, so that the order of the units is no matter.
fn seconds(number: usize, units: &[Rehearsed]) -> Option<f64> {
    let (sum, count) = of_truth(units, Truth::Sound)
        .fold((0_u64, 0_u64), |(sum, count), unit| (sum + u64::from(unit.checks[number].ms), count + 1));
    (count > 0).then(|| 1e-3 * sum as f64 / count as f64)
}

fn of_requirement(
    number: usize,
    requirement: usize,
    check: &PlannedCheck,
    units: &[Rehearsed],
    caught: &[&Rehearsed],
) -> RequirementWorth {
    let because =
        |unit: &Rehearsed| unit.checks[number].because.iter().any(|reason| usize::from(*reason) == requirement);
    let only_reason = |unit: &Rehearsed| {
        unit.checks[number].because.len() == 1
            && (0..unit.checks.len()).all(|other| other == number || !unit.caught_by(other))
    };
    RequirementWorth {
        name: check.requirements[requirement].clone(),
        catches: caught.iter().filter(|unit| because(unit)).count() as u64,
        unique: caught.iter().filter(|unit| because(unit) && only_reason(unit)).count() as u64,
        holds_up: of_truth(units, Truth::Sound).filter(|unit| because(unit)).count() as u64,
    }
}
