//! Pairs: do their differences tend to lie to one side (Wilcoxon, 1945)? And where is their middle (Hodges and Lehmann, 1963)?

use super::{Shift, Tails, counted, doubled_ranks, normal, outside, outside_normal, shift};

/// Up to so many differences every way of giving them signs is counted.
const COUNTED_MAX: usize = 60;
/// More differences than this are not averaged each with each.
const DIFFERENCES_MAX: usize = 2_000;

/// The test of paired differences. Differences of nothing say nothing and are left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SignedRank {
    /// Sum of the ranks of positive differences.
    pub positive: f64,
    /// Differences that are not zero.
    pub count: usize,
    /// `below`: of as small a sum, if nothing differs.
    pub tails: Tails,
}

impl SignedRank {
    /// Tests differences, which must be finite; none where all are zero.
    pub fn of(differences: &[f64]) -> Option<Self> {
        let signed: Vec<f64> = differences.iter().copied().filter(|difference| *difference != 0.0).collect();
        if signed.is_empty() {
            return None;
        }
        let sizes: Vec<f64> = signed.iter().map(|difference| difference.abs()).collect();
        let (ranks, ties) = doubled_ranks(&sizes);
        let positive = ranks.iter().zip(&signed).filter(|(_, difference)| **difference > 0.0);
        let seen: usize = positive.map(|(rank, _)| rank).sum();
        let n = signed.len() as f64;
        let tails = if signed.len() <= COUNTED_MAX {
            counted(&signings(&ranks), seen)
        } else {
            let variance = n * (n + 1.0) * (2.0 * n + 1.0) / 24.0 - ties / 48.0;
            normal(0.5 * seen as f64, 0.25 * n * (n + 1.0), variance, 1.0)
        };
        Some(Self { positive: 0.5 * seen as f64, count: signed.len(), tails })
    }

    /// The median of the means of every two differences, each with itself too, and the interval that the test does not refute.
    pub fn shift(differences: &[f64], confidence: f64) -> Option<Shift> {
        if differences.is_empty() || differences.len() > DIFFERENCES_MAX {
            return None;
        }
        let n = differences.len();
        let (beyond, confidence) = if n <= COUNTED_MAX {
            let untied: Vec<usize> = (1..=n).map(|rank| 2 * rank).collect();
            let ways: Vec<f64> = signings(&untied).into_iter().step_by(2).collect();
            outside(&ways, confidence)
        } else {
            let n = n as f64;
            outside_normal(0.25 * n * (n + 1.0), n * (n + 1.0) * (2.0 * n + 1.0) / 24.0, confidence)
        };
        let means = (0..n).flat_map(|one| (one..n).map(move |other| 0.5 * (differences[one] + differences[other])));
        Some(shift(means.collect(), beyond, confidence))
    }
}

/// In how many ways signs give the positive ranks each sum.
fn signings(ranks: &[usize]) -> Vec<f64> {
    let most: usize = ranks.iter().sum();
    let mut ways = vec![0.0; most + 1];
    ways[0] = 1.0;
    for rank in ranks {
        for sum in (*rank..=most).rev() {
            ways[sum] += ways[sum - rank];
        }
    }
    ways
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_differences_by_hand() {
        let test = SignedRank::of(&[1.0, 2.0, 3.0, 4.0, 5.0, 0.0]).expect("differences");
        assert_eq!((test.positive, test.count), (15.0, 5));
        assert!((test.tails.above - 1.0 / 32.0).abs() < 1e-15 && test.tails.two_sided() == 0.0625);
        assert_eq!(SignedRank::of(&[0.0, 0.0]), None);
    }

    #[test]
    fn the_middle_of_differences() {
        let shift = SignedRank::shift(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.9).expect("differences");
        assert_eq!((shift.value, shift.low, shift.high), (3.0, 1.0, 5.0));
        assert!((shift.confidence - 0.9375).abs() < 1e-12, "{shift:?}");
    }
}
