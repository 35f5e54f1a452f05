//! Several readings of one value, put together, with what of their doubt is the jig's and would be the same in another run.

use crate::record::stored::{Measured, Reading};
use crate::stats::{COVERAGE, student};

/// Several readings as one.
#[derive(Debug, Clone, PartialEq)]
pub struct Combined {
    /// Their mean.
    pub value: f64,
    /// How many they are.
    pub readings: usize,
    /// What each shared cause contributes, with its sign.
    causes: Vec<(String, f64)>,
    /// Variance of all else.
    own: f64,
    /// Degrees of freedom of that.
    freedom: f64,
}

impl Combined {
    /// `None` without a value that can be reckoned with.
    pub fn of(readings: &[&Reading]) -> Option<Self> {
        let measured: Vec<&Measured> = readings.iter().filter_map(|reading| reading.measured.as_ref()).collect();
        let is_sound = |one: &&Measured| one.value.is_finite() && one.standard_uncertainty.is_finite();
        if measured.is_empty() || measured.len() < readings.len() || !measured.iter().all(is_sound) {
            return None;
        }
        let count = measured.len() as f64;
        let value = measured.iter().map(|one| one.value).sum::<f64>() / count;
        let mut causes: Vec<(String, f64)> = Vec::new();
        let mut own = 0.0;
        for one in &measured {
            let mut shares: Vec<(String, f64)> = Vec::new();
            for line in &one.budget {
                let Some((input, cause)) = line.input.as_ref().and_then(|input| Some((input, input.shared.clone()?)))
                else {
                    continue;
                };
                add(&mut shares, &cause, line.standard_uncertainty * input.sensitivity.signum());
            }
            let shared: f64 = shares.iter().map(|(_, share)| share * share).sum();
            own += (one.standard_uncertainty.powi(2) - shared).max(0.0);
            shares.iter().for_each(|(cause, share)| add(&mut causes, cause, share / count));
        }
        own /= count * count;
        let least =
            measured.iter().map(|one| one.degrees_of_freedom.unwrap_or(f64::INFINITY)).fold(f64::INFINITY, f64::min);
        let (own, freedom) = match scatter(&measured, value) {
            // What the readings differ by, their budgets may not know of: a contact bounces otherwise each time.
            Some(scatter) if scatter > own => (scatter, count - 1.0),
            _ => (own, least),
        };
        Some(Self { value, readings: measured.len(), causes, own, freedom })
    }

    /// For 95 %.
    pub fn expanded_uncertainty(&self) -> f64 {
        let shared: f64 = self.causes.iter().map(|(_, share)| share * share).sum();
        let variance = self.own + shared;
        if variance <= 0.0 {
            return 0.0;
        }
        student::two_sided_quantile(COVERAGE, freedom(variance, &[(self.own, self.freedom)])) * variance.sqrt()
    }

    /// Standard uncertainty of the difference to another, and its degrees of freedom (Welch-Satterthwaite).
    pub fn doubt_in_difference(&self, other: &Self, same_jig: bool) -> (f64, f64) {
        let mut causes = self.causes.clone();
        let shared: f64 = if same_jig {
            other.causes.iter().for_each(|(cause, share)| add(&mut causes, cause, -share));
            causes.iter().map(|(_, share)| share * share).sum()
        } else {
            self.causes.iter().chain(&other.causes).map(|(_, share)| share * share).sum()
        };
        let variance = shared + self.own + other.own;
        (variance.sqrt(), freedom(variance, &[(self.own, self.freedom), (other.own, other.freedom)]))
    }
}

fn add(causes: &mut Vec<(String, f64)>, cause: &str, share: f64) {
    match causes.iter_mut().find(|(known, _)| known == cause) {
        Some((_, sum)) => *sum += share,
        None => causes.push((cause.to_owned(), share)),
    }
}

/// Variance of the mean, from how the readings differ.
fn scatter(measured: &[&Measured], mean: f64) -> Option<f64> {
    let count = measured.len() as f64;
    (measured.len() > 1)
        .then(|| measured.iter().map(|one| (one.value - mean).powi(2)).sum::<f64>() / (count - 1.0) / count)
}

fn freedom(variance: f64, parts: &[(f64, f64)]) -> f64 {
    let sum: f64 = parts.iter().filter(|(own, _)| *own > 0.0).map(|(own, freedom)| own * own / freedom).sum();
    if sum > 0.0 { variance * variance / sum } else { f64::INFINITY }
}
