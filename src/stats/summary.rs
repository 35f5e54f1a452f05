//! Summaries of readings: mean, scatter, the straight line through them.

/// The arithmetic mean, summed with Neumaier's compensation; `None` of nothing.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| compensated_sum(values.iter().copied()) / values.len() as f64)
}

/// The experimental standard deviation with n − 1 (JCGM 100:2008, 4.2.2), in two passes with the correction for the
/// mean's own rounding; `None` of fewer than two.
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let centre = mean(values)?;
    let count = values.len() as f64;
    let drift = compensated_sum(values.iter().map(|value| value - centre));
    let squares = compensated_sum(values.iter().map(|value| (value - centre).powi(2)));
    Some(((squares - drift * drift / count).max(0.0) / (count - 1.0)).sqrt())
}

fn compensated_sum(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut lost) = (0.0_f64, 0.0_f64);
    for value in values {
        let total = sum + value;
        lost += if sum.abs() >= value.abs() { (sum - total) + value } else { (value - total) + sum };
        sum = total;
    }
    sum + lost
}

/// A straight line fitted by least squares, with what the scatter about it says of its doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Mean of the abscissas.
    pub x_mean: f64,
    /// Height of the line at `x_mean`.
    pub y_mean: f64,
    /// Its slope.
    pub slope: f64,
    /// Standard uncertainty of `y_mean`.
    pub y_mean_uncertainty: f64,
    /// Standard uncertainty of the slope, independent of that of `y_mean`.
    pub slope_uncertainty: f64,
    /// Degrees of freedom of both: n − 2.
    pub degrees_of_freedom: f64,
}

impl Line {
    /// Fits `points` (x, y); `None` of fewer than three, or where all x are equal.
    pub fn fit(points: &[(f64, f64)]) -> Option<Self> {
        if points.len() < 3 {
            return None;
        }
        let count = points.len() as f64;
        let x_mean = compensated_sum(points.iter().map(|point| point.0)) / count;
        let y_mean = compensated_sum(points.iter().map(|point| point.1)) / count;
        let spread: f64 = points.iter().map(|point| (point.0 - x_mean).powi(2)).sum();
        if spread <= 0.0 {
            return None;
        }
        let slope = points.iter().map(|point| (point.0 - x_mean) * (point.1 - y_mean)).sum::<f64>() / spread;
        let residual: f64 =
            points.iter().map(|point| (point.1 - y_mean - slope * (point.0 - x_mean)).powi(2)).sum::<f64>();
        let variance = residual / (count - 2.0);
        Some(Self {
            x_mean,
            y_mean,
            slope,
            y_mean_uncertainty: (variance / count).sqrt(),
            slope_uncertainty: (variance / spread).sqrt(),
            degrees_of_freedom: count - 2.0,
        })
    }

    /// The line's height at `x`, and the standard uncertainty of that height.
    pub fn at(&self, x: f64) -> (f64, f64) {
        let away = x - self.x_mean;
        (self.y_mean + self.slope * away, self.y_mean_uncertainty.hypot(self.slope_uncertainty * away))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_few_readings_give_no_summary() {
        assert_eq!(mean(&[]), None);
        assert_eq!(standard_deviation(&[1.0]), None);
        assert_eq!(Line::fit(&[(0.0, 1.0), (1.0, 2.0)]), None);
        assert_eq!(Line::fit(&[(1.0, 1.0), (1.0, 2.0), (1.0, 3.0)]), None);
    }

    #[test]
    fn a_line_by_hand() {
        // Residuals of y = x about 0, 1, 2, 3 chosen as +1, −1, −1, +1: slope stays 1, variance 4 / 2.
        let line = Line::fit(&[(0.0, 1.0), (1.0, 0.0), (2.0, 1.0), (3.0, 4.0)]).expect("four points");
        assert_eq!((line.slope, line.y_mean), (1.0, 1.5));
        assert!((line.slope_uncertainty - (2.0_f64 / 5.0).sqrt()).abs() < 1e-15);
        assert!((line.at(0.0).0 - 0.0).abs() < 1e-15);
        assert!((line.at(0.0).1 - (2.0_f64 / 4.0 + 2.25 * 2.0 / 5.0).sqrt()).abs() < 1e-15);
    }
}
