//! A share of so many trials, with an exact interval: Clopper and Pearson, Biometrika 26 (1934) 404–413.

use statrs::function::beta::beta_reg;

/// The shares of which neither would make `hits` of `trials` less probable than half of what `confidence` leaves, on its side.
/// Of no trials nothing is known: 0 to 1.
pub fn exact_interval(hits: u64, trials: u64, confidence: f64) -> (f64, f64) {
    let hits = hits.min(trials);
    let tail = 0.5 * (1.0 - confidence.clamp(0.0, 1.0));
    let (k, n) = (hits as f64, trials as f64);
    let low = if hits == 0 { 0.0 } else { beta_quantile(tail, k, n - k + 1.0) };
    let high = if hits == trials { 1.0 } else { beta_quantile(1.0 - tail, k + 1.0, n - k) };
    (low, high)
}

/// By halving: as exact as the distribution function, wherever the quantile lies.
fn beta_quantile(probability: f64, a: f64, b: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if beta_reg(a, b, middle) < probability { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Outside: the closed form without a hit, 1 − (α/2)^(1/n), and with hits alone, Clopper and Pearson 1934; how: published text
    #[test]
    fn none_of_many_and_all_of_many_have_a_closed_form() {
        for trials in [1, 7, 200, 10_000] {
            let bound = 1.0 - 0.025_f64.powf(1.0 / trials as f64);
            let (low, high) = exact_interval(0, trials, 0.95);
            assert!(low == 0.0 && (high - bound).abs() < 1e-12, "{trials}: {high} {bound}");
            let (low, high) = exact_interval(trials, trials, 0.95);
            assert!(high == 1.0 && (low - (1.0 - bound)).abs() < 1e-12, "{trials}: {low}");
        }
    }

    /// Each bound makes what was seen just improbable enough, by the binomial sum itself.
    #[test]
    fn the_bounds_keep_their_tails() {
        let binomial = |share: f64, trials: u64, upto: u64| {
            let mut term = (1.0 - share).powi(trials as i32);
            let mut sum = term;
            for k in 0..upto {
                term *= (trials - k) as f64 / (k + 1) as f64 * share / (1.0 - share);
                sum += term;
            }
            sum
        };
        for (hits, trials) in [(1, 10), (3, 20), (17, 40), (2, 300)] {
            let (low, high) = exact_interval(hits, trials, 0.95);
            assert!((binomial(high, trials, hits) - 0.025).abs() < 1e-9, "{hits} of {trials}");
            assert!((1.0 - binomial(low, trials, hits - 1) - 0.025).abs() < 1e-9, "{hits} of {trials}");
        }
    }

    #[test]
    fn nothing_tried_is_nothing_known() {
        assert_eq!(exact_interval(0, 0, 0.95), (0.0, 1.0));
    }
}
