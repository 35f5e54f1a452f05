//! Yield: the share of units that conform at once and in the end, and which checks fail most, all with exact intervals
//! (Clopper and Pearson, 1934).

use crate::record::index::{Columns, Known};
use crate::record::stored::Verdict;
use crate::stats::exact_interval;
use std::collections::{BTreeMap, HashSet};

/// A share of so many, with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    pub hits: u64,
    pub of: u64,
    pub interval: (f64, f64),
}

impl Share {
    fn of(hits: usize, of: usize, confidence: f64) -> Self {
        let (hits, of) = (hits as u64, of as u64);
        Self { hits, of, interval: exact_interval(hits, of, confidence) }
    }

    /// The share itself; none of nothing.
    pub fn value(&self) -> Option<f64> {
        (self.of > 0).then(|| self.hits as f64 / self.of as f64)
    }
}

/// How one check did at first.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckYield {
    pub name: String,
    /// Units that conformed in it.
    pub conforms: Share,
    /// Units that did not, or stayed undecided.
    pub failed: u64,
}

/// Yield of units and of checks.
#[derive(Debug, Clone, PartialEq)]
pub struct Yields {
    pub first_pass: Share,
    pub in_the_end: Share,
    /// The one that fails most first.
    pub checks: Vec<CheckYield>,
    /// Runs that were invalid or interrupted and say nothing of a unit.
    pub proved_nothing: usize,
}

/// Whether a run says something of its unit.
pub fn proves(run: &Known) -> bool {
    run.decision != Verdict::Invalid && !run.is_interrupted
}

/// The first run of each unit that says something of it, by their places among the runs, which are in the order of time.
pub fn first_runs(runs: &[Known]) -> Vec<usize> {
    let mut met = HashSet::new();
    let proving = runs.iter().enumerate().filter(|(_, run)| proves(run));
    proving.filter(|(_, run)| met.insert(run.serial.as_str())).map(|(place, _)| place).collect()
}

impl Yields {
    /// Of runs in the order of time.
    pub fn of(columns: &Columns, confidence: f64) -> Self {
        let runs = &columns.runs;
        let first = first_runs(runs);
        let mut last: BTreeMap<&str, Verdict> = BTreeMap::new();
        for run in runs.iter().filter(|run| proves(run)) {
            last.insert(&run.serial, run.decision);
        }
        let conforms = |decision: &Verdict| *decision == Verdict::Conforms;
        let mut is_first = vec![false; runs.len()];
        first.iter().for_each(|place| is_first[*place] = true);
        let mut by_name: BTreeMap<&str, (usize, usize, usize)> = BTreeMap::new();
        for check in &columns.checks {
            for (run, decision) in check.decisions.iter().filter(|(run, _)| is_first[*run]) {
                let place = by_name.entry(&check.name).or_insert((*run, 0, 0));
                (place.1, place.2) = (place.1 + 1, place.2 + usize::from(conforms(decision)));
            }
        }
        let yield_of = |(name, (_, of, conforms)): (&str, (usize, usize, usize))| CheckYield {
            name: name.to_owned(),
            conforms: Share::of(conforms, of, confidence),
            failed: (of - conforms) as u64,
        };
        let mut checks: Vec<CheckYield> = by_name.into_iter().map(yield_of).collect();
        checks.sort_by(|one, other| other.failed.cmp(&one.failed).then_with(|| one.name.cmp(&other.name)));
        let at_once = first.iter().filter(|place| conforms(&runs[**place].decision)).count();
        Self {
            first_pass: Share::of(at_once, first.len(), confidence),
            in_the_end: Share::of(last.values().filter(|decision| conforms(decision)).count(), last.len(), confidence),
            checks,
            proved_nothing: runs.iter().filter(|run| !proves(run)).count(),
        }
    }
}
