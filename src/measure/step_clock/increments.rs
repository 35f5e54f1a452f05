//! A crawl as its step clock shows it: bursts of few steps with pauses between them.

use crate::capture::Tick;

/// The fewest bursts that make a crawl.
pub(super) const BURSTS_MIN: u64 = 4;

/// Bursts that were seen. The interval from the first to the second is left out: a crawl may begin in mid-interval.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Increments {
    /// Bursts.
    pub bursts: u64,
    /// Fewest and most steps of a burst.
    pub steps: (u64, u64),
    begun: Option<Tick>,
    intervals: f64,
    mean: f64,
    squares: f64,
}

impl Increments {
    /// Takes a burst that began at `begun`.
    pub(super) fn take(&mut self, begun: Tick, steps: u64) {
        if let Some(before) = self.begun.replace(begun).filter(|_| self.bursts >= 2) {
            self.intervals += 1.0;
            let interval = begun.saturating_sub(before) as f64;
            let apart = interval - self.mean;
            self.mean += apart / self.intervals;
            self.squares += apart * (interval - self.mean);
        }
        self.steps = if self.bursts == 0 { (steps, steps) } else { (self.steps.0.min(steps), self.steps.1.max(steps)) };
        self.bursts += 1;
    }

    /// Mean time from one burst to the next, ticks, its standard deviation, and how many there are; `None` of fewer than two.
    pub fn interval(&self) -> Option<(f64, f64, f64)> {
        (self.intervals >= 2.0).then(|| (self.mean, (self.squares / (self.intervals - 1.0)).sqrt(), self.intervals))
    }
}
