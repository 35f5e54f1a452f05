//! Test plans: YAML as written, checked once into a [`Plan`] that cannot be wrong any more.
//!
//! [`Draft::read`] checks what a plan says by itself; [`Draft::fit`] checks it against the unit and the jig that it is to
//! run on, and resolves levels and names. Deliberately absent: files, ports, clocks.

mod course;
mod draft;
mod fit;
mod label;
mod moves;
mod rounds;
mod rule;
mod switched;
mod words;

pub use draft::Draft;
pub use switched::Switched;

use crate::capture::{Action, EdgeChannel, OutputChannel, SampleChannel};
use crate::decide::{Limits, Rule};
use crate::measure::Measurand;
use crate::quantity::Tolerance;

/// A plan that fits its bench.
#[derive(Debug, Clone)]
pub struct Plan {
    /// Its name.
    pub name: String,
    /// Its revision.
    pub revision: u32,
    /// The model of unit that it is for.
    pub model: String,
    /// How decisions are taken.
    pub rule: Rule,
    /// What the operator confirms before anything moves.
    pub before: Vec<String>,
    /// What it establishes.
    pub checks: Vec<Check>,
}

impl Plan {
    /// How long it should take, s of machine time; the operator's own time is not counted.
    pub fn expected_s(&self) -> f64 {
        self.checks.iter().map(Check::expected_s).sum()
    }

    /// How long it takes where every check that may repeat its moves takes all of its rounds.
    pub fn longest_s(&self) -> f64 {
        self.checks.iter().map(|check| check.expected_s() * f64::from(check.rounds_max)).sum()
    }
}

/// One thing that a plan establishes.
#[derive(Debug, Clone)]
pub struct Check {
    /// Its name.
    pub name: String,
    /// Why it matters.
    pub because: Option<String>,
    /// What is done, `repeat` written out.
    pub moves: Vec<Move>,
    /// How often the moves may be carried out at most: more than once where they are repeated while a value is undecided and
    /// more readings would settle it.
    pub rounds_max: u32,
    /// What must hold.
    pub requirements: Vec<Requirement>,
    /// What the plan requires where the jig sees it, and this jig does not: why, one by one.
    pub left_out: Vec<String>,
    /// What to look at first if it does not.
    pub if_not: Vec<String>,
}

impl Check {
    /// How long one round of it should take, s of machine time.
    pub fn expected_s(&self) -> f64 {
        self.moves.iter().map(|one| one.expected_s).sum()
    }
}

/// One move.
#[derive(Debug, Clone)]
pub struct Move {
    /// In words: "to the right end at 90 mm/s".
    pub label: String,
    /// What is done.
    pub action: Action,
    /// How long it should take, s, from geometry and speeds.
    pub expected_s: f64,
    /// The length that the plan gives it: a wait's or crawl's duration, the delay before a stop or turn, how long a press
    /// lasts, how long an answer may take. Seconds; zero where the action has none.
    pub for_s: f64,
    /// Answer wanted by an `ask`, and pattern wanted by a `send`.
    pub expect: Option<String>,
}

/// One requirement.
#[derive(Debug, Clone)]
pub struct Requirement {
    /// What is measured.
    pub measurand: &'static Measurand,
    /// As written, with the unit in which values are shown.
    pub tolerance: Tolerance,
    /// The same in SI.
    pub limits: Limits,
    /// How decisions on it are taken, where it is not the plan's rule. In a check that may repeat its moves it is the rule for
    /// each look, which has its share of the risk.
    pub rule: Option<Rule>,
}

/// What a bench and a model of unit can do, against which a plan is checked before anything moves.
#[derive(Debug, Clone, Default)]
pub struct Envelope {
    /// The model's name.
    pub model: String,
    /// Usable travel, m.
    pub travel: f64,
    /// Highest speed that the unit file allows, m/s.
    pub speed_max: f64,
    /// Speed of homing, m/s.
    pub homing_speed: f64,
    /// Acceleration, m/s².
    pub acceleration: f64,
    /// Step pulses per metre of the carriage.
    pub steps_per_metre: f64,
    /// How fast the unit's step timer counts, Hz, where its file says so.
    pub step_timer: Option<f64>,
    /// Speeds of the levels, m/s; level 1 first. A crawling level has its mean speed.
    pub levels: Vec<f64>,
    /// Names of the unit's controls; their order gives the number of the jig's `press` output.
    pub controls: Vec<String>,
    /// Seconds a unit may take to start.
    pub start_up_s: f64,
    /// Commands that the unit's dialect can express: `home`, `travel to end`, `travel to position`, `travel by`, `stop`,
    /// `reverse`, `crawl`, `select`, `send`.
    pub commands: Vec<&'static str>,
    /// Whether the unit tells when a motion has ended. Where it does not, its steps have to be seen.
    pub tells_rest: bool,
    /// Digital inputs of the jig.
    pub edges: Vec<EdgeChannel>,
    /// Sampled channels of the jig.
    pub samples: Vec<SampleChannel>,
    /// Outputs of the jig.
    pub outputs: Vec<OutputChannel>,
    /// The jig's name, for messages.
    pub jig: String,
}

#[cfg(test)]
mod tests;
