//! Where the true value may lie about the measured one, as it was drawn.

use std::sync::Arc;

/// So many of the outermost draws tell how the tail goes on beyond them.
const TAIL: usize = 20;

/// Draws about a value, in ascending order. Cheap to clone.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    sorted: Arc<[f64]>,
}

impl Drawn {
    /// Of draws in ascending order, of which there are more than make two tails.
    pub(super) fn new(sorted: Vec<f64>) -> Self {
        Self { sorted: sorted.into() }
    }

    fn count(&self) -> f64 {
        self.sorted.len() as f64
    }

    /// Probability of each of the two tails.
    fn tail(&self) -> f64 {
        TAIL as f64 / self.count()
    }

    /// Where the upper or the lower tail begins, and its decay length, outwards: how far those beyond lie from there in
    /// the mean.
    fn tails(&self, upper: bool) -> (f64, f64) {
        let last = self.sorted.len() - 1;
        let (begins, beyond) = if upper {
            (self.sorted[last + 1 - TAIL], &self.sorted[last + 2 - TAIL..])
        } else {
            (self.sorted[TAIL - 1], &self.sorted[..TAIL - 1])
        };
        (begins, beyond.iter().map(|drawn| drawn - begins).sum::<f64>() / beyond.len() as f64)
    }

    /// The fraction below `x`. Beyond the outermost draws it falls as an exponential.
    pub fn cumulative(&self, x: f64) -> f64 {
        if x.is_nan() {
            return f64::NAN;
        }
        let outside = |upper: bool| {
            let (begins, decay) = self.tails(upper);
            let beyond = if upper { x - begins } else { begins - x };
            (beyond > 0.0).then(|| if decay == 0.0 { 0.0 } else { self.tail() * (-beyond / decay.abs()).exp() })
        };
        if let Some(above) = outside(true) {
            return 1.0 - above;
        }
        if let Some(below) = outside(false) {
            return below;
        }
        let below = self.sorted.partition_point(|drawn| *drawn <= x);
        below as f64 / self.count()
    }

    /// What a fraction `probability` lies below; NaN outside 0 < `probability` < 1.
    pub fn quantile(&self, probability: f64) -> f64 {
        if !(probability > 0.0 && probability < 1.0) {
            return f64::NAN;
        }
        let nearer = probability.min(1.0 - probability);
        if nearer < self.tail() {
            let (begins, decay) = self.tails(probability > 0.5);
            return begins + decay * (self.tail() / nearer).ln();
        }
        let place = probability * self.count() - 0.5;
        let below = (place.max(0.0) as usize).min(self.sorted.len() - 2);
        let (low, high) = (self.sorted[below], self.sorted[below + 1]);
        low + (high - low) * (place - below as f64).clamp(0.0, 1.0)
    }

    /// What a fraction `probability` lies within, on both sides of the value.
    pub fn half_width(&self, probability: f64) -> f64 {
        if !(probability > 0.0 && probability < 1.0) {
            return f64::NAN;
        }
        // A tail of no more than all that is to be left out reaches at least as far as both together.
        let reach = self.quantile(0.5 - 0.5 * probability).abs().max(self.quantile(0.5 + 0.5 * probability).abs());
        let (mut low, mut high) = (0.0, reach);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            let inside = self.cumulative(middle) - self.cumulative(-middle);
            *(if inside < probability { &mut low } else { &mut high }) = middle;
        }
        high
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::student;
    use super::super::Draw;
    use super::*;

    fn drawn(mut deviate: impl FnMut(&mut Draw) -> f64) -> Drawn {
        let mut draw = Draw::new(3);
        let mut values: Vec<f64> = (0..100_000).map(|_| deviate(&mut draw)).collect();
        values.sort_unstable_by(f64::total_cmp);
        Drawn::new(values)
    }

    #[test]
    fn draws_stand_for_their_distribution() {
        let normal = drawn(Draw::normal);
        // Beyond the outermost draws the tail is guessed, rather too long than too short.
        let cases =
            [(1e-6, 1.0), (0.001, 0.1), (0.025, 0.02), (0.5, 0.02), (0.975, 0.02), (0.999, 0.1), (1.0 - 1e-6, 1.0)];
        for (probability, allowed) in cases {
            let expected = student::one_sided_quantile(probability, f64::INFINITY);
            let found = normal.quantile(probability);
            assert!((found - expected).abs() < allowed, "{probability}: {found} against {expected}");
            let back = normal.cumulative(found);
            assert!((back - probability).abs() < 2e-5, "{probability}: {back}");
        }
        assert!((normal.half_width(0.95) - 1.96).abs() < 0.01);
    }

    #[test]
    fn a_lopsided_half_width_covers_what_it_says() {
        let exponential = drawn(|draw| -draw.fraction().ln() - 0.5);
        // Below it reaches the whole way, above 95 % of the rest.
        assert!(
            (exponential.half_width(0.95) - (20.0_f64.ln() - 0.5)).abs() < 0.02,
            "{}",
            exponential.half_width(0.95)
        );
        assert!(exponential.quantile(0.0).is_nan() && exponential.cumulative(f64::NAN).is_nan());
    }

    #[test]
    fn draws_that_are_all_the_same_have_no_tail() {
        let same = Drawn::new(vec![0.0; 100]);
        assert_eq!(
            (same.quantile(1e-9), same.quantile(0.5), same.cumulative(1e-9), same.cumulative(-1e-9)),
            (0.0, 0.0, 1.0, 0.0)
        );
    }
}
