//! What a plan would let through: the outcomes of rehearsed units, whose truth is known, made into rates and tables.
//!
//! A unit is *broken* where a fault of it breaks a promise to the buyer, *sound* where it has no fault at all, and *slight*
//! between: with a fault too small to break a promise. Letting a slight unit pass is no escape and rejecting it no false
//! reject, so slight units count for neither; they tell how severe a fault must be to be caught.

mod checks;
mod findings;
mod merge;
mod rates;
mod severity;
mod shorter;
mod stored;

pub use checks::{CheckWorth, RequirementWorth};
pub use findings::Findings;
pub use merge::{MergeProblem, merged};
pub use rates::{FaultRates, Of, PopulationRates, SoundRates};
pub use severity::Severities;
pub use shorter::Shorter;
pub use stored::{
    FORMAT, FaultFacts, Inflicted, PlannedCheck, Rehearsal, Rehearsed, Sample, Setting, Shard, ToldCheck, Truth,
};
