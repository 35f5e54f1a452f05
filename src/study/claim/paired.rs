//! Which readings of two runs are of the same thing.
//!
//! Two plans need not have the same checks. Readings of one measurand in the same move are comparable wherever they stand, those
//! of a whole check only in a check of the same name. Where a run has several such, the check of the same name speaks, else
//! the first; so many readings as the one with fewer has are taken, in their order.

use super::combined::Combined;
use crate::record::stored::{Reading, Record, Requirement, Verdict};

/// Label of a reading that belongs to no single phase.
pub const WHOLE: &str = "whole check";

/// Readings of the same thing in two runs.
pub struct Pair<'r> {
    /// As the later run has it.
    pub requirement: &'r Requirement,
    /// As the earlier run has it, which is what the unit was shipped to.
    pub tolerance: &'r Requirement,
    /// The phase.
    pub label: &'r str,
    /// Names of the checks, of the earlier run and the later.
    pub checks: (&'r str, &'r str),
    /// What was decided on the requirement.
    pub verdicts: (Verdict, Verdict),
    pub shipped: Combined,
    pub now: Combined,
}

/// Readings of one measurand in one phase of one check.
struct Group<'r> {
    check: &'r str,
    requirement: &'r Requirement,
    label: &'r str,
    readings: Vec<&'r Reading>,
}

/// All that can be compared, in the order of the later run.
pub fn pairs<'r>(shipped: &'r Record, now: &'r Record) -> Vec<Pair<'r>> {
    let before = groups(shipped);
    let mut pairs: Vec<Pair<'r>> = Vec::new();
    for group in groups(now) {
        let is_like = |one: &&Group<'r>| {
            one.requirement.measurand == group.requirement.measurand
                && one.requirement.unit == group.requirement.unit
                && one.label == group.label
        };
        let of_its_check = before.iter().filter(is_like).find(|one| one.check == group.check);
        let elsewhere = before.iter().filter(|_| group.label != WHOLE).find(is_like);
        let Some(like) = of_its_check.or(elsewhere) else { continue };
        let known =
            |pair: &Pair<'r>| pair.requirement.measurand == group.requirement.measurand && pair.label == group.label;
        // What this run measured twice is compared once, where it was measured first.
        if pairs.iter().any(known) {
            continue;
        }
        let count = like.readings.len().min(group.readings.len());
        let both = (Combined::of(&like.readings[..count]), Combined::of(&group.readings[..count]));
        let (Some(shipped), Some(now)) = both else { continue };
        pairs.push(Pair {
            requirement: group.requirement,
            tolerance: like.requirement,
            label: group.label,
            checks: (like.check, group.check),
            verdicts: (like.requirement.decision, group.requirement.decision),
            shipped,
            now,
        });
    }
    pairs
}

fn groups(record: &Record) -> Vec<Group<'_>> {
    let mut groups: Vec<Group<'_>> = Vec::new();
    for check in &record.checks {
        for requirement in &check.requirements {
            for reading in &requirement.readings {
                let same =
                    |one: &&mut Group<'_>| std::ptr::eq(one.requirement, requirement) && one.label == reading.label;
                match groups.iter_mut().find(same) {
                    Some(group) => group.readings.push(reading),
                    None => groups.push(Group {
                        check: &check.name,
                        requirement,
                        label: &reading.label,
                        readings: vec![reading],
                    }),
                }
            }
        }
    }
    groups
}
