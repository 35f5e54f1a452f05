//! Two sets of runs: what got worse, what stayed as it was, and what cannot be told yet.
//!
//! One test a quantity, of two-sided probability: Welch's of two means, or that of pairs where the same units ran both. It
//! proves a difference only where Holm's correction over all quantities leaves it so, and where the ranks, which no single
//! odd run can sway, point the same way. Equivalence is a proof of its own: that the difference lies within a margin.

mod design;
pub mod intervals;
mod judged;
mod margin;
mod more_runs;

pub use design::Design;
pub use judged::{Outcome, Row, Side};
pub use margin::{Given, Margin, Margins};
pub use more_runs::MoreRuns;

use super::{Refused, Series};
use crate::stats::multiplicity;
use design::Pairing;
use std::collections::BTreeMap;

/// How two sets are compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// The chance of any false proof of a difference, where nothing differs.
    pub risk: f64,
    pub margins: Margins,
    /// Whether units that ran both are told to be paired, or told not to be; none leaves it to the runs.
    pub paired: Option<bool>,
}

impl Default for Settings {
    fn default() -> Self {
        Self { risk: 0.05, margins: Margins::default(), paired: None }
    }
}

/// What came of it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Comparison {
    pub rows: Vec<Row>,
    /// What could not be compared.
    pub refused: Vec<Refused>,
}

impl Comparison {
    /// How many rows have an outcome.
    pub fn count(&self, outcome: Outcome) -> usize {
        self.rows.iter().filter(|row| row.outcome == outcome).count()
    }

    /// The outcome of all together: worse where anything is, equivalent where everything is proven to be no worse.
    pub fn outcome(&self) -> Outcome {
        if self.count(Outcome::Worse) > 0 {
            Outcome::Worse
        } else if self.rows.is_empty() || !self.refused.is_empty() || self.count(Outcome::CannotTell) > 0 {
            Outcome::CannotTell
        } else {
            Outcome::Equivalent
        }
    }
}

/// A comparison with all that is shown of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Study {
    /// What the two sets are, in words.
    pub sets: [Set; 2],
    pub settings: Settings,
    pub compared: Comparison,
    /// Quantiles of the step intervals, for exploration.
    pub intervals: Comparison,
    /// Tails of the step intervals of either set.
    pub tails: [Vec<intervals::Tail>; 2],
    /// What was left out, and why.
    pub told: Vec<String>,
}

/// One of the two sets.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Set {
    pub name: String,
    /// Runs; none for a table, whose rows need not be any.
    pub runs: Option<usize>,
    pub units: usize,
    pub simulated: bool,
}

/// Compares what both sets have.
pub fn compare(before: &[Series], after: &[Series], settings: &Settings) -> Comparison {
    let mut compared = Comparison::default();
    let mut untaken: BTreeMap<String, &Series> = before.iter().map(|series| (series.quantity.name(), series)).collect();
    let mut tested = Vec::new();
    for later in after {
        let name = later.quantity.name();
        let earlier = untaken.remove(&name);
        let refused = |why: String| Refused { name, why };
        let Some(earlier) = earlier else {
            compared.refused.push(refused("only the second set has it".into()));
            continue;
        };
        let unit = (&earlier.quantity.unit, &later.quantity.unit);
        if unit.0 != unit.1 {
            compared.refused.push(refused(format!("one set has it in `{}`, the other in `{}`", unit.0, unit.1)));
            continue;
        }
        match Pairing::of(&earlier.values, &later.values, settings.paired) {
            Ok(pairing) => tested.push((later.quantity.clone(), pairing)),
            Err(why) => compared.refused.push(refused(why)),
        }
    }
    let only_before = untaken.into_keys().map(|name| Refused { name, why: "only the first set has it".into() });
    compared.refused.extend(only_before);
    let mut rows: Vec<Row> =
        tested.into_iter().map(|(quantity, pairing)| Row::of(quantity, &pairing, settings)).collect();
    // What gave the very same value in every run could not have come out significant, and takes no share of the risk
    // (Tarone, 1990).
    let probabilities: Vec<f64> = rows.iter().filter_map(|row| row.probability).collect();
    let holm = multiplicity::holm(&probabilities);
    let hochberg = multiplicity::benjamini_hochberg(&probabilities);
    let mut adjusted = holm.into_iter().zip(hochberg);
    for row in rows.iter_mut().filter(|row| row.probability.is_some()) {
        (row.holm, row.false_discovery) = adjusted.next().map_or((None, None), |(one, other)| (Some(one), Some(other)));
    }
    for row in &mut rows {
        row.judge(settings.risk, probabilities.len());
    }
    compared.rows = rows;
    compared
}

#[cfg(test)]
mod tests;
