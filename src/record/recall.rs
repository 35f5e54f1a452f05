//! A unit that carries, or carried, a part lot that turned out bad: a pure function of its history.

use super::history::{History, Standing};
use super::index::{Known, Said};
use super::stored::{Part, Verdict};

/// A unit of a recall.
#[derive(Debug, Clone, PartialEq)]
pub struct Recalled {
    pub serial: String,
    pub model: Option<String>,
    pub carries: Carries,
    pub standing: Standing,
    /// Its last record that proved something: one of a bench, if there is one.
    pub last: Option<Box<Known>>,
    /// What that record says of the part.
    pub said: Said,
}

/// Whether a unit still has the part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Carries {
    /// Since the run of this id.
    Now(String),
    /// Another lot took its place at the run of this id.
    Before { replaced_by: String, at: String },
}

impl Recalled {
    /// Of a history; what its last record says is asked of it.
    pub fn of(history: &History, part: &Part) -> Self {
        let built = history.as_built.iter().find(|built| built.part.name == part.name);
        let carries = match built {
            Some(built) if built.part.lot == part.lot => Carries::Now(built.since.clone()),
            Some(built) => Carries::Before { replaced_by: built.part.lot.clone(), at: built.since.clone() },
            // Only a history that lost its runs meanwhile: nothing says that the part is gone.
            None => Carries::Now(String::new()),
        };
        let proven = || history.runs().rev().map(|passed| &passed.run).filter(|run| run.decision != Verdict::Invalid);
        let last = proven().find(|run| !run.is_simulated).or_else(|| proven().next());
        Self {
            serial: history.serial.clone(),
            model: history.runs().next_back().map(|passed| passed.run.model.clone()),
            carries,
            standing: history.standing.clone(),
            last: last.cloned().map(Box::new),
            said: Said::default(),
        }
    }
}
