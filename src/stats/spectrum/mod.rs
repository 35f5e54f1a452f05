//! Spectra of evenly spaced readings: amplitudes line by line, power spectral density by Welch's method, and tones.
//!
//! A spectrum of lines answers "how large is what recurs at this frequency"; a density answers "how is the noise
//! spread". Both are one-sided. The windows are the periodic ones, whose noise bandwidth is exactly 1 and 1.5 lines
//! (Harris 1978, "On the use of windows for harmonic analysis with the discrete Fourier transform", table 1).

mod density;
mod tones;

pub use density::{Density, Welch};
pub use tones::{Search, Tone, Tones};

use super::summary::{Line, mean};
use realfft::RealFftPlanner;
pub use realfft::num_complex::Complex;
use std::f64::consts::TAU;

/// How readings are weighted before they are transformed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Window {
    /// All alike: the finest lines, but a tone between two lines leaks into all others.
    Rectangular,
    /// One period of a raised cosine: leaks into the nearest lines only.
    Hann,
}

impl Window {
    /// The weight of each of `count` readings.
    pub fn weights(self, count: usize) -> Vec<f64> {
        let turn = TAU / count as f64;
        match self {
            Self::Rectangular => vec![1.0; count],
            Self::Hann => (0..count).map(|index| 0.5 - 0.5 * (turn * index as f64).cos()).collect(),
        }
    }

    /// Over how many lines' width white noise passes into one line.
    pub const fn noise_bandwidth(self) -> f64 {
        match self {
            Self::Rectangular => 1.0,
            Self::Hann => 1.5,
        }
    }
}

/// What is taken out of readings before they are weighted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detrend {
    /// Nothing.
    Nothing,
    /// Their mean.
    Constant,
    /// The straight line of least squares.
    Linear,
}

impl Detrend {
    /// Takes it out.
    pub fn apply(self, series: &mut [f64]) {
        let (level, slope) = match self {
            Self::Nothing => return,
            Self::Constant => (mean(series).unwrap_or(0.0), 0.0),
            Self::Linear => {
                let points: Vec<(f64, f64)> = series.iter().enumerate().map(|(x, y)| (x as f64, *y)).collect();
                Line::fit(&points).map_or((0.0, 0.0), |line| (line.y_mean, line.slope))
            }
        };
        let middle = 0.5 * (series.len() as f64 - 1.0);
        for (index, value) in series.iter_mut().enumerate() {
            *value -= level + slope * (index as f64 - middle);
        }
    }
}

/// A spectrum of lines, one-sided, from zero to half the rate.
#[derive(Debug, Clone, PartialEq)]
pub struct Lines {
    /// Distance of two lines, Hz: one over the time that the series spans.
    pub width: f64,
    /// How many readings the series had.
    pub count: usize,
    /// How they were weighted.
    pub window: Window,
    /// The complex amplitude of each line: its modulus is the amplitude of a sine, its argument the phase of a cosine
    /// at the first reading.
    pub values: Vec<Complex<f64>>,
}

impl Lines {
    /// The spectrum of `series`, read `rate` times a second; `None` of fewer than eight readings or where one is no
    /// number.
    pub fn of(series: &[f64], rate: f64, window: Window, detrend: Detrend) -> Option<Self> {
        if series.len() < 8 || !series.iter().all(|value| value.is_finite()) {
            return None;
        }
        let mut weighted = series.to_vec();
        detrend.apply(&mut weighted);
        let weights = window.weights(series.len());
        let sum: f64 = weights.iter().sum();
        for (value, weight) in weighted.iter_mut().zip(&weights) {
            *value *= weight;
        }
        let mut values = transform(&mut weighted)?;
        let last = values.len() - 1;
        for (index, value) in values.iter_mut().enumerate() {
            // Of zero and of half the rate there is no mirror image to take in.
            let single = index == 0 || (index == last && series.len().is_multiple_of(2));
            *value *= if single { 1.0 / sum } else { 2.0 / sum };
        }
        Some(Self { width: rate / series.len() as f64, count: series.len(), window, values })
    }

    /// The complex amplitude at any frequency, also between two lines: from the lines about it, with the kernel that a
    /// series of this length has. Thirty-two lines leave out less than a thousandth of a tone that Hann's window keeps
    /// together, and some per cent of one that leaks.
    pub fn at(&self, frequency: f64) -> Complex<f64> {
        const REACH: i64 = 16;
        let place = frequency / self.width;
        let nearest = place.round() as i64;
        let count = self.count as f64;
        (nearest - REACH..=nearest + REACH)
            .map(|line| {
                let (away, value) = (place - line as f64, self.mirrored(line));
                let angle = std::f64::consts::PI * away;
                let size = if away == 0.0 { 1.0 } else { angle.sin() / (count * (angle / count).sin()) };
                value * Complex::from_polar(size, -angle * (count - 1.0) / count)
            })
            .sum()
    }

    /// A line of the two-sided spectrum, of which this is the upper half: below zero and above half the rate it is
    /// mirrored.
    fn mirrored(&self, line: i64) -> Complex<f64> {
        let line = line.rem_euclid(self.count as i64) as usize;
        let other = (self.count - line) % self.count;
        match self.values.get(line) {
            Some(single) if line == other => single * 2.0,
            Some(value) => *value,
            None => self.values[other].conj(),
        }
    }

    /// The frequency of a line, Hz.
    pub fn frequency(&self, line: usize) -> f64 {
        line as f64 * self.width
    }
}

/// The discrete Fourier transform of real readings; `None` of none.
fn transform(series: &mut [f64]) -> Option<Vec<Complex<f64>>> {
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(series.len());
    let mut values = plan.make_output_vec();
    plan.process(series, &mut values).ok()?;
    Some(values)
}

/// The power of one frequency, in cycles a reading, by Goertzel's recursion: |Σ x·e^(−2πi·f·n)|². For a single
/// frequency it is cheaper than a whole transform.
pub fn goertzel_power(series: &[f64], cycles_per_reading: f64) -> f64 {
    let turn = TAU * cycles_per_reading;
    let coefficient = 2.0 * turn.cos();
    let (mut one, mut two) = (0.0, 0.0);
    for value in series {
        (one, two) = (value + coefficient * one - two, one);
    }
    one * one + two * two - coefficient * one * two
}

/// The largest whole number up to `count` that has no prime factor above 5: a length that transforms quickly. The few
/// readings beyond it, at most 7 % of them, are left out.
pub fn quick_length(count: usize) -> usize {
    let mut best = 0;
    let mut fives = 1;
    while fives <= count {
        let mut threes = fives;
        while threes <= count {
            let twos = threes << (count / threes).ilog2();
            best = best.max(twos);
            threes *= 3;
        }
        fives *= 5;
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quick_lengths_have_small_factors_and_lose_little() {
        assert_eq!([0, 1, 7, 8, 11, 1000, 44_100].map(quick_length), [0, 1, 6, 8, 10, 1000, 43_740]);
        for count in 1000..2000 {
            let quick = quick_length(count);
            assert!(quick <= count && quick as f64 > 0.93 * count as f64, "{count}: {quick}");
        }
    }

    #[test]
    fn between_two_lines_the_transform_is_that_of_the_readings() {
        let weights = Window::Hann.weights(400);
        let sum: f64 = weights.iter().sum();
        for (tone, beside) in [(0.0513, 0.0013), (0.0513, 0.0), (0.0091, 0.0011), (0.0091, 0.0), (0.4903, 0.0008)] {
            let series: Vec<f64> = (0..400).map(|index| (TAU * tone * f64::from(index) + 0.4).cos()).collect();
            let lines = Lines::of(&series, 1.0, Window::Hann, Detrend::Nothing).expect("a spectrum");
            let frequency = tone + beside;
            let direct: Complex<f64> = (series.iter().zip(&weights).enumerate())
                .map(|(index, (value, weight))| Complex::from_polar(value * weight, -TAU * frequency * index as f64))
                .sum();
            let found = lines.at(frequency);
            assert!((found - direct * 2.0 / sum).norm() < 2e-4, "{frequency}: {found} {direct}");
        }
    }

    #[test]
    fn a_straight_line_and_a_mean_are_taken_out_whole() {
        let mut series: Vec<f64> = (0..50).map(|index| 3.0 - 0.25 * f64::from(index)).collect();
        Detrend::Linear.apply(&mut series);
        assert!(series.iter().all(|value| value.abs() < 1e-12));
        let mut level = [2.0, 4.0];
        Detrend::Constant.apply(&mut level);
        assert_eq!(level, [-1.0, 1.0]);
    }

    #[test]
    fn what_is_no_series_has_no_spectrum() {
        assert_eq!(Lines::of(&[1.0; 7], 1.0, Window::Hann, Detrend::Linear), None);
        assert_eq!(Lines::of(&[f64::NAN; 70], 1.0, Window::Hann, Detrend::Linear), None);
    }
}
