//! How the true value is believed to be spread about a measured one: the distribution behind coverage factors and
//! probabilities of conformity.
//!
//! As a rule it is Student's t, scaled (JCGM 100:2008, G.3). Where what is only known to lie between limits outweighs
//! everything else, that would be too wide: a reading that is good to half a digit and nothing else lies within half a digit,
//! not within 1.13 of it, and the difference of two such readings within 0.78 of a digit for 95 %, not within 0.80. Then it is
//! the sum of the two widest rectangles, a trapezoid, blurred by a normal distribution. That has a closed form, and the
//! propagation of distributions (JCGM 101:2008) confirms it. Where not even that holds, since the value bends with its
//! inputs, the propagated distribution itself takes its place.

use super::estimate::whole_freedom;
use super::{COVERAGE, Distribution, Drawn, Estimate, student};

/// A distribution about zero.
#[derive(Debug, Clone, PartialEq)]
pub enum Spread {
    /// Student's t, scaled.
    Student {
        /// Standard uncertainty; the scale.
        uncertainty: f64,
        /// Degrees of freedom, whole or infinite.
        freedom: f64,
    },
    /// The sum of two rectangles, with blurred edges.
    Trapezoid {
        /// Half the width of the wider rectangle.
        wide: f64,
        /// Half the width of the narrower one; nothing where there is but one, the same for a triangle.
        narrow: f64,
        /// Standard deviation of the blur; may be nothing.
        blur: f64,
    },
    /// As it was drawn.
    Drawn(Drawn),
}

/// A rectangle or a blur narrower than this against the rest only costs digits where differences of large numbers are taken.
const NEGLIGIBLE: f64 = 1e-4;

impl Spread {
    /// That of an estimate.
    pub fn of(estimate: &Estimate) -> Self {
        if let Some(drawn) = &estimate.drawn {
            return Self::Drawn(drawn.clone());
        }
        let uncertainty = estimate.standard_uncertainty();
        let student = Self::Student { uncertainty, freedom: whole_freedom(estimate.degrees_of_freedom()) };
        let [wide, narrow] = widest_rectangles(estimate);
        let bounded = wide.hypot(narrow) / Distribution::Rectangular.half_width();
        let rest = (uncertainty.powi(2) - bounded.powi(2)).max(0.0).sqrt();
        let dominates = bounded > (1.0 + 1e-9) * rest && estimate.correlations.is_empty();
        if !dominates {
            return student;
        }
        // What few readings leave in doubt about the blur widens it as their t does.
        let fourth: f64 = estimate.budget.iter().map(|line| line.signed().powi(4) / line.degrees_of_freedom).sum();
        let freedom = whole_freedom(if fourth > 0.0 { rest.powi(4) / fourth } else { f64::INFINITY });
        let widened =
            student::two_sided_quantile(COVERAGE, freedom) / student::two_sided_quantile(COVERAGE, f64::INFINITY);
        Self::Trapezoid { wide, narrow, blur: rest * widened }
    }

    /// The fraction below `x`, which is in the unit of the value.
    pub fn cumulative(&self, x: f64) -> f64 {
        match self {
            Self::Student { uncertainty, freedom } => student::cumulative(x / uncertainty, *freedom),
            Self::Trapezoid { wide, narrow, blur } => {
                let blur = if *blur < NEGLIGIBLE * wide { 0.0 } else { *blur };
                if *narrow < NEGLIGIBLE * (wide + blur) {
                    return rectangle(x, *wide, blur);
                }
                let (sum, difference) = (wide + narrow, wide - narrow);
                let corners = [(sum, 1.0), (difference, -1.0), (-difference, -1.0), (-sum, 1.0)];
                let below: f64 = corners.map(|(corner, sign)| sign * half_square(x + corner, blur)).iter().sum();
                (below / (4.0 * wide * narrow)).clamp(0.0, 1.0)
            }
            Self::Drawn(drawn) => drawn.cumulative(x),
        }
    }

    /// What a fraction `probability` lies below.
    pub fn one_sided_quantile(&self, probability: f64) -> f64 {
        match self {
            Self::Student { uncertainty: 0.0, .. } => 0.0,
            Self::Student { uncertainty, freedom } => student::one_sided_quantile(probability, *freedom) * uncertainty,
            Self::Trapezoid { wide, narrow, blur } => {
                if !(probability > 0.0 && probability < 1.0) {
                    return f64::NAN;
                }
                let reach = wide + narrow + blur * student::one_sided_quantile(1.0 - 1e-12, f64::INFINITY);
                let (mut low, mut high) = (-reach, reach);
                for _ in 0..50 {
                    let middle = 0.5 * (low + high);
                    *(if self.cumulative(middle) < probability { &mut low } else { &mut high }) = middle;
                }
                0.5 * (low + high)
            }
            Self::Drawn(drawn) => drawn.quantile(probability),
        }
    }

    /// How far below and above zero one has to go for a fraction `probability` to lie on the near side.
    pub fn reach(&self, probability: f64) -> (f64, f64) {
        let above = self.one_sided_quantile(probability);
        match self {
            Self::Drawn(_) => (-self.one_sided_quantile(1.0 - probability), above),
            _ => (above, above),
        }
    }

    /// The interval about zero that leaves as much below as above it, where that is not the same on both sides.
    pub fn lopsided_interval(&self, probability: f64) -> Option<(f64, f64)> {
        let (below, above) = self.reach(0.5 + 0.5 * probability);
        matches!(self, Self::Drawn(_)).then_some((-below, above))
    }

    /// What a fraction `probability` lies within, on both sides of zero.
    pub fn half_width(&self, probability: f64) -> f64 {
        match self {
            Self::Drawn(drawn) => drawn.half_width(probability),
            _ => self.one_sided_quantile(0.5 + 0.5 * probability),
        }
    }

    /// The coverage factor of a value without any doubt, which it does not need.
    pub(super) fn of_a_known_value(&self, probability: f64) -> f64 {
        match *self {
            Self::Student { freedom, .. } => student::two_sided_quantile(probability, freedom),
            _ => student::two_sided_quantile(probability, f64::INFINITY),
        }
    }
}

/// Half widths of the two widest rectangles of a budget. A triangle is the sum of two of half its width.
fn widest_rectangles(estimate: &Estimate) -> [f64; 2] {
    let mut widest = [0.0_f64; 2];
    let mut take = |half_width: f64| {
        if half_width > widest[0] {
            widest = [half_width, widest[0]];
        } else if half_width > widest[1] {
            widest[1] = half_width;
        }
    };
    for line in &estimate.budget {
        let half_width = line.standard_uncertainty() * line.distribution.half_width();
        match line.distribution {
            Distribution::Rectangular => take(half_width),
            Distribution::Triangular => (0..2).for_each(|_| take(0.5 * half_width)),
            Distribution::Normal | Distribution::Arcsine => {}
        }
    }
    widest
}

/// The fraction of a blurred rectangle below `x`.
fn rectangle(x: f64, half_width: f64, blur: f64) -> f64 {
    let below = |x: f64| if blur > 0.0 { x * normal(x / blur) + blur * normal_density(x / blur) } else { x.max(0.0) };
    ((below(x + half_width) - below(x - half_width)) / (2.0 * half_width)).clamp(0.0, 1.0)
}

/// Mean of half the square of what a blurred `x` has above zero: the twofold integral of its distribution function.
fn half_square(x: f64, blur: f64) -> f64 {
    if blur > 0.0 {
        let z = x / blur;
        0.5 * blur * blur * ((z * z + 1.0) * normal(z) + z * normal_density(z))
    } else {
        0.5 * x.max(0.0).powi(2)
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
    fn a_lone_triangle_and_two_equal_rectangles_are_the_same() {
        // What is left above x of a triangle's upper half is a smaller triangle: (1 − x/a)² / 2.
        let expected = 1.0 - 0.05_f64.sqrt();
        let triangle = Estimate::of(3.0).and(Component::triangular("resolution", 1.0));
        let half = || Component::rectangular("resolution", 0.5);
        let rectangles = Estimate::of(3.0).and(half()).and(half());
        for value in [triangle, rectangles] {
            assert!((value.expanded_uncertainty(0.95) - expected).abs() < 1e-9, "{value:?}");
            assert!((value.coverage_factor(0.95) - 1.901_767).abs() < 1e-6);
        }
    }

    #[test]
    fn blurred_rectangles_become_normal_as_their_blur_grows() {
        for narrow in [0.0, 1e-3] {
            let blurred = Spread::Trapezoid { wide: 1e-3, narrow, blur: 1.0 };
            assert!((blurred.half_width(0.95) - 1.959_964).abs() < 1e-5, "{}", blurred.half_width(0.95));
        }
        let sharp = Spread::Trapezoid { wide: 1.0, narrow: 0.0, blur: 1e-6 };
        assert!((sharp.half_width(0.95) - 0.95).abs() < 1e-5);
        assert!((sharp.cumulative(0.0) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn what_is_negligible_leaves_no_seam() {
        for (wide, narrow, blur) in [(1.0, NEGLIGIBLE, 0.0), (1.0, NEGLIGIBLE, 0.3), (1.0, 1.0, NEGLIGIBLE)] {
            let width = |factor: f64| {
                let narrow = if narrow < 1.0 { factor * narrow } else { narrow };
                Spread::Trapezoid { wide, narrow, blur: if blur < 0.01 { factor * blur } else { blur } }
                    .half_width(0.95)
            };
            assert!((width(0.9) - width(1.5)).abs() < 1e-6, "{} {}", width(0.9), width(1.5));
        }
    }

    #[test]
    fn many_equal_contributions_stay_normal() {
        let one = || Component::rectangular("resolution", 0.5);
        let value = Estimate::of(0.0).and(one()).and(one()).and(one()).and(one());
        assert!(matches!(value.spread(), Spread::Student { .. }));
    }

    #[test]
    fn a_quantile_and_its_probability_undo_each_other() {
        for (narrow, blur) in [(0.0, 0.0), (0.0, 0.1), (0.0, 1.0), (0.7, 0.0), (2.0, 0.0), (2.0, 0.1), (0.3, 1.0)] {
            let spread = Spread::Trapezoid { wide: 2.0, narrow, blur };
            for probability in [0.01, 0.3, 0.5, 0.975] {
                assert!((spread.cumulative(spread.one_sided_quantile(probability)) - probability).abs() < 1e-9);
            }
        }
        assert!(Spread::Trapezoid { wide: 2.0, narrow: 0.0, blur: 0.0 }.one_sided_quantile(1.0).is_nan());
    }
}
