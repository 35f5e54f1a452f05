//! What a run tells those who watch it: terminal, recorder, bench screen. The one contract between them; who watches is
//! told, never asked.

use crate::decide::{Decision, Judgement};
use crate::measure::{MoveClock, Traces, Withheld};
use crate::plan::Plan;
use crate::stats::Estimate;

/// Something that just happened in a run.
#[derive(Debug, Clone)]
pub enum Event<'a> {
    /// The bench is ready and the run starts.
    RunBegins {
        /// What will be done.
        plan: &'a Plan,
        /// How long it should take, s of bench time.
        expected_s: f64,
    },
    /// A check starts.
    CheckBegins {
        /// Its number in the plan.
        check: usize,
    },
    /// The moves of a check start again, since more readings may settle what is undecided.
    RoundBegins {
        /// The check's number in the plan.
        check: usize,
        /// Which round that is, counted from 1.
        round: usize,
    },
    /// A move starts.
    MoveBegins {
        /// Its check's number in the plan.
        check: usize,
        /// Its number in the check.
        ordinal: usize,
        /// It, in words.
        label: &'a str,
    },
    /// How things stand, a few times a second of bench time.
    Live(Live),
    /// A check is decided.
    CheckEnds(&'a CheckOutcome),
    /// The run is over and the bench is safe.
    RunEnds(&'a RunOutcome),
}

/// How things stand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Live {
    /// Bench time since the run began, s.
    pub elapsed_s: f64,
    /// Expected time to the end, s.
    pub left_s: f64,
    /// Carriage position by the jig's encoder, m; `None` before the first home.
    pub position: Option<f64>,
    /// Steps a second since the last of these, by the jig's sight of the step line; `None` where it has none.
    pub step_rate: Option<f64>,
    /// Pack voltage, V.
    pub pack_voltage: Option<f64>,
}

/// Whoever watches a run.
pub trait Watcher {
    /// Is told.
    fn see(&mut self, event: &Event<'_>);
}

/// A check as it came out.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckOutcome {
    /// Its number in the plan.
    pub check: usize,
    /// The worst of its requirements and findings.
    pub decision: Decision,
    /// Why it was not carried out at all, where it was not. Its decision is then that of a requirement not proven.
    pub not_carried_out: Option<String>,
    /// What was found beyond requirements: "the unit did not answer `GO R 90.0` (3 tries)". Each is a nonconformity.
    pub findings: Vec<String>,
    /// How often its moves were carried out, where the plan lets it repeat them.
    pub rounds: Option<RoundsTaken>,
    /// What was required, in the plan's order.
    pub requirements: Vec<RequirementOutcome>,
    /// When it began, s of bench time since the capture's start.
    pub began_s: f64,
    /// When it ended.
    pub ended_s: f64,
    /// Its moves.
    pub moves: Vec<MoveOutcome>,
    /// What the step clock was like, motion by motion.
    pub step_clock: Vec<MoveClock>,
}

/// How often the moves of a check were carried out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RoundsTaken {
    /// Rounds whose readings the decision rests on.
    pub done: usize,
    /// The most that the plan allows.
    pub at_most: usize,
    /// Why no further round followed, where something stayed undecided.
    pub why_no_more: Option<String>,
}

/// A move as it came out.
#[derive(Debug, Clone, PartialEq)]
pub struct MoveOutcome {
    /// It, in words.
    pub label: String,
    /// When it began, s of bench time since the capture's start.
    pub began_s: f64,
    /// When it ended.
    pub ended_s: f64,
}

/// A requirement as it came out: the worst of its readings. Without any reading it is undecided at best.
#[derive(Debug, Clone, PartialEq)]
pub struct RequirementOutcome {
    /// Its number in the check.
    pub requirement: usize,
    /// The worst of its readings.
    pub decision: Decision,
    /// All of them, in order of time.
    pub readings: Vec<ReadingOutcome>,
}

/// One reading as it came out.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingOutcome {
    /// What it belongs to.
    pub label: String,
    /// The value in SI with its judgement, or why there is none. Of several rounds together where there were several.
    pub result: Result<(Estimate, Judgement), Withheld>,
    /// What each round gave by itself, where there were several.
    pub rounds: Vec<Result<Estimate, Withheld>>,
}

/// A run as it came out.
#[derive(Debug, Clone)]
pub struct RunOutcome {
    /// The worst of its checks; invalid where the bench failed.
    pub decision: Decision,
    /// Why it is invalid, where it is.
    pub invalid_because: Vec<String>,
    /// Whether somebody interrupted it.
    pub interrupted: bool,
    /// Every check of the plan.
    pub checks: Vec<CheckOutcome>,
    /// What the unit said of itself, by name: `model`, `firmware`, `serial`.
    pub reports: Vec<(String, String)>,
    /// Curves for the reports.
    pub traces: Traces,
    /// How long it took, s of bench time.
    pub took_s: f64,
}
