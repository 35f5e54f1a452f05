//! How far a standard deviation of few readings is in doubt.
//!
//! 1/√(2 (n − 1)) of it, as JCGM 100:2008, E.4.3 has it, holds for many readings. Of few the standard deviation comes out
//! much too small far more often than it comes out too large, and twice the formula covers 86 % for three readings, not 95 %.

use super::{COVERAGE, student};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Relative standard uncertainty of a standard deviation with so many degrees of freedom (normal readings): Student's t of as
/// many degrees of freedom times it covers the true one with the coverage probability. For many it tends to 1/√(2ν).
pub fn deviation_uncertainty(freedom: f64) -> f64 {
    let Ok(squares) = ChiSquared::new(freedom) else {
        return f64::INFINITY;
    };
    let below = |ratio: f64| squares.cdf(freedom * ratio * ratio);
    // The true one is σ, what comes out is s: σ lies within s (1 ± reach).
    let covered = |reach: f64| {
        let above = if reach < 1.0 { below(1.0 / (1.0 - reach)) } else { 1.0 };
        above - below(1.0 / (1.0 + reach))
    };
    let (mut low, mut high) = (0.0, 1e3);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        *(if covered(middle) < COVERAGE { &mut low } else { &mut high }) = middle;
    }
    high / student::two_sided_quantile(COVERAGE, freedom)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Outside: 5 % quantiles of χ² with 3, 4 and 7 degrees of freedom, and Student's t, as tables print them; how: from memory
    #[test]
    fn few_readings_are_bounded_by_the_low_quantile_of_chi_square() {
        for (freedom, square, t) in [(3.0, 0.352_f64, 3.182), (4.0, 0.711, 2.776), (7.0, 2.167, 2.365)] {
            let expected = ((freedom / square).sqrt() - 1.0) / t;
            let found = deviation_uncertainty(freedom);
            assert!((found / expected - 1.0).abs() < 0.005, "{freedom}: {found} against {expected}");
        }
    }

    #[test]
    fn many_readings_tend_to_the_known_formula() {
        for freedom in [100.0, 1000.0] {
            let found = deviation_uncertainty(freedom) * (2.0 * freedom).sqrt();
            assert!((found - 1.0).abs() < 0.06, "{freedom}: {found}");
        }
        assert!(deviation_uncertainty(0.0).is_infinite());
    }
}
