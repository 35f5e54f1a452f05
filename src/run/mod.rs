//! Carrying out a plan on a bench.
//!
//! A [`Bench`] is clock, unit link and jig; the runner cannot ask whether it is real. [`run`] conducts the plan move by
//! move ([`conduct`]), keeps the evidence ([`crate::capture::CaptureSink`]), has it measured and decided as it goes
//! ([`assess`]), and leaves the bench safe whatever happens. The decisions are a pure function of the capture: [`Assessor`]
//! fed with a stored capture decides the same.

mod assess;
mod bench;
mod conduct;
mod envelope;
mod halt;
mod motion;
mod operator;
mod recover;
mod rounds;
mod script;
mod sentinel;
mod step_rate;
mod talk;

pub use assess::{Assessor, BROKEN_OFF, Ending};
pub use bench::Bench;
pub use conduct::{Evidence, Job, interlock, run};
pub use envelope::{Protection, envelope, protection, setup};
pub use operator::{Answering, Operator, Question, Reply, is_yes_or_no};
pub use script::Script;
