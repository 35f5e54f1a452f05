//! Many tests at once: with a hundred of them five are called significant at 5 % where nothing differs.

/// Probabilities raised so that one at most `risk` proves its difference, with `risk` the chance of any false proof among
/// all (Holm, 1979).
pub fn holm(probabilities: &[f64]) -> Vec<f64> {
    let count = probabilities.len();
    let mut reached = 0.0_f64;
    adjusted(probabilities, false, |place, probability| {
        reached = reached.max(((count - place) as f64 * probability).min(1.0));
        reached
    })
}

/// Probabilities raised so that, of those at most q, a share of q at most is expected to be false (Benjamini and Hochberg,
/// 1995).
pub fn benjamini_hochberg(probabilities: &[f64]) -> Vec<f64> {
    let count = probabilities.len();
    let mut reached = 1.0_f64;
    adjusted(probabilities, true, |place, probability| {
        reached = reached.min(count as f64 / (place + 1) as f64 * probability);
        reached
    })
}

/// Goes through the probabilities by size, from the least or from the greatest.
fn adjusted(probabilities: &[f64], greatest_first: bool, mut adjust: impl FnMut(usize, f64) -> f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..probabilities.len()).collect();
    order.sort_by(|one, other| probabilities[*one].total_cmp(&probabilities[*other]));
    let mut adjusted = vec![1.0; probabilities.len()];
    let mut visit = |(place, at): (usize, usize)| adjusted[at] = adjust(place, probabilities[at]);
    let places = order.into_iter().enumerate();
    if greatest_first {
        places.rev().for_each(&mut visit)
    } else {
        places.for_each(&mut visit)
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_by_hand() {
        let close = |found: Vec<f64>, expected: [f64; 4]| {
            assert!(found.iter().zip(expected).all(|(one, other)| (one - other).abs() < 1e-12), "{found:?}");
        };
        close(holm(&[0.01, 0.04, 0.03, 0.005]), [0.03, 0.06, 0.06, 0.02]);
        close(benjamini_hochberg(&[0.01, 0.04, 0.03, 0.005]), [0.02, 0.04, 0.04, 0.02]);
        assert_eq!((holm(&[]), benjamini_hochberg(&[0.7])), (vec![], vec![0.7]));
        assert_eq!(holm(&[0.9, 0.8]), [1.0, 1.0]);
    }
}
