//! `railproof jig`: what keeps a jig true.

mod calibrate;
mod check;
mod checked;
mod drift;
mod live;
mod logbook;
mod shown;

pub use logbook::enter_use;

use super::{Exit, Failure};
use clap::Subcommand;

/// What to do for the jig.
#[derive(Debug, Subcommand)]
pub enum JigCommand {
    /// Find a channel's calibration from readings against a reference, and write it into the jig file
    Calibrate(Box<calibrate::CalibrateArgs>),
    /// Hold a jig against its references, and against its reference unit
    Check(Box<check::CheckArgs>),
    /// Show how the values of a jig's checks moved
    Drift(drift::DriftArgs),
    /// Note what was done to a jig, and which parts were renewed
    Note(logbook::NoteArgs),
    /// Print what a jig has worn, and what was noted
    Logbook(logbook::LogbookArgs),
}

/// Does it.
pub fn jig(command: &JigCommand) -> Result<Exit, Failure> {
    match command {
        JigCommand::Calibrate(args) => calibrate::calibrate(args),
        JigCommand::Check(args) => check::check(args),
        JigCommand::Drift(args) => drift::drift(args),
        JigCommand::Note(args) => logbook::note(args),
        JigCommand::Logbook(args) => logbook::show(args),
    }
}
