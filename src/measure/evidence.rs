//! What a check leaves behind for its measurands: each phase boiled down to what can be read from it, and the samples.
//!
//! Times are ticks and positions are encoder edges, as captured; the measurands turn them into SI with their doubt.

use super::closer::CloserLook;
use super::position::Position;
use super::pulses::{Intervals, Knee};
use super::step_clock::{Motion, ProfileErrors};
use crate::capture::{Action, Cue, Driven, Loss, OutputChannel, Phase, Sample, SampleChannel, Side, Tick};

/// The evidence of one check.
#[derive(Debug, Clone, Default)]
pub struct CheckEvidence {
    /// Number of the check in the plan, counted from 0.
    pub check: usize,
    /// When it began.
    pub began: Tick,
    /// When it ended.
    pub ended: Tick,
    /// Its phases, in order of time.
    pub phases: Vec<PhaseEvidence>,
    /// Evidence that did not arrive during it. The run is invalid then.
    pub losses: Vec<Loss>,
    /// Outputs that were switched during it.
    pub driven: Vec<Driven>,
    /// Whether another instrument captured it, which heard nothing of the unit's link.
    pub without_transcript: bool,
    pub(super) samples: Vec<Vec<Sample>>,
}

impl CheckEvidence {
    /// Samples of one channel from `from` to `to`, both included.
    pub(super) fn samples(&self, channel: SampleChannel, from: Tick, to: Tick) -> &[Sample] {
        let all = self.samples.get(channel.index()).map_or(&[][..], Vec::as_slice);
        let begin = all.partition_point(|sample| sample.at < from);
        let end = all.partition_point(|sample| sample.at <= to).max(begin);
        &all[begin..end]
    }

    /// All cues of the check.
    pub fn cues(&self) -> impl Iterator<Item = &Cue> {
        self.phases.iter().flat_map(|phase| phase.cues.iter().map(|timed| &timed.cue))
    }

    /// The first moment at which something was set going: a step, a load.
    pub(super) fn first_activity(&self) -> Tick {
        let step = self.phases.iter().find_map(|phase| phase.runs.first()).map(|run| run.first);
        let load = self.driven.iter().find(|driven| driven.output == OutputChannel::DummyLoad).map(|driven| driven.at);
        step.into_iter().chain(load).min().unwrap_or(self.ended)
    }
}

/// The evidence of one phase.
#[derive(Debug, Clone)]
pub struct PhaseEvidence {
    /// What was to be done.
    pub phase: Phase,
    /// When it began.
    pub began: Tick,
    /// When it ended.
    pub ended: Tick,
    /// What happened inside it.
    pub cues: Vec<TimedCue>,
    /// Moments at which the unit said something.
    pub(super) said: Vec<Tick>,
    pub(super) runs: Vec<RunEvidence>,
    pub(super) rail: Rail,
    pub(super) switches: [SwitchEvidence; 2],
    pub(super) presses: Vec<PressEvidence>,
    pub(super) crawl: Vec<Burst>,
    pub(super) balance: Balance,
    /// What a closer look shows, where the session was asked for one.
    pub closer: Option<Box<CloserLook>>,
}

/// A cue with where the carriage was.
#[derive(Debug, Clone, PartialEq)]
pub struct TimedCue {
    /// When, on the jig's clock.
    pub at: Tick,
    /// Standard uncertainty of `at`, ticks.
    pub doubt: Tick,
    /// What happened.
    pub cue: Cue,
    pub(super) position: Position,
    /// Carriage speed just then, edges per tick, without sign.
    pub(super) speed: f64,
    /// Whether the motor was being stepped just then.
    pub(super) stepping: bool,
}

/// A run of pulses in one direction.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct RunEvidence {
    pub rightward: bool,
    pub pulses: usize,
    pub first: Tick,
    pub last: Tick,
    pub cruise: Option<CruiseEvidence>,
    /// What its pulses say of the clock behind them.
    pub clock: Box<Motion>,
    /// How far they are from the commanded profile, or why that cannot be said; `None` where no rate was commanded.
    pub profile: Option<Result<ProfileErrors, &'static str>>,
    /// What the carriage lagged behind after a turn.
    pub take_up: Option<TakeUp>,
}

/// Steps taken after a turn before the carriage followed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum TakeUp {
    /// So many steps, to the middle of the cell that the carriage rested in.
    Followed(f64),
    /// The carriage never followed.
    Never,
}

/// The cruise of a run.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct CruiseEvidence {
    pub began: Tick,
    pub ended: Tick,
    pub intervals: Intervals,
    pub carriage: Option<CarriageCruise>,
}

/// The carriage during a cruise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CarriageCruise {
    /// Edges moved; positive towards the right.
    pub edges: f64,
    /// Ticks between the first and the last of them.
    pub ticks: f64,
    /// Standard deviation of the speeds of ten equal sections, edges per tick.
    pub section_deviation: f64,
}

/// How many sections a cruise is cut into to see how even it is.
pub(super) const SECTIONS: usize = 10;

/// Where the carriage was, in cells.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Rail {
    pub start: i32,
    pub end: i32,
    /// Cell shortly after the unit reported the end of its motion, where it did.
    pub settled: Option<i32>,
    /// Lowest and highest cell from then on; of the whole phase where it did not.
    pub after_settling: (i32, i32),
    /// Encoder edges in the phase.
    pub edges: usize,
}

/// What an end switch did in a phase.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct SwitchEvidence {
    pub pressed_before: bool,
    pub contact: Option<Contact>,
}

/// The first contact of an end switch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Contact {
    pub at: Tick,
    pub position: Position,
    /// Last edge of the chatter that it began with.
    pub quiet: Tick,
    /// How often it opened again until then.
    pub openings: usize,
    /// The farthest that the carriage went on.
    pub farthest: Position,
    /// When the steps began to slow.
    pub knee: Option<Knee>,
    /// Steps since the session began.
    pub steps: i64,
    /// The last contact of the other end, where it had been touched before.
    pub other_end: Option<Touched>,
    /// Steps minus the carriage's way in steps since the session began.
    pub lag: f64,
}

/// Where the carriage and the steps were when an end was touched last.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Touched {
    pub position: Position,
    pub steps: i64,
}

/// A control that was pressed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct PressEvidence {
    pub control: u8,
    pub at: Tick,
    pub position: Position,
    pub stepping: bool,
    pub first_pulse_after: Option<Tick>,
    pub last_pulse_after: Option<Tick>,
    pub knee: Option<Knee>,
    /// What the control's contact did while the jig held it, where it closed and the jig sees it.
    pub touch: Option<Touch>,
}

/// What the contact of a pressed control did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Touch {
    /// First contact.
    pub at: Tick,
    /// Last edge before the jig let go.
    pub quiet: Tick,
    /// How often it opened again until then.
    pub openings: usize,
}

/// A few steps in a crawl.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Burst {
    /// Its first pulse.
    pub at: Tick,
    /// The carriage's cell before it.
    pub cell: i32,
}

/// Steps against the carriage's way, from rest to rest. All in steps, positive towards the right.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Balance {
    /// Whether the direction line was known.
    pub directed: bool,
    /// Pulses, whatever their direction.
    pub pulses: usize,
    /// Direction of most of the pulses.
    pub rightward: bool,
    /// What was lost by the motor in whole turns of its field.
    pub motor: f64,
    /// What was lost by the belt in whole teeth.
    pub teeth: f64,
    /// What is neither.
    pub unexplained: f64,
    /// Whether the rotor's place before the phase was known: not where the unit was only just switched on.
    pub rotor_known: bool,
}

impl PhaseEvidence {
    /// The switch that this phase should run into.
    pub(super) fn should_hit(&self) -> Option<Side> {
        use crate::capture::Destination::End;
        match self.phase.action {
            Action::Home { side } | Action::Travel { to: End(side), .. } => Some(side),
            Action::Reverse { first, .. } => Some(first.opposite()),
            _ => None,
        }
    }

    /// Why the phase was given up, where it was.
    pub(super) fn given_up(&self) -> Option<&str> {
        self.cues.iter().find_map(|timed| match &timed.cue {
            Cue::GivenUp { why } => Some(why.as_str()),
            _ => None,
        })
    }

    /// First cue of a kind.
    pub(super) fn cue(&self, wanted: impl Fn(&Cue) -> bool) -> Option<&TimedCue> {
        self.cues.iter().find(|timed| wanted(&timed.cue))
    }

    /// The run with the most pulses.
    pub(super) fn main_run(&self) -> Option<&RunEvidence> {
        self.runs.iter().max_by_key(|run| run.pulses)
    }

    /// What the switch of one side did.
    pub(super) fn switch(&self, side: Side) -> &SwitchEvidence {
        &self.switches[side as usize]
    }
}
