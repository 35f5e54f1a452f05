//! Whether values that come one after another stay as they were: a step (Pettitt, 1979), a drift (Spearman, 1904), or a
//! difference between several groups (Kruskal and Wallis, 1952). All look at ranks alone.

use super::{student, summary};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Fewer values tell nothing.
const VALUES_MIN: usize = 8;

/// Where values changed most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The first value after it.
    pub at: usize,
    pub probability: f64,
}

/// Middle ranks, from 1.
fn ranks(values: &[f64]) -> Vec<f64> {
    let (doubled, _) = super::ranks::doubled_ranks(values);
    doubled.into_iter().map(|rank| 0.5 * rank as f64).collect()
}

/// The likeliest place of a step.
pub fn step(values: &[f64]) -> Option<Step> {
    if values.len() < VALUES_MIN {
        return None;
    }
    let n = values.len() as f64;
    let (mut sum, mut most, mut at) = (0.0, 0.0, 0);
    for (place, rank) in ranks(values).into_iter().enumerate().take(values.len() - 1) {
        sum += rank;
        let away = (2.0 * sum - (place as f64 + 1.0) * (n + 1.0)).abs();
        if away > most {
            (most, at) = (away, place + 1);
        }
    }
    let probability = (2.0 * (-6.0 * most * most / (n.powi(3) + n * n)).exp()).min(1.0);
    (most > 0.0).then_some(Step { at, probability })
}

/// Rank correlation of values with their order, and how likely so strong a one is where there is no drift.
pub fn drift(values: &[f64]) -> Option<(f64, f64)> {
    if values.len() < VALUES_MIN {
        return None;
    }
    let n = values.len() as f64;
    let ranks = ranks(values);
    let middle = 0.5 * (n + 1.0);
    let product: f64 =
        ranks.iter().enumerate().map(|(place, rank)| (place as f64 + 1.0 - middle) * (rank - middle)).sum();
    let square: f64 = ranks.iter().map(|rank| (rank - middle).powi(2)).sum();
    let correlation = product / (square * (n.powi(3) - n) / 12.0).sqrt();
    let t = correlation.abs() * ((n - 2.0) / (1.0 - correlation * correlation).max(1e-300)).sqrt();
    let probability = 2.0 * student::cumulative(-t, n - 2.0);
    correlation.is_finite().then_some((correlation, probability.min(1.0)))
}

/// How likely groups differ so much by chance; none of fewer than two groups with five values each, or of values all alike.
pub fn groups_differ(groups: &[Vec<f64>]) -> Option<f64> {
    if groups.len() < 2 || groups.iter().any(|group| group.len() < 5) {
        return None;
    }
    let pooled: Vec<f64> = groups.iter().flatten().copied().collect();
    let (doubled, ties) = super::ranks::doubled_ranks(&pooled);
    let n = pooled.len() as f64;
    let mut from = 0;
    let mut sum = 0.0;
    for group in groups {
        let of_group: Vec<f64> = doubled[from..from + group.len()].iter().map(|rank| 0.5 * *rank as f64).collect();
        sum += group.len() as f64 * (summary::mean(&of_group)? - 0.5 * (n + 1.0)).powi(2);
        from += group.len();
    }
    let statistic = 12.0 * sum / (n * (n + 1.0)) / (1.0 - ties / (n.powi(3) - n));
    let freedom = ChiSquared::new(groups.len() as f64 - 1.0).ok()?;
    statistic.is_finite().then(|| freedom.sf(statistic))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_is_found_where_it_is_and_a_drift_is_one() {
        let values: Vec<f64> =
            (0..40).map(|place| f64::from(place * 7 % 10) + if place < 25 { 0.0 } else { 12.0 }).collect();
        let found = step(&values).expect("values");
        assert!((24..=26).contains(&found.at) && found.probability < 1e-4, "{found:?}");
        let even: Vec<f64> = (0..40).map(|place| f64::from(place * 7 % 10)).collect();
        assert!(step(&even).is_none_or(|step| step.probability > 0.5));
        assert!(drift(&even).is_some_and(|(correlation, probability)| correlation.abs() < 0.2 && probability > 0.2));
        let rising: Vec<f64> = (0..40).map(|place| f64::from(place) + f64::from(place * 7 % 10)).collect();
        assert!(drift(&rising).is_some_and(|(correlation, probability)| correlation > 0.9 && probability < 1e-6));
        assert_eq!((step(&[1.0; 20]), drift(&[1.0; 20]), step(&values[..7])), (None, None, None));
    }

    #[test]
    fn groups_that_differ() {
        let group = |from: f64| (0..6).map(|place| from + f64::from(place)).collect::<Vec<f64>>();
        assert!(groups_differ(&[group(0.0), group(10.0)]).is_some_and(|probability| probability < 0.01));
        assert!(groups_differ(&[group(0.0), group(0.5)]).is_some_and(|probability| probability > 0.3));
        assert_eq!((groups_differ(&[group(0.0)]), groups_differ(&[vec![1.0; 5], vec![1.0; 5]])), (None, None));
    }
}
