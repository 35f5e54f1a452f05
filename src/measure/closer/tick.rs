//! The tick of the timer behind the steps: the longest time of which the step periods of a ramp are whole multiples.
//!
//! The periods of a cruise are all alike, and tell nothing; those of a ramp are some hundred different ones. Wrapped round a
//! circle once a tick, they all come to the same place; round any other they scatter. How far they come together, from 0 to 1,
//! over all circles at once is the transform of their distribution.
//!
//! A capture has ticks of its own. What lies on its grid comes together on every circle that the grid fits, and a firmware's
//! tick that is too fine for it may look like a coarser one. So a tick is given only where it comes together further than
//! the image of one too fine for the capture could (the square of sin(x)/x, since a period has two stamps), and none below
//! [`FINEST`] of the capture's own.

use super::View;
use crate::capture::{Edge, Tick};
use crate::measure::Setup;
use crate::measure::evidence::RunEvidence;
use crate::measure::values::clock;
use crate::stats::Estimate;
use crate::stats::spectrum::{Detrend, Lines, Window};
use std::f64::consts::{PI, TAU};

/// The fewest periods of ramps that are looked at, and the most.
const PERIODS_MIN: usize = 128;
const PERIODS_MAX: usize = 4096;
/// A period of a ramp is at least so many per cent longer than those of the cruise, which all are the same.
const SLOWER_PER_CENT: u64 = 103;
/// Periods so many ticks of the capture longer than the shortest are left out: the transform has to end somewhere.
const RANGE_MAX: u64 = 1 << 18;
/// A tick is at least so many times what the capture tells apart.
const FINEST: f64 = 2.2;
/// The shortest period has at least so many ticks: below, the shape of the ramp itself is on the circle.
const COARSEST: f64 = 8.0;
/// Natural logarithm of how unlikely chance makes as much of scattered periods on any of the circles.
const UNLIKELY: f64 = 13.8;
/// What a tick has to come together further than the image of one too fine would.
const BEYOND_IMAGE: f64 = 0.1;
/// A circle of which a tick is a whole part brings the periods together as far but for this part.
const AS_FAR: f64 = 0.9;
/// Into how many parts a circle is taken at most.
const PARTS: u32 = 16;

/// A timer's tick as it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimerTick {
    /// Its length and the standard uncertainty of that from the scatter of the periods, ticks of the jig.
    length: (f64, f64),
    /// How far the periods come together, from 0 to 1.
    pub together: f64,
    /// Periods that were looked at.
    pub periods: usize,
}

impl TimerTick {
    /// Its length, s.
    pub fn tick(&self, setup: &Setup) -> Estimate {
        let seconds = |ticks: f64| crate::measure::values::seconds(ticks, setup);
        let length = seconds(self.length.0);
        Estimate::of(length)
            .with_freedom("scatter", seconds(self.length.1), self.periods as f64 - 2.0)
            .and(clock(length, setup))
    }
}

/// Finds it in the ramps of a run, or says why it cannot be told.
pub(super) fn find(view: &View<'_>, pulses: &[Edge], run: &RunEvidence) -> Result<TimerTick, &'static str> {
    let periods = periods(pulses, run).ok_or("the ramps have too few steps to tell the timer's tick")?;
    let grain = grain(view.setup).max(common_divisor(&periods) as f64);
    let shortest = periods.iter().copied().min().unwrap_or(0);
    let near: Vec<f64> =
        periods.iter().filter(|period| **period - shortest < RANGE_MAX).map(|period| *period as f64).collect();
    // Circles a tick of the jig, from the coarsest tick to the finest.
    let (lowest, highest) = (COARSEST / shortest as f64, 1.0 / (FINEST * grain));
    if near.len() < PERIODS_MIN || lowest >= highest {
        return Err(HIDDEN);
    }
    let (circle, width) = circle(&near, shortest, lowest, highest).ok_or(HIDDEN)?;
    let found = together(&near, circle);
    // What speeds up and slows down goes through the same periods twice.
    let by_chance = 2.0 * (((highest - lowest) / width).ln() + UNLIKELY) / near.len() as f64;
    if found.0.powi(2) < by_chance || found.0 < image(grain * circle) + BEYOND_IMAGE {
        return Err(HIDDEN);
    }
    let length = (1.0 / circle, doubt(&near, circle, found) / circle.powi(2));
    Ok(TimerTick { length, together: found.0, periods: near.len() })
}

const HIDDEN: &str = "the capture's own resolution, or how unevenly the steps come, hides the timer's tick";

/// Periods of the ramps before and behind the cruise; `None` of too few.
fn periods(pulses: &[Edge], run: &RunEvidence) -> Option<Vec<Tick>> {
    let (from, to, period) = run.clock.steady()?;
    let outside = |pair: &&[Edge]| pair[1].tick() <= from || pair[0].tick() >= to;
    let lengths = pulses.windows(2).filter(outside).map(|pair| pair[1].tick().saturating_sub(pair[0].tick()));
    let slower = |length: &Tick| 100 * length > SLOWER_PER_CENT * period;
    let periods: Vec<Tick> = lengths.filter(slower).take(PERIODS_MAX).collect();
    (periods.len() >= PERIODS_MIN).then_some(periods)
}

/// What the capture tells apart, ticks: a tick of its own, or what a stamp is in doubt of beyond it.
fn grain(setup: &Setup) -> f64 {
    (12_f64.sqrt() * setup.jig.stamp_uncertainty * setup.jig.ticks_per_second as f64).max(1.0)
}

/// What all are whole multiples of. Where that is more than a tick of the jig, it may be the capture's real grid.
fn common_divisor(periods: &[Tick]) -> Tick {
    periods.iter().fold(0, |divisor, period| {
        let (mut one, mut other) = (divisor, *period);
        while other > 0 {
            (one, other) = (other, one % other);
        }
        one
    })
}

/// How far a tick too fine for the capture comes together on the circle that it looks like; `finesse` is the capture's grain
/// in that circle's ticks.
fn image(finesse: f64) -> f64 {
    let angle = PI * (1.0 - finesse);
    (angle.sin() / angle).powi(2)
}

/// The circle on which the periods come together furthest, in circles a tick, and how far apart those are that were looked at;
/// where they come together on every part of it too, the largest.
fn circle(periods: &[f64], shortest: Tick, lowest: f64, highest: f64) -> Option<(f64, f64)> {
    let (rough, width) = farthest_together(periods, shortest, lowest, highest)?;
    let found = refine(periods, rough, width);
    let as_far = AS_FAR * together(periods, found).0;
    let larger = (2..=PARTS).rev().map(|part| refine(periods, found / f64::from(part), width));
    let larger = larger.filter(|circle| *circle >= lowest).find(|circle| together(periods, *circle).0 >= as_far);
    Some((larger.unwrap_or(found), width))
}

/// Among circles of these numbers a tick the one on which the periods come together furthest, and how far apart they are.
fn farthest_together(periods: &[f64], shortest: Tick, lowest: f64, highest: f64) -> Option<(f64, f64)> {
    let longest = periods.iter().copied().fold(0.0, f64::max);
    // Twice the range, so that no circle lies between two that are looked at.
    let count = (2 * (longest as usize + 1 - shortest as usize)).next_power_of_two();
    let mut counts = vec![0.0; count];
    for period in periods {
        counts[*period as usize - shortest as usize] += 1.0;
    }
    let lines = Lines::of(&counts, 1.0, Window::Rectangular, Detrend::Nothing)?;
    let within = |line: &usize| (lowest..=highest).contains(&lines.frequency(*line));
    let size = |line: &usize| lines.values[*line].norm_sqr();
    let line = (1..lines.values.len()).filter(within).max_by(|one, other| size(one).total_cmp(&size(other)))?;
    Some((lines.frequency(line), lines.width))
}

/// How far the periods come together on a circle, and where on it, in turns.
fn together(periods: &[f64], circle: f64) -> (f64, f64) {
    let (mut sine, mut cosine) = (0.0, 0.0);
    for period in periods {
        let (one, other) = (TAU * (period * circle).fract()).sin_cos();
        (sine, cosine) = (sine + one, cosine + other);
    }
    (sine.hypot(cosine) / periods.len() as f64, sine.atan2(cosine) / TAU)
}

/// The circle about a rough one on which they come together furthest.
fn refine(periods: &[f64], rough: f64, width: f64) -> f64 {
    let (mut low, mut high) = (rough - width, rough + width);
    for _ in 0..60 {
        let (one, other) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if together(periods, one).0 < together(periods, other).0 { low = one } else { high = other }
    }
    0.5 * (low + high)
}

/// Standard uncertainty of the circle: that of the place where a sum of cosines is largest. Neighbouring periods share a step,
/// whose lateness cancels in part; how far is not relied upon.
fn doubt(periods: &[f64], circle: f64, (together, place): (f64, f64)) -> f64 {
    let mean = periods.iter().sum::<f64>() / periods.len() as f64;
    let (mut score, mut spread) = (0.0, 0.0);
    for period in periods {
        let away = period - mean;
        score += (away * (TAU * (period * circle - place)).sin()).powi(2);
        spread += away.powi(2);
    }
    score.sqrt() / (TAU * together * spread)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Periods of a ramp on a timer of `tick`, each step late by up to `late`, stamped with a clock of ticks of 1.
    fn ramp(tick: f64, late: f64) -> Vec<f64> {
        let mut state = 11_u64;
        let mut chance = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / 9_007_199_254_740_992.0
        };
        let mut at = 1000.0 * chance();
        let mut stamps = vec![at.floor()];
        for step in 1..=400 {
            let step = f64::from(if step <= 200 { step } else { 401 - step });
            at += (2672.0 / 0.5 * (step.sqrt() - (step - 1.0).sqrt())).round() * tick;
            stamps.push((at + late * chance()).floor());
        }
        stamps.windows(2).map(|pair| pair[1] - pair[0]).collect()
    }

    fn found(periods: &[f64]) -> Option<(f64, f64)> {
        let shortest = periods.iter().copied().fold(f64::MAX, f64::min);
        let (circle, _) = circle(periods, shortest as Tick, COARSEST / shortest, 1.0 / FINEST)?;
        Some((1.0 / circle, together(periods, circle).0))
    }

    #[test]
    fn a_tick_is_found_through_the_lateness_of_interrupts() {
        for (tick, late) in [(8.0, 0.0), (8.0, 4.0), (50.3, 25.0), (3.7, 0.0)] {
            let (length, together) = found(&ramp(tick, late)).unwrap();
            assert!((length / tick - 1.0).abs() < 1e-4, "{tick}: {length}");
            assert!(together > image(1.0 / length) + BEYOND_IMAGE, "{tick}: {together}");
        }
    }

    /// A tick of 0.7 of the capture's looks like one of 1/(1/0.7 − 1) = 2.33.
    #[test]
    fn the_image_of_a_tick_too_fine_is_none() {
        for tick in [0.55, 0.6, 0.7, 0.8, 1.0, 1.3] {
            let (length, together) = found(&ramp(tick, 0.0)).unwrap();
            assert!(together < image(1.0 / length) + BEYOND_IMAGE, "{tick}: {length}, {together}");
        }
    }

    #[test]
    fn a_common_grid_is_told() {
        assert_eq!((common_divisor(&[500, 1500, 2000]), common_divisor(&[500, 1501])), (500, 1));
        assert!(image(0.5) > 0.4 && image(0.01) < 1e-3);
    }
}
