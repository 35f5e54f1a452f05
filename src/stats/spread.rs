//! How the true value is believed to be spread about a measured one: the distribution behind coverage factors and
//! probabilities of conformity.
//!
//! As a rule it is Student's t, scaled (JCGM 100:2008, G.3). Where one rectangular contribution outweighs all others
//! together that would be too wide: a reading that is good to half a digit and nothing else lies within half a digit, not
//! within 1.13 of it. Then it is that rectangle blurred by a normal distribution, which has a closed form, and which the
//! propagation of distributions (JCGM 101:2008) confirms.

use super::estimate::whole_freedom;
use super::{Distribution, Estimate, student};

/// A distribution about zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Student's t, scaled.
    Student {
        /// Standard uncertainty; the scale.
        uncertainty: f64,
        /// Degrees of freedom, whole or infinite.
        freedom: f64,
    },
    /// A rectangle with blurred edges.
    Rectangle {
        /// Half its width.
        half_width: f64,
        /// Standard deviation of the blur; may be nothing.
        blur: f64,
    },
}

impl Spread {
    /// That of an estimate.
    pub fn of(estimate: &Estimate) -> Self {
        let uncertainty = estimate.standard_uncertainty();
        let student = Self::Student { uncertainty, freedom: whole_freedom(estimate.degrees_of_freedom()) };
        let rectangular = estimate.budget.iter().filter(|line| line.distribution == Distribution::Rectangular);
        let largest = rectangular.map(|line| line.standard_uncertainty()).fold(0.0, f64::max);
        let rest = (uncertainty.powi(2) - largest.powi(2)).max(0.0).sqrt();
        let dominates = largest > rest && estimate.correlations.is_empty();
        if !dominates {
            return student;
        }
        // What few readings leave in doubt about the blur widens it as their t does.
        let fourth: f64 = estimate.budget.iter().map(|line| line.signed().powi(4) / line.degrees_of_freedom).sum();
        let freedom = whole_freedom(if fourth > 0.0 { rest.powi(4) / fourth } else { f64::INFINITY });
        let widened = student::two_sided_quantile(0.95, freedom) / student::two_sided_quantile(0.95, f64::INFINITY);
        Self::Rectangle { half_width: largest * Distribution::Rectangular.half_width(), blur: rest * widened }
    }

    /// The fraction below `x`, which is in the unit of the value.
    pub fn cumulative(&self, x: f64) -> f64 {
        match *self {
            Self::Student { uncertainty, freedom } => student::cumulative(x / uncertainty, freedom),
            Self::Rectangle { half_width, blur: 0.0 } => (0.5 + 0.5 * x / half_width).clamp(0.0, 1.0),
            Self::Rectangle { half_width, blur } => {
                let below = |x: f64| x * normal(x / blur) + blur * normal_density(x / blur);
                (below(x + half_width) - below(x - half_width)) / (2.0 * half_width)
            }
        }
    }

    /// What a fraction `probability` lies below.
    pub fn one_sided_quantile(&self, probability: f64) -> f64 {
        match *self {
            Self::Student { uncertainty: 0.0, .. } => 0.0,
            Self::Student { uncertainty, freedom } => student::one_sided_quantile(probability, freedom) * uncertainty,
            Self::Rectangle { half_width, blur } => {
                if !(probability > 0.0 && probability < 1.0) {
                    return f64::NAN;
                }
                let reach = half_width + blur * student::one_sided_quantile(1.0 - 1e-12, f64::INFINITY);
                let (mut low, mut high) = (-reach, reach);
                for _ in 0..50 {
                    let middle = 0.5 * (low + high);
                    *(if self.cumulative(middle) < probability { &mut low } else { &mut high }) = middle;
                }
                0.5 * (low + high)
            }
        }
    }

    /// What a fraction `probability` lies within, on both sides of zero.
    pub fn half_width(&self, probability: f64) -> f64 {
        self.one_sided_quantile(0.5 + 0.5 * probability)
    }

    /// The coverage factor of a value without any doubt, which it does not need.
    pub(super) fn of_a_known_value(&self, probability: f64) -> f64 {
        match *self {
            Self::Student { freedom, .. } => student::two_sided_quantile(probability, freedom),
            Self::Rectangle { .. } => student::two_sided_quantile(probability, f64::INFINITY),
        }
    }
}

fn normal(z: f64) -> f64 {
    student::cumulative(z, f64::INFINITY)
}

fn normal_density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::Component;
    use super::*;

    #[test]
    fn a_lone_rectangle_covers_95_per_cent_with_95_per_cent_of_its_width() {
        let value = Estimate::of(3.0).and(Component::rectangular("resolution", 0.5));
        assert!((value.expanded_uncertainty(0.95) - 0.475).abs() < 1e-9);
        assert!((value.spread().cumulative(0.25) - 0.75).abs() < 1e-12);
    }

    #[test]
    fn a_blurred_rectangle_becomes_normal_as_its_blur_grows() {
        let blurred = Spread::Rectangle { half_width: 1e-3, blur: 1.0 };
        assert!((blurred.half_width(0.95) - 1.959_964).abs() < 1e-5);
        let sharp = Spread::Rectangle { half_width: 1.0, blur: 1e-6 };
        assert!((sharp.half_width(0.95) - 0.95).abs() < 1e-5);
        assert!((sharp.cumulative(0.0) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn several_equal_contributions_stay_normal() {
        let one = || Component::rectangular("resolution", 0.5);
        let value = Estimate::of(0.0).and(one()).and(one());
        assert!(matches!(value.spread(), Spread::Student { .. }));
    }

    #[test]
    fn a_quantile_and_its_probability_undo_each_other() {
        for blur in [0.0, 0.1, 1.0] {
            let spread = Spread::Rectangle { half_width: 2.0, blur };
            for probability in [0.01, 0.3, 0.5, 0.975] {
                assert!((spread.cumulative(spread.one_sided_quantile(probability)) - probability).abs() < 1e-9);
            }
        }
        assert!(Spread::Rectangle { half_width: 2.0, blur: 0.0 }.one_sided_quantile(1.0).is_nan());
    }
}
