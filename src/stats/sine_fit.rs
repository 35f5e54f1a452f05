//! The sine of a known neighbourhood, with its harmonics, that fits readings best: the four-parameter fit of IEEE Std
//! 1057 (mean, two amplitudes, frequency), carried on to further harmonics. The readings need not be evenly spaced.
//!
//! The covariance of what was fitted comes from the scatter that the fit leaves (JCGM 100:2008, H.3 for the straight
//! line).

use std::f64::consts::TAU;

/// Steps by which the frequency is made better: each squares the error.
const STEPS: usize = 4;

/// A fitted periodic curve: mean + Σ aₖ·cos(kθ) + bₖ·sin(kθ), θ turning once a period.
#[derive(Debug, Clone, PartialEq)]
pub struct SineFit {
    /// Periods in a unit of time.
    pub frequency: f64,
    /// The mean.
    pub mean: f64,
    /// The amplitudes aₖ and bₖ, fundamental first.
    pub harmonics: Vec<(f64, f64)>,
    /// Degrees of freedom of the scatter about it.
    pub degrees_of_freedom: f64,
    /// Covariance of mean, a₁, b₁, a₂, b₂, … and frequency, in that order.
    covariance: Vec<Vec<f64>>,
}

/// Where a fitted curve is highest or lowest.
#[derive(Debug, Clone, PartialEq)]
pub struct Extreme {
    /// The curve there.
    pub value: f64,
    /// How it changes with each parameter of the fit, in the order of its covariance without the frequency. That its
    /// place changes as well makes no difference, for the curve is level there.
    pub sensitivities: Vec<f64>,
}

impl SineFit {
    /// Fits `values` read `at` those times with a fundamental near `frequency` and so many harmonics, itself included;
    /// `None` where there are too few readings to tell, or the fit runs away.
    pub fn of(at: &[f64], values: &[f64], frequency: f64, harmonics: usize) -> Option<Self> {
        let count = at.len();
        let parameters = 2 + 2 * harmonics;
        if count != values.len() || harmonics == 0 || count < parameters + 4 {
            return None;
        }
        let middle = 0.5 * (at[0] + at[count - 1]);
        let (mut fitted, _) = solved(at, values, middle, frequency, harmonics, None)?;
        let mut near = frequency;
        let mut inverse = Vec::new();
        for _ in 0..STEPS {
            let amplitudes = pairs(&fitted);
            let found = solved(at, values, middle, near, harmonics, Some(&amplitudes))?;
            (fitted, inverse) = found;
            near += fitted.pop()?;
            let within = 0.5 / (at[count - 1] - at[0]);
            if !near.is_finite() || (near - frequency).abs() > 2.0 * within {
                return None;
            }
        }
        let mut fit = Self {
            frequency: near,
            mean: fitted[0],
            harmonics: pairs(&fitted),
            degrees_of_freedom: (count - parameters) as f64,
            covariance: inverse,
        };
        let left = at.iter().zip(values).map(|(at, value)| (value - fit.at((at - middle) * near)).powi(2));
        let variance = left.sum::<f64>() / fit.degrees_of_freedom;
        fit.covariance.iter_mut().flatten().for_each(|entry| *entry *= variance);
        Some(fit)
    }

    /// The curve so many turns after the middle of the readings.
    pub fn at(&self, turns: f64) -> f64 {
        let angle = TAU * turns;
        let term = |(index, (a, b)): (usize, &(f64, f64))| {
            let (sine, cosine) = ((index + 1) as f64 * angle).sin_cos();
            a * cosine + b * sine
        };
        self.mean + self.harmonics.iter().enumerate().map(term).sum::<f64>()
    }

    /// Standard uncertainty of the frequency.
    pub fn frequency_uncertainty(&self) -> f64 {
        self.covariance.last().and_then(|row| row.last()).map_or(0.0, |variance| variance.max(0.0).sqrt())
    }

    /// The highest and the lowest point of the curve.
    pub fn extremes(&self) -> (Extreme, Extreme) {
        let count = 32 * self.harmonics.len();
        let places = (0..count).map(|place| place as f64 / count as f64);
        let (mut high, mut low) = (0.0, 0.0);
        for place in places {
            high = if self.at(place) > self.at(high) { place } else { high };
            low = if self.at(place) < self.at(low) { place } else { low };
        }
        (self.extreme_near(high, 1.0 / count as f64), self.extreme_near(low, 1.0 / count as f64))
    }

    /// The top or bottom of a parabola through three points of the curve, closer each time.
    fn extreme_near(&self, mut place: f64, mut step: f64) -> Extreme {
        for _ in 0..3 {
            let (before, here, after) = (self.at(place - step), self.at(place), self.at(place + step));
            let bend = before - 2.0 * here + after;
            if bend != 0.0 {
                place += (0.5 * (before - after) / bend).clamp(-1.0, 1.0) * step;
            }
            step *= 0.1;
        }
        let mut sensitivities = vec![1.0];
        for harmonic in 1..=self.harmonics.len() {
            let (sine, cosine) = (TAU * place * harmonic as f64).sin_cos();
            sensitivities.extend([cosine, sine]);
        }
        Extreme { value: self.at(place), sensitivities }
    }

    /// Standard uncertainty of what changes with the parameters by `sensitivities`, in the order of an [`Extreme`]'s.
    pub fn uncertainty(&self, sensitivities: &[f64]) -> f64 {
        let row = |row: &Vec<f64>| -> f64 { row.iter().zip(sensitivities).map(|(entry, by)| entry * by).sum() };
        let variance: f64 = self.covariance.iter().zip(sensitivities).map(|(entries, by)| row(entries) * by).sum();
        variance.max(0.0).sqrt()
    }
}

fn pairs(fitted: &[f64]) -> Vec<(f64, f64)> {
    fitted[1..].chunks_exact(2).map(|pair| (pair[0], pair[1])).collect()
}

/// Least squares of mean and amplitudes, and of a change of the frequency where amplitudes are known already; with the
/// inverse of the normal equations.
fn solved(
    at: &[f64],
    values: &[f64],
    middle: f64,
    frequency: f64,
    harmonics: usize,
    known: Option<&[(f64, f64)]>,
) -> Option<(Vec<f64>, Vec<Vec<f64>>)> {
    let size = 1 + 2 * harmonics + usize::from(known.is_some());
    let mut normal = vec![vec![0.0; size]; size];
    let mut right = vec![0.0; size];
    let mut row = vec![1.0; size];
    for (at, value) in at.iter().zip(values) {
        let since = at - middle;
        let (sine, cosine) = (TAU * frequency * since).sin_cos();
        let (mut s, mut c) = (sine, cosine);
        let mut by_frequency = 0.0;
        for harmonic in 0..harmonics {
            (row[1 + 2 * harmonic], row[2 + 2 * harmonic]) = (c, s);
            if let Some((a, b)) = known.and_then(|known| known.get(harmonic)) {
                by_frequency += (harmonic + 1) as f64 * (b * c - a * s);
            }
            (s, c) = (s * cosine + c * sine, c * cosine - s * sine);
        }
        if known.is_some() {
            row[size - 1] = TAU * since * by_frequency;
        }
        for (index, entries) in normal.iter_mut().enumerate() {
            right[index] += row[index] * value;
            entries.iter_mut().zip(&row).for_each(|(entry, other)| *entry += row[index] * other);
        }
    }
    let inverse = inverse(normal)?;
    let times = |row: &Vec<f64>| row.iter().zip(&right).map(|(entry, right)| entry * right).sum();
    Some((inverse.iter().map(times).collect(), inverse))
}

/// By elimination with the largest pivot; `None` where there is none worth the name.
fn inverse(mut matrix: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    let size = matrix.len();
    let mut inverse: Vec<Vec<f64>> =
        (0..size).map(|row| (0..size).map(|column| f64::from(u8::from(row == column))).collect()).collect();
    let scale = matrix.iter().flatten().fold(0.0_f64, |largest, entry| largest.max(entry.abs()));
    for column in 0..size {
        let pivot =
            (column..size).max_by(|one, other| matrix[*one][column].abs().total_cmp(&matrix[*other][column].abs()))?;
        if matrix[pivot][column].abs() <= 1e-13 * scale || !scale.is_finite() {
            return None;
        }
        matrix.swap(column, pivot);
        inverse.swap(column, pivot);
        let divisor = matrix[column][column];
        for entry in matrix[column].iter_mut().chain(&mut inverse[column]) {
            *entry /= divisor;
        }
        let (known, known_inverse) = (matrix[column].clone(), inverse[column].clone());
        for row in (0..size).filter(|row| *row != column) {
            let factor = matrix[row][column];
            matrix[row].iter_mut().zip(&known).for_each(|(entry, other)| *entry -= factor * other);
            inverse[row].iter_mut().zip(&known_inverse).for_each(|(entry, other)| *entry -= factor * other);
        }
    }
    Some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn times(count: usize) -> Vec<f64> {
        // Uneven on purpose.
        (0..count).map(|index| index as f64 * 1e-3 + if index % 3 == 0 { 2e-4 } else { 0.0 }).collect()
    }

    // Outside: IEEE Std 1057, four-parameter sine fit, of a curve whose parameters are known; how: closed form
    #[test]
    fn what_a_curve_was_made_of_is_found_again() {
        let at = times(200);
        let value = |t: f64| 3.0 + 0.5 * (TAU * 71.3 * t).cos() - 0.2 * (TAU * 142.6 * t + 0.4).sin();
        let values: Vec<f64> = at.iter().map(|t| value(*t)).collect();
        let fit = SineFit::of(&at, &values, 71.0, 3).expect("a fit");
        assert!((fit.frequency - 71.3).abs() < 1e-9 && (fit.mean - 3.0).abs() < 1e-9, "{fit:?}");
        let amplitudes: Vec<f64> = fit.harmonics.iter().map(|(a, b)| a.hypot(*b)).collect();
        assert!((amplitudes[0] - 0.5).abs() < 1e-9 && (amplitudes[1] - 0.2).abs() < 1e-9 && amplitudes[2] < 1e-9);
        let finest = (0..100_000).map(|step| value(f64::from(step) / 71.3e5));
        let (high, low) = finest.fold((f64::MIN, f64::MAX), |(high, low), v| (high.max(v), low.min(v)));
        let (highest, lowest) = fit.extremes();
        assert!((highest.value - high).abs() < 1e-6 && (lowest.value - low).abs() < 1e-6, "{highest:?} {lowest:?}");
    }

    // Outside: Rife and Boorstyn (1974), least variance 6σ²/(π²A²T²N) of a tone's frequency; how: from memory
    #[test]
    fn the_doubt_of_the_frequency_is_the_least_there_can_be() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, StandardNormal};
        let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(5);
        let (count, deviation) = (2000, 0.05);
        let at: Vec<f64> = (0..count).map(|index| f64::from(index) * 1e-3).collect();
        let mut noise = || -> f64 { StandardNormal.sample(&mut rng) };
        let values: Vec<f64> = at.iter().map(|t| 1.0 + (TAU * 93.0 * t).sin() + deviation * noise()).collect();
        let fit = SineFit::of(&at, &values, 93.1, 1).expect("a fit");
        let least = (6.0 / 2000.0_f64).sqrt() * deviation / (std::f64::consts::PI * 2.0);
        assert!((fit.frequency_uncertainty() / least - 1.0).abs() < 0.05, "{} {least}", fit.frequency_uncertainty());
        // An amplitude has 2σ²/N.
        let amplitude = fit.uncertainty(&[0.0, 1.0, 0.0]);
        assert!((amplitude / (deviation * (2.0 / 2000.0_f64).sqrt()) - 1.0).abs() < 0.05);
    }

    #[test]
    fn too_little_or_nonsense_gives_no_fit() {
        let at = times(9);
        assert_eq!(SineFit::of(&at, &[1.0; 9], 71.0, 2), None);
        assert_eq!(SineFit::of(&times(50), &[1.0; 49], 71.0, 1), None);
        assert_eq!(SineFit::of(&[0.0; 50], &[1.0; 50], 71.0, 1), None);
        assert_eq!(SineFit::of(&times(50), &[f64::NAN; 50], 71.0, 1), None);
    }
}
