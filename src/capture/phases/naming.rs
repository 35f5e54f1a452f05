//! What a motion that was found was like, and what it is called.

use crate::capture::{Action, Destination, Phase, Side, Tick};

/// A motion that was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// Its number, counted from 1.
    pub number: usize,
    /// First step.
    pub first: Tick,
    /// Last step.
    pub last: Tick,
    /// Step pulses.
    pub steps: u64,
    /// Where it went, where that is known.
    pub towards: Option<Side>,
    /// Whether it turned round on the way.
    pub turned: bool,
    /// The end switch that closed in it, on the side that it went to at last.
    pub contact: Option<Side>,
    /// Bursts of a crawl; 1 for any other motion.
    pub bursts: usize,
    /// Which piece of the motion this is, counted from 1, where the motion was too long to be kept whole.
    pub piece: Option<usize>,
}

/// Who says what the motions were.
pub trait Namer {
    /// The phase of a motion, and the number of its check; `part` counts the checks that were made to bound memory.
    /// `None` where the motion is none of those that were to be done.
    fn phase(&mut self, motion: &Motion, part: usize) -> Option<Phase>;

    /// The phase of a long rest after the motion that was named last.
    fn rest(&mut self) -> Option<Phase>;

    /// The check that is open while nothing has moved yet; `None` where a check begins with its first motion.
    fn idle_check(&self, part: usize) -> Option<usize>;

    /// Whether a motion that set out to this side turns round in it, instead of ending there.
    fn turns(&self, towards: Option<Side>) -> bool;
}

/// Names motions by what they did. The command is not known, so what is compared with it is withheld.
#[derive(Debug, Clone)]
pub struct AsFound {
    steps_per_metre: f64,
    last: Option<Phase>,
}

impl AsFound {
    /// For a drive of so many steps per metre of the carriage's way.
    pub fn new(steps_per_metre: f64) -> Self {
        Self { steps_per_metre, last: None }
    }
}

impl Namer for AsFound {
    fn phase(&mut self, motion: &Motion, part: usize) -> Option<Phase> {
        let way = match motion.towards {
            Some(side) => format!(", to the {}", side.name()),
            None => String::new(),
        };
        let distance = motion.steps as f64 / self.steps_per_metre;
        let signed = if motion.towards == Some(Side::Left) { -distance } else { distance };
        let (what, end, action) = match (motion.bursts, motion.contact, motion.towards) {
            (2.., _, Some(towards)) => ("crawl", "", Action::Crawl { towards }),
            (_, Some(side), _) => ("motion", " end", travel(Destination::End(side))),
            _ => ("motion", "", travel(Destination::By(signed))),
        };
        let piece = motion.piece.map_or_else(String::new, |piece| format!(", piece {piece}"));
        let label = format!("{what} {}{way}{end}{piece}", motion.number);
        self.last = Some(Phase { check: part, ordinal: 2 * motion.number - 2, label, action });
        self.last.clone()
    }

    fn rest(&mut self) -> Option<Phase> {
        let last = self.last.take()?;
        let label = format!("rest after {}", last.label);
        Some(Phase { label, action: Action::Wait, ordinal: last.ordinal + 1, ..last })
    }

    fn idle_check(&self, part: usize) -> Option<usize> {
        Some(part)
    }

    fn turns(&self, _: Option<Side>) -> bool {
        false
    }
}

fn travel(to: Destination) -> Action {
    Action::Travel { to, speed: Action::SPEED_UNKNOWN, level: None }
}
