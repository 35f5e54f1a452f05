//! A tally: how often each value occurred. Exact quantiles of a million readings without sorting them.

/// Values in ascending order, each with how often it occurred.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tally {
    entries: Vec<(f64, u64)>,
    total: u64,
}

impl Tally {
    /// Sorts and counts what is handed in; the same value may come more than once.
    pub fn new(mut entries: Vec<(f64, u64)>) -> Self {
        entries.retain(|entry| entry.1 > 0);
        // What is in order already, or is two such runs, as distances from a mean are, costs a stable sort but one pass.
        entries.sort_by(|one, other| one.0.total_cmp(&other.0));
        let total = entries.iter().map(|entry| entry.1).sum();
        Self { entries, total }
    }

    /// How many readings there are.
    pub fn total(&self) -> u64 {
        self.total
    }

    /// The reading with this rank, counted from 1 in ascending order; ranks beyond the ends give the extremes.
    pub fn ranked(&self, rank: u64) -> Option<f64> {
        let mut below = 0;
        self.entries
            .iter()
            .find(|entry| {
                below += entry.1;
                below >= rank.max(1)
            })
            .or(self.entries.last())
            .map(|entry| entry.0)
    }

    /// The smallest reading that at least a fraction `probability` of all readings does not exceed: the inverse of the
    /// empirical distribution function (definition 1 of Hyndman and Fan, 1996). HdrHistogram ranks in the same way.
    pub fn quantile(&self, probability: f64) -> Option<f64> {
        self.ranked(rank(probability, self.total))
    }

    /// Standard uncertainty of [`Tally::quantile`] from the sampling alone: half the distance between the readings one
    /// standard deviation of the rank, √(n p (1 − p)), below and above.
    pub fn quantile_uncertainty(&self, probability: f64) -> Option<f64> {
        let centre = rank(probability, self.total);
        let spread = (self.total as f64 * probability * (1.0 - probability)).max(0.0).sqrt().ceil() as u64;
        Some(0.5 * (self.ranked(centre + spread)? - self.ranked(centre.saturating_sub(spread))?))
    }

    /// Decay length of the upper tail, taken from the ten largest readings as of an exponential one.
    pub fn decay_of_largest(&self) -> Option<f64> {
        /// Sum of 1/k for k = 1 … 9: expected distance of the largest from the tenth largest in decay lengths.
        const HARMONIC_9: f64 = 2.828_968_253_968_254;
        Some((self.ranked(self.total)? - self.ranked(self.total.saturating_sub(9))?) / HARMONIC_9)
    }
}

/// ⌈p·n⌉, at least 1; a product that is whole but for rounding counts as whole.
fn rank(probability: f64, total: u64) -> u64 {
    let product = probability * total as f64;
    let whole = product.round();
    let rank = if (product - whole).abs() < 1e-9 * product.max(1.0) { whole } else { product.ceil() };
    (rank as u64).clamp(1, total.max(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantile_is_always_one_of_the_readings() {
        let tally = Tally::new(vec![(3.0, 1), (1.0, 2), (2.0, 7)]);
        assert_eq!(tally.total(), 10);
        assert_eq!(tally.quantile(0.2), Some(1.0));
        assert_eq!(tally.quantile(0.21), Some(2.0));
        assert_eq!(tally.quantile(0.9), Some(2.0));
        assert_eq!(tally.quantile(1.0), Some(3.0));
        assert_eq!(Tally::default().quantile(0.5), None);
    }

    #[test]
    fn a_flat_tail_has_no_length() {
        assert_eq!(Tally::new(vec![(0.0, 5), (4.0, 12)]).decay_of_largest(), Some(0.0));
        assert!(Tally::new((0..20).map(|value| (f64::from(value), 1)).collect()).decay_of_largest() > Some(3.0));
    }
}
