//! `repeat while undecided`: a check that may carry out its moves again while more readings would settle a value.
//!
//! What stands here needs no bench: how many rounds there may be, and whether what the check requires can be settled by
//! them at all. Whether a round can follow on the one before is for [`super::fit`] to find.

use super::draft::DraftCheck;
use crate::decide::Rule;
use crate::measure::Pooling;
use crate::written::{Mistake, Notes};

/// The key of a check.
pub(super) const REPEAT: &str = "repeat while undecided";
/// How its value is written, for messages.
pub(super) const ROUNDS_EXAMPLE: &str = "up to 4 rounds";
/// The most rounds of a check: each look takes its share of the accepted risk, and ten looks leave little of it.
const ROUNDS_MAX: u32 = 10;

/// The most rounds that a check may take.
pub(super) fn rounds(text: &str) -> Result<u32, Mistake> {
    let number = text.strip_prefix("up to ").and_then(|rest| rest.strip_suffix(" rounds")).map(str::trim);
    let Some(number) = number else {
        let right = format!("write for example `{REPEAT}: {ROUNDS_EXAMPLE}`; the first time counts as one");
        return Err(Mistake::new(format!("`{text}` does not say up to how many rounds"), right));
    };
    number.parse().ok().filter(|rounds| (2..=ROUNDS_MAX).contains(rounds)).ok_or_else(|| {
        let right = format!("write a whole number from 2 to {ROUNDS_MAX}; the first time counts as one round");
        Mistake::new(format!("a check cannot be repeated up to `{number}` rounds"), right)
    })
}

/// Notes what a check that repeats its moves cannot require, and a check that nothing could settle.
pub(super) fn look_at(check: &DraftCheck, rule: &Rule, notes: &Notes) {
    let Some(rounds) = &check.rounds else { return };
    for required in &check.requirements {
        if required.measurand.pooling == Pooling::Never {
            let what = format!("a second round would not find the same `{}` as the first", required.measurand.name);
            let right = format!("put it into a check of its own, without `{REPEAT}`");
            notes.add(&required.at, what, right);
        }
    }
    let can_be_settled = check.requirements.iter().any(|required| {
        let rule = required.rule.as_ref().unwrap_or(rule);
        required.measurand.pooling == Pooling::Mean && rule.leaves_undecided()
    });
    if !can_be_settled && !check.requirements.is_empty() {
        let what = "no value that this check requires could be settled by more rounds";
        let right = format!(
            "leave `{REPEAT}` out: of counts and extremes the worst round counts, and by some decision rules nothing stays undecided"
        );
        notes.add(&rounds.at, what, right);
    }
}
