//! Whether values are normally distributed: the test of Anderson and Darling (1954) with mean and deviation found from the
//! values themselves (Stephens, 1974; probabilities by D'Agostino and Stephens, Goodness-of-Fit Techniques, 1986, table 4.9).

use super::student;
use super::summary::{mean, standard_deviation};

/// The test cannot tell anything of fewer values.
const VALUES_MIN: usize = 8;

/// What it found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normality {
    /// A², corrected for the number of values.
    pub statistic: f64,
    /// How likely so great a departure is among normal values.
    pub probability: f64,
}

/// The test; none of fewer than eight values, or of values that do not scatter.
pub fn anderson_darling(values: &[f64]) -> Option<Normality> {
    let (centre, deviation) = (mean(values)?, standard_deviation(values)?);
    if values.len() < VALUES_MIN || deviation <= 0.0 {
        return None;
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let below = |value: f64| student::cumulative((value - centre) / deviation, f64::INFINITY).max(1e-300).ln();
    let above = |value: f64| student::cumulative((centre - value) / deviation, f64::INFINITY).max(1e-300).ln();
    let n = sorted.len() as f64;
    let pairs = sorted.iter().zip(sorted.iter().rev()).enumerate();
    let sum: f64 = pairs.map(|(place, (low, high))| (2.0 * place as f64 + 1.0) * (below(*low) + above(*high))).sum();
    let statistic = (-n - sum / n) * (1.0 + 0.75 / n + 2.25 / (n * n));
    let a = statistic;
    let probability = if a >= 0.6 {
        // The fitted parabola turns up far out, where nothing is left.
        if a > 13.0 { 0.0 } else { (1.2937 - 5.709 * a + 0.0186 * a * a).exp() }
    } else if a >= 0.34 {
        (0.9177 - 4.279 * a - 1.38 * a * a).exp()
    } else if a >= 0.2 {
        1.0 - (-8.318 + 42.796 * a - 59.938 * a * a).exp()
    } else {
        1.0 - (-13.436 + 101.14 * a - 223.73 * a * a).exp()
    };
    statistic.is_finite().then_some(Normality { statistic, probability: probability.clamp(0.0, 1.0) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bell_shaped_values_pass_and_skewed_ones_do_not() {
        let quantile = |place: usize| student::one_sided_quantile((place as f64 + 0.5) / 100.0, f64::INFINITY);
        let bell: Vec<f64> = (0..100).map(quantile).collect();
        assert!(anderson_darling(&bell).is_some_and(|test| test.probability > 0.99), "{:?}", anderson_darling(&bell));
        let skewed: Vec<f64> = bell.iter().map(|value| value.exp()).collect();
        assert!(anderson_darling(&skewed).is_some_and(|test| test.probability < 1e-6));
        assert_eq!((anderson_darling(&[1.0; 20]), anderson_darling(&bell[..7])), (None, None));
    }
}
