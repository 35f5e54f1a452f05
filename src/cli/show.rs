//! Results on standard output, and the exit status that goes with them.

use super::{Exit, Failure, Format, print};
use crate::clock::WallTime;
use crate::decide::Decision;
use crate::event::RunOutcome;
use crate::record::{Record, to_json};
use crate::report;
use time::format_description::well_known::Rfc3339;

/// The narrowest that a result is laid out for.
const PAGE_WIDTH: u16 = 80;

/// Prints a record; for people with the place of what it rests on, and where they ask for it with the budget of each value.
pub fn record(format: Format, record: &Record, place: &str, with_budgets: bool) -> Result<(), Failure> {
    print(&match format {
        Format::Text => {
            let width = terminal_width();
            let budgets = if with_budgets { report::budgets(record, width) } else { String::new() };
            format!("{}\n{budgets}{place}\n", report::text(record, width))
        }
        Format::Json => String::from_utf8_lossy(&to_json(record)).into_owned(),
    })
}

/// Columns of the terminal; where there is none, as many as fit a printed page.
pub fn terminal_width() -> u16 {
    rustix::termios::tcgetwinsize(std::io::stdout()).map_or(0, |size| size.ws_col).max(PAGE_WIDTH)
}

/// What a command ends with that decided a run.
pub fn exit(outcome: &RunOutcome) -> Exit {
    match outcome.decision {
        _ if outcome.interrupted => Exit::Interrupted,
        Decision::Conforms => Exit::Done,
        Decision::Undecided => Exit::Undecided,
        Decision::DoesNotConform => Exit::DoesNotConform,
        Decision::Invalid => Exit::Invalid,
    }
}

/// A moment as records have it.
pub fn rfc3339(at: WallTime) -> String {
    at.format(&Rfc3339).unwrap_or_else(|_| at.to_string())
}
