//! Least squares for a course that is linear in all but its time constant: exponentials, and what answers as they do.
//!
//! For each time constant the linear parameters follow in closed form, so that only one number is searched for (G. Golub,
//! V. Pereyra 1973: variable projection). Uncertainties are those of the whole problem, the time constant included, from
//! the scatter about the fit; where neighbours scatter alike, they count as fewer readings.

/// The most linear parameters.
const LINEAR_MAX: usize = 4;
/// The most parameters.
const ALL_MAX: usize = LINEAR_MAX + 1;
/// Places at which the search begins, evenly spaced by ratio.
const GRID: usize = 14;
/// How often the bracket about the best of them is narrowed, to 0.618 each time.
const NARROWED: usize = 22;
/// Relative change of the time constant by which its effect is found.
const NUDGE: f64 = 1e-3;

type Matrix = [[f64; ALL_MAX]; ALL_MAX];

/// A fitted course.
#[derive(Debug, Clone, PartialEq)]
pub struct Separable<const N: usize> {
    /// The time constant, as it was found or given.
    pub time_constant: f64,
    /// The linear parameters.
    pub linear: [f64; N],
    /// Variance of the readings about the fit.
    pub variance: f64,
    /// Degrees of freedom of that.
    pub degrees_of_freedom: f64,
    /// Correlation of one reading's residual with the next one's.
    pub correlation: f64,
    covariance: Matrix,
}

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoFit {
    /// Fewer readings than can tell the parameters, or they do not tell them apart.
    TooFew,
    /// The course bends too little: its time constant is longer than the range.
    TooSlow,
    /// All that is slow is faster than the range.
    TooFast,
}

/// Adds the columns of the linear parameters, a row for each reading, for one time constant.
pub trait Columns<const N: usize>: Fn(f64, &mut Vec<[f64; N]>) {}

impl<const N: usize, F: Fn(f64, &mut Vec<[f64; N]>)> Columns<N> for F {}

impl<const N: usize> Separable<N> {
    /// Fits `readings`, with a time constant inside `range`.
    ///
    /// # Errors
    /// Where the readings do not tell the parameters.
    pub fn fit(readings: &[f64], columns: &impl Columns<N>, range: (f64, f64)) -> Result<Self, NoFit> {
        if readings.len() < N + 4 || range.0 <= 0.0 || range.1 <= range.0 || range.1.is_nan() {
            return Err(NoFit::TooFew);
        }
        let mut rows = Vec::with_capacity(readings.len());
        let mut misfit = |logarithm: f64| {
            rows.clear();
            columns(logarithm.exp(), &mut rows);
            solve(readings, &rows).map_or(f64::INFINITY, |(_, squares)| squares)
        };
        let (low, high) = (range.0.ln(), range.1.ln());
        let at = |index: usize| low + (high - low) * index as f64 / (GRID - 1) as f64;
        let tried: Vec<f64> = (0..GRID).map(|index| misfit(at(index))).collect();
        let best = (0..GRID).min_by(|one, other| tried[*one].total_cmp(&tried[*other])).unwrap_or(0);
        if !tried[best].is_finite() {
            return Err(NoFit::TooFew);
        }
        let found = narrowed((at(best.saturating_sub(1)), at((best + 1).min(GRID - 1))), &mut misfit);
        let near = 1e-3 * (high - low);
        if found > high - near {
            return Err(NoFit::TooSlow);
        }
        if found < low + near {
            return Err(NoFit::TooFast);
        }
        Self::about(readings, columns, found.exp(), true)
    }

    /// Fits the linear parameters alone, for a time constant that is given.
    ///
    /// # Errors
    /// Where the readings do not tell the parameters.
    pub fn at(readings: &[f64], columns: &impl Columns<N>, time_constant: f64) -> Result<Self, NoFit> {
        if readings.len() < N + 4 {
            return Err(NoFit::TooFew);
        }
        Self::about(readings, columns, time_constant, false)
    }

    fn about(readings: &[f64], columns: &impl Columns<N>, time_constant: f64, with_time: bool) -> Result<Self, NoFit> {
        let filled = |time_constant: f64| {
            let mut rows = Vec::with_capacity(readings.len());
            columns(time_constant, &mut rows);
            rows
        };
        let rows = filled(time_constant);
        let (linear, squares) = solve(readings, &rows).ok_or(NoFit::TooFew)?;
        let count = N + usize::from(with_time);
        let (shorter, longer) = (filled(time_constant * (1.0 - NUDGE)), filled(time_constant * (1.0 + NUDGE)));
        let step = 2.0 * NUDGE * time_constant;
        let mut normal = [[0.0; ALL_MAX]; ALL_MAX];
        for (row, (shorter, longer)) in rows.iter().zip(shorter.iter().zip(&longer)) {
            let mut all = [0.0; ALL_MAX];
            all[..N].copy_from_slice(row);
            if with_time {
                all[N] = (dot(&linear, longer) - dot(&linear, shorter)) / step;
            }
            add_square(&mut normal, &all, count);
        }
        let inverse = inverted(&normal, count).ok_or(NoFit::TooFew)?;
        let correlation = neighbours(readings, &rows, &linear, squares);
        let likeness = likeness(correlation, readings.len());
        let freedom = readings.len() as f64 - count as f64;
        let variance = squares / freedom;
        let covariance = inverse.map(|row| row.map(|entry| entry * variance * likeness));
        let degrees_of_freedom = (freedom / likeness).max(1.0);
        Ok(Self { time_constant, linear, variance, degrees_of_freedom, correlation, covariance })
    }

    /// Standard uncertainty of a value that changes with the linear parameters, and with the time constant, by these
    /// sensitivities.
    pub fn doubt(&self, linear: [f64; N], time_constant: f64) -> f64 {
        let mut sensitivities = [0.0; ALL_MAX];
        sensitivities[..N].copy_from_slice(&linear);
        sensitivities[N] = time_constant;
        let along = |row: &[f64; ALL_MAX]| row.iter().zip(&sensitivities).map(|(entry, s)| entry * s).sum::<f64>();
        let variance: f64 = self.covariance.iter().zip(&sensitivities).map(|(row, s)| s * along(row)).sum();
        variance.max(0.0).sqrt()
    }

    /// Standard uncertainty of the time constant.
    pub fn time_doubt(&self) -> f64 {
        self.doubt([0.0; N], 1.0)
    }

    /// Standard uncertainty of a linear parameter.
    pub fn linear_doubt(&self, which: usize) -> f64 {
        let mut one = [0.0; N];
        one[which] = 1.0;
        self.doubt(one, 0.0)
    }
}

/// Where in a bracket the minimum lies, by the golden section.
fn narrowed((mut low, mut high): (f64, f64), misfit: &mut impl FnMut(f64) -> f64) -> f64 {
    const RATIO: f64 = 0.618_033_988_749_894_8;
    let (mut left, mut right) = (high - RATIO * (high - low), low + RATIO * (high - low));
    let (mut at_left, mut at_right) = (misfit(left), misfit(right));
    for _ in 0..NARROWED {
        if at_left < at_right {
            (high, right, at_right) = (right, left, at_left);
            left = high - RATIO * (high - low);
            at_left = misfit(left);
        } else {
            (low, left, at_left) = (left, right, at_right);
            right = low + RATIO * (high - low);
            at_right = misfit(right);
        }
    }
    0.5 * (low + high)
}

/// The linear parameters by normal equations, and the sum of the squares that are left.
fn solve<const N: usize>(readings: &[f64], rows: &[[f64; N]]) -> Option<([f64; N], f64)> {
    let mut normal = [[0.0; ALL_MAX]; ALL_MAX];
    let mut right = [0.0; N];
    for (row, reading) in rows.iter().zip(readings) {
        for (place, one) in row.iter().enumerate() {
            right[place] += one * reading;
            for (entry, other) in normal[place].iter_mut().zip(row) {
                *entry += one * other;
            }
        }
    }
    let inverse = inverted(&normal, N)?;
    let solved: [f64; N] = std::array::from_fn(|place| inverse[place].iter().zip(&right).map(|(e, r)| e * r).sum());
    let squares: f64 = rows.iter().zip(readings).map(|(row, reading)| (reading - dot(&solved, row)).powi(2)).sum();
    squares.is_finite().then_some((solved, squares))
}

fn dot<const N: usize>(one: &[f64; N], other: &[f64; N]) -> f64 {
    one.iter().zip(other).map(|(a, b)| a * b).sum()
}

fn add_square(normal: &mut Matrix, row: &[f64; ALL_MAX], count: usize) {
    for (entries, one) in normal.iter_mut().zip(row).take(count) {
        for (entry, other) in entries.iter_mut().zip(row).take(count) {
            *entry += one * other;
        }
    }
}

/// Inverse of the leading part of a symmetric positive matrix, by elimination on its scaled form; `None` where its
/// columns cannot be told apart.
fn inverted(matrix: &Matrix, count: usize) -> Option<Matrix> {
    let scale: [f64; ALL_MAX] =
        std::array::from_fn(|place| if place < count { matrix[place][place].sqrt() } else { 1.0 });
    if scale.iter().any(|side| !(side.is_finite() && *side > 0.0)) {
        return None;
    }
    let mut work: Matrix =
        std::array::from_fn(|row| std::array::from_fn(|column| matrix[row][column] / (scale[row] * scale[column])));
    let mut inverse: Matrix =
        std::array::from_fn(|row| std::array::from_fn(|column| f64::from(u8::from(row == column && row < count))));
    for pivot in 0..count {
        let height = work[pivot][pivot];
        // The matrix is positive, so that its pivots are what each column adds to those before it.
        if height.is_nan() || height < 1e-13 {
            return None;
        }
        for column in 0..count {
            work[pivot][column] /= height;
            inverse[pivot][column] /= height;
        }
        for row in (0..count).filter(|row| *row != pivot) {
            let factor = work[row][pivot];
            for column in 0..count {
                work[row][column] -= factor * work[pivot][column];
                inverse[row][column] -= factor * inverse[pivot][column];
            }
        }
    }
    let unscaled = |row: usize, column: usize| inverse[row][column] / (scale[row] * scale[column]);
    Some(std::array::from_fn(|row| std::array::from_fn(|column| unscaled(row, column))))
}

/// Correlation of each residual with the next.
fn neighbours<const N: usize>(readings: &[f64], rows: &[[f64; N]], linear: &[f64; N], squares: f64) -> f64 {
    let left: Vec<f64> = rows.iter().zip(readings).map(|(row, reading)| reading - dot(linear, row)).collect();
    let products: f64 = left.windows(2).map(|pair| pair[0] * pair[1]).sum();
    if squares > 0.0 { products / squares } else { 0.0 }
}

/// How many of so many readings say as much as one, from the correlation of what is left of each with that of the next; one
/// where chance alone could make it (common practice; first-order autoregression).
pub fn likeness(correlation: f64, readings: usize) -> f64 {
    let alike = if correlation > 2.0 / (readings as f64).sqrt() { correlation.min(0.95) } else { 0.0 };
    (1.0 + alike) / (1.0 - alike)
}

/// Columns of `settled + rest · exp(−t/τ)`.
pub fn exponential(times: &[f64]) -> impl Columns<2> {
    move |time_constant: f64, rows: &mut Vec<[f64; 2]>| {
        rows.extend(times.iter().map(|time| [1.0, (-time / time_constant).exp()]));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn times(count: u32, step: f64) -> Vec<f64> {
        (0..count).map(|index| f64::from(index) * step).collect()
    }

    #[test]
    fn an_exact_exponential_is_found_exactly() {
        let times = times(60, 1.0);
        let readings: Vec<f64> = times.iter().map(|time| 40.0 - 18.0 * (-time / 25.0).exp()).collect();
        let fit = Separable::fit(&readings, &exponential(&times), (2.0, 180.0)).expect("it bends enough");
        assert!((fit.time_constant - 25.0).abs() < 1e-3, "{fit:?}");
        assert!((fit.linear[0] - 40.0).abs() < 1e-3 && (fit.linear[1] + 18.0).abs() < 1e-3, "{fit:?}");
        assert!(fit.variance < 1e-9);
    }

    #[test]
    fn what_the_readings_cannot_tell_is_said() {
        let times = times(60, 1.0);
        let course = |value: &dyn Fn(f64) -> f64| {
            let readings: Vec<f64> = times.iter().map(|time| value(*time)).collect();
            Separable::fit(&readings, &exponential(&times), (2.0, 180.0)).map(|fit| fit.time_constant)
        };
        assert_eq!(course(&|time| 20.0 + 0.1 * time), Err(NoFit::TooSlow));
        assert_eq!(course(&|time| if time < 0.5 { 19.0 } else { 20.0 }), Err(NoFit::TooFast));
        assert!(course(&|_| f64::NAN).is_err());
        assert_eq!(Separable::fit(&[1.0, 2.0], &exponential(&times[..2]), (1.0, 9.0)), Err(NoFit::TooFew));
    }

    #[test]
    fn readings_that_say_the_same_twice_count_once() {
        let times = times(120, 0.5);
        let wobble = |index: usize| [0.03, -0.02, 0.01, -0.04, 0.02][index % 5];
        let fit = |pick: &dyn Fn(usize) -> usize| {
            let readings: Vec<f64> = times
                .iter()
                .enumerate()
                .map(|(index, time)| 40.0 - 18.0 * (-time / 25.0).exp() + wobble(pick(index)))
                .collect();
            Separable::fit(&readings, &exponential(&times), (1.0, 180.0)).expect("it bends enough")
        };
        let (each, twice) = (fit(&|index| index), fit(&|index| index / 4));
        assert!(twice.correlation > 0.3 && each.correlation < 0.0, "{} {}", twice.correlation, each.correlation);
        assert!(twice.time_doubt() > 1.3 * each.time_doubt());
    }
}
