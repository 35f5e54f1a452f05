//! Tones: what recurs at one frequency and stands out of the noise about it, with how well it is known.
//!
//! The noise about a line is taken from the median of the lines near it, which a few tones do not move. A tone is a
//! peak that noise alone would pass in one spectrum of a hundred. Its frequency is where the weighted transform is
//! largest, also between two lines; of a sine in white noise that estimate has variance 2σ²·Σw²n²/(A·Σwn²)² in radians
//! per reading (as Rife and Boorstyn 1974 derive it for equal weights w, where it is 24σ²/(A²N³)), and its amplitude
//! 2σ²·B/N with the window's noise bandwidth B.

use super::{Lines, Window};

/// What to look for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Search {
    /// Lowest line: what is slower is not told from the trend.
    pub first_line: usize,
    /// Highest frequency, Hz.
    pub highest: f64,
    /// The most tones; the largest are kept.
    pub most: usize,
}

/// A tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tone {
    /// Hz.
    pub frequency: f64,
    /// Standard uncertainty of it, Hz.
    pub frequency_uncertainty: f64,
    /// Amplitude of the sine, in the unit of the readings.
    pub amplitude: f64,
    /// Standard uncertainty of it.
    pub amplitude_uncertainty: f64,
    /// Degrees of freedom of both.
    pub degrees_of_freedom: f64,
    /// How often the root mean square of the noise in a line it is.
    pub above_noise: f64,
}

/// The tones of a spectrum, the largest first, and the noise that they were told from.
#[derive(Debug, Clone, PartialEq)]
pub struct Tones {
    /// They.
    pub found: Vec<Tone>,
    /// How many more were left out.
    pub left_out: usize,
    noise: Vec<Stretch>,
    threshold: f64,
}

/// The noise over a few neighbouring lines.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Stretch {
    frequency: f64,
    /// Mean square of the amplitude of a line.
    power: f64,
    lines: f64,
}

/// How many spectra of noise alone show one tone or more.
const FALSE_ALARMS: f64 = 0.01;
/// What the noise's own doubt adds to the power at which a tone counts.
const CAUTION: f64 = 1.3;
/// Lines in a stretch of noise: few at the low end, where it often falls steeply.
const SHORTEST: usize = 16;
const LONGEST: usize = 128;
/// √(Σw²n² · N) / Σwn² for a Hann window, n from its middle, over that of equal weights.
const HANN_FREQUENCY_LOSS: f64 = 1.530_6;
/// Nearer than this two peaks are not told apart: half of the width of a Hann-weighted tone.
const APART: f64 = 2.5;

impl Lines {
    /// The tones among the lines.
    pub fn tones(&self, search: &Search) -> Tones {
        let last = ((search.highest / self.width) as usize).min(self.values.len().saturating_sub(2));
        let first = search.first_line.max(1);
        let powers: Vec<f64> = self.values.iter().map(|value| value.norm_sqr()).collect();
        let noise = stretches(&powers, first, last, self.width);
        let count = (last + 1).saturating_sub(first) as f64;
        let threshold = CAUTION * (count.max(1.0) / FALSE_ALARMS).ln();
        let mut tones = Tones { found: Vec::new(), left_out: 0, noise, threshold };
        if tones.noise.is_empty() {
            return tones;
        }
        let mut peaks: Vec<usize> = (first..=last)
            .filter(|line| powers[*line] >= powers[line - 1] && powers[*line] > powers[line + 1])
            .filter(|line| powers[*line] > threshold * tones.noise_at(self.frequency(*line)).power)
            .collect();
        peaks.sort_unstable_by(|one, other| powers[*other].total_cmp(&powers[*one]));
        for line in peaks {
            if tones.found.iter().any(|tone| self.belongs_to(line, tone)) {
                continue;
            }
            if tones.found.len() == search.most {
                tones.left_out += 1;
                continue;
            }
            let tone = self.tone_near(line, &tones);
            tones.found.push(tone);
        }
        tones.found.sort_by(|one, other| other.amplitude.total_cmp(&one.amplitude));
        tones
    }

    /// Whether a peak is a tone's own, or the leakage of it.
    fn belongs_to(&self, line: usize, tone: &Tone) -> bool {
        let away = (line as f64 - tone.frequency / self.width).abs();
        let leaked = match self.window {
            Window::Rectangular => 1.0 / (std::f64::consts::PI * away),
            Window::Hann => 1.0 / (std::f64::consts::PI * away * (away * away - 1.0).abs()),
        };
        away < APART || self.values[line].norm() < 1.5 * leaked * tone.amplitude
    }

    /// The tone whose peak is nearest to a line: the top of a parabola through three points, twice.
    fn tone_near(&self, line: usize, tones: &Tones) -> Tone {
        let level = |frequency: f64| self.at(frequency).norm_sqr().max(f64::MIN_POSITIVE).ln();
        let mut frequency = self.frequency(line);
        for step in [0.3, 0.1, 0.03] {
            let step = step * self.width;
            let (below, middle, above) = (level(frequency - step), level(frequency), level(frequency + step));
            let bend = below - 2.0 * middle + above;
            let shift = if bend < 0.0 { 0.5 * (below - above) / bend } else { 0.0 };
            frequency += shift.clamp(-2.0, 2.0) * step;
        }
        let amplitude = self.at(frequency).norm();
        let noise = tones.noise_at(frequency);
        let loss = if self.window == Window::Hann { HANN_FREQUENCY_LOSS } else { 1.0 };
        // σ²/N from the noise in a line, which is 4σ²·B/N.
        let variance_over_count = noise.power / (4.0 * self.window.noise_bandwidth());
        let cycles = (24.0 * variance_over_count).sqrt() / (std::f64::consts::TAU * amplitude);
        Tone {
            frequency,
            frequency_uncertainty: cycles * loss * self.width,
            amplitude,
            amplitude_uncertainty: (0.5 * noise.power).sqrt(),
            degrees_of_freedom: 0.5 * noise.lines,
            above_noise: amplitude / noise.power.sqrt(),
        }
    }
}

impl Tones {
    /// The smallest amplitude that would have counted as a tone at a frequency; nothing where nothing was looked at.
    pub fn smallest_at(&self, frequency: f64) -> f64 {
        if self.noise.is_empty() { 0.0 } else { (self.threshold * self.noise_at(frequency).power).sqrt() }
    }

    /// The frequencies at which the noise was estimated, Hz.
    pub fn noise_places(&self) -> impl Iterator<Item = f64> + '_ {
        self.noise.iter().map(|stretch| stretch.frequency)
    }

    /// The root mean square amplitude of the noise in a line at each of those, with its frequency.
    pub fn noise(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.noise.iter().map(|stretch| (stretch.frequency, stretch.power.sqrt()))
    }

    /// The noise at a frequency: a power of it between two stretches and before the first.
    fn noise_at(&self, frequency: f64) -> Stretch {
        let next = self.noise.partition_point(|stretch| stretch.frequency < frequency);
        let last = self.noise.len() - 1;
        if last == 0 || next > last {
            return self.noise[last];
        }
        let (one, other) = (self.noise[next.saturating_sub(1)], self.noise[next.max(1)]);
        let (run, rise) = ((other.frequency / one.frequency).ln(), (other.power / one.power).ln());
        let power = one.power * (rise / run * (frequency / one.frequency).ln()).exp();
        // Between two estimates the scatter of both shrinks, on average to two thirds.
        Stretch { frequency, power, lines: 0.75 * (one.lines + other.lines) }
    }
}

/// The noise from line `first` to line `last`. Of noise the square of a line's amplitude is spread exponentially, so
/// that its mean is its median over ln 2.
fn stretches(powers: &[f64], first: usize, last: usize, width: f64) -> Vec<Stretch> {
    let mut stretches = Vec::new();
    let (mut from, mut length) = (first, SHORTEST);
    while from + SHORTEST <= last + 1 {
        // What would be left over too short for itself joins this one.
        let to = if from + length + SHORTEST > last + 1 { last + 1 } else { from + length };
        let mut sorted = powers[from..to].to_vec();
        let middle = sorted.len() / 2;
        let median = *sorted.select_nth_unstable_by(middle, f64::total_cmp).1;
        stretches.push(Stretch {
            frequency: 0.5 * (from + to - 1) as f64 * width,
            power: (median / std::f64::consts::LN_2).max(f64::MIN_POSITIVE),
            lines: (to - from) as f64,
        });
        (from, length) = (to, (length * 3 / 2).min(LONGEST));
    }
    stretches
}

#[cfg(test)]
mod tests {
    use super::super::{Detrend, Lines, Window};
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    use rand_xoshiro::Xoshiro256PlusPlus;
    use std::f64::consts::TAU;

    const SEARCH: Search = Search { first_line: 3, highest: f64::INFINITY, most: 20 };

    fn noisy(seed: u64, count: usize, tones: &[(f64, f64)]) -> Vec<f64> {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut noise = || -> f64 { StandardNormal.sample(&mut rng) };
        let tone = |index: usize, (frequency, amplitude): &(f64, f64)| {
            amplitude * (TAU * frequency * index as f64 + 0.7).sin()
        };
        (0..count).map(|index| noise() + tones.iter().map(|one| tone(index, one)).sum::<f64>()).collect()
    }

    fn found(series: &[f64]) -> Tones {
        Lines::of(series, 1.0, Window::Hann, Detrend::Linear).expect("a spectrum").tones(&SEARCH)
    }

    #[test]
    fn the_weights_loss_of_frequency_is_what_its_sums_say() {
        let count = 4000;
        let weights = Window::Hann.weights(count);
        let sum = |power: i32| -> f64 {
            let term = |(index, weight): (usize, &f64)| weight.powi(power) * (index as f64 - 2000.0).powi(2);
            weights.iter().enumerate().map(term).sum()
        };
        let equal = 12.0 / (count as f64).powi(3);
        assert!(((sum(2) / sum(1).powi(2) / equal).sqrt() - HANN_FREQUENCY_LOSS).abs() < 1e-3);
    }

    #[test]
    fn noise_alone_has_no_tone_but_for_one_spectrum_in_a_hundred() {
        let spectra = 300;
        let with_one = (0..spectra).filter(|seed| !found(&noisy(*seed, 3000, &[])).found.is_empty()).count();
        assert!(with_one <= 10, "{with_one} of {spectra}");
    }

    #[test]
    fn frequency_and_amplitude_scatter_as_their_uncertainties_say() {
        let (mut frequencies, mut amplitudes) = (0.0, 0.0);
        let draws = 400;
        for seed in 0..draws {
            let frequency = 0.1 + 1e-5 * seed as f64;
            let tones = found(&noisy(seed, 2000, &[(frequency, 0.5)])).found;
            let tone = tones.iter().find(|tone| (tone.frequency - frequency).abs() < 1e-3).expect("it stands out");
            frequencies += ((tone.frequency - frequency) / tone.frequency_uncertainty).powi(2);
            amplitudes += ((tone.amplitude - 0.5) / tone.amplitude_uncertainty).powi(2);
        }
        let scatter = [frequencies, amplitudes].map(|sum| (sum / draws as f64).sqrt());
        assert!(scatter.iter().all(|ratio| (0.85..1.2).contains(ratio)), "{scatter:?}");
    }

    #[test]
    fn leakage_of_a_large_tone_is_no_tone() {
        let tones = found(&noisy(3, 4096, &[(0.123_4, 2000.0), (0.2, 1.0)]));
        assert_eq!(tones.found.len(), 2, "{:?}", tones.found);
        assert!((tones.found[0].amplitude - 2000.0).abs() < 0.5);
        assert!((tones.found[1].frequency - 0.2).abs() < 1e-4);
    }

    #[test]
    fn short_and_silent_series_have_no_tones() {
        assert!(found(&[0.0; 500]).found.is_empty());
        assert!(found(&noisy(1, 20, &[])).found.is_empty());
        assert_eq!(found(&noisy(1, 8, &[])).smallest_at(0.2), 0.0);
    }
}
