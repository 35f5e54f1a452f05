//! `railproof jig`: what keeps a jig true.

mod logbook;

pub use logbook::enter_use;

use super::{Exit, Failure};
use clap::Subcommand;

/// What to do for the jig.
#[derive(Debug, Subcommand)]
pub enum JigCommand {
    /// Note what was done to a jig, and which parts were renewed
    Note(logbook::NoteArgs),
    /// Print what a jig has worn, and what was noted
    Logbook(logbook::LogbookArgs),
}

/// Does it.
pub fn jig(command: &JigCommand) -> Result<Exit, Failure> {
    match command {
        JigCommand::Note(args) => logbook::note(args),
        JigCommand::Logbook(args) => logbook::show(args),
    }
}
