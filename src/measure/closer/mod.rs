//! A closer look at a motion: what recurs in the step clock and in the carriage's speed, which steps came late, twice
//! or not at all, and where the carriage lost its way against the steps.
//!
//! It costs transforms of long series, so a session looks closer only where it was asked to. Deliberately bounded: a
//! spectrum takes the first [`READINGS_MAX`] readings of a cruise, and of each kind of happening the worst
//! [`LISTED_MAX`] are listed and the others counted.

mod causes;
mod lost;
mod measurands;
mod ripple;
mod stumbles;
mod tick;

pub use causes::{Cause, Family};
pub use lost::{LostWay, WayCause};
pub use ripple::Spectrum;
pub use stumbles::{Doubled, Followed, Gap};
pub use tick::TimerTick;

pub(super) use measurands::{DOUBLED_STEPS, SPEED_RIPPLE_PEAK, SPEED_RIPPLE_RMS, TIME_INTERVAL_ERROR_TONE, TIMER_TICK};

use super::Setup;
use super::evidence::RunEvidence;
use super::observe::{Scale, Section};
use super::pulses::Run;
use crate::capture::Tick;

/// The most readings that one spectrum takes.
pub const READINGS_MAX: usize = 65_536;
/// The most happenings of a kind that are listed.
pub const LISTED_MAX: usize = 20;

/// Names of the measurands that need a closer look.
pub(super) const MEASURANDS: [&str; 5] =
    [TIME_INTERVAL_ERROR_TONE.name, DOUBLED_STEPS.name, SPEED_RIPPLE_RMS.name, SPEED_RIPPLE_PEAK.name, TIMER_TICK.name];

/// In which checks a session looks closer.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum LookCloser {
    /// In none.
    #[default]
    Nowhere,
    /// In all.
    Everywhere,
    /// In those of these numbers.
    At(Vec<usize>),
}

impl LookCloser {
    /// Whether it looks closer in this check.
    pub fn at(&self, check: usize) -> bool {
        match self {
            Self::Nowhere => false,
            Self::Everywhere => true,
            Self::At(checks) => checks.contains(&check),
        }
    }
}

/// What a closer look at a motion shows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CloserLook {
    /// The time interval error of the step clock over the cruise; amplitudes in s.
    pub step_clock: Option<Spectrum>,
    /// The carriage's speed over the cruise; amplitudes in m/s.
    pub carriage: Option<Spectrum>,
    /// The tick of the timer behind the steps, or why it cannot be told; `None` where there is no step.
    pub timer: Option<Result<TimerTick, &'static str>>,
    /// Pulses that came twice, in order of time.
    pub doubled: Listed<Doubled>,
    /// Steps of the cruise that came late or not at all, the longest first.
    pub gaps: Listed<Gap>,
    /// Where the carriage lost its way against the steps, in order of time.
    pub lost: Listed<LostWay>,
}

/// Happenings: some of them, and how many there were.
#[derive(Debug, Clone, PartialEq)]
pub struct Listed<T> {
    /// Those that are listed.
    pub listed: Vec<T>,
    /// All of them.
    pub count: usize,
}

impl<T> Default for Listed<T> {
    fn default() -> Self {
        Self { listed: Vec::new(), count: 0 }
    }
}

impl<T> Listed<T> {
    /// Counts one, and lists it where there is room.
    fn add(&mut self, one: T) {
        self.count += 1;
        if self.listed.len() < LISTED_MAX {
            self.listed.push(one);
        }
    }
}

/// Where and when something happened in a motion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Seconds since the phase began.
    pub at_s: f64,
    /// Number of the step in its run, counted from 1.
    pub step: usize,
    /// Whether the run goes to the right.
    pub rightward: bool,
    /// Where the carriage was, m, where an encoder tells.
    pub carriage: Option<f64>,
    /// Whether that counts from the left end; from the beginning of the phase where no home has found it yet.
    pub from_left_end: bool,
}

/// What the parts of a closer look share.
struct View<'a> {
    section: &'a Section<'a>,
    scale: &'a Scale,
    setup: &'a Setup,
}

impl View<'_> {
    fn seconds(&self, ticks: f64) -> f64 {
        super::values::seconds(ticks, self.setup)
    }

    /// Whether the jig has an encoder that saw something.
    fn sees_carriage(&self) -> bool {
        self.section.path.len() > 0 && self.setup.jig.encoder_edges_per_metre > 0.0
    }

    fn place(&self, at: Tick, step: usize, rightward: bool) -> Place {
        let path = &self.section.path;
        let origin = self.section.zero.unwrap_or(f64::from(path.start()) + 0.5);
        let carriage = (path.position_at(at) - origin) / self.setup.jig.encoder_edges_per_metre;
        Place {
            at_s: self.seconds(at.saturating_sub(self.section.began) as f64),
            step,
            rightward,
            carriage: self.sees_carriage().then_some(carriage),
            from_left_end: self.section.zero.is_some(),
        }
    }
}

/// Looks closer at a phase.
pub(super) fn look(
    section: &Section<'_>,
    runs: &[Run],
    evidence: &[RunEvidence],
    scale: &Scale,
    setup: &Setup,
) -> CloserLook {
    let view = View { section, scale, setup };
    let mut look = CloserLook::default();
    for (run, evidence) in runs.iter().zip(evidence) {
        stumbles::find(&view, run, evidence.cruise.as_ref(), &mut look);
    }
    look.gaps.listed.sort_by(|one, other| other.length_s.total_cmp(&one.length_s));
    look.gaps.listed.truncate(LISTED_MAX);
    lost::find(&view, runs, evidence, &mut look.lost);
    let main = runs.iter().zip(evidence).max_by_key(|(_, evidence)| evidence.pulses);
    look.timer = main.map(|(run, evidence)| tick::find(&view, &section.pulses[run.pulses.clone()], evidence));
    let main = main.and_then(|(_, evidence)| evidence.cruise.as_ref());
    if let Some(cruise) = main {
        look.step_clock = ripple::step_clock(&view, cruise.began, cruise.ended);
        let step_rate = cruise.intervals.total() as f64 / view.seconds((cruise.ended - cruise.began) as f64);
        look.carriage = ripple::carriage(&view, cruise.began, cruise.ended, step_rate);
    }
    look
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_listed_is_bounded_and_all_is_counted() {
        let mut listed = Listed::default();
        (0..100).for_each(|number| listed.add(number));
        assert_eq!((listed.listed.len(), listed.count), (LISTED_MAX, 100));
        assert!(LookCloser::At(vec![2, 5]).at(5) && !LookCloser::At(vec![2, 5]).at(3));
    }
}
