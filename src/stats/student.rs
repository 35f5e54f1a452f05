//! Student's t distribution; with infinite degrees of freedom it is the normal distribution.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Above this many degrees of freedom the quantile is expanded around the normal one: the library's own inversion loses
/// digits as they grow (1e-4 at 10^6), while the first term left out of the expansion stays below 1e-8 even six deviations out.
const EXPANDED_ABOVE: f64 = 1e3;

/// Above this many degrees of freedom the library's distribution function loses digits too, while the normal one of a
/// shrunk t is as good as exact (Abramowitz and Stegun, 26.7.8).
const NORMAL_ABOVE: f64 = 1e6;

/// The t that a fraction `probability` of the distribution stays below. NaN outside 0 < `probability` < 1 or without a
/// positive number of degrees of freedom.
pub fn one_sided_quantile(probability: f64, degrees_of_freedom: f64) -> f64 {
    if !(probability > 0.0 && probability < 1.0 && degrees_of_freedom > 0.0) {
        return f64::NAN;
    }
    if degrees_of_freedom > EXPANDED_ABOVE {
        return expanded_quantile(Normal::standard().inverse_cdf(probability), degrees_of_freedom);
    }
    StudentsT::new(0.0, 1.0, degrees_of_freedom).map_or(f64::NAN, |t| t.inverse_cdf(probability))
}

/// The t that a fraction `probability` of the distribution stays within, on both sides of zero: the coverage factor of
/// JCGM 100:2008, table G.2.
pub fn two_sided_quantile(probability: f64, degrees_of_freedom: f64) -> f64 {
    one_sided_quantile(0.5 + 0.5 * probability, degrees_of_freedom)
}

/// The fraction of the distribution below `t`; NaN of a `t` that is none.
pub fn cumulative(t: f64, degrees_of_freedom: f64) -> f64 {
    if t.is_nan() {
        return f64::NAN;
    }
    if t.is_infinite() {
        return if t > 0.0 { 1.0 } else { 0.0 };
    }
    if degrees_of_freedom > NORMAL_ABOVE {
        let shrunk = t * (1.0 - 0.25 / degrees_of_freedom) / (1.0 + 0.5 * t * t / degrees_of_freedom).sqrt();
        return Normal::standard().cdf(shrunk);
    }
    StudentsT::new(0.0, 1.0, degrees_of_freedom).map_or(f64::NAN, |distribution| distribution.cdf(t))
}

/// Abramowitz and Stegun, 26.7.5, three terms; exact for infinite degrees of freedom.
fn expanded_quantile(z: f64, degrees_of_freedom: f64) -> f64 {
    let square = z * z;
    let first = z * (square + 1.0) / 4.0;
    let second = z * ((5.0 * square + 16.0) * square + 3.0) / 96.0;
    let third = z * (((3.0 * square + 19.0) * square + 17.0) * square - 15.0) / 384.0;
    let inverse = 1.0 / degrees_of_freedom;
    z + inverse * (first + inverse * (second + inverse * third))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantile_and_its_probability_undo_each_other() {
        for freedom in [1.0, 2.5, 9.0, 100.0, 999.0, 1_001.0, 1e4, 1e6, 1.1e6, 1e9, f64::INFINITY] {
            for probability in [0.001, 0.3, 0.5, 0.9, 0.975, 0.9999] {
                let back = cumulative(one_sided_quantile(probability, freedom), freedom);
                assert!((back - probability).abs() < 1e-8, "{freedom} {probability} {back}");
            }
        }
    }

    #[test]
    fn the_seam_between_the_two_ways_is_smooth() {
        let below = one_sided_quantile(0.975, EXPANDED_ABOVE);
        let above = one_sided_quantile(0.975, EXPANDED_ABOVE + 0.001);
        assert!((below - above).abs() < 1e-8, "{below} {above}");
    }

    #[test]
    fn nonsense_is_no_number() {
        for (probability, freedom) in [(0.0, 5.0), (1.0, 5.0), (0.5, 0.0), (0.5, -1.0), (f64::NAN, 5.0)] {
            assert!(one_sided_quantile(probability, freedom).is_nan());
        }
        assert!(cumulative(f64::NAN, 5.0).is_nan());
    }
}
