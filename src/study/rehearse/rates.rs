//! Rates with exact intervals: what escapes, what is rejected without cause, what stays undecided.

use super::stored::{FaultFacts, Rehearsed, Sample, Truth};
use crate::record::stored::Verdict;
use crate::stats::{COVERAGE, exact_interval};

/// So many of so many.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Of {
    /// Those that were counted.
    pub count: u64,
    /// Those that were looked at.
    pub among: u64,
}

impl Of {
    /// How many of these a property holds for.
    pub fn counted<'u>(units: impl Iterator<Item = &'u Rehearsed>, holds: impl Fn(&Rehearsed) -> bool) -> Self {
        units.fold(Self::default(), |of, unit| Self { count: of.count + u64::from(holds(unit)), among: of.among + 1 })
    }

    /// The share; `None` of none.
    pub fn share(self) -> Option<f64> {
        (self.among > 0).then(|| self.count as f64 / self.among as f64)
    }

    /// The exact interval of the rate behind it.
    pub fn interval(self) -> (f64, f64) {
        exact_interval(self.count, self.among, COVERAGE)
    }
}

/// Units without a fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SoundRates {
    /// Said not to conform.
    pub rejected: Of,
    /// Said neither.
    pub undecided: Of,
    /// The run proved nothing.
    pub invalid: Of,
}

/// Units as the population has them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PopulationRates {
    /// Broken ones among all.
    pub broken: Of,
    /// With no more than a slight fault, among all.
    pub slight: Of,
    /// Conforming ones among all.
    pub shipped: Of,
    /// Broken ones among the conforming: what buyers get.
    pub broken_shipped: Of,
}

/// Units with one fault alone that breaks a promise.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultRates {
    /// Its name.
    pub fault: String,
    /// What it is.
    pub explanation: String,
    /// Said not to conform.
    pub caught: Of,
    /// Said neither.
    pub undecided: Of,
    /// The run proved nothing.
    pub invalid: Of,
    /// Said to conform: escapes.
    pub escaped: Of,
}

fn is(verdict: Verdict) -> impl Fn(&Rehearsed) -> bool {
    move |unit| unit.decision == verdict
}

/// Of units without a fault.
pub(super) fn sound(units: &[Rehearsed]) -> SoundRates {
    let sound = || units.iter().filter(|unit| unit.truth == Truth::Sound);
    SoundRates {
        rejected: Of::counted(sound(), is(Verdict::DoesNotConform)),
        undecided: Of::counted(sound(), is(Verdict::Undecided)),
        invalid: Of::counted(sound(), is(Verdict::Invalid)),
    }
}

/// Of units as built.
pub(super) fn population(units: &[Rehearsed]) -> PopulationRates {
    let built = || units.iter().filter(|unit| unit.sample == Sample::AsBuilt);
    let truth = |truth| move |unit: &Rehearsed| unit.truth == truth;
    PopulationRates {
        broken: Of::counted(built(), truth(Truth::Broken)),
        slight: Of::counted(built(), truth(Truth::Slight)),
        shipped: Of::counted(built(), is(Verdict::Conforms)),
        broken_shipped: Of::counted(built().filter(|unit| is(Verdict::Conforms)(unit)), truth(Truth::Broken)),
    }
}

/// Of units with one fault.
pub(super) fn of_fault(fault: &FaultFacts, units: &[Rehearsed]) -> FaultRates {
    let its = || {
        units.iter().filter(|unit| {
            unit.truth == Truth::Broken && unit.only_fault().is_some_and(|only| only.fault == fault.name)
        })
    };
    FaultRates {
        fault: fault.name.clone(),
        explanation: fault.explanation.clone(),
        caught: Of::counted(its(), is(Verdict::DoesNotConform)),
        undecided: Of::counted(its(), is(Verdict::Undecided)),
        invalid: Of::counted(its(), is(Verdict::Invalid)),
        escaped: Of::counted(its(), is(Verdict::Conforms)),
    }
}
