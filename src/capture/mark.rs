//! Marks: what the bench was doing, set down in the capture itself, so that it can be measured without the run.

use super::Tick;

/// An end of the rail.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Side {
    /// Where positions count from.
    Left,
    /// The far end.
    Right,
}

impl Side {
    /// `left` or `right`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }

    /// The other end.
    pub const fn opposite(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }
}

/// Where a travel goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Destination {
    /// To an end, until its switch stops it.
    End(Side),
    /// To a position from the left end, m.
    Position(f64),
    /// By a distance, m; positive is to the right.
    By(f64),
}

/// One commanded action, as far as measuring needs to know it. Speeds in m/s.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Unit supply on or off.
    Power { on: bool },
    /// Dummy load on or off.
    Load { on: bool },
    /// Which pack feeds the unit.
    Pack { low: bool },
    /// Slow run to an end that sets the zero of position.
    Home { side: Side },
    /// A travel at a speed; `level` where the plan named a level.
    Travel { to: Destination, speed: f64, level: Option<u8> },
    /// Travels towards an end and is stopped on the way: by command, or by pressing control `press`.
    Stop { towards: Side, speed: f64, press: Option<u8> },
    /// Set in motion by pressing a control, at the level's speed, and stopped again by another.
    Start { towards: Side, speed: f64, level: u8, press: u8, stop_press: Option<u8> },
    /// Sent towards `first`, then without a stop to the other end.
    Reverse { first: Side, speed: f64 },
    /// Time-lapse motion: small increments at a regular interval.
    Crawl { towards: Side },
    /// Selects a speed level, at rest.
    Select { level: u8 },
    /// Presses a control, at rest.
    Press { control: u8 },
    /// Nothing, for a time.
    Wait,
    /// Asks the operator.
    Ask { question: String },
    /// Sends a maker's own text.
    Send { text: String },
}

impl Action {
    /// Speed of a motion that was found in a capture whose command is not known. Whatever is compared with it comes out as
    /// no number, and no such value is ever handed out.
    pub const SPEED_UNKNOWN: f64 = f64::NAN;

    /// Whether the carriage is meant to move in it.
    pub const fn moves_the_carriage(&self) -> bool {
        matches!(
            self,
            Self::Home { .. }
                | Self::Travel { .. }
                | Self::Stop { .. }
                | Self::Start { .. }
                | Self::Reverse { .. }
                | Self::Crawl { .. }
        )
    }
}

/// A move of a plan, as it stands in the capture.
#[derive(Debug, Clone, PartialEq)]
pub struct Phase {
    /// Number of the check in the plan, counted from 0.
    pub check: usize,
    /// Number of the move in the check after `repeat` was written out, counted from 0.
    pub ordinal: usize,
    /// The move in words: "to the right end at 90 mm/s".
    pub label: String,
    /// What is done.
    pub action: Action,
}

/// Something that happened inside a phase.
#[derive(Debug, Clone, PartialEq)]
pub enum Cue {
    /// The command that sets the carriage in motion was sent.
    Commanded,
    /// The command to stop was sent.
    StopCommanded,
    /// The command to turn round was sent.
    ReverseCommanded,
    /// The unit reported the end of the motion.
    Done,
    /// The start-up banner came although the supply was not switched on just then.
    Restarted,
    /// The start-up banner after the supply was switched on.
    StartedUp,
    /// A command went unanswered once; it was sent again.
    Unanswered { command: String },
    /// The unit refused a command.
    Refused { command: String, answer: String },
    /// The unit said something of itself: `model`, `serial`, `firmware`; `expected` where the bench knows better.
    Reported { what: String, value: String, expected: Option<String> },
    /// The operator answered; `agrees` when it is the answer that the plan wants.
    Answered { question: String, answer: String, agrees: bool },
    /// The phase was given up because of the unit: it did not do what it was told.
    GivenUp { why: String },
}

/// What a mark says.
#[derive(Debug, Clone, PartialEq)]
pub enum MarkKind {
    /// A check begins.
    CheckBegins { check: usize },
    /// A move begins; the unit is at rest.
    PhaseBegins(Phase),
    /// Something happened inside the current move.
    Cue(Cue),
    /// The current move is over; the unit is at rest again.
    PhaseEnds,
    /// A round of a check that may repeat its moves is over: either they follow again or the check ends.
    RoundEnds { check: usize },
    /// The check is over.
    CheckEnds { check: usize },
}

/// A mark on the capture's clock.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// When, on the jig's clock.
    pub at: Tick,
    /// Standard uncertainty of `at` from relating the computer's clock to the jig's, in ticks.
    pub doubt: Tick,
    /// What.
    pub kind: MarkKind,
}
