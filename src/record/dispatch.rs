//! Whether a unit may be dispatched, or can have come back: a pure function of its history.

use super::history::{History, Passed, Standing};
use super::index::Known;
use super::stored::{Origin, Verdict};

/// Why a unit is not dispatched.
#[derive(Debug, Clone, PartialEq)]
pub enum Held {
    /// It left before, at the time given, and has not come back.
    Gone(String),
    /// No run of it on a bench proved anything. There are only simulated ones, or none at all.
    Unproven { only_simulated: bool },
    /// What its last run on a bench decided.
    Decided(Box<Known>),
    /// A part was changed since its last conforming record, and nothing was proven since.
    Reworked { record: String, part: String },
}

impl History {
    /// The record that a unit may be dispatched on: its last run on a bench that proved anything, if it conforms, and no
    /// part was changed since.
    ///
    /// # Errors
    /// Why it may not be dispatched.
    pub fn dispatchable(&self) -> Result<&Known, Held> {
        if let Standing::Shipped(at) = &self.standing {
            return Err(Held::Gone(at.clone()));
        }
        let real = |passed: &&Passed| !passed.run.is_simulated && passed.run.origin == Origin::Bench;
        let mut reworked = None;
        for passed in self.runs().rev().filter(real) {
            match (passed.run.decision, reworked) {
                (Verdict::Invalid, _) => reworked = reworked.or(passed.changes.first()),
                (Verdict::Conforms, None) => return Ok(&passed.run),
                (Verdict::Conforms, Some(change)) => {
                    return Err(Held::Reworked { record: passed.run.id.clone(), part: change.name.clone() });
                }
                _ => return Err(Held::Decided(Box::new(passed.run.clone()))),
            }
        }
        Err(Held::Unproven { only_simulated: self.runs().any(|passed| passed.run.is_simulated) })
    }

    /// The last conforming record, one from a bench before a simulated one.
    pub fn last_conforming(&self) -> Option<&Known> {
        let conforming = || self.runs().rev().map(|passed| &passed.run).filter(|run| run.decision == Verdict::Conforms);
        conforming().find(|run| !run.is_simulated).or_else(|| conforming().next())
    }
}
