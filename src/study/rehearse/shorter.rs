//! The shortest choice of checks that catches every broken unit which the whole plan catches.

use super::checks::CheckWorth;
use super::stored::{Rehearsed, Truth};
use std::collections::BTreeSet;

/// A shorter plan with the same catches.
#[derive(Debug, Clone, PartialEq)]
pub struct Shorter {
    /// Numbers of the checks that can go.
    pub drop: Vec<usize>,
    /// What that saves, s.
    pub saves_s: f64,
}

/// With more checks to choose from than this, they are dropped one by one, the longest first.
const CHOICES_MAX: usize = 20;

/// The checks that can go. Those that switch something stay, since later ones need it.
pub(super) fn shorter(checks: &[CheckWorth], units: &[Rehearsed]) -> Shorter {
    let count = checks.len().min(64);
    let catches: BTreeSet<u64> = units
        .iter()
        .filter(|unit| unit.truth == Truth::Broken)
        .map(|unit| (0..count).filter(|check| unit.caught_by(*check)).fold(0, |mask, check| mask | 1 << check))
        .filter(|mask| *mask != 0)
        .collect();
    // What has the catches of another has to be caught by that already.
    let least: Vec<u64> = catches
        .iter()
        .copied()
        .filter(|mask| !catches.iter().any(|other| other != mask && other & mask == *other))
        .collect();
    let must = |check: &usize| checks[*check].needed || least.contains(&(1 << check));
    let free: Vec<usize> = (0..count).filter(|check| !must(check)).collect();
    let seconds = |check: usize| checks[check].seconds.unwrap_or(0.0);
    let all: u64 = (0..count).fold(0, |mask, check| mask | 1 << check);
    let holds = |kept: u64| least.iter().all(|mask| mask & kept != 0);
    let saved = |dropped: u64| (0..count).filter(|check| dropped >> check & 1 == 1).map(seconds).sum::<f64>();
    let dropped = if free.len() <= CHOICES_MAX {
        let choices = (0..1_u64 << free.len()).map(|choice| {
            free.iter()
                .enumerate()
                .filter(|(bit, _)| choice >> bit & 1 == 1)
                .fold(0, |mask, (_, check)| mask | 1 << check)
        });
        choices.filter(|dropped| holds(all & !dropped)).max_by(|one, other| saved(*one).total_cmp(&saved(*other)))
    } else {
        let mut longest_first = free;
        longest_first.sort_by(|one, other| seconds(*other).total_cmp(&seconds(*one)));
        Some(longest_first.into_iter().fold(0, |dropped, check| {
            let more = dropped | 1 << check;
            if holds(all & !more) { more } else { dropped }
        }))
    };
    let dropped = dropped.unwrap_or(0);
    Shorter { drop: (0..count).filter(|check| dropped >> check & 1 == 1).collect(), saves_s: saved(dropped) }
}
