//! What is compared with what: units with themselves where they ran both, else units with units, else runs of one unit.
//!
//! Runs of one unit are more alike than runs of several. To count them as if each were a unit of its own would prove
//! differences that a few units alone have; so each unit counts once, with the mean of its runs.

use crate::stats::summary::mean;
use crate::study::Observed;
use std::collections::BTreeMap;

/// What is compared with what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Design {
    /// Each unit with itself.
    Pairs,
    /// Units with other units.
    Units,
    /// Runs of one unit with one another: what is found holds for this unit.
    Runs,
}

impl Design {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Pairs => "each unit with itself",
            Self::Units => "units with other units",
            Self::Runs => "runs of one unit: it holds for this unit",
        }
    }
}

/// The values that are compared; as pairs they are in the same order.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pairing {
    pub design: Design,
    pub before: Vec<f64>,
    pub after: Vec<f64>,
}

impl Pairing {
    /// Of two sets; otherwise what is missing.
    pub fn of(before: &[Observed], after: &[Observed], paired: Option<bool>) -> Result<Self, String> {
        let infinite = before.iter().chain(after).find(|observed| !observed.value.is_finite());
        if let Some(infinite) = infinite {
            return Err(format!("a value of {} is no finite number", infinite.serial));
        }
        if before.is_empty() || after.is_empty() {
            return Err(format!(
                "there are {} values in the first set and {} in the second",
                before.len(),
                after.len()
            ));
        }
        let (earlier, later) = (by_unit(before), by_unit(after));
        let both: Vec<(f64, f64)> =
            earlier.iter().filter_map(|(serial, value)| Some((*value, *later.get(serial)?))).collect();
        let is_one_unit = earlier.len() == 1 && later.len() == 1 && both.len() == 1;
        // Fewer pairs than half the units would throw more away than pairing gains.
        let suffices = both.len() >= 2 && 2 * both.len() >= earlier.len().min(later.len());
        let pairing = match paired {
            Some(true) if both.len() < 2 => {
                return Err(format!("{} units ran both; to pair them takes at least two", both.len()));
            }
            Some(true) | None if suffices || paired == Some(true) => {
                let (before, after) = both.into_iter().unzip();
                Self { design: Design::Pairs, before, after }
            }
            _ if is_one_unit => {
                let values = |set: &[Observed]| set.iter().map(|observed| observed.value).collect();
                Self { design: Design::Runs, before: values(before), after: values(after) }
            }
            _ => {
                let (before, after) = (earlier.into_values().collect(), later.into_values().collect());
                Self { design: Design::Units, before, after }
            }
        };
        match (pairing.before.len(), pairing.after.len(), pairing.design) {
            (1, _, Design::Units) | (_, 1, Design::Units) => {
                Err("there is one unit on a side, and it ran on that side alone: \
                 how units differ cannot be told from what changed; run another unit, or the same one on both sides"
                    .into())
            }
            (1, _, _) | (_, 1, _) => {
                Err("one run on a side tells nothing of how runs scatter; run at least two".into())
            }
            _ => Ok(pairing),
        }
    }

    /// Second less first, for pairs.
    pub fn differences(&self) -> Vec<f64> {
        self.after.iter().zip(&self.before).map(|(after, before)| after - before).collect()
    }
}

/// The mean of each unit's values.
fn by_unit(set: &[Observed]) -> BTreeMap<&str, f64> {
    let mut units: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for observed in set {
        units.entry(&observed.serial).or_default().push(observed.value);
    }
    units.into_iter().filter_map(|(serial, values)| Some((serial, mean(&values)?))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn set(values: &[(&str, f64)]) -> Vec<Observed> {
        values.iter().map(|(serial, value)| Observed { serial: (*serial).into(), value: *value }).collect()
    }

    #[test]
    fn units_are_paired_where_they_ran_both_and_count_once() {
        let before = set(&[("a", 1.0), ("a", 3.0), ("b", 5.0), ("c", 9.0)]);
        let pairing = Pairing::of(&before, &set(&[("b", 6.0), ("a", 2.5)]), None).expect("two ran both");
        assert_eq!(pairing, Pairing { design: Design::Pairs, before: vec![2.0, 5.0], after: vec![2.5, 6.0] });
        let apart = Pairing::of(&before, &set(&[("d", 6.0), ("e", 2.5)]), None).expect("units");
        assert_eq!((apart.design, apart.before), (Design::Units, vec![2.0, 5.0, 9.0]));
        let one = Pairing::of(&set(&[("a", 1.0), ("a", 2.0)]), &set(&[("a", 3.0), ("a", 4.0)]), None).expect("runs");
        assert_eq!((one.design, one.after), (Design::Runs, vec![3.0, 4.0]));
        let told = Pairing::of(&before, &set(&[("b", 6.0), ("a", 2.5)]), Some(false)).expect("told not to");
        assert_eq!(told.design, Design::Units);
    }

    #[test]
    fn what_is_too_little_is_refused_with_what_is_missing() {
        for (before, after, paired, says) in [
            (&[("a", 1.0), ("a", 2.0)][..], &[("b", 1.0), ("b", 2.0)][..], None, "one unit on a side"),
            (&[("a", 1.0)], &[("a", 2.0)], None, "one run on a side"),
            (&[("a", 1.0)], &[], None, "0 in the second"),
            (&[("a", f64::INFINITY)], &[("a", 2.0)], None, "no finite number"),
            (&[("a", 1.0), ("b", 2.0)], &[("a", 2.0)], Some(true), "1 units ran both"),
        ] {
            let why = Pairing::of(&set(before), &set(after), paired).expect_err("it is too little");
            assert!(why.contains(says), "{why}");
        }
    }
}
