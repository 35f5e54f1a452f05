//! The step clock: runs of pulses in one direction, the cruise within a run, and where a run begins to slow down.

use crate::capture::{Edge, Tick};
use crate::stats::summary::Line;
use std::ops::Range;

/// Intervals that are looked at together: as many as a full step has with the usual sixteen microsteps, so that the
/// dithering of a timer averages out.
const BLOCK: usize = 16;
/// How far a block's duration may be from the cruise's, in per cent.
const STEADY_PER_CENT: u64 = 3;
/// The fewest intervals that count as a cruise.
const CRUISE_MIN: usize = 64;

/// Memory that is used again for every run.
#[derive(Debug, Clone, Default)]
pub(super) struct Scratch {
    durations: Vec<u64>,
    sorted: Vec<u64>,
    counts: Vec<u32>,
}

/// Step pulses in one direction, without a turn between them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Run {
    /// Which pulses of the phase.
    pub pulses: Range<usize>,
    /// Whether the direction line said right.
    pub rightward: bool,
    /// First pulse.
    pub first: Tick,
    /// Last pulse.
    pub last: Tick,
}

impl Run {
    /// Number of pulses; positive towards the right.
    pub fn signed(&self) -> i64 {
        let count = self.pulses.len() as i64;
        if self.rightward { count } else { -count }
    }
}

/// Splits `pulses` where the direction line changes. A change counts from its own tick on.
pub(super) fn runs(pulses: &[Edge], direction: &[Edge], rightward_before: bool) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    let mut add = |range: Range<usize>, rightward: bool| {
        if range.is_empty() {
            return;
        }
        let (first, last) = (pulses[range.start].tick(), pulses[range.end - 1].tick());
        match runs.last_mut() {
            Some(run) if run.rightward == rightward => (run.pulses.end, run.last) = (range.end, last),
            _ => runs.push(Run { pulses: range, rightward, first, last }),
        }
    };
    let (mut begun, mut rightward) = (0, rightward_before);
    for change in direction {
        let split = pulses.partition_point(|pulse| pulse.tick() < change.tick());
        add(begun..split, rightward);
        (begun, rightward) = (split, change.level());
    }
    add(begun..pulses.len(), rightward);
    runs
}

/// The part of a run at its steady rate, as indices of its first and last pulse; `None` where there is none.
///
/// The steady rate is the median over the middle half of the run. The cruise reaches from the first to the last block
/// of sixteen intervals within 3 % of it: what happens in between, a gap or a burst, belongs to it. A tenth of either
/// ramp and one block more are then cut off, because the last 3 % of a ramp of constant acceleration are the last 6 %
/// of its way. Where more than three in ten blocks between are off the rate, there was no steady rate.
pub(super) fn cruise(pulses: &[Edge], scratch: &mut Scratch) -> Option<Range<usize>> {
    let intervals = pulses.len().checked_sub(1)?;
    let blocks = intervals / BLOCK;
    if blocks * BLOCK < CRUISE_MIN {
        return None;
    }
    scratch.durations.clear();
    scratch
        .durations
        .extend((0..blocks).map(|block| pulses[(block + 1) * BLOCK].tick() - pulses[block * BLOCK].tick()));
    scratch.sorted.clear();
    scratch.sorted.extend_from_slice(&scratch.durations[blocks / 4..blocks - blocks / 4]);
    let middle = scratch.sorted.len() / 2;
    let steady = *scratch.sorted.select_nth_unstable(middle).1;
    let within = |duration: &u64| duration.abs_diff(steady) * 100 <= steady * STEADY_PER_CENT;
    let first = scratch.durations.iter().position(within)?;
    let last = scratch.durations.iter().rposition(within)?;
    let steady_blocks = scratch.durations[first..=last].iter().filter(|duration| within(duration)).count();
    if steady_blocks * 10 < (last + 1 - first) * 7 {
        return None;
    }
    let trimmed = |ramp: usize| if ramp < BLOCK { 0 } else { ramp.div_ceil(10) + BLOCK };
    let begin = first * BLOCK + trimmed(first * BLOCK);
    let end = ((last + 1) * BLOCK).saturating_sub(trimmed(intervals - (last + 1) * BLOCK));
    (end >= begin + CRUISE_MIN && (end - begin) * 4 >= intervals).then_some(begin..end + 1)
}

/// How the intervals of a cruise are spread: exact counts of ticks, no reading rounded.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Intervals {
    /// The interval from which deviations count, ticks.
    pub base: u64,
    /// Deviation from `base` in ticks, and how often; ascending.
    pub deviations: Vec<(i64, u64)>,
    /// Sum of the squares of the change from one interval to the next, ticks².
    pub change_squares: f64,
}

/// Deviations up to this many ticks are counted in an array; the few beyond are listed.
const COUNTED: i64 = 1 << 15;

impl Intervals {
    /// Counts the intervals between `pulses`.
    pub fn count(pulses: &[Edge], scratch: &mut Scratch) -> Self {
        let Some(span) = pulses.len().checked_sub(1).filter(|intervals| *intervals > 0) else {
            return Self::default();
        };
        let base = (pulses[span].tick() - pulses[0].tick()) / span as u64;
        scratch.counts.clear();
        scratch.counts.resize(2 * COUNTED as usize + 1, 0);
        let mut beyond: Vec<(i64, u64)> = Vec::new();
        // In whole numbers, so that no square is rounded away.
        let mut change_squares = 0_u128;
        let mut last = pulses[0].tick();
        let mut before = pulses[1].tick() - last;
        for pulse in &pulses[1..] {
            let interval = pulse.tick() - std::mem::replace(&mut last, pulse.tick());
            let deviation = interval as i64 - base as i64;
            match scratch.counts.get_mut((deviation + COUNTED) as usize) {
                Some(count) => *count += 1,
                None => beyond.push((deviation, 1)),
            }
            let change = interval.abs_diff(std::mem::replace(&mut before, interval));
            change_squares += u128::from(change) * u128::from(change);
        }
        let change_squares = change_squares as f64;
        let counted = scratch.counts.iter().enumerate().filter(|(_, count)| **count > 0);
        beyond.extend(counted.map(|(index, count)| (index as i64 - COUNTED, u64::from(*count))));
        beyond.sort_unstable();
        beyond.dedup_by(|later, kept| {
            let same = later.0 == kept.0;
            kept.1 += if same { later.1 } else { 0 };
            same
        });
        Self { base, deviations: beyond, change_squares }
    }

    /// How many intervals there are.
    pub fn total(&self) -> u64 {
        self.deviations.iter().map(|entry| entry.1).sum()
    }
}

/// Where a run of pulses begins to slow down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Knee {
    /// When, ticks after the moment that was asked about.
    pub after: f64,
    /// Standard uncertainty of that, ticks.
    pub uncertainty: f64,
}

/// Intervals before the moment that say what the steady rate is.
const BEFORE: usize = 64;

/// The first lengthened interval after `from`; `None` where the run was not steady before, or never slowed.
///
/// A ramp's first intervals are lengthened by less than the jitter. So a line is fitted to the rate between 90 % and 40 %
/// of the steady one, and followed back to where it meets it; the first pulse there begins the interval. A run that stops more abruptly than that shows its first
/// longer interval plainly.
pub(super) fn knee(pulses: &[Edge], from: Tick) -> Option<Knee> {
    let next = pulses.partition_point(|pulse| pulse.tick() <= from);
    let before = &pulses[next.saturating_sub(BEFORE + 1)..next];
    if before.len() < 9 {
        return None;
    }
    let mut sorted: Vec<u64> = before.windows(2).map(|pair| pair[1].tick() - pair[0].tick()).collect();
    sorted.sort_unstable();
    // The mean of the ordinary ones: a median would be a whole tick, and half a tick moves the knee by a third of a step.
    let middle = sorted[sorted.len() / 2];
    sorted.retain(|interval| interval.abs_diff(middle) * 100 <= middle * STEADY_PER_CENT);
    let steady = sorted.iter().sum::<u64>() as f64 / sorted.len() as f64;
    let after = &pulses[next - 1..];
    if (from - after[0].tick()) as f64 > 3.0 * steady {
        return None;
    }
    let rate = |pair: &[Edge]| steady / (pair[1].tick() - pair[0].tick()).max(1) as f64;
    let slow = |index: usize| after.windows(2).skip(index).take(3).all(|pair| rate(pair) < 0.93);
    let begun = (0..after.len() - 1).find(|index| slow(*index));
    let resolution = steady / 12_f64.sqrt();
    let Some(begun) = begun else {
        // It went on at full rate up to its very last pulse, which is where the endless interval began.
        let last = after.last().expect("holds the pulse before").tick();
        return Some(Knee { after: last.saturating_sub(from) as f64, uncertainty: resolution });
    };
    let middle = |pair: &[Edge]| 0.5 * (pair[0].tick() as f64 + pair[1].tick() as f64) - from as f64;
    let points: Vec<(f64, f64)> = after[begun..]
        .windows(2)
        .take_while(|pair| rate(pair) > 0.4)
        .filter(|pair| rate(pair) < 0.9)
        .map(|pair| (middle(pair), rate(pair)))
        .collect();
    let plain = Knee { after: after[begun].tick().saturating_sub(from) as f64, uncertainty: resolution };
    let Some(line) = Line::fit(&points).filter(|line| points.len() >= 5 && line.slope < 0.0) else {
        return Some(plain);
    };
    let meets = line.x_mean + (1.0 - line.y_mean) / line.slope;
    let along = line.y_mean_uncertainty.hypot(line.slope_uncertainty * (meets - line.x_mean)) / line.slope.abs();
    // An interval begins with a pulse: the first one that is not plainly earlier than where the two lines meet.
    let earliest = (meets - 0.25 * steady).max(0.0);
    let since = |pulse: &Edge| pulse.tick() as f64 - from as f64;
    let begins = after.iter().map(since).find(|since| *since >= earliest).unwrap_or(earliest);
    Some(Knee { after: begins, uncertainty: along.hypot(resolution) })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clock(intervals: impl IntoIterator<Item = u64>) -> Vec<Edge> {
        let mut tick = 1000;
        let mut pulses = vec![Edge::new(tick, true)];
        pulses.extend(intervals.into_iter().map(|interval| {
            tick += interval;
            Edge::new(tick, true)
        }));
        pulses
    }

    /// Pulses of a trapezoid by arithmetic: `ramp` steps from rest at constant acceleration up to `cruise` ticks an interval.
    fn trapezoid(ramp: usize, steady: usize, cruise: f64) -> Vec<Edge> {
        // Step n of a ramp comes at c0 √n, and the interval there is c0 / (2 √n).
        let c0 = 2.0 * cruise * (ramp as f64).sqrt();
        let up: Vec<f64> = (0..=ramp).map(|step| c0 * (step as f64).sqrt()).collect();
        let top = up[ramp];
        let flat = (1..=steady).map(|step| top + step as f64 * cruise);
        let end = top + steady as f64 * cruise;
        let down = up.iter().rev().skip(1).map(|tick| end + top - tick);
        up.iter().copied().chain(flat).chain(down).map(|tick| Edge::new(tick.round() as Tick + 1000, true)).collect()
    }

    #[test]
    fn a_cruise_excludes_its_ramps() {
        let pulses = trapezoid(200, 4000, 277.8);
        let range = cruise(&pulses, &mut Scratch::default()).expect("a cruise");
        assert!(range.start >= 199 && range.start < 260, "{range:?}");
        assert!(range.end <= 4202 && range.end > 4140, "{range:?}");
    }

    #[test]
    fn a_cruise_is_found_in_spite_of_gaps_bursts_and_dithering() {
        let mut intervals: Vec<u64> = (0..5000).map(|step| if step % 2 == 0 { 270 } else { 286 }).collect();
        intervals[2000] = 5000;
        intervals[3000] = 12;
        let range = cruise(&clock(intervals), &mut Scratch::default()).expect("a cruise");
        assert!(range.start < 40 && range.end > 4960, "{range:?}");
    }

    #[test]
    fn a_triangle_has_no_cruise() {
        assert_eq!(cruise(&trapezoid(300, 2, 277.8), &mut Scratch::default()), None);
        assert_eq!(cruise(&clock(vec![100; 40]), &mut Scratch::default()), None);
        assert_eq!(cruise(&[], &mut Scratch::default()), None);
    }

    #[test]
    fn runs_split_where_the_direction_line_changes() {
        let pulses = clock(vec![10; 9]);
        let turn = [Edge::new(1031, false), Edge::new(1032, true), Edge::new(1050, false)];
        let found = runs(&pulses, &turn, true);
        assert_eq!(found.len(), 2);
        assert_eq!((found[0].pulses.clone(), found[0].rightward, found[0].signed()), (0..5, true, 5));
        assert_eq!((found[1].pulses.clone(), found[1].first, found[1].signed()), (5..10, 1050, -5));
    }

    #[test]
    fn intervals_are_counted_exactly() {
        let counted = Intervals::count(&clock([100, 101, 99, 100, 9000, 100]), &mut Scratch::default());
        assert_eq!(counted.base, 1583);
        assert_eq!(counted.total(), 6);
        assert_eq!(counted.deviations, [(-1484, 1), (-1483, 3), (-1482, 1), (7417, 1)]);
        assert_eq!(counted.change_squares, 1.0 + 4.0 + 1.0 + 2.0 * 8900.0 * 8900.0);
        assert_eq!(Intervals::count(&[], &mut Scratch::default()), Intervals::default());
    }

    #[test]
    fn the_knee_of_a_ramp_is_where_the_ramp_begins() {
        let pulses = trapezoid(200, 1000, 277.8);
        let begins = pulses[1200].tick();
        let knee = knee(&pulses, pulses[1100].tick() + 100).expect("it slows");
        let found = pulses[1100].tick() as f64 + 100.0 + knee.after;
        assert!((found - begins as f64).abs() < 2.0 * knee.uncertainty, "{found} {begins} {knee:?}");
    }

    #[test]
    fn the_knee_of_an_abrupt_stop_is_its_last_regular_pulse() {
        let knee_of = |intervals: Vec<u64>| knee(&clock(intervals), 1000 + 50 * 100 + 30).expect("it stops");
        assert_eq!(knee_of(vec![100; 60]).after, 970.0);
        let mut slowing = vec![100; 55];
        slowing.extend([150, 300, 900]);
        assert_eq!(knee_of(slowing).after, 470.0);
        assert_eq!(knee(&clock(vec![100; 3]), 1250), None);
        assert_eq!(knee(&clock(vec![100; 60]), 10_000), None, "it stood still already");
    }
}
