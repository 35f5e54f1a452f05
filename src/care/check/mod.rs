//! The jig against its references, before a shift: known values, wires from outputs to inputs, the computer's clock, the dummy
//! load, a unit that was measured by other means.
//!
//! Each finding is judged with its doubt by the rule that qualifies units, and what has no reference is told as not checked:
//! a silence would read as a pass. The calibration's own doubt is no part of these budgets, since it is what is on trial.

mod conduct;
mod cover;
mod load;
mod loop_back;
mod reading;
mod ticking;
mod unit;

pub use conduct::{Trouble, prove};
pub use cover::{Covered, cover};
pub use unit::travel;

use crate::decide::{Decision, Judgement, Limits, Rule, judge};
use crate::quantity::Tolerance;
use crate::stats::Estimate;

/// How findings are judged: as units are, by the shipped plans.
pub const RULE: Rule = Rule::FalseAccept { at_most: 0.025 };

/// One finding.
#[derive(Debug, Clone, PartialEq)]
pub struct Proof {
    /// What it is about, by the name in the jig file: a channel, `clock`.
    pub channel: String,
    /// What else of the jig it rests on.
    pub also: &'static [&'static str],
    /// What was held against what: "against its reference".
    pub what: String,
    /// How it came out.
    pub found: Found,
}

/// How a finding came out.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    /// It was measured.
    Measured {
        /// As it stands in the jig file, with the unit in which the value is shown.
        tolerance: Tolerance,
        /// In SI; °C for temperatures.
        estimate: Estimate,
        /// By [`RULE`].
        judgement: Judgement,
    },
    /// The channel gave nothing that could be measured, which no sound one does.
    Nothing {
        /// Why.
        why: String,
    },
    /// It could not be checked at all.
    NotChecked {
        /// Why.
        why: String,
    },
}

impl Proof {
    fn measured(channel: String, what: impl Into<String>, tolerance: &Tolerance, estimate: Estimate) -> Self {
        let (lower, upper) = tolerance.limits();
        let judgement = judge(&estimate, &Limits { lower, upper }, &RULE);
        Self {
            channel,
            also: &[],
            what: what.into(),
            found: Found::Measured { tolerance: tolerance.clone(), estimate, judgement },
        }
    }

    fn nothing(channel: String, what: impl Into<String>, why: impl Into<String>) -> Self {
        Self { channel, also: &[], what: what.into(), found: Found::Nothing { why: why.into() } }
    }

    fn not_checked(channel: String, what: impl Into<String>, why: impl Into<String>) -> Self {
        Self { channel, also: &[], what: what.into(), found: Found::NotChecked { why: why.into() } }
    }

    /// The same, of more than one channel.
    fn also_of(self, also: &'static [&'static str]) -> Self {
        Self { also, ..self }
    }

    /// Whether it says something of a channel.
    fn is_about(&self, channel: &str) -> bool {
        self.channel == channel || self.also.contains(&channel)
    }

    /// What it decides; nothing where it was not checked.
    pub fn decision(&self) -> Option<Decision> {
        match &self.found {
            Found::Measured { judgement, .. } => Some(judgement.decision),
            Found::Nothing { .. } => Some(Decision::DoesNotConform),
            Found::NotChecked { .. } => None,
        }
    }

    /// Its name in a logbook.
    pub fn name(&self) -> String {
        format!("{} {}", self.channel, self.what)
    }
}
