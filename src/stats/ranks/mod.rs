//! Tests that look at the order of values alone, and shifts that are found from it: no distribution is taken for granted.
//!
//! For small samples every way of dealing the ranks is counted, ties included: each rank is taken twice over, so that the
//! middle ranks of ties are whole numbers. Beyond that the normal distribution stands in, with its variance lessened for ties.

mod mann_whitney;
mod signed_rank;

pub use mann_whitney::MannWhitney;
pub use signed_rank::SignedRank;

use super::student;

/// How a probability was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Every way of dealing the ranks was counted.
    Counted,
    /// By the normal distribution, with correction for continuity and ties.
    Normal,
}

/// Probabilities of a rank statistic at most as great, and at least as great, as the one seen, if nothing differs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tails {
    pub below: f64,
    pub above: f64,
    pub way: Way,
}

impl Tails {
    /// Twice the smaller one.
    pub fn two_sided(&self) -> f64 {
        (2.0 * self.below.min(self.above)).min(1.0)
    }
}

/// A shift with its interval of confidence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    pub value: f64,
    pub low: f64,
    pub high: f64,
    /// Probability of the interval, at least what was asked for where so few values allow that; otherwise the widest there is.
    pub confidence: f64,
}

/// Ranks twice over, ties having the middle of theirs, and Σ(t³ − t) over groups of t ties.
pub(super) fn doubled_ranks(values: &[f64]) -> (Vec<usize>, f64) {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|one, other| values[*one].total_cmp(&values[*other]));
    let (mut ranks, mut ties, mut from) = (vec![0; values.len()], 0.0, 0);
    while from < order.len() {
        let alike = order[from..].iter().take_while(|place| values[**place] == values[order[from]]).count();
        // Ranks from + 1 … from + alike, of which the middle is half the sum of first and last.
        order[from..from + alike].iter().for_each(|place| ranks[*place] = 2 * from + alike + 1);
        ties += (alike as f64).powi(3) - alike as f64;
        from += alike;
    }
    (ranks, ties)
}

/// Both tails of a count over all values of a statistic.
fn counted(ways: &[f64], seen: usize) -> Tails {
    let all: f64 = ways.iter().sum();
    let below = ways[..=seen].iter().sum::<f64>() / all;
    let above = ways[seen..].iter().sum::<f64>() / all;
    Tails { below: below.min(1.0), above: above.min(1.0), way: Way::Counted }
}

/// Both tails by the normal distribution; half of a step of the statistic belongs to either.
fn normal(seen: f64, mean: f64, variance: f64, step: f64) -> Tails {
    let deviation = variance.sqrt();
    let tail = |away: f64| {
        if deviation > 0.0 { student::cumulative((away + 0.5 * step) / deviation, f64::INFINITY) } else { 1.0 }
    };
    Tails { below: tail(seen - mean), above: tail(mean - seen), way: Way::Normal }
}

/// The middle of sorted differences, and those that lie `beyond` places from either end.
fn shift(mut differences: Vec<f64>, beyond: usize, confidence: f64) -> Shift {
    differences.sort_by(f64::total_cmp);
    let (count, middle) = (differences.len(), differences.len() / 2);
    let value =
        if count % 2 == 1 { differences[middle] } else { 0.5 * (differences[middle - 1] + differences[middle]) };
    let beyond = beyond.min((count - 1) / 2);
    Shift { value, low: differences[beyond], high: differences[count - 1 - beyond], confidence }
}

/// How many of the sorted differences lie outside of the interval on each side, and its confidence: as many as leave at
/// least `confidence`. `ways` counts the statistic's values without ties, `ways[0]` being the least.
fn outside(ways: &[f64], confidence: f64) -> (usize, f64) {
    let all: f64 = ways.iter().sum();
    let (mut outside, mut tail) = (0, ways[0] / all);
    while let Some(next) = ways.get(outside + 1).map(|ways| tail + ways / all)
        && 1.0 - 2.0 * next >= confidence
    {
        (outside, tail) = (outside + 1, next);
    }
    (outside, 1.0 - 2.0 * tail)
}

/// The same by the normal distribution.
fn outside_normal(mean: f64, variance: f64, confidence: f64) -> (usize, f64) {
    let z = student::two_sided_quantile(confidence, f64::INFINITY);
    ((mean - z * variance.sqrt() - 0.5).floor().max(0.0) as usize, confidence)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ties_have_the_middle_of_their_ranks() {
        assert_eq!(doubled_ranks(&[3.0, 1.0, 3.0, 2.0]), (vec![7, 2, 7, 4], 6.0));
        assert_eq!(doubled_ranks(&[]), (vec![], 0.0));
    }
}
