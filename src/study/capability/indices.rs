//! How far values keep from their limits: Cp and Cpk by the spread from one unit to the next, Pp and Ppk by all of it, with
//! intervals; of values that are not normally distributed by percentiles (ISO 22514-2).

use crate::stats::student;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Percentiles that stand for three standard deviations to either side (ISO 22514-2).
pub const FAR: f64 = 0.001_35;
/// From so many values on a percentile so far out lies among them.
pub const PERCENTILES_FROM: usize = 741;

/// Tolerance limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// An index with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Index {
    pub value: f64,
    /// None where there is no known interval.
    pub interval: Option<(f64, f64)>,
}

/// An index of the width and one of the nearer limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Indices {
    /// Tolerance over spread; none without two limits.
    pub width: Option<Index>,
    /// Distance of the nearer limit over half the spread.
    pub nearer: Index,
}

/// How the spread of all values was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Path {
    /// Six standard deviations of normally distributed values.
    Normal,
    /// Percentiles of the log-normal distribution, which their logarithms follow.
    LogNormal,
    /// Percentiles of the values themselves.
    Empirical,
    /// Not at all: why.
    None(&'static str),
}

impl Path {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::LogNormal => "log-normal percentiles",
            Self::Empirical => "percentiles of the values",
            Self::None(why) => why,
        }
    }
}

impl Indices {
    /// Of a normal distribution whose deviation has so many degrees of freedom, from `count` values. Intervals: χ² for the
    /// width (Kane, 1986), Bissell (1990) for the nearer limit.
    pub fn normal(
        centre: f64,
        deviation: f64,
        freedom: f64,
        count: usize,
        limits: Limits,
        confidence: f64,
    ) -> Option<Self> {
        if !(deviation > 0.0 && deviation.is_finite()) {
            return None;
        }
        let tail = 0.5 * (1.0 - confidence);
        let spread = |probability: f64| {
            ChiSquared::new(freedom).map(|chi| (chi.inverse_cdf(probability) / freedom).sqrt()).unwrap_or(f64::NAN)
        };
        let width = limits.lower.zip(limits.upper).map(|(lower, upper)| {
            let value = (upper - lower) / (6.0 * deviation);
            Index { value, interval: Some((value * spread(tail), value * spread(1.0 - tail))) }
        });
        let nearer = nearer(centre, 3.0 * deviation, 3.0 * deviation, limits)?;
        let z = student::one_sided_quantile(1.0 - tail, f64::INFINITY);
        let away = z * (1.0 / (9.0 * count as f64) + nearer * nearer / (2.0 * freedom)).sqrt();
        Some(Self { width, nearer: Index { value: nearer, interval: Some((nearer - away, nearer + away)) } })
    }

    /// Of percentiles: 0.135 %, 50 % and 99.865 % of the values lie below them (ISO 22514-2).
    pub fn percentiles([low, middle, high]: [f64; 3], limits: Limits) -> Option<Self> {
        let width = limits.lower.zip(limits.upper).filter(|_| high > low);
        let width = width.map(|(lower, upper)| Index { value: (upper - lower) / (high - low), interval: None });
        let nearer = nearer(middle, middle - low, high - middle, limits).filter(|index| index.is_finite())?;
        Some(Self { width, nearer: Index { value: nearer, interval: None } })
    }
}

/// Distance of the nearer limit from the middle, over the spread towards it.
fn nearer(middle: f64, below: f64, above: f64, limits: Limits) -> Option<f64> {
    let to_lower = limits.lower.map(|lower| (middle - lower) / below);
    let to_upper = limits.upper.map(|upper| (upper - middle) / above);
    to_lower.into_iter().chain(to_upper).reduce(f64::min)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6: limits 8 and 20, mean 16, deviation 2.
    // Outside: NIST e-Handbook, 6.1.6: Cp 1.0, Cpk 0.6667 of limits 8 and 20, mean 16, deviation 2; how: from memory
    #[test]
    fn the_handbooks_example() {
        let limits = Limits { lower: Some(8.0), upper: Some(20.0) };
        let found = Indices::normal(16.0, 2.0, 49.0, 50, limits, 0.95).expect("indices");
        assert!((found.width.expect("two limits").value - 1.0).abs() < 1e-12);
        assert!((found.nearer.value - 2.0 / 3.0).abs() < 1e-12);
        let (low, high) = found.width.expect("two limits").interval.expect("one");
        assert!((low - 0.8024).abs() < 2e-4 && (high - 1.1971).abs() < 2e-4, "{low} {high}");
    }

    #[test]
    fn one_limit_has_no_width_and_percentiles_of_a_normal_one_are_the_same() {
        let upper = Limits { lower: None, upper: Some(3.0) };
        let normal = Indices::normal(0.0, 1.0, 30.0, 31, upper, 0.95).expect("indices");
        assert_eq!((normal.width, normal.nearer.value), (None, 1.0));
        let percentiles = Indices::percentiles([-3.0, 0.0, 3.0], upper).expect("indices");
        assert_eq!((percentiles.width, percentiles.nearer.value), (None, 1.0));
        assert_eq!(Indices::normal(0.0, 0.0, 30.0, 31, upper, 0.95), None);
        assert_eq!(Indices::percentiles([0.0; 3], upper), None);
    }
}
