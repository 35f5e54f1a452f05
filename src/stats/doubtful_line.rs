//! A straight line through points that are in doubt in both coordinates: what a calibration is, where neither the codes nor
//! the reference are exact.
//!
//! Weighted least squares after D. York, N. M. Evensen, M. López Martínez and J. De Basabe Delgado, "Unified equations for
//! the slope, intercept, and standard errors of the best straight line", Am. J. Phys. 72 (2004) 367, for points whose two
//! doubts are independent. Without a doubt of the abscissas it is the usual weighted fit.

use statrs::function::gamma::gamma_ur;

/// The slope is sought again so often at most; a handful of times is usual.
const ROUNDS_MAX: usize = 200;
/// The relative change of the slope at which it is found.
const SETTLED: f64 = 1e-13;

/// A point with the standard uncertainties of its coordinates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DoubtfulPoint {
    pub x: f64,
    pub x_uncertainty: f64,
    pub y: f64,
    pub y_uncertainty: f64,
}

/// Why there is no line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoLine {
    /// Fewer than three points say nothing of how well a line fits.
    TooFew,
    /// A coordinate is no number, a doubt is negative, or a point has no doubt at all.
    Unusable { point: usize },
    /// All abscissas are equal.
    OnePlace,
    /// The slope does not settle: the points are too much in doubt to show one.
    Unsettled,
}

/// The line.
#[derive(Debug, Clone, PartialEq)]
pub struct DoubtfulLine {
    pub slope: f64,
    pub intercept: f64,
    /// What the points' own doubts leave.
    pub doubt: LineDoubt,
    /// Each point's ordinate less the line.
    pub residuals: Vec<f64>,
    /// The same in units of the residual's standard uncertainty.
    pub normalised: Vec<f64>,
    /// Where the line would be in doubt least.
    centre: f64,
    /// How slope and intercept follow each point's ordinate.
    responses: Vec<(f64, f64)>,
}

/// Variances and covariance of slope and intercept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineDoubt {
    pub slope: f64,
    pub intercept: f64,
    pub covariance: f64,
}

impl DoubtfulLine {
    /// Fits the line.
    ///
    /// # Errors
    /// Where the points show none.
    pub fn fit(points: &[DoubtfulPoint]) -> Result<Self, NoLine> {
        if points.len() < 3 {
            return Err(NoLine::TooFew);
        }
        if let Some(point) = points.iter().position(|point| !point.is_usable()) {
            return Err(NoLine::Unusable { point });
        }
        let mut slope = first_slope(points).ok_or(NoLine::OnePlace)?;
        for _ in 0..ROUNDS_MAX {
            let next = Centred::of(points, slope).slope(points, slope);
            let change = (next - slope).abs();
            slope = next;
            if change <= SETTLED * slope.abs() {
                return Self::of(points, slope);
            }
        }
        Err(NoLine::Unsettled)
    }

    fn of(points: &[DoubtfulPoint], slope: f64) -> Result<Self, NoLine> {
        let Centred { weights, total, x_mean, y_mean } = Centred::of(points, slope);
        let intercept = y_mean - slope * x_mean;
        // The points as the line adjusts them, from their mean.
        let adjusted: Vec<f64> =
            points.iter().zip(&weights).map(|(point, w)| point.adjusted(*w, slope, x_mean, y_mean)).collect();
        let shift = weights.iter().zip(&adjusted).map(|(w, x)| w * x).sum::<f64>() / total;
        let centre = x_mean + shift;
        let spread: f64 = weights.iter().zip(&adjusted).map(|(w, x)| w * (x - shift).powi(2)).sum();
        let slope_variance = 1.0 / spread;
        let doubt = LineDoubt {
            slope: slope_variance,
            intercept: 1.0 / total + centre * centre * slope_variance,
            covariance: -centre * slope_variance,
        };
        let responses = weights.iter().zip(&adjusted).map(|(w, x)| {
            let of_slope = w * (x - shift) / spread;
            (of_slope, w / total - centre * of_slope)
        });
        let responses = responses.collect();
        let residuals: Vec<f64> = points.iter().map(|point| (point.y - y_mean) - slope * (point.x - x_mean)).collect();
        let normalised = residuals.iter().zip(&weights).map(|(residual, w)| residual * w.sqrt()).collect();
        let is_found = [slope, intercept, doubt.slope, doubt.intercept].iter().all(|number| number.is_finite());
        let line = Self { slope, intercept, doubt, residuals, normalised, centre, responses };
        if is_found { Ok(line) } else { Err(NoLine::Unsettled) }
    }

    /// The sum of the squares of the normalised residuals.
    pub fn chi_square(&self) -> f64 {
        self.normalised.iter().map(|residual| residual * residual).sum()
    }

    /// n − 2.
    pub fn degrees_of_freedom(&self) -> f64 {
        self.normalised.len() as f64 - 2.0
    }

    /// The probability that points whose doubts are as stated scatter about a true line by as much or more.
    pub fn probability(&self) -> f64 {
        let chi_square = self.chi_square();
        if chi_square <= 0.0 { 1.0 } else { gamma_ur(0.5 * self.degrees_of_freedom(), 0.5 * chi_square) }
    }

    /// The point that is farthest off the line, measured by its doubt.
    pub fn worst(&self) -> usize {
        let by_size = |(_, one): &(usize, &f64), (_, other): &(usize, &f64)| one.abs().total_cmp(&other.abs());
        self.normalised.iter().enumerate().max_by(by_size).map_or(0, |(point, _)| point)
    }

    /// What becomes of slope and intercept when the ordinates shift by so much each, to first order.
    pub fn response(&self, shifts: &[f64]) -> (f64, f64) {
        self.responses.iter().zip(shifts).fold((0.0, 0.0), |(slope, intercept), (response, shift)| {
            (slope + response.0 * shift, intercept + response.1 * shift)
        })
    }

    /// The abscissa at which slope and height are independent by the points' own doubts.
    pub fn centre(&self) -> f64 {
        self.centre
    }
}

impl LineDoubt {
    /// Variance of the line's height at an abscissa.
    pub fn at(&self, x: f64) -> f64 {
        (self.intercept + x * (2.0 * self.covariance + x * self.slope)).max(0.0)
    }

    /// With every variance so many times as large.
    pub fn times(self, factor: f64) -> Self {
        Self { slope: factor * self.slope, intercept: factor * self.intercept, covariance: factor * self.covariance }
    }

    /// With what shifts of slope and intercept, which belong together, add.
    pub fn and(self, (slope, intercept): (f64, f64)) -> Self {
        Self {
            slope: self.slope + slope * slope,
            intercept: self.intercept + intercept * intercept,
            covariance: self.covariance + slope * intercept,
        }
    }

    /// Correlation coefficient of slope and intercept; none where one of them is in no doubt.
    pub fn correlation(&self) -> Option<f64> {
        let both = (self.slope * self.intercept).sqrt();
        (both > 0.0).then(|| (self.covariance / both).clamp(-1.0, 1.0))
    }
}

impl DoubtfulPoint {
    fn is_usable(&self) -> bool {
        let numbers = [self.x, self.y, self.x_uncertainty, self.y_uncertainty];
        let doubts = [self.x_uncertainty, self.y_uncertainty];
        numbers.iter().all(|number| number.is_finite())
            && doubts.iter().all(|doubt| *doubt >= 0.0)
            && doubts.iter().any(|doubt| *doubt > 0.0)
    }

    /// Its abscissa as the line adjusts it, from the mean abscissa: β of the paper.
    fn adjusted(&self, weight: f64, slope: f64, x_mean: f64, y_mean: f64) -> f64 {
        let (x, y) = (self.x - x_mean, self.y - y_mean);
        weight * (x * self.y_uncertainty.powi(2) + slope * y * self.x_uncertainty.powi(2))
    }
}

/// The points' weights for a slope, and their weighted mean.
struct Centred {
    weights: Vec<f64>,
    total: f64,
    x_mean: f64,
    y_mean: f64,
}

impl Centred {
    fn of(points: &[DoubtfulPoint], slope: f64) -> Self {
        let weight =
            |point: &DoubtfulPoint| 1.0 / (point.y_uncertainty.powi(2) + (slope * point.x_uncertainty).powi(2));
        let weights: Vec<f64> = points.iter().map(weight).collect();
        let total: f64 = weights.iter().sum();
        let mean = |of: fn(&DoubtfulPoint) -> f64| {
            points.iter().zip(&weights).map(|(point, w)| w * of(point)).sum::<f64>() / total
        };
        let (x_mean, y_mean) = (mean(|point| point.x), mean(|point| point.y));
        Self { weights, total, x_mean, y_mean }
    }

    /// The next slope.
    fn slope(&self, points: &[DoubtfulPoint], slope: f64) -> f64 {
        let (mut rise, mut run) = (0.0, 0.0);
        for (point, weight) in points.iter().zip(&self.weights) {
            let adjusted = point.adjusted(*weight, slope, self.x_mean, self.y_mean);
            rise += weight * adjusted * (point.y - self.y_mean);
            run += weight * adjusted * (point.x - self.x_mean);
        }
        rise / run
    }
}

/// The slope without weights, to begin with.
fn first_slope(points: &[DoubtfulPoint]) -> Option<f64> {
    let count = points.len() as f64;
    let x_mean = points.iter().map(|point| point.x).sum::<f64>() / count;
    let y_mean = points.iter().map(|point| point.y).sum::<f64>() / count;
    let spread: f64 = points.iter().map(|point| (point.x - x_mean).powi(2)).sum();
    let rise: f64 = points.iter().map(|point| (point.x - x_mean) * (point.y - y_mean)).sum();
    (spread > 0.0).then(|| rise / spread)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(x: &[f64], y: &[f64], x_weight: &[f64], y_weight: &[f64]) -> Vec<DoubtfulPoint> {
        (0..x.len())
            .map(|index| DoubtfulPoint {
                x: x[index],
                x_uncertainty: x_weight[index].powf(-0.5),
                y: y[index],
                y_uncertainty: y_weight[index].powf(-0.5),
            })
            .collect()
    }

    fn close(found: f64, expected: f64, within: f64) {
        assert!((found - expected).abs() <= within * expected.abs(), "{found} against {expected}");
    }

    // Outside: K. Pearson's points (1901) with D. York's weights (1966), errors by York et al. (2004); how: published text, as tests of package bfsl (R) quote it
    #[test]
    fn pearson_s_points_with_york_s_weights() {
        let line = DoubtfulLine::fit(&points(
            &[0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4],
            &[5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5],
            &[1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0],
            &[1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0],
        ))
        .expect("a line");
        close(line.slope, -0.480_533_407_446_20, 1e-12);
        close(line.intercept, 5.479_910_224_032_86, 1e-12);
        close(line.doubt.slope.sqrt(), 0.057_985_009_0, 1e-8);
        close(line.doubt.intercept.sqrt(), 0.294_970_735, 1e-8);
        close(line.chi_square() / line.degrees_of_freedom(), 1.483_294_149, 1e-9);
        // 11.866 on 8 degrees of freedom: 0.15727.
        close(line.probability(), 0.157_27, 1e-4);
    }

    // Outside: probability of chi-square for even degrees of freedom, exp(−χ²/2) Σ (χ²/2)^k / k!; how: closed form
    #[test]
    fn the_probability_of_a_residual_sum_is_the_closed_form_s() {
        // Five points on y = x but for residuals of one doubt each, placed so that the line stays where it is.
        let line = DoubtfulLine {
            slope: 1.0,
            intercept: 0.0,
            doubt: LineDoubt { slope: 1.0, intercept: 1.0, covariance: 0.0 },
            residuals: vec![1.0; 6],
            normalised: vec![1.0; 6],
            centre: 0.0,
            responses: vec![(0.0, 0.0); 6],
        };
        close(line.probability(), (-3.0_f64).exp() * (1.0 + 3.0), 1e-12);
    }

    #[test]
    fn without_doubt_of_the_abscissas_it_is_the_weighted_fit() {
        // y = 2 + 3 x with residuals +1, −1, −1, +1 at equal doubts of 2: slope and intercept stay.
        let point = |x: f64, residual: f64| DoubtfulPoint {
            x,
            x_uncertainty: 0.0,
            y: 2.0 + 3.0 * x + residual,
            y_uncertainty: 2.0,
        };
        let line =
            DoubtfulLine::fit(&[point(0.0, 1.0), point(1.0, -1.0), point(2.0, -1.0), point(3.0, 1.0)]).expect("a line");
        close(line.slope, 3.0, 1e-14);
        close(line.intercept, 2.0, 1e-14);
        // Var slope = σ²/Σ(x−x̄)² = 4/5; of the height at the centre σ²/n = 1.
        close(line.doubt.slope, 0.8, 1e-14);
        close(line.doubt.at(line.centre()), 1.0, 1e-14);
        close(line.doubt.correlation().expect("both in doubt"), -1.5 * (0.8_f64 / (1.0 + 2.25 * 0.8)).sqrt(), 1e-14);
        close(line.chi_square(), 1.0, 1e-13);
    }

    #[test]
    fn a_shift_of_all_ordinates_moves_the_intercept_and_a_stretch_both() {
        let point = |x: f64| DoubtfulPoint { x, x_uncertainty: 0.3, y: 5.0 + 0.5 * x, y_uncertainty: 0.1 + 0.01 * x };
        let points: Vec<DoubtfulPoint> = [100.0, 200.0, 350.0, 500.0].map(point).to_vec();
        let line = DoubtfulLine::fit(&points).expect("a line");
        let (slope, intercept) = line.response(&[0.25; 4]);
        assert!(slope.abs() < 1e-12 && (intercept - 0.25).abs() < 1e-9, "{slope} {intercept}");
        let stretch: Vec<f64> = points.iter().map(|point| 0.01 * point.y).collect();
        let (slope, intercept) = line.response(&stretch);
        close(slope, 0.005, 1e-9);
        close(intercept, 0.05, 1e-6);
    }

    #[test]
    fn draws_about_a_true_line_find_it_as_often_as_they_say() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, StandardNormal};
        let mut random = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(7);
        let mut deviate = || -> f64 { StandardNormal.sample(&mut random) };
        let (mut inside, mut fitting) = (0, 0);
        const DRAWS: usize = 2000;
        for _ in 0..DRAWS {
            let points: Vec<DoubtfulPoint> = (0..6)
                .map(|index| 4000.0 + 500.0 * f64::from(index))
                .map(|x| DoubtfulPoint {
                    x: x + 0.6 * deviate(),
                    x_uncertainty: 0.6,
                    y: 0.004 + 1.2513e-3 * x + 1e-3 * deviate(),
                    y_uncertainty: 1e-3,
                })
                .collect();
            let line = DoubtfulLine::fit(&points).expect("a line");
            inside += usize::from((line.slope - 1.2513e-3).abs() < 1.96 * line.doubt.slope.sqrt());
            fitting += usize::from(line.probability() > 0.05);
        }
        for count in [inside, fitting] {
            let part = count as f64 / DRAWS as f64;
            assert!((0.93..=0.97).contains(&part), "{part}");
        }
    }

    #[test]
    fn points_that_show_no_line_are_refused() {
        let point = |x: f64, y: f64| DoubtfulPoint { x, x_uncertainty: 0.1, y, y_uncertainty: 0.1 };
        let fit = |points: &[DoubtfulPoint]| DoubtfulLine::fit(points).map(|line| line.slope);
        assert_eq!(fit(&[point(0.0, 1.0), point(1.0, 2.0)]), Err(NoLine::TooFew));
        assert_eq!(fit(&[point(1.0, 1.0), point(1.0, 2.0), point(1.0, 3.0)]), Err(NoLine::OnePlace));
        let doubtless = DoubtfulPoint { x_uncertainty: 0.0, y_uncertainty: 0.0, ..point(2.0, 2.0) };
        for bad in [
            doubtless,
            point(f64::NAN, 1.0),
            point(1.0, f64::INFINITY),
            DoubtfulPoint { x_uncertainty: -1.0, ..point(2.0, 2.0) },
        ] {
            assert_eq!(fit(&[point(0.0, 1.0), bad, point(3.0, 1.0)]), Err(NoLine::Unusable { point: 1 }));
        }
    }
}
