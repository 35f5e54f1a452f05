//! How the intervals of a step clock are spread: counted tick by tick about the steady interval, and the few far from it in
//! a histogram of three significant digits.
//!
//! A histogram's own recording costs as much as all the rest of the report. A plain count costs next to nothing, and is
//! exact; the histogram is filled from it once, at the end.

use hdrhistogram::Histogram;

/// Intervals so many ticks shorter or longer than the steady one are counted tick by tick.
const COUNTED: u64 = 1 << 14;
/// The longest interval that a histogram tells apart, ns: a minute.
const LONGEST_NS: u64 = 60_000_000_000;

/// An empty histogram of intervals in ns: from 1 ns to a minute with three significant digits.
pub(super) fn empty() -> Histogram<u64> {
    Histogram::new_with_bounds(1, LONGEST_NS, 3).expect("bounds that the histogram's own rules allow")
}

/// Counts of intervals.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Intervals {
    /// The interval from which deviations count, ticks.
    centre: u64,
    /// Interval of the first count.
    lowest: u64,
    counts: Vec<u64>,
    far: Option<Box<Far>>,
    ns_per_tick: f64,
}

/// Intervals that are too far from the steady one to be counted tick by tick.
#[derive(Debug, Clone, PartialEq)]
struct Far {
    histogram: Histogram<u64>,
    /// Sums of the second and fourth power of their deviations from the steady interval, ticks.
    squares: f64,
    fourths: f64,
    sum: f64,
    count: u64,
    least: u64,
    most: u64,
}

/// Sums over the deviations of all intervals from a given one, ticks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moments {
    pub count: f64,
    pub mean: f64,
    pub variance: f64,
    /// Fourth moment about the mean over the squared variance, less one: 2 for a normal distribution.
    pub excess: f64,
}

impl Intervals {
    /// Counts about a steady interval.
    pub fn about(steady: f64, ns_per_tick: f64) -> Self {
        let centre = steady.round() as u64;
        let lowest = centre.saturating_sub(COUNTED);
        Self { centre, lowest, counts: vec![0; 2 * COUNTED as usize + 1], far: None, ns_per_tick }
    }

    /// Counts one interval.
    #[inline]
    pub fn count(&mut self, interval: u64) {
        match self.counts.get_mut(interval.wrapping_sub(self.lowest) as usize) {
            Some(count) => *count += 1,
            None => self.count_far(interval),
        }
    }

    #[cold]
    fn count_far(&mut self, interval: u64) {
        let (centre, ns_per_tick) = (self.centre(), self.ns_per_tick);
        let far = self.far.get_or_insert_with(|| {
            Box::new(Far {
                histogram: empty(),
                squares: 0.0,
                fourths: 0.0,
                sum: 0.0,
                count: 0,
                least: u64::MAX,
                most: 0,
            })
        });
        let deviation = interval as f64 - centre;
        far.histogram.saturating_record((interval as f64 * ns_per_tick).round() as u64);
        far.sum += deviation;
        far.squares += deviation.powi(2);
        far.fourths += deviation.powi(4);
        far.count += 1;
        far.least = far.least.min(interval);
        far.most = far.most.max(interval);
    }

    fn centre(&self) -> f64 {
        self.centre as f64
    }

    /// Lets go of the counts that are nothing, once all intervals are in.
    pub fn shrink(&mut self) {
        let used = |count: &u64| *count > 0;
        let first = self.counts.iter().position(used).unwrap_or(0);
        let end = self.counts.iter().rposition(used).map_or(first, |last| last + 1);
        self.counts = self.counts[first..end].to_vec();
        self.lowest += first as u64;
    }

    fn near(&self) -> impl DoubleEndedIterator<Item = (u64, u64)> {
        let counted = self.counts.iter().enumerate().filter(|(_, count)| **count > 0);
        counted.map(|(place, count)| (self.lowest + place as u64, *count))
    }

    /// The shortest and the longest interval; `None` where there is none.
    pub fn extremes(&self) -> Option<(u64, u64)> {
        let far = self.far.as_ref();
        let least = self.near().next().map(|entry| entry.0).into_iter().chain(far.map(|far| far.least)).min()?;
        let most = self.near().next_back().map(|entry| entry.0).into_iter().chain(far.map(|far| far.most)).max()?;
        Some((least, most))
    }

    /// Moments of the deviations.
    pub fn moments(&self) -> Moments {
        let centre = self.centre();
        let (mut count, mut sum) = self.far.as_ref().map_or((0.0, 0.0), |far| (far.count as f64, far.sum));
        for (interval, times) in self.near() {
            count += times as f64;
            sum += (interval as f64 - centre) * times as f64;
        }
        let mean = sum / count.max(1.0);
        let about = |power: i32| -> f64 {
            self.near().map(|(interval, times)| (interval as f64 - centre - mean).powi(power) * times as f64).sum()
        };
        // The far ones are so far that the small mean makes no difference to their fourth power.
        let (squares, fourths) = self.far.as_ref().map_or((0.0, 0.0), |far| {
            (far.squares - 2.0 * mean * far.sum + mean * mean * far.count as f64, far.fourths)
        });
        let variance = (about(2) + squares) / (count - 1.0).max(1.0);
        let fourth = (about(4) + fourths) / count.max(1.0);
        let excess = (fourth / variance.powi(2).max(f64::MIN_POSITIVE) - 1.0).max(0.0);
        Moments { count, mean: centre + mean, variance, excess }
    }

    /// The distribution in ns.
    pub fn histogram(&self) -> Histogram<u64> {
        let mut histogram = self.far.as_ref().map_or_else(empty, |far| far.histogram.clone());
        for (interval, times) in self.near() {
            histogram.saturating_record_n((interval as f64 * self.ns_per_tick).round() as u64, times);
        }
        histogram
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_and_far_intervals_make_one_distribution() {
        let mut intervals = Intervals::about(100_000.0, 2.0);
        for interval in [100_000, 100_002, 99_998, 100_000, 150_000, 0] {
            intervals.count(interval);
        }
        intervals.shrink();
        assert_eq!(intervals.extremes(), Some((0, 150_000)));
        let moments = intervals.moments();
        // By hand: deviations 0, 2, −2, 0, 50000 and −100000; mean −50000/6.
        assert!((moments.mean - (100_000.0 - 50_000.0 / 6.0)).abs() < 1e-9, "{moments:?}");
        let squares = 8.0 + 2.5e9 + 1e10 - 50_000.0_f64.powi(2) / 6.0;
        assert!((moments.variance - squares / 5.0).abs() < 1e-3, "{moments:?}");
        let histogram = intervals.histogram();
        assert_eq!((histogram.len(), histogram.count_at(300_000), histogram.count_at(0)), (6, 1, 1));
        assert_eq!(histogram.count_at(200_000), 4);
    }

    #[test]
    fn nothing_counted_has_no_extremes() {
        let intervals = Intervals::about(10.0, 500.0);
        assert_eq!(intervals.extremes(), None);
        assert_eq!(intervals.moments().variance, 0.0);
        assert!(intervals.histogram().is_empty());
    }
}
