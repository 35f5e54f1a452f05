//! A returned unit against its as-shipped record: per measurand the change, its uncertainty, and whether it is one.
//!
//! E_n = d / U(d), the number of ISO 13528:2022, 9.7: beyond 1 in either direction a change is larger than the doubt in it.
//! Two runs on one jig share that jig's errors, so what the budgets say of a shared cause is taken out of the doubt in the
//! difference (JCGM 100:2008, 5.2); two jigs share nothing. Of many values one in twenty seems changed by chance alone, so a
//! change counts as proven only where it stands against all others too, by Holm's steps at 5 % (Holm 1979). And two runs never
//! find a unit at the same charge and warmth: a change of less than a tenth of what the tolerance allows is slight, whatever its
//! E_n.

mod combined;
mod paired;

use crate::record::stored::{Record, Requirement, Verdict};
use crate::stats::{COVERAGE, student};
use combined::Combined;

/// What wears, named first wherever it changed: slack of the belt, resistance of pack and contacts, the tail of the step clock,
/// segments of the light bar.
pub const WEAR: [&str; 9] = [
    "pack series resistance",
    "pack ohmic resistance",
    "pack resistance in use",
    "reversal value",
    "backlash",
    "period jitter p99.9",
    "longest step gap",
    "segment errors",
    "lit segments out of order",
];

/// All that a claim rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Claim {
    /// Whether both runs were made on one jig with one calibration.
    pub same_jig: bool,
    /// What both runs measured, what wears first.
    pub compared: Vec<Compared>,
    /// What wears and was not measured by both, and why it is not compared.
    pub not_compared: Vec<(&'static str, &'static str)>,
}

/// A value of both runs.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    pub measurand: String,
    /// The phase that it belongs to; empty for the whole check.
    pub phase: String,
    pub unit: String,
    /// Whether it wears.
    pub wears: bool,
    pub shipped: Value,
    pub now: Value,
    /// Now less as shipped.
    pub change: f64,
    /// Of the change, for 95 %.
    pub expanded_uncertainty: f64,
    /// `None` of a count, which has no uncertainty.
    pub e_n: Option<f64>,
    /// Of a change at least as large where there is none.
    pub probability: Option<f64>,
    pub told: Told,
}

/// One side of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Value {
    /// Mean of the readings.
    pub value: f64,
    pub expanded_uncertainty: f64,
    pub readings: usize,
    /// The check that it was measured in.
    pub check: String,
    /// What was decided on it there.
    pub verdict: Verdict,
}

/// Whether a value has changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Told {
    /// The change is within its doubt.
    AsShipped,
    /// The change is beyond its doubt, and less than a tenth of what the tolerance allows.
    Slightly,
    /// The change is beyond its doubt, but of so many values one or another is by chance.
    Perhaps,
    /// The change is proven.
    Changed,
    /// A count that may differ from time to time: how far by itself, nobody knows.
    NotJudged,
}

/// What a tolerance allows, times this, is a change worth telling.
const WORTH_TELLING: f64 = 0.1;
/// Probability of calling any unchanged value changed.
const RISK: f64 = 1.0 - COVERAGE;

impl Claim {
    /// Of the as-shipped record and that of the returned unit.
    pub fn of(shipped: &Record, now: &Record) -> Self {
        let same_jig = same_jig(shipped, now);
        let mut compared: Vec<Compared> =
            paired::pairs(shipped, now).into_iter().map(|pair| compare(&pair, same_jig)).collect();
        step_down(&mut compared);
        compared.sort_by_key(|one| (rank(&one.measurand), one.told != Told::Changed));
        let has = |record: &Record, name: &str| {
            record.checks.iter().flat_map(|check| &check.requirements).any(|one| one.measurand == name)
        };
        let missing = |name: &'static str| {
            let why = match (has(shipped, name), has(now, name)) {
                _ if compared.iter().any(|one| one.measurand == name) => return None,
                (false, false) => "neither run measured it",
                (false, true) => "it was not measured before it was shipped",
                (true, false) => "it was not measured on the returned unit",
                (true, true) => "the two runs measured it under other conditions, or without a value",
            };
            Some((name, why))
        };
        let not_compared = WEAR.into_iter().filter_map(missing).collect();
        Self { same_jig, compared, not_compared }
    }

    /// Proven changes, the clearest first.
    pub fn changes(&self) -> Vec<&Compared> {
        let mut changes: Vec<&Compared> = self.compared.iter().filter(|one| one.told == Told::Changed).collect();
        let size = |one: &Compared| one.e_n.map_or(f64::INFINITY, f64::abs);
        changes.sort_by(|one, other| {
            other
                .wears
                .cmp(&one.wears)
                .then_with(|| rank(&one.measurand).cmp(&rank(&other.measurand)))
                .then_with(|| size(other).total_cmp(&size(one)))
        });
        changes
    }

    /// Changes beyond their doubt that are small against the tolerance.
    pub fn slight(&self) -> impl Iterator<Item = &Compared> {
        self.compared.iter().filter(|one| one.told == Told::Slightly)
    }

    /// Changes beyond their doubt that chance may make among so many.
    pub fn perhaps(&self) -> impl Iterator<Item = &Compared> {
        self.compared.iter().filter(|one| one.told == Told::Perhaps)
    }
}

/// Place in the list of what wears; behind it for all else.
fn rank(measurand: &str) -> usize {
    WEAR.iter().position(|name| *name == measurand).unwrap_or(WEAR.len())
}

/// One jig, by its frozen file: a new calibration is another file.
fn same_jig(shipped: &Record, now: &Record) -> bool {
    let digest =
        |record: &Record| record.plan.inputs.iter().find(|input| input.role == "jig").map(|input| input.sha256.clone());
    shipped.bench.jig == now.bench.jig && digest(shipped).is_some_and(|one| Some(one) == digest(now))
}

fn compare(pair: &paired::Pair<'_>, same_jig: bool) -> Compared {
    let (shipped, now) = (&pair.shipped, &pair.now);
    let change = now.value - shipped.value;
    let (uncertainty, freedom) = now.doubt_in_difference(shipped, same_jig);
    let factor = student::two_sided_quantile(COVERAGE, freedom);
    let expanded_uncertainty = factor * uncertainty;
    // A count that must be nought says something as soon as it is not.
    let must_be_nought = pair.requirement.upper == Some(0.0) && pair.requirement.unit.is_empty();
    let has_doubt = !must_be_nought && expanded_uncertainty.is_finite() && expanded_uncertainty > 0.0;
    let e_n = has_doubt.then(|| change / expanded_uncertainty);
    let probability = has_doubt.then(|| 2.0 * student::cumulative(-(change / uncertainty).abs(), freedom));
    let told = match e_n {
        Some(e_n) if e_n.abs() > 1.0 && change.abs() < WORTH_TELLING * allowed(pair.tolerance) => Told::Slightly,
        Some(e_n) if e_n.abs() > 1.0 => Told::Perhaps,
        Some(_) => Told::AsShipped,
        None if change == 0.0 => Told::AsShipped,
        None if must_be_nought => Told::Changed,
        None => Told::NotJudged,
    };
    let value = |side: &Combined, check: &str, verdict| Value {
        value: side.value,
        expanded_uncertainty: side.expanded_uncertainty(),
        readings: side.readings,
        check: check.to_owned(),
        verdict,
    };
    let phase = if pair.label == paired::WHOLE { "" } else { pair.label };
    Compared {
        measurand: pair.requirement.measurand.clone(),
        phase: phase.to_owned(),
        unit: pair.requirement.unit.clone(),
        wears: WEAR.contains(&pair.requirement.measurand.as_str()),
        shipped: value(shipped, pair.checks.0, pair.verdicts.0),
        now: value(now, pair.checks.1, pair.verdicts.1),
        change,
        expanded_uncertainty: if has_doubt { expanded_uncertainty } else { 0.0 },
        e_n,
        probability,
        told,
    }
}

/// How far apart two values may be that both meet a tolerance: between its limits, or from nothing to the only one.
fn allowed(tolerance: &Requirement) -> f64 {
    match (tolerance.lower, tolerance.upper) {
        (Some(lower), Some(upper)) => upper - lower,
        (Some(limit), None) | (None, Some(limit)) => limit.abs(),
        (None, None) => 0.0,
    }
}

/// Holm's steps: of the values that seem changed, those that stand against all.
fn step_down(compared: &mut [Compared]) {
    let mut order: Vec<usize> = (0..compared.len()).filter(|one| compared[*one].probability.is_some()).collect();
    let probability = |compared: &[Compared], one: usize| compared[one].probability.unwrap_or(1.0);
    order.sort_by(|one, other| probability(compared, *one).total_cmp(&probability(compared, *other)));
    let count = order.len();
    for (step, one) in order.into_iter().enumerate() {
        if probability(compared, one) > RISK / (count - step) as f64 {
            break;
        }
        if compared[one].told == Told::Perhaps {
            compared[one].told = Told::Changed;
        }
    }
}

#[cfg(test)]
mod tests;
