//! How severe a fault has to be for the plan to catch it half of the time and nearly always.

use super::stored::{FaultFacts, Rehearsed, Sample};
use crate::record::stored::Verdict;
use crate::stats::{Logistic, Reached};

/// Units with one fault, of severities all the way up.
#[derive(Debug, Clone, PartialEq)]
pub struct Severities {
    /// Its name.
    pub fault: String,
    /// Each severity, and whether that unit was caught.
    pub units: Vec<(f64, bool)>,
    /// The severity from which it is caught half of the time; `None` where catches do not rise with severity.
    pub half: Option<Reached>,
    /// The same for 99 %.
    pub nearly_all: Option<Reached>,
}

/// Of a fault that has degrees; `None` of one that is there or not, or where none was drawn.
pub(super) fn of_fault(fault: &FaultFacts, units: &[Rehearsed]) -> Option<Severities> {
    if fault.all_or_nothing {
        return None;
    }
    let told: Vec<(f64, bool)> = units
        .iter()
        .filter(|unit| unit.sample != Sample::AsBuilt)
        .filter_map(|unit| {
            let only = unit.only_fault().filter(|only| only.fault == fault.name)?;
            Some((only.severity, unit.decision == Verdict::DoesNotConform))
        })
        .collect();
    if told.is_empty() {
        return None;
    }
    let fit = Logistic::fit(&told);
    let reached = |share| fit.and_then(|fit| fit.reaches(share));
    Some(Severities { fault: fault.name.clone(), half: reached(0.5), nearly_all: reached(0.99), units: told })
}
