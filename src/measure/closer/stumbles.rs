//! Stumbles of the step clock: pulses that came twice, steps that came late, steps that did not come at all.
//!
//! A pulse that comes much sooner than its neighbours has one of two reasons. After a late step the next one is on
//! time: three intervals take three periods. A doubled pulse is one too many: the three intervals about it take two
//! periods. A step that is late by more than half a period is a gap; where the clock has not caught up four steps
//! later, so many steps were skipped. Skipped steps are not lost ones: driver and carriage never heard of them.

use super::{CloserLook, Place, View};
use crate::capture::Edge;
use crate::measure::evidence::CruiseEvidence;
use crate::measure::pulses::Run;

/// A doubled pulse comes sooner than this part of its neighbours' intervals.
const SOON: u64 = 4;
/// Three intervals of a doubled pulse take less than so many periods; those about a late step take three.
const WITH_ONE_TOO_MANY: f64 = 2.5;
/// A gap is longer than so many periods.
const LONG: f64 = 1.5;
/// Steps after a gap within which the clock catches up, or does not.
const CATCHES_UP_WITHIN: usize = 4;
/// Encoder edges before and after a doubled pulse in which the carriage shows whether it followed.
const EDGES: usize = 32;

/// A pulse that came twice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubled {
    /// Where and when.
    pub place: Place,
    /// How long after the first one the second came, s.
    pub after_s: f64,
    /// What the carriage made of it.
    pub followed: Followed,
}

/// What the carriage made of a pulse too many.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Followed {
    /// It is a step further: the driver took it for a step.
    Yes,
    /// It is not: a disturbance of the line that the driver did not hear.
    No,
    /// The encoder cannot tell.
    Unknown,
}

/// A step of a cruise that came late.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Where and when it began.
    pub place: Place,
    /// How long it was, s.
    pub length_s: f64,
    /// The period about it, s.
    pub period_s: f64,
    /// Steps that never came.
    pub skipped: usize,
}

/// Finds them in a run.
pub(super) fn find(view: &View<'_>, run: &Run, cruise: Option<&CruiseEvidence>, look: &mut CloserLook) {
    let pulses = &view.section.pulses[run.pulses.clone()];
    let steady = |edge: &Edge| cruise.is_some_and(|cruise| (cruise.began..cruise.ended).contains(&edge.tick()));
    for index in doubled_after(pulses) {
        look.doubled.add(doubled(view, run, index));
    }
    let mut gaps: Vec<Late> = gaps(pulses).filter(|gap| steady(&pulses[gap.index])).collect();
    look.gaps.count += gaps.len();
    // Only the longest get a place, which takes a look at the carriage.
    gaps.sort_unstable_by_key(|gap| std::cmp::Reverse(gap.length));
    gaps.truncate(super::LISTED_MAX);
    look.gaps.listed.extend(gaps.into_iter().map(|gap| Gap {
        place: view.place(pulses[gap.index].tick(), gap.index + 1, run.rightward),
        length_s: view.seconds(gap.length as f64),
        period_s: view.seconds(gap.period),
        skipped: gap.skipped,
    }));
}

/// The interval that begins with a pulse, ticks. Pulses of a broken capture may go back in time.
fn interval(pulses: &[Edge], index: usize) -> u64 {
    pulses[index + 1].tick().saturating_sub(pulses[index].tick())
}

/// The intervals that have three others on both sides.
fn inner(pulses: &[Edge]) -> std::ops::Range<usize> {
    3..pulses.len().saturating_sub(4)
}

/// The period about an interval, from the middle two of the four next but one to it.
fn period(pulses: &[Edge], index: usize) -> f64 {
    let mut about = [index - 3, index - 2, index + 2, index + 3].map(|near| interval(pulses, near));
    about.sort_unstable();
    0.5 * (about[1] + about[2]) as f64
}

/// The pulses after which another came that is one too many.
fn doubled_after(pulses: &[Edge]) -> impl Iterator<Item = usize> + '_ {
    inner(pulses).filter(|index| {
        let [before, this, after] = [index - 1, *index, index + 1].map(|near| interval(pulses, near));
        this.saturating_mul(SOON) < before.min(after)
            && ((before + this + after) as f64) < WITH_ONE_TOO_MANY * period(pulses, *index)
    })
}

/// A step that came late, in ticks.
pub(super) struct Late {
    /// The pulse before it.
    pub index: usize,
    length: u64,
    /// The period about it.
    pub period: f64,
    /// Steps that never came.
    pub skipped: usize,
}

/// The steps that came late; one that comes while the clock still catches up is not counted again.
pub(super) fn gaps(pulses: &[Edge]) -> impl Iterator<Item = Late> + '_ {
    let mut caught_up_at = 0;
    inner(pulses).filter_map(move |index| {
        let length = interval(pulses, index);
        let shorter = interval(pulses, index - 1).min(interval(pulses, index + 1));
        // Most intervals are as long as their neighbours, and need no closer look.
        if index < caught_up_at || length as f64 <= LONG * shorter as f64 {
            return None;
        }
        let period = period(pulses, index);
        if length as f64 <= LONG * period || period == 0.0 {
            return None;
        }
        caught_up_at = index + CATCHES_UP_WITHIN;
        let until = (index + CATCHES_UP_WITHIN).min(pulses.len() - 1);
        let taken = pulses[until].tick().saturating_sub(pulses[index].tick()) as f64;
        let skipped = (taken / period - (until - index) as f64).round().max(0.0) as usize;
        Some(Late { index, length, period, skipped })
    })
}

fn doubled(view: &View<'_>, run: &Run, index: usize) -> Doubled {
    let pulses = &view.section.pulses[run.pulses.clone()];
    Doubled {
        place: view.place(pulses[index + 1].tick(), index + 2, run.rightward),
        after_s: view.seconds(interval(pulses, index) as f64),
        followed: followed(view, run, index + 1),
    }
}

/// Steps against borders before and after the pulse with this number in its run. Over so few borders the ripple of
/// pulley and motor moves the carriage by much less than a step.
fn followed(view: &View<'_>, run: &Run, pulse: usize) -> Followed {
    let path = &view.section.path;
    if !view.sees_carriage() {
        return Followed::Unknown;
    }
    let pulses = &view.section.pulses[run.pulses.clone()];
    let next = path.ticks.partition_point(|at| *at <= pulses[pulse].tick());
    if next < EDGES || next + EDGES > path.len() {
        return Followed::Unknown;
    }
    let sense = if run.rightward { 1.0 } else { -1.0 };
    let lag = |edge: usize| {
        let at = path.ticks[edge];
        let count = pulses.partition_point(|pulse| pulse.tick() <= at);
        let steps = match (count.checked_sub(1).map(|last| pulses[last].tick()), pulses.get(count)) {
            // Between two steps the field is on its way.
            (Some(last), Some(next)) if next.tick() > last => {
                count as f64 + (at - last) as f64 / (next.tick() - last) as f64
            }
            _ => count as f64,
        };
        steps - sense * path.border(edge) * view.scale.steps_per_edge
    };
    let mean = |edges: std::ops::Range<usize>| {
        let count = edges.len() as f64;
        edges.map(lag).sum::<f64>() / count
    };
    // The carriage is on its way for a moment: a few edges right after the pulse tell nothing.
    match mean(next + 4..next + EDGES) - mean(next - EDGES..next) {
        change if change.abs() < 0.3 => Followed::Yes,
        change if (0.7..1.3).contains(&change) => Followed::No,
        _ => Followed::Unknown,
    }
}
