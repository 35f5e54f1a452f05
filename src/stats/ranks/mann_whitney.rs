//! Two samples: does one tend to lie higher (Mann and Whitney, 1947)? And by how much (Hodges and Lehmann, 1963)?

use super::{Shift, Tails, counted, doubled_ranks, normal, outside, outside_normal, shift};

/// Up to so many values together every way of dealing the ranks is counted.
const COUNTED_MAX: usize = 60;
/// More pairs of values than this are not held at once; the shift is then found from every so-many-th value of each sample.
const PAIRS_MAX: usize = 4_000_000;

/// The test of two samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MannWhitney {
    /// Pairs of which the second sample's value is greater; half of those that are equal.
    pub u: f64,
    /// The share of such pairs: how likely a value of the second sample exceeds one of the first.
    pub superiority: f64,
    /// `below`: of as small a u, if nothing differs.
    pub tails: Tails,
}

impl MannWhitney {
    /// Compares two samples; none where one is empty. Values must be finite.
    pub fn of(first: &[f64], second: &[f64]) -> Option<Self> {
        if first.is_empty() || second.is_empty() {
            return None;
        }
        let pooled: Vec<f64> = second.iter().chain(first).copied().collect();
        let (ranks, ties) = doubled_ranks(&pooled);
        let (n, m, all) = (first.len() as f64, second.len() as f64, pooled.len() as f64);
        let seen: usize = ranks[..second.len()].iter().sum();
        let u = 0.5 * seen as f64 - 0.5 * m * (m + 1.0);
        let tails = if pooled.len() <= COUNTED_MAX {
            counted(&deals(&ranks, second.len()), seen)
        } else {
            normal(u, 0.5 * n * m, n * m / 12.0 * ((all + 1.0) - ties / (all * (all - 1.0))), 1.0)
        };
        Some(Self { u, superiority: u / (n * m), tails })
    }

    /// How far the second sample lies above the first: the median of all differences between a value of the one and a value of
    /// the other, with the interval of shifts that the test does not refute.
    pub fn shift(first: &[f64], second: &[f64], confidence: f64) -> Option<Shift> {
        let (first, second) = (thinned(first), thinned(second));
        if first.is_empty() || second.is_empty() {
            return None;
        }
        let (n, m) = (first.len(), second.len());
        let (beyond, confidence) = if n + m <= COUNTED_MAX {
            let untied: Vec<usize> = (1..=n + m).map(|rank| 2 * rank).collect();
            let least = m * (m + 1);
            let ways: Vec<f64> = deals(&untied, m)[least..].iter().copied().step_by(2).collect();
            outside(&ways, confidence)
        } else {
            let (n, m) = (n as f64, m as f64);
            outside_normal(0.5 * n * m, n * m * (n + m + 1.0) / 12.0, confidence)
        };
        let differences = second.iter().flat_map(|later| first.iter().map(move |earlier| later - earlier)).collect();
        Some(shift(differences, beyond, confidence))
    }
}

/// Every so-many-th of the sorted values, where there are too many to compare each with each.
fn thinned(values: &[f64]) -> Vec<f64> {
    let most = PAIRS_MAX.isqrt();
    if values.len() <= most {
        return values.to_vec();
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    (0..most).map(|place| sorted[(2 * place + 1) * sorted.len() / (2 * most)]).collect()
}

/// In how many ways `chosen` of the ranks have each sum.
fn deals(ranks: &[usize], chosen: usize) -> Vec<f64> {
    let most: usize = ranks.iter().sum();
    let mut ways = vec![vec![0.0; most + 1]; chosen + 1];
    ways[0][0] = 1.0;
    for (taken, rank) in ranks.iter().enumerate() {
        for count in (1..=chosen.min(taken + 1)).rev() {
            let (fewer, more) = ways.split_at_mut(count);
            let (from, into) = (&fewer[count - 1], &mut more[0]);
            for sum in *rank..=most {
                into[sum] += from[sum - rank];
            }
        }
    }
    ways.pop().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::ranks::Way;

    #[test]
    fn few_values_by_hand() {
        // Three above three: one of 20 ways.
        let test = MannWhitney::of(&[1.0, 2.0, 3.0], &[4.0, 5.0, 6.0]).expect("values");
        assert_eq!((test.u, test.superiority, test.tails.way), (9.0, 1.0, Way::Counted));
        assert!((test.tails.above - 0.05).abs() < 1e-15 && test.tails.below == 1.0);
        assert!((test.tails.two_sided() - 0.1).abs() < 1e-15);
        let alike = MannWhitney::of(&[2.0; 4], &[2.0; 3]).expect("values");
        assert_eq!((alike.u, alike.tails.two_sided()), (6.0, 1.0));
        assert_eq!(MannWhitney::of(&[], &[1.0]), None);
    }

    #[test]
    fn counting_and_the_normal_distribution_meet() {
        let first: Vec<f64> = (0..30).map(|place| f64::from(place * 7 % 31 / 2)).collect();
        let second: Vec<f64> = (0..30).map(|place| f64::from(place * 11 % 30 / 2) + 2.0).collect();
        let counted = MannWhitney::of(&first, &second).expect("values");
        // Every value twice: the same shares in larger samples.
        let (more, again) = (first.repeat(2), second.repeat(2));
        let normal = MannWhitney::of(&more, &again).expect("values");
        assert_eq!((counted.tails.way, normal.tails.way), (Way::Counted, Way::Normal));
        assert!((counted.superiority - normal.superiority).abs() < 1e-12);
        let pooled: Vec<f64> = second.iter().chain(&first).copied().collect();
        let (_, ties) = doubled_ranks(&pooled);
        let near = super::normal(counted.u, 450.0, 75.0 * (61.0 - ties / (60.0 * 59.0)), 1.0);
        assert!((counted.tails.two_sided() / near.two_sided() - 1.0).abs() < 0.05, "{counted:?} {near:?}");
    }

    #[test]
    fn a_shift_is_the_median_difference_and_too_few_values_give_the_widest_interval() {
        let shift = MannWhitney::shift(&[1.0, 2.0], &[11.0, 12.0], 0.95).expect("values");
        assert_eq!((shift.value, shift.low, shift.high), (10.0, 9.0, 11.0));
        assert!((shift.confidence - 2.0 / 3.0).abs() < 1e-12, "{shift:?}");
        let many: Vec<f64> = (0..3000).map(f64::from).collect();
        let later: Vec<f64> = many.iter().map(|value| value + 50.0).collect();
        let shift = MannWhitney::shift(&many, &later, 0.95).expect("values");
        assert!((shift.value - 50.0).abs() < 2.0 && shift.low < 50.0 && shift.high > 50.0, "{shift:?}");
    }
}
