//! A clock at its steady rate: everything that is said of a cruise, in one pass over its edges and constant memory.
//!
//! Each edge becomes its deviation from a clock of about the same period, which is small, so that no later difference
//! loses digits. The exact period does not matter: the best-fit clock is found from the deviations at the end.

use super::farthest::Farthest;
use super::fit::{BestFit, extremes};
use super::intervals::Intervals;
use super::lags::{CHUNK, HISTORY, Lag, Lags};
use crate::capture::Tick;

/// Bands of the envelope in a long window.
const LONG_WINDOWS: [usize; 3] = [4, 32, 256];

/// A clock at its steady rate. Times are ticks, ascending; equal ones are allowed.
#[derive(Debug, Clone, PartialEq)]
pub struct SteadyClock {
    period: f64,
    first: Tick,
    last: Tick,
    /// Edges taken after the first.
    taken: u64,
    /// Edges that wait for a whole chunk.
    waiting: Vec<Tick>,
    /// Deviations of a chunk, and of the edges before it.
    deviations: Box<[f64; HISTORY + CHUNK]>,
    /// How many of the edges before it there are.
    known: usize,
    /// Where a perfect clock of the period would be after 1, 2, 3 … intervals.
    ideal: Box<[f64; CHUNK]>,
    pub(super) intervals: Intervals,
    lags: Lags,
    fit: BestFit,
    farthest: Farthest,
    /// The longest interval, and when it began.
    longest: (u64, Tick),
}

impl SteadyClock {
    /// A clock whose first edge came at `first` and whose period is about `period` ticks.
    pub fn new(first: Tick, period: f64, ns_per_tick: f64) -> Self {
        let mut fit = BestFit::default();
        fit.take(0, &[0.0], [0.0; 2]);
        let mut lags = Lags::default();
        lags.thin(&[0.0], 0);
        Self {
            period,
            first,
            last: first,
            taken: 0,
            waiting: Vec::with_capacity(CHUNK),
            deviations: Box::new([0.0; HISTORY + CHUNK]),
            known: 1,
            ideal: Box::new(std::array::from_fn(|place| (place + 1) as f64 * period)),
            intervals: Intervals::about(period, ns_per_tick),
            lags,
            fit,
            farthest: Farthest::default(),
            longest: (0, first),
        }
    }

    /// Takes the next edges.
    pub fn take(&mut self, mut ticks: &[Tick]) {
        if !self.waiting.is_empty() {
            let missing = (CHUNK - self.waiting.len()).min(ticks.len());
            self.waiting.extend_from_slice(&ticks[..missing]);
            ticks = &ticks[missing..];
            if self.waiting.len() < CHUNK {
                return;
            }
            let whole = std::mem::take(&mut self.waiting);
            self.chunk(&whole);
            self.waiting = whole;
            self.waiting.clear();
        }
        let (whole, rest) = ticks.as_chunks::<CHUNK>();
        whole.iter().for_each(|chunk| self.chunk(chunk));
        self.waiting.extend_from_slice(rest);
    }

    fn chunk(&mut self, ticks: &[Tick]) {
        let first = self.taken + 1;
        let begun = self.last;
        // What has gone by is subtracted in whole ticks, so that only small numbers are rounded.
        let base = (begun - self.first) as f64 - self.taken as f64 * self.period;
        let mut before = begun;
        let mut longest = self.longest.0;
        let mut longest_at = usize::MAX;
        let deviations = self.deviations[HISTORY..].iter_mut().zip(self.ideal.iter());
        for (place, (tick, (deviation, ideal))) in ticks.iter().zip(deviations).enumerate() {
            let interval = tick.saturating_sub(before);
            before = *tick;
            self.intervals.count(interval);
            if interval > longest {
                (longest, longest_at) = (interval, place);
            }
            *deviation = base + (tick.saturating_sub(begun) as i64 as f64 - ideal);
        }
        if longest_at != usize::MAX {
            self.longest = (longest, longest_at.checked_sub(1).map_or(begun, |before| ticks[before]));
        }
        let end = HISTORY + ticks.len();
        self.lags.take(&self.deviations[..end], self.known, first);
        let extremes = extremes(&self.deviations[HISTORY..end]);
        self.fit.take(first, &self.deviations[HISTORY..end], extremes);
        self.farthest.take(&self.deviations[HISTORY - self.known..end], self.known, extremes);
        self.deviations.copy_within(end - HISTORY..end, 0);
        self.known = (self.known + ticks.len()).min(HISTORY);
        self.taken += ticks.len() as u64;
        self.last = before;
    }

    /// Ends the clock.
    pub fn finish(mut self) -> Steadied {
        let rest = std::mem::take(&mut self.waiting);
        if !rest.is_empty() {
            self.chunk(&rest);
        }
        self.intervals.shrink();
        Steadied { clock: self }
    }
}

/// What a clock at its steady rate was like. All times are in ticks.
#[derive(Debug, Clone, PartialEq)]
pub struct Steadied {
    clock: SteadyClock,
}

/// How far the edges stray from an even clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strays {
    /// Period of that clock, ticks.
    pub period: f64,
    /// Root mean square deviation, ticks; the degrees of freedom of the fit are taken off.
    pub rms: f64,
    /// Highest less lowest deviation, ticks, and by how much it may be short of the truth.
    pub peak_to_peak: f64,
    /// By how much `peak_to_peak` may fall short.
    pub short: f64,
    /// Lag-one correlation of the deviations, from 0 (each on its own) to 1 (a slow wander).
    pub correlation: f64,
}

impl Steadied {
    /// First and last edge.
    pub fn span(&self) -> (Tick, Tick) {
        (self.clock.first, self.clock.last)
    }

    /// Number of intervals.
    pub fn intervals(&self) -> u64 {
        self.clock.taken
    }

    /// Mean interval, ticks; `None` where there is none.
    pub fn mean_period(&self) -> Option<f64> {
        (self.clock.taken > 0).then(|| (self.clock.last - self.clock.first) as f64 / self.clock.taken as f64)
    }

    /// Counts of the intervals.
    pub(super) fn counted(&self) -> &Intervals {
        &self.clock.intervals
    }

    /// The longest interval, ticks, and when it began.
    pub fn longest(&self) -> (u64, Tick) {
        self.clock.longest
    }

    /// Sums of each lag, the shortest lag first.
    pub(super) fn lags(&self) -> impl Iterator<Item = &Lag> {
        self.clock.lags.iter()
    }

    /// The sums of one lag.
    pub(super) fn lag(&self, periods: u64) -> Option<&Lag> {
        self.lags().find(|lag| lag.periods == periods)
    }

    /// Time interval error against the clock that fits best in the sense of least squares; `None` of fewer than three edges.
    pub fn strays(&self) -> Option<Strays> {
        let fitted = self.clock.fit.fitted()?;
        let (high, low, short) = self.clock.fit.extremes_from(fitted.offset, fitted.slope);
        let variance = fitted.residual_squares / (fitted.count - 2.0).max(1.0);
        // The change from edge to edge has twice the variance of edges that know nothing of each other.
        let change = self.lag(1).and_then(Lag::variance).unwrap_or(0.0);
        let correlation = if variance > 0.0 { (1.0 - 0.5 * change / variance).clamp(0.0, 1.0) } else { 0.0 };
        Some(Strays {
            period: self.clock.period + fitted.slope,
            rms: variance.sqrt(),
            peak_to_peak: high - low,
            short,
            correlation,
        })
    }

    /// Time interval error against a clock of a given period that starts with the first edge: the one farthest from 0, ticks,
    /// with its sign, and by how much it may fall short.
    pub fn farthest_from(&self, period: f64) -> (f64, f64) {
        let (high, low, short) = self.clock.fit.extremes_from(0.0, period - self.clock.period);
        (if high >= -low { high } else { low }, short)
    }

    /// The most by which the time interval error changes within so many periods, against the clock that fits best, ticks
    /// (MTIE, ITU-T G.810), for a few numbers of periods: periods, value, and by how much it may be off either way.
    ///
    /// Short windows are looked at one by one against the period that the clock was begun with, whose own error tilts them a
    /// little; long ones are made of whole bands of the envelope, one band more being the upper bound.
    pub fn maximum_errors(&self) -> Vec<(u64, f64, f64)> {
        let Some(fitted) = self.clock.fit.fitted() else {
            return Vec::new();
        };
        let tilted = |(periods, value): (usize, f64)| (periods as u64, value, fitted.slope.abs() * periods as f64);
        let mut all: Vec<_> = self.clock.farthest.found().map(tilted).collect();
        let band = self.clock.fit.band_edges();
        for bands in LONG_WINDOWS {
            let range = |bands| self.clock.fit.largest_range(bands, fitted.slope);
            if let (Some(least), Some(most)) = (range(bands), range(bands + 1)) {
                let off = 0.5 * (most - least) + fitted.slope.abs() * band as f64;
                all.push((bands as u64 * band, 0.5 * (least + most), off));
            }
        }
        all
    }

    /// Overlapping Allan deviation at each lag that has a value: periods, number of second differences, deviation.
    pub fn allan_deviations(&self) -> Vec<(u64, u64, f64)> {
        let Some(period) = self.mean_period().filter(|period| *period > 0.0) else {
            return Vec::new();
        };
        let at = |lag: &Lag| {
            let mean_square = lag.second_mean_square()?;
            let deviation = (0.5 * mean_square).sqrt() / (lag.periods as f64 * period);
            Some((lag.periods, lag.second_count as u64, deviation))
        };
        self.lags().filter_map(at).collect()
    }
}
