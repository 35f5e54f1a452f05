//! The best-fit clock: a straight line through the times of all edges, found in one pass, and how far the edges stray.
//!
//! Each chunk is summed about itself and then merged, so that long cruises lose no digits. The extremes are kept as points,
//! chunk by chunk, because the line that they are measured from is known only at the end.

use std::array::from_fn;

/// The most bands of the envelope.
const BANDS: usize = 512;

/// Edges of a clock against a line: index against deviation from a nominal period, ticks.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct BestFit {
    count: f64,
    index_mean: f64,
    mean: f64,
    index_squares: f64,
    products: f64,
    squares: f64,
    bands: Vec<Band>,
    /// Chunks in each band.
    each: usize,
    /// Chunks in the newest band.
    in_newest: usize,
    /// Edges of the largest chunk.
    chunk_edges: usize,
}

/// The highest and the lowest point of a stretch: index and deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Band {
    high: (f64, f64),
    low: (f64, f64),
}

/// The line, and the deviations from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fitted {
    /// Height of the line at index 0, ticks.
    pub offset: f64,
    /// Its slope: ticks per interval on top of the nominal period.
    pub slope: f64,
    /// Sum of the squared deviations from it, ticks².
    pub residual_squares: f64,
    /// Number of edges.
    pub count: f64,
}

impl BestFit {
    /// Takes the deviations of consecutive edges; `first` is the index of the first of them, `extremes` are their highest
    /// and their lowest.
    pub fn take(&mut self, first: u64, deviations: &[f64], extremes: [f64; 2]) {
        let Some(&base) = deviations.first() else {
            return;
        };
        let [sum, weighted, squares] = sums(deviations, base);
        let count = deviations.len() as f64;
        let index_mean = 0.5 * (count - 1.0);
        let mean = sum / count;
        let own_squares = (squares - count * mean * mean).max(0.0);
        let own_products = weighted - count * index_mean * mean;
        let own_index_squares = count * (count * count - 1.0) / 12.0;
        let (index_apart, apart) = (first as f64 + index_mean - self.index_mean, base + mean - self.mean);
        let total = self.count + count;
        let weight = self.count * count / total;
        self.index_squares += own_index_squares + weight * index_apart * index_apart;
        self.products += own_products + weight * index_apart * apart;
        self.squares += own_squares + weight * apart * apart;
        self.index_mean += index_apart * count / total;
        self.mean += apart * count / total;
        self.count = total;
        self.chunk_edges = self.chunk_edges.max(deviations.len());
        self.stretch(first, deviations, extremes);
    }

    fn stretch(&mut self, first: u64, deviations: &[f64], [high, low]: [f64; 2]) {
        let place = |wanted: f64| deviations.iter().position(|value| *value == wanted).unwrap_or(0);
        let point = |value: f64| ((first + place(value) as u64) as f64, value);
        let band = Band { high: point(high), low: point(low) };
        if self.in_newest < self.each
            && let Some(newest) = self.bands.last_mut()
        {
            *newest = newest.joined(&band);
            self.in_newest += 1;
            return;
        }
        if self.bands.len() == BANDS {
            self.bands = self.bands.chunks(2).map(|pair| pair[0].joined(&pair[pair.len() - 1])).collect();
            self.each = 2 * self.each.max(1);
        }
        self.bands.push(band);
        self.in_newest = 1;
    }

    /// The line of least squares; `None` of fewer than three edges.
    pub fn fitted(&self) -> Option<Fitted> {
        if self.count < 3.0 {
            return None;
        }
        let slope = self.products / self.index_squares;
        Some(Fitted {
            offset: self.mean - slope * self.index_mean,
            slope,
            residual_squares: (self.squares - slope * self.products).max(0.0),
            count: self.count,
        })
    }

    /// The largest range of deviations from a line of this slope within so many neighbouring bands, ticks; `None` where there
    /// are fewer.
    pub fn largest_range(&self, bands: usize, slope: f64) -> Option<f64> {
        let from = |point: (f64, f64)| point.1 - slope * point.0;
        let range = |bands: &[Band]| {
            let high = bands.iter().map(|band| from(band.high)).fold(f64::MIN, f64::max);
            high - bands.iter().map(|band| from(band.low)).fold(f64::MAX, f64::min)
        };
        self.bands.windows(bands).map(range).max_by(f64::total_cmp)
    }

    /// The most edges of a band.
    pub fn band_edges(&self) -> u64 {
        (self.each.max(1) * self.chunk_edges) as u64
    }

    /// Highest and lowest deviation from a line, ticks, and by how much either may fall short of the true extreme because
    /// the envelope kept one point of each band.
    pub fn extremes_from(&self, offset: f64, slope: f64) -> (f64, f64, f64) {
        let from = |point: (f64, f64)| point.1 - offset - slope * point.0;
        let high = self.bands.iter().map(|band| from(band.high)).fold(f64::MIN, f64::max);
        let low = self.bands.iter().map(|band| from(band.low)).fold(f64::MAX, f64::min);
        (high, low, slope.abs() * self.band_edges() as f64)
    }
}

impl Band {
    fn joined(&self, other: &Self) -> Self {
        Self {
            high: if other.high.1 > self.high.1 { other.high } else { self.high },
            low: if other.low.1 < self.low.1 { other.low } else { self.low },
        }
    }
}

/// Sums that run side by side, so that one addition need not wait for the last.
const LANES: usize = 8;

/// Σ(x − base), Σ j·(x − base), Σ(x − base)².
fn sums(values: &[f64], base: f64) -> [f64; 3] {
    let (mut sum, mut weighted, mut squares) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
    let mut index: [f64; LANES] = from_fn(|lane| lane as f64);
    let (whole, rest) = values.as_chunks::<LANES>();
    for eight in whole {
        let eight = eight.map(|value| value - base);
        sum = from_fn(|lane| sum[lane] + eight[lane]);
        weighted = from_fn(|lane| weighted[lane] + index[lane] * eight[lane]);
        squares = from_fn(|lane| squares[lane] + eight[lane] * eight[lane]);
        index = index.map(|index| index + LANES as f64);
    }
    for (lane, value) in rest.iter().enumerate() {
        let value = value - base;
        sum[lane] += value;
        weighted[lane] += index[lane] * value;
        squares[lane] += value * value;
    }
    [sum, weighted, squares].map(|lanes| lanes.iter().sum())
}

/// The highest and the lowest.
pub(super) fn extremes(values: &[f64]) -> [f64; 2] {
    let (mut high, mut low) = ([f64::MIN; LANES], [f64::MAX; LANES]);
    let (whole, rest) = values.as_chunks::<LANES>();
    for eight in whole {
        high = from_fn(|lane| if eight[lane] > high[lane] { eight[lane] } else { high[lane] });
        low = from_fn(|lane| if eight[lane] < low[lane] { eight[lane] } else { low[lane] });
    }
    let high = high.iter().chain(rest).fold(f64::MIN, |high, value| high.max(*value));
    let low = low.iter().chain(rest).fold(f64::MAX, |low, value| low.min(*value));
    [high, low]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chunks_of_any_size_give_the_same_line() {
        let deviations: Vec<f64> =
            (0..5000).map(|index: i32| 3.0 + 0.25 * f64::from(index) + f64::from(index * 7919 % 101)).collect();
        let fit = |size: usize| {
            let mut fit = BestFit::default();
            for (number, chunk) in deviations.chunks(size).enumerate() {
                fit.take((number * size) as u64, chunk, extremes(chunk));
            }
            let fitted = fit.fitted().expect("enough");
            let (high, low, short) = fit.extremes_from(fitted.offset, fitted.slope);
            (fitted, high - low, short)
        };
        let (whole, spread, _) = fit(5000);
        for size in [1, 7, 256] {
            let (parts, parts_spread, short) = fit(size);
            assert!((parts.slope - whole.slope).abs() < 1e-12 && (parts.offset - whole.offset).abs() < 1e-8, "{size}");
            assert!((parts.residual_squares / whole.residual_squares - 1.0).abs() < 1e-10, "{size}");
            assert!(parts_spread <= spread + 2.0 * short + 1e-9 && spread <= parts_spread + 2.0 * short + 1e-9);
        }
    }

    #[test]
    fn two_edges_make_no_fit() {
        let mut fit = BestFit::default();
        fit.take(0, &[], [0.0; 2]);
        fit.take(0, &[0.0, 1.0], [1.0, 0.0]);
        assert_eq!(fit.fitted(), None);
    }
}
