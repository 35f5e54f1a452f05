//! The most by which a clock gains or loses within so many periods: maximum time interval error (MTIE, ITU-T G.810).
//!
//! Every window of a number of periods is looked at. Most need not be: where the extremes of two chunks are closer than what
//! was already found, no window within them can be wider. Where they are not, the extremes of a window are put together from
//! those of windows of half its length, which costs as many passes as the length has binary digits.

use super::fit::extremes;
use super::lags::{CHUNK, HISTORY};

/// Periods of the windows.
const PERIODS: [usize; 4] = [1, 2, 10, 100];

/// The widest range of deviations within windows of a few lengths, ticks.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Farthest {
    widest: [Option<f64>; PERIODS.len()],
    /// Highest and lowest deviation of the chunk before.
    before: [f64; 2],
}

impl Default for Farthest {
    fn default() -> Self {
        // A clock begins with an edge that deviates by nothing.
        Self { widest: [None; PERIODS.len()], before: [0.0; 2] }
    }
}

impl Farthest {
    /// Takes a chunk of deviations behind `known` earlier ones. No chunk but the last may be shorter than the longest window;
    /// `extremes` are the highest and the lowest of the chunk.
    pub fn take(&mut self, deviations: &[f64], known: usize, extremes: [f64; 2]) {
        let range = extremes[0].max(self.before[0]) - extremes[1].min(self.before[1]);
        for (periods, widest) in PERIODS.iter().zip(&mut self.widest) {
            // A window that ends in this chunk begins at most so many edges before it.
            let with_history = &deviations[known.saturating_sub(*periods)..];
            if with_history.len() > *periods && widest.is_none_or(|widest| range > widest) {
                let found = widest_window(with_history, periods + 1);
                *widest = Some(widest.map_or(found, |widest| widest.max(found)));
            }
        }
        self.before = extremes;
    }

    /// Periods, and the widest range within as many, as far as there was one.
    pub fn found(&self) -> impl Iterator<Item = (usize, f64)> {
        PERIODS.into_iter().zip(self.widest).filter_map(|(periods, widest)| Some((periods, widest?)))
    }
}

/// The widest range of so many consecutive values, of which there are at least so many.
fn widest_window(values: &[f64], edges: usize) -> f64 {
    let mut high = [f64::MIN; HISTORY + CHUNK];
    let mut low = [f64::MAX; HISTORY + CHUNK];
    let mut count = values.len();
    high[..count].copy_from_slice(values);
    low[..count].copy_from_slice(values);
    let mut width = 1;
    while width < edges {
        // Two windows side by side, or overlapping where twice the width would be too much.
        let apart = width.min(edges - width);
        count -= apart;
        for at in 0..count {
            // Deviations are numbers; `max` and `min` would look whether they are, every time.
            high[at] = if high[at + apart] > high[at] { high[at + apart] } else { high[at] };
            low[at] = if low[at + apart] < low[at] { low[at + apart] } else { low[at] };
        }
        width += apart;
    }
    high[..count].iter_mut().zip(&low[..count]).for_each(|(high, low)| *high -= low);
    extremes(&high[..count])[0]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wandering series with a jump in it.
    fn series() -> Vec<f64> {
        let mut state = 7_u64;
        let mut phase = 0.0;
        let mut step = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            phase += (state >> 40) as f64 / 16_777_216.0 - 0.5;
            phase
        };
        let mut series: Vec<f64> = std::iter::once(0.0).chain((0..1500).map(|_| step())).collect();
        series[700..].iter_mut().for_each(|value| *value += 9.0);
        series
    }

    #[test]
    fn every_window_counts_whatever_the_chunks() {
        let series = series();
        // Whole chunks but for the last, which is as a clock takes them.
        for chunk in [100, 137, CHUNK] {
            let mut farthest = Farthest::default();
            let mut taken = 1;
            for part in series[1..].chunks(chunk) {
                let known = taken.min(HISTORY);
                farthest.take(&series[taken - known..taken + part.len()], known, extremes(part));
                taken += part.len();
            }
            for (periods, found) in farthest.found() {
                let range = |window: &[f64]| extremes(window)[0] - extremes(window)[1];
                let expected = series.windows(periods + 1).map(range).fold(0.0, f64::max);
                assert_eq!(found, expected, "{periods} periods in chunks of {chunk}");
            }
            assert_eq!(farthest.found().count(), PERIODS.len());
        }
    }

    #[test]
    fn what_is_shorter_than_a_window_has_none() {
        let mut farthest = Farthest::default();
        farthest.take(&[0.0, 2.0, -1.0], 1, [2.0, -1.0]);
        assert_eq!(farthest.found().collect::<Vec<_>>(), [(1, 3.0), (2, 3.0)]);
    }
}
