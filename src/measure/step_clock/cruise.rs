//! A cruise while it goes on and once it is over, and what tells a steady rate from a changing one.

use super::Gap;
use super::ramp::Points;
use super::steady::{Steadied, SteadyClock};
use crate::capture::Tick;

/// Intervals that are looked at together.
pub(super) const BLOCK: usize = 16;
/// How far a block's duration may be from the cruise's, in per cent.
pub(super) const STEADY_PER_CENT: u64 = 3;
/// Blocks that have to agree before a cruise opens, and how many of them.
pub(super) const WINDOW: usize = 8;
const AGREEING: usize = 6;
/// How far the halves of the window may drift apart: one part in so many.
const DRIFT_PARTS: u64 = 133;

/// A cruise that goes on.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Open {
    /// Duration of a block at its rate, ticks.
    pub reference: u64,
    /// Number of its first step, and of the last one that was at its rate.
    pub from: u64,
    pub steady_until: u64,
    /// Steps that are held back at its end.
    pub held_back: u64,
    pub off: usize,
    /// Number of the step up to which the longest interval before the cruise is known.
    pub seen: u64,
    pub blocks: u64,
    pub steady_blocks: u64,
    /// The clock, and the number of the last step that it took.
    pub clock: Option<(SteadyClock, u64)>,
    pub before: Points,
    pub gap_before: Gap,
}

/// A cruise that is over, with what lay before and after it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cruise {
    pub clock: Steadied,
    /// Numbers of its first and last step.
    pub from: u64,
    pub to: u64,
    pub before: Points,
    pub gap_before: Gap,
    pub after: Option<(Points, Gap)>,
}

/// Duration of a block where the window is steady.
pub(super) fn steady(window: &[u64]) -> Option<u64> {
    let window: &[u64; WINDOW] = window.try_into().ok()?;
    let median = |blocks: &[u64]| {
        let mut sorted = [0; WINDOW];
        sorted[..blocks.len()].copy_from_slice(blocks);
        sorted[..blocks.len()].sort_unstable();
        (sorted[(blocks.len() - 1) / 2] + sorted[blocks.len() / 2]) / 2
    };
    let whole = median(window);
    let (one, other) = (median(&window[..WINDOW / 2]), median(&window[WINDOW / 2..]));
    let band = whole.saturating_mul(STEADY_PER_CENT);
    let agreeing = window.iter().filter(|block| block.abs_diff(whole).saturating_mul(100) <= band).count();
    let drifts = one.abs_diff(other).saturating_mul(DRIFT_PARTS) > whole;
    // A clock that ticks on without time going by has no rate.
    (agreeing >= AGREEING && !drifts && whole >= BLOCK as u64).then_some(whole)
}

/// Period of a clock by a line through its edges; `None` where no time goes by.
pub(super) fn period(ticks: &[Tick]) -> Option<f64> {
    let (first, last) = (ticks.first()?, ticks.last()?);
    let middle = 0.5 * (ticks.len() as f64 - 1.0);
    let products = |at: usize, tick: &Tick| (at as f64 - middle) * (tick - first) as f64;
    let sum: f64 = ticks.iter().enumerate().map(|(at, tick)| products(at, tick)).sum();
    let count = ticks.len() as f64;
    (last > first).then(|| sum / (count * (count * count - 1.0) / 12.0)).filter(|period| *period > 0.0)
}
