//! One quantity of the line: where its values lie against its limits, whether they are normally distributed, how much of
//! their spread is the jig's, and whether they stay as they were.

use super::Settings;
use super::indices::{FAR, Indices, Limits, PERCENTILES_FROM, Path};
use crate::stats::change::{self, groups_differ};
use crate::stats::control::{self, Signal, SignalRule, Subgrouped};
use crate::stats::normality::{Normality, anderson_darling};
use crate::stats::student;
use crate::stats::summary::{mean, standard_deviation};
use crate::study::{Quantity, is_constant};

/// Fewer values tell nothing of a spread.
const VALUES_MIN: usize = 8;
/// Below this probability values do not count as normally distributed.
const NORMAL_ABOVE: f64 = 0.05;
/// d₂ of the range of two normal values, 2/√π.
const D2_OF_TWO: f64 = std::f64::consts::FRAC_2_SQRT_PI;

/// The values of one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    pub quantity: Quantity,
    /// In the order of time.
    pub values: Vec<f64>,
    /// Standard uncertainty of each; empty where they are not known.
    pub doubts: Vec<f64>,
    /// When each was measured, in words; empty where it is not known.
    pub moments: Vec<String>,
    /// The group of each; empty without groups.
    pub groups: Vec<String>,
    /// The subgroup of each; empty without subgroups.
    pub subgroups: Vec<String>,
}

/// A step in the values.
#[derive(Debug, Clone, PartialEq)]
pub struct Stepped {
    /// The first value after it, counted from 0.
    pub at: usize,
    /// When that was measured.
    pub moment: Option<String>,
    pub probability: f64,
    /// Means before and after it.
    pub before: f64,
    pub after: f64,
}

/// Part of the values.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    pub name: String,
    pub count: usize,
    pub mean: f64,
    pub deviation: f64,
    /// Its own index of the nearer limit.
    pub nearer: Option<f64>,
}

/// One quantity studied.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    pub quantity: Quantity,
    pub values: Vec<f64>,
    pub mean: f64,
    pub deviation: f64,
    /// Standard deviation from one unit to the next, or within subgroups.
    pub within: f64,
    pub normality: Option<Normality>,
    pub path: Path,
    /// By all of the spread: Pp, Ppk.
    pub overall: Option<Indices>,
    /// By the spread from one unit to the next: Cp, Cpk.
    pub short: Option<Indices>,
    /// Standard deviation that the jig may have added at most.
    pub jig: Option<f64>,
    /// Pp and Ppk with the jig's share taken out; why not, where that cannot be told.
    pub without_jig: Result<Indices, &'static str>,
    /// The chart of individual values, or of the subgroups' means.
    pub charted: Vec<f64>,
    pub limits: control::Limits,
    pub signals: Vec<Signal>,
    pub subgrouped: Option<Subgrouped>,
    /// Probabilities of these are raised for the number of quantities.
    pub step: Option<Stepped>,
    pub drift: Option<(f64, f64)>,
    pub groups: Vec<Group>,
    pub groups_differ: Option<f64>,
}

impl Row {
    /// Studies a sample; otherwise what is missing.
    pub(super) fn of(sample: Sample, settings: &Settings) -> Result<Self, String> {
        let Sample { quantity, values, doubts, moments, groups, subgroups } = sample;
        if values.len() < VALUES_MIN {
            return Err(format!("{} values tell nothing of a spread; it takes {VALUES_MIN}", values.len()));
        }
        if is_constant(&values) {
            return Err(format!(
                "all {} values are the same: there is no spread to set against the limits",
                values.len()
            ));
        }
        let (centre, deviation) = (mean(&values).unwrap_or_default(), standard_deviation(&values).unwrap_or_default());
        let tolerance = quantity.tolerance.as_ref();
        let limits = Limits {
            lower: tolerance.and_then(|tolerance| tolerance.lower),
            upper: tolerance.and_then(|tolerance| tolerance.upper),
        };
        let subgrouped = Subgrouped::of(&parted(&values, &subgroups));
        if !subgroups.is_empty() && subgrouped.is_none() {
            return Err("its subgroups are not of one size from 2 to 25, or there is one alone".into());
        }
        let n = values.len() as f64;
        let (within, within_freedom) = match &subgrouped {
            // Nine tenths of the degrees of freedom remain where ranges are used (Patnaik, 1950).
            Some(charts) => (charts.within, 0.9 * charts.means.len() as f64 * (charts.size as f64 - 1.0)),
            // Variance of the mean moving range (Cryer and Ryan, 1990), as degrees of freedom.
            None => {
                let range = mean(&control::moving_ranges(&values)).unwrap_or_default();
                (range / D2_OF_TWO, (n - 1.0).powi(2) / (2.0 * (0.8264 * n - 1.0)))
            }
        };
        let normality = anderson_darling(&values);
        let (path, overall) = overall(&values, normality, (centre, deviation), limits, settings.confidence);
        let short = Indices::normal(centre, within, within_freedom, values.len(), limits, settings.confidence);
        let given = settings.jig.iter().find_map(|given| given.of(&quantity));
        let jig = given.or_else(|| root_mean_square(&doubts));
        let without_jig = without_jig(centre, deviation, jig, path, values.len(), limits, settings.confidence);
        let (charted, chart) = match &subgrouped {
            Some(charts) => (charts.means.clone(), Some(charts.by_range.0)),
            None => (values.clone(), control::individuals(&values)),
        };
        let chart = chart.ok_or_else(|| "there are too few values for a chart".to_owned())?;
        let step = change::step(&charted).map(|step| Stepped {
            at: step.at,
            moment: moments.get(step.at).filter(|_| subgrouped.is_none()).cloned(),
            probability: step.probability,
            before: mean(&charted[..step.at]).unwrap_or_default(),
            after: mean(&charted[step.at..]).unwrap_or_default(),
        });
        let (groups, differ) = grouped(&values, &groups, limits);
        Ok(Self {
            signals: control::signals(&charted, &chart, &SignalRule::ALL),
            drift: change::drift(&charted),
            limits: chart,
            mean: centre,
            groups_differ: differ,
            short: short.filter(|_| matches!(path, Path::Normal)),
            quantity,
            values,
            deviation,
            within,
            normality,
            path,
            overall,
            jig,
            without_jig,
            charted,
            subgrouped,
            step,
            groups,
        })
    }
}

/// Pp and Ppk, by the way that the distribution allows.
fn overall(
    values: &[f64],
    normality: Option<Normality>,
    (centre, deviation): (f64, f64),
    limits: Limits,
    confidence: f64,
) -> (Path, Option<Indices>) {
    if limits.lower.is_none() && limits.upper.is_none() {
        return (Path::None("it has no tolerance"), None);
    }
    let is_normal = |test: Option<Normality>| test.is_some_and(|test| test.probability >= NORMAL_ABOVE);
    if is_normal(normality) {
        let n = values.len();
        return (Path::Normal, Indices::normal(centre, deviation, n as f64 - 1.0, n, limits, confidence));
    }
    if values.iter().all(|value| *value > 0.0) {
        let logarithms: Vec<f64> = values.iter().map(|value| value.ln()).collect();
        if is_normal(anderson_darling(&logarithms)) {
            let (middle, spread) =
                (mean(&logarithms).unwrap_or_default(), standard_deviation(&logarithms).unwrap_or_default());
            let z = student::one_sided_quantile(1.0 - FAR, f64::INFINITY);
            let percentiles = [-z, 0.0, z].map(|away| (middle + away * spread).exp());
            return (Path::LogNormal, Indices::percentiles(percentiles, limits));
        }
    }
    if values.len() < PERCENTILES_FROM {
        return (Path::None("neither normal nor log-normal, and too few values for percentiles: it takes 741"), None);
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = |share: f64| sorted[((share * sorted.len() as f64).ceil() as usize).clamp(1, sorted.len()) - 1];
    (Path::Empirical, Indices::percentiles([at(FAR), at(0.5), at(1.0 - FAR)], limits))
}

/// What the jig added does not belong to the units: variances are subtracted.
fn without_jig(
    centre: f64,
    deviation: f64,
    jig: Option<f64>,
    path: Path,
    count: usize,
    limits: Limits,
    confidence: f64,
) -> Result<Indices, &'static str> {
    if !matches!(path, Path::Normal) {
        return Err("it is told of normal values alone");
    }
    let jig = jig.ok_or("the jig's share is not known")?;
    let left = deviation * deviation - jig * jig;
    if left <= 0.0 {
        return Err("the jig's own doubt explains all of the spread");
    }
    // Of the subtraction the degrees of freedom are those of the whole, lessened by how much of it is left (Satterthwaite).
    let freedom = (count as f64 - 1.0) * (left / (deviation * deviation)).powi(2);
    Indices::normal(centre, left.sqrt(), freedom.max(1.0), count, limits, confidence).ok_or("it has no tolerance")
}

fn root_mean_square(doubts: &[f64]) -> Option<f64> {
    let squares: Vec<f64> = doubts.iter().map(|doubt| doubt * doubt).collect();
    mean(&squares).map(f64::sqrt).filter(|jig| *jig > 0.0)
}

/// Values by their names, each in the order in which it came first.
fn parted(values: &[f64], names: &[String]) -> Vec<Vec<f64>> {
    by_name(values, names).into_iter().map(|(_, values)| values).collect()
}

fn by_name<'n>(values: &[f64], names: &'n [String]) -> Vec<(&'n str, Vec<f64>)> {
    let mut places = std::collections::HashMap::new();
    let mut parts: Vec<(&str, Vec<f64>)> = Vec::new();
    for (value, name) in values.iter().zip(names) {
        let place = *places.entry(name.as_str()).or_insert(parts.len());
        if place == parts.len() {
            parts.push((name, Vec::new()));
        }
        parts[place].1.push(*value);
    }
    parts
}

fn grouped(values: &[f64], names: &[String], limits: Limits) -> (Vec<Group>, Option<f64>) {
    let parts = by_name(values, names);
    let large: Vec<Vec<f64>> =
        parts.iter().map(|(_, values)| values.clone()).filter(|values| values.len() >= 5).collect();
    let differ = groups_differ(&large);
    let group = |(name, values): (&str, Vec<f64>)| {
        let (centre, deviation) = (mean(&values).unwrap_or_default(), standard_deviation(&values).unwrap_or_default());
        let nearer = (values.len() >= VALUES_MIN && !is_constant(&values))
            .then(|| Indices::normal(centre, deviation, values.len() as f64 - 1.0, values.len(), limits, 0.95))
            .flatten();
        let nearer = nearer.map(|indices| indices.nearer.value);
        Group { name: name.to_owned(), count: values.len(), mean: centre, deviation, nearer }
    };
    (parts.into_iter().map(group).collect(), differ)
}
