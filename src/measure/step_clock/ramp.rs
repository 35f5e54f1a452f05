//! The shape of a ramp: acceleration and jerk by a fit of the step count against time.
//!
//! A ramp has no period. Its step count is a polynomial in time: of second degree at constant acceleration, of third with
//! jerk. An edge that is late by a little errs in steps in proportion to the rate, so each is weighted by the inverse square
//! of the rate just there. Only the part between a tenth and nine tenths of the top rate is fitted: at its ends a ramp is
//! rounded off, by intention or by a timer that cannot wait longer.

use crate::capture::Tick;

/// The most points that are kept of a ramp; a longer one is thinned out.
const POINTS: usize = 512;
/// Points to either side over which a rate is taken.
const REACH: usize = 4;
/// The fewest points that a fit is made of.
const FITTED_MIN: usize = 12;
/// The part of the top rate that is fitted.
const FROM: f64 = 0.1;
const TO: f64 = 0.9;

/// Steps of a ramp: number and time.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Points {
    every: u64,
    points: Vec<(u64, Tick)>,
}

impl Default for Points {
    fn default() -> Self {
        Self { every: 1, points: Vec::new() }
    }
}

/// A fitted ramp, in steps and ticks. What slows down is fitted backwards in time, so that it too speeds up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ramp {
    /// Steps per tick², and its standard uncertainty from the scatter.
    pub acceleration: (f64, f64),
    /// Steps per tick³, the same; `None` where there are too few points for it.
    pub jerk: Option<(f64, f64)>,
    /// Root mean square of how early or late the steps are against constant acceleration, ticks.
    pub scatter: f64,
    /// Steps that were fitted.
    pub points: usize,
}

impl Points {
    /// Takes consecutive steps, the first of which has this number.
    pub fn take(&mut self, first: u64, ticks: &[Tick]) {
        let begin = first.next_multiple_of(self.every) - first;
        let mut place = begin as usize;
        while let Some(tick) = ticks.get(place) {
            if self.points.len() == POINTS {
                self.every *= 2;
                let every = self.every;
                self.points.retain(|point| point.0.is_multiple_of(every));
                place = ((first + place as u64).next_multiple_of(every) - first) as usize;
                continue;
            }
            self.points.push((first + place as u64, *tick));
            place += self.every as usize;
        }
    }

    /// Forgets steps from this number on.
    pub fn truncate(&mut self, number: u64) {
        self.points.retain(|point| point.0 < number);
    }

    /// The points up to the one of the highest rate, and from there on: where a motion turns from speeding up to slowing
    /// down without a cruise.
    pub fn split_at_peak(&self) -> (Self, Self) {
        let rates = rates(&self.flat(false));
        let highest = rates.iter().enumerate().max_by(|one, other| one.1.total_cmp(other.1)).map_or(0, |peak| peak.0);
        let part = |points: &[(u64, Tick)]| Self { every: self.every, points: points.to_vec() };
        let highest = highest.min(self.points.len().saturating_sub(1));
        (part(self.points.get(..=highest).unwrap_or_default()), part(self.points.get(highest..).unwrap_or_default()))
    }

    /// The highest rate between neighbours, steps per tick.
    pub fn top_rate(&self) -> f64 {
        rates(&self.flat(false)).into_iter().fold(0.0, f64::max)
    }

    /// (time, step) from the first point; or backwards from the last.
    fn flat(&self, backwards: bool) -> Vec<(f64, f64)> {
        let (Some(first), Some(last)) = (self.points.first(), self.points.last()) else {
            return Vec::new();
        };
        if backwards {
            let from_last = |point: &(u64, Tick)| ((last.1 - point.1) as f64, (last.0 - point.0) as f64);
            self.points.iter().rev().map(from_last).collect()
        } else {
            let from_first = |point: &(u64, Tick)| ((point.1 - first.1) as f64, (point.0 - first.0) as f64);
            self.points.iter().map(from_first).collect()
        }
    }

    /// Fits a ramp up to a top rate (steps per tick), or down from it; `None` where too few steps lie within it.
    pub fn fit(&self, falls: bool, top: f64) -> Option<Ramp> {
        let points = self.flat(falls);
        let rates = rates(&points);
        let begin = rates.iter().rposition(|rate| *rate < FROM * top).map_or(0, |last| last + 1);
        let end =
            rates.iter().skip(begin).position(|rate| *rate > TO * top).map_or(points.len(), |first| begin + first);
        let points = points.get(begin..end).filter(|points| points.len() >= FITTED_MIN)?;
        let rates = &rates[begin..end];
        let mut plain = Polynomial::<3>::fit(points, rates)?;
        let again: Vec<f64> = points.iter().map(|point| plain.rate(point.0)).collect();
        if again.iter().all(|rate| *rate > 0.0) {
            plain = Polynomial::<3>::fit(points, &again)?;
        }
        let bent = Polynomial::<4>::fit(points, &again).filter(|_| again.iter().all(|rate| *rate > 0.0));
        Some(Ramp {
            acceleration: plain.derivative::<2>(),
            jerk: bent.map(|bent| bent.derivative::<3>()),
            scatter: plain.scatter,
            points: points.len(),
        })
    }
}

/// Rate about each point, steps per tick.
fn rates(points: &[(f64, f64)]) -> Vec<f64> {
    let last = points.len().saturating_sub(1);
    (0..points.len())
        .map(|at| {
            let (before, after) = (points[at.saturating_sub(REACH)], points[(at + REACH).min(last)]);
            (after.1 - before.1) / (after.0 - before.0).max(1.0)
        })
        .collect()
}

/// A polynomial of `TERMS` coefficients by weighted least squares, in a time that runs from −1 to 1.
struct Polynomial<const TERMS: usize> {
    middle: f64,
    half: f64,
    coefficients: [f64; TERMS],
    inverse: [[f64; TERMS]; TERMS],
    scatter: f64,
}

impl<const TERMS: usize> Polynomial<TERMS> {
    fn fit(points: &[(f64, f64)], rates: &[f64]) -> Option<Self> {
        let (first, last) = (points.first()?, points.last()?);
        let (middle, half) = (0.5 * (first.0 + last.0), 0.5 * (last.0 - first.0));
        let base = 0.5 * (first.1 + last.1);
        if half <= 0.0 || points.len() <= TERMS {
            return None;
        }
        let powers = |time: f64| -> [f64; TERMS] {
            let x = (time - middle) / half;
            std::array::from_fn(|power| x.powi(power as i32))
        };
        let (mut matrix, mut right) = ([[0.0_f64; TERMS]; TERMS], [0.0_f64; TERMS]);
        for ((time, step), rate) in points.iter().zip(rates) {
            let weight = rate.powi(-2);
            let powers = powers(*time);
            for ((row, right), power) in matrix.iter_mut().zip(&mut right).zip(&powers) {
                *right += weight * power * (step - base);
                row.iter_mut().zip(&powers).for_each(|(sum, other)| *sum += weight * power * other);
            }
        }
        let inverse = inverted(matrix)?;
        let coefficients = inverse.map(|row| row.iter().zip(&right).map(|(one, other)| one * other).sum());
        let freedom = (points.len() - TERMS) as f64;
        let squares: f64 = points
            .iter()
            .zip(rates)
            .map(|((time, step), rate)| {
                let fitted: f64 =
                    powers(*time).iter().zip(&coefficients).map(|(one, other): (_, &f64)| one * other).sum();
                ((step - base - fitted) / rate).powi(2)
            })
            .sum();
        let scatter = (squares / freedom).sqrt();
        scatter.is_finite().then_some(Self { middle, half, coefficients, inverse, scatter })
    }

    /// Rate at a time, steps per tick.
    fn rate(&self, time: f64) -> f64 {
        let x = (time - self.middle) / self.half;
        let terms = self.coefficients.iter().enumerate().skip(1);
        terms.map(|(power, coefficient)| power as f64 * coefficient * x.powi(power as i32 - 1)).sum::<f64>() / self.half
    }

    /// The derivative that the highest term gives, and its standard uncertainty from the scatter.
    fn derivative<const ORDER: usize>(&self) -> (f64, f64) {
        let factorial: f64 = (1..=ORDER).map(|factor| factor as f64).product();
        let scale = factorial / self.half.powi(ORDER as i32);
        let place = ORDER.min(TERMS - 1);
        (scale * self.coefficients[place], scale * self.scatter * self.inverse[place][place].max(0.0).sqrt())
    }
}

/// The inverse of a positive matrix (Gauss and Jordan, with the largest pivot); `None` where it has none.
fn inverted<const N: usize>(mut matrix: [[f64; N]; N]) -> Option<[[f64; N]; N]> {
    let mut inverse: [[f64; N]; N] = std::array::from_fn(|row| std::array::from_fn(|column| f64::from(row == column)));
    for column in 0..N {
        let pivot =
            (column..N).max_by(|one, other| matrix[*one][column].abs().total_cmp(&matrix[*other][column].abs()))?;
        matrix.swap(column, pivot);
        inverse.swap(column, pivot);
        let scale = matrix[column][column];
        if scale == 0.0 || !scale.is_finite() {
            return None;
        }
        let (matrix_row, inverse_row) =
            (matrix[column].map(|value| value / scale), inverse[column].map(|value| value / scale));
        (matrix[column], inverse[column]) = (matrix_row, inverse_row);
        for row in (0..N).filter(|row| *row != column) {
            let factor = matrix[row][column];
            matrix[row] = std::array::from_fn(|place| matrix[row][place] - factor * matrix_row[place]);
            inverse[row] = std::array::from_fn(|place| inverse[row][place] - factor * inverse_row[place]);
        }
    }
    Some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Outside: a ramp of constant acceleration, step n at c0·√n with c0 = √(2/a), D. Austin (2005); how: closed form
    #[test]
    fn constant_acceleration_comes_back_and_has_no_jerk() {
        // 40,000 steps/s² at 1 GHz: c0 = 7,071,067.8 ticks.
        let ticks: Vec<Tick> =
            (0..800).map(|step| (1e9 * (2.0 * f64::from(step) / 40_000.0).sqrt()).round() as Tick).collect();
        let mut points = Points::default();
        points.take(0, &ticks);
        assert!(points.points.len() <= POINTS && points.every == 2);
        let ramp = points.fit(false, 8000e-9).expect("a ramp");
        assert!((ramp.acceleration.0 * 1e18 / 40_000.0 - 1.0).abs() < 1e-6, "{ramp:?}");
        let (jerk, doubt) = ramp.jerk.expect("enough points");
        assert!(jerk.abs() < 4.0 * doubt, "{ramp:?}");
        // The same backwards in time.
        let end = ticks[799];
        let falling: Vec<Tick> = ticks.iter().rev().map(|tick| end - tick).collect();
        let mut points = Points::default();
        points.take(1000, &falling);
        let ramp = points.fit(true, 8000e-9).expect("a ramp");
        assert!((ramp.acceleration.0 * 1e18 / 40_000.0 - 1.0).abs() < 1e-6, "{ramp:?}");
    }

    #[test]
    fn constant_jerk_comes_back() {
        // n = j t³ / 6 with j = 60,000 steps/s³.
        let ticks: Vec<Tick> =
            (0..400).map(|step| (1e9 * (6.0 * f64::from(step) / 60_000.0).cbrt()).round() as Tick).collect();
        let mut points = Points::default();
        points.take(0, &ticks);
        let ramp = points.fit(false, points.top_rate()).expect("a ramp");
        assert!((ramp.jerk.expect("enough").0 * 1e27 / 60_000.0 - 1.0).abs() < 1e-3, "{ramp:?}");
    }

    #[test]
    fn what_is_no_ramp_is_not_fitted() {
        let fit = |ticks: &[Tick]| {
            let mut points = Points::default();
            points.take(0, ticks);
            points.fit(false, points.top_rate())
        };
        assert_eq!(fit(&[]), None);
        assert_eq!(fit(&[5, 9]), None);
        assert_eq!(fit(&[7; 40]), None);
        let (up, down) = Points::default().split_at_peak();
        assert!(up.points.is_empty() && down.points.is_empty());
    }
}
