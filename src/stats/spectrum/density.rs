//! Power spectral density by Welch's method: the mean over overlapping segments (Welch 1967, "The use of fast Fourier
//! transform for the estimation of power spectra").

use super::{Detrend, Window, transform};

/// How a series is cut up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Welch {
    /// Readings in a segment.
    pub segment: usize,
    /// Readings that a segment has in common with the next one; half of it is usual for [`Window::Hann`].
    pub overlap: usize,
    /// How they are weighted.
    pub window: Window,
    /// What is taken out of each segment first.
    pub detrend: Detrend,
}

/// A one-sided power spectral density.
#[derive(Debug, Clone, PartialEq)]
pub struct Density {
    /// Distance of two lines, Hz.
    pub width: f64,
    /// The density at each line, in the square of the readings' unit per hertz.
    pub values: Vec<f64>,
    /// Over how many segments it is a mean.
    pub segments: usize,
}

impl Welch {
    /// Hann's window, half overlap, straight line taken out.
    pub const fn usual(segment: usize) -> Self {
        Self { segment, overlap: segment / 2, window: Window::Hann, detrend: Detrend::Linear }
    }

    /// The density of `series`, read `rate` times a second; `None` where it does not fill one segment of at least
    /// eight, or where a reading is no number.
    pub fn density(&self, series: &[f64], rate: f64) -> Option<Density> {
        let sound = self.segment >= 8 && self.overlap < self.segment && rate > 0.0;
        if !sound || series.len() < self.segment || !series.iter().all(|value| value.is_finite()) {
            return None;
        }
        let weights = self.window.weights(self.segment);
        let squares: f64 = weights.iter().map(|weight| weight * weight).sum();
        let mut values = vec![0.0; self.segment / 2 + 1];
        let mut segments = 0;
        for segment in series.windows(self.segment).step_by(self.segment - self.overlap) {
            let mut weighted = segment.to_vec();
            self.detrend.apply(&mut weighted);
            for (value, weight) in weighted.iter_mut().zip(&weights) {
                *value *= weight;
            }
            for (sum, value) in values.iter_mut().zip(transform(&mut weighted)?) {
                *sum += value.norm_sqr();
            }
            segments += 1;
        }
        let last = values.len() - 1;
        for (line, value) in values.iter_mut().enumerate() {
            let single = line == 0 || (line == last && self.segment.is_multiple_of(2));
            *value *= if single { 1.0 } else { 2.0 } / (rate * squares * f64::from(segments));
        }
        Some(Density { width: rate / self.segment as f64, values, segments: segments as usize })
    }
}

impl Density {
    /// What all lines hold together: the mean square of what was not taken out.
    pub fn total(&self) -> f64 {
        self.values.iter().sum::<f64>() * self.width
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_short_or_wrongly_cut_series_have_no_density() {
        let series = vec![1.0; 100];
        assert_eq!(Welch::usual(101).density(&series, 1.0), None);
        assert_eq!(Welch::usual(4).density(&series, 1.0), None);
        assert_eq!(Welch { overlap: 50, ..Welch::usual(50) }.density(&series, 1.0), None);
        assert_eq!(Welch::usual(50).density(&[f64::INFINITY; 60], 1.0), None);
        assert_eq!(Welch::usual(50).density(&series, 1.0).map(|density| density.segments), Some(3));
    }
}
