//! Decisions with the measurement's uncertainty in mind (JCGM 106:2012, ISO 14253-1:2017).
//!
//! Deliberately absent: captures, plans, units of measure. It sees an estimate, limits and a rule.

mod judgement;
mod rule;

pub use judgement::{Judgement, Limits, judge};
pub use rule::Rule;

/// The decision on a reading, a requirement, a check or a run; later is worse, and the worst of the parts is the whole's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Decision {
    /// Conformity is proven.
    Conforms,
    /// Neither is proven: the value lies within the guard band of a limit.
    Undecided,
    /// Nonconformity is proven.
    DoesNotConform,
    /// The bench failed; nothing is proven.
    Invalid,
}

impl Decision {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Conforms => "conforms",
            Self::Undecided => "undecided",
            Self::DoesNotConform => "does not conform",
            Self::Invalid => "invalid",
        }
    }
}
