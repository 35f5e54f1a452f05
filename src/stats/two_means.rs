//! The difference of two means: of independent samples with unequal variances (Welch, 1947; Satterthwaite, 1946), or of pairs.
//!
//! A difference whose readings do not scatter at all has no standard error, and none is made up for it.

use super::student;
use super::summary::{mean, standard_deviation};

/// A standard error smaller than this against the values themselves is their rounding.
const ROUNDING: f64 = 1e-13;

/// A difference of means, second less first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanDifference {
    pub value: f64,
    pub standard_error: f64,
    pub degrees_of_freedom: f64,
}

impl MeanDifference {
    /// Of independent samples; none of fewer than two values each, or where neither scatters.
    pub fn welch(first: &[f64], second: &[f64]) -> Option<Self> {
        let variance = |values: &[f64]| Some(standard_deviation(values)?.powi(2) / values.len() as f64);
        let (one, other) = (variance(first)?, variance(second)?);
        let both = one + other;
        let freedom =
            both.powi(2) / (one.powi(2) / (first.len() as f64 - 1.0) + other.powi(2) / (second.len() as f64 - 1.0));
        Self { value: mean(second)? - mean(first)?, standard_error: both.sqrt(), degrees_of_freedom: freedom }
            .usable(first.iter().chain(second))
    }

    /// Of pairs, from their differences; none of fewer than two, or where they do not scatter.
    pub fn paired(differences: &[f64]) -> Option<Self> {
        let count = differences.len() as f64;
        Self {
            value: mean(differences)?,
            standard_error: standard_deviation(differences)? / count.sqrt(),
            degrees_of_freedom: count - 1.0,
        }
        .usable(differences.iter())
    }

    /// Scatter by rounding alone is none: a standard error below the last digits of the values would prove anything.
    fn usable<'v>(self, of: impl Iterator<Item = &'v f64>) -> Option<Self> {
        let greatest = of.fold(0.0_f64, |greatest, value| greatest.max(value.abs()));
        let all = [self.value, self.standard_error, self.degrees_of_freedom];
        (all.iter().all(|number| number.is_finite()) && self.standard_error > ROUNDING * greatest).then_some(self)
    }

    /// The interval of confidence.
    pub fn interval(&self, confidence: f64) -> (f64, f64) {
        let away = self.standard_error * student::two_sided_quantile(confidence, self.degrees_of_freedom);
        (self.value - away, self.value + away)
    }

    /// How likely so great a difference is, to either side, where there is none.
    pub fn two_sided(&self) -> f64 {
        (2.0 * student::cumulative(-self.value.abs() / self.standard_error, self.degrees_of_freedom)).min(1.0)
    }

    /// How likely so small a difference is where the true one lies at `margin` or beyond: the worse of two one-sided tests
    /// (Schuirmann, 1987).
    pub fn equivalence(&self, margin: f64) -> f64 {
        student::cumulative((self.value.abs() - margin) / self.standard_error, self.degrees_of_freedom)
    }
}

/// Difference in pooled standard deviations, lessened for small samples (Hedges, 1981).
pub fn hedges_g(first: &[f64], second: &[f64]) -> Option<f64> {
    let (n, m) = (first.len() as f64, second.len() as f64);
    let (one, other) = (standard_deviation(first)?, standard_deviation(second)?);
    let freedom = n + m - 2.0;
    let pooled = (((n - 1.0) * one.powi(2) + (m - 1.0) * other.powi(2)) / freedom).sqrt();
    let lessened = 1.0 - 3.0 / (4.0 * freedom - 1.0);
    let effect = (mean(second)? - mean(first)?) / pooled * lessened;
    effect.is_finite().then_some(effect)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_does_not_scatter_has_no_standard_error() {
        assert_eq!(MeanDifference::welch(&[1.0, 1.0], &[2.0, 2.0]), None);
        assert_eq!(MeanDifference::welch(&[1.0], &[2.0, 3.0]), None);
        assert_eq!(MeanDifference::paired(&[0.5, 0.5, 0.5]), None);
        assert_eq!(hedges_g(&[1.0, 1.0], &[2.0, 2.0]), None);
        assert!(
            MeanDifference::welch(&[1.0, 1.0, 1.0], &[2.0, 2.0, 3.0]).is_some(),
            "one side that scatters is enough"
        );
    }

    #[test]
    fn two_one_sided_tests_agree_with_the_interval() {
        let difference = MeanDifference::welch(&[1.0, 2.0, 4.0, 3.0], &[2.0, 3.5, 2.5, 4.5]).expect("it scatters");
        let (low, high) = difference.interval(0.90);
        for (margin, within) in [(high * 1.001, true), (high * 0.999, false)] {
            assert_eq!(difference.equivalence(margin) < 0.05, within && -margin < low);
        }
        assert!(difference.equivalence(0.0) >= 0.5, "nothing lies within no margin");
    }
}
