//! A model of unit: its unit file, the dialect of its firmware, and the line link that speaks it.
//!
//! The dialect is data (templates and patterns), so that a maker's own firmware needs no code. Dialect and link are pure:
//! bytes go in, findings come out; who owns the port is none of their business.

mod check_character;
mod dialect;
mod file;
mod link;
mod serial;

pub use dialect::{Answers, Dialect, Heard, MotionEnd, NumberForm, Request, SideWords, Template};
pub use file::{LinkSettings, Unit};
pub use link::LineLink;
pub use serial::SerialNumbers;
