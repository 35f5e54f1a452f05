//! Results on standard output, and the exit status that goes with them.

use super::{Exit, Failure, Format, print};
use crate::clock::WallTime;
use crate::decide::Decision;
use crate::event::RunOutcome;
use crate::record::{Record, to_json};
use crate::report;
use crate::study::Quantity;
use comfy_table::{CellAlignment, ContentArrangement, LineStyle, Table, TableStyle};
use serde_json::{Value, json};
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

/// A quantity of a study for programs, with what was found of it. Limits are in its unit.
pub fn quantity(quantity: &Quantity, found: Value) -> Value {
    let tolerance = quantity.tolerance.as_ref();
    let mut told = json!({
        "check": quantity.check,
        "measurand": quantity.measurand,
        "reading": quantity.reading,
        "unit": quantity.unit,
        "tolerance": tolerance.map(|one| &one.text),
        "lower": tolerance.and_then(|one| one.lower),
        "upper": tolerance.and_then(|one| one.upper),
    });
    if let (Value::Object(told), Value::Object(found)) = (&mut told, found) {
        told.extend(found);
    }
    told
}

/// A table as wide as the terminal: columns two spaces apart, a line below the heads.
pub fn table(heads: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> String {
    laid_out(heads, rows, CellAlignment::Left)
}

/// The same, with figures behind the first column: they stand to the right.
pub fn figures(heads: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> String {
    laid_out(heads, rows, CellAlignment::Right)
}

fn laid_out(heads: &[&str], rows: impl IntoIterator<Item = Vec<String>>, behind_the_first: CellAlignment) -> String {
    let style = TableStyle::new().header_separator(LineStyle::none().fill('─').junction('─'));
    let mut table = Table::new();
    table.load_style(style).set_content_arrangement(ContentArrangement::Dynamic).set_width(terminal_width());
    table.set_header(heads.to_vec());
    for row in rows {
        table.add_row(row);
    }
    let last = heads.len().saturating_sub(1);
    for column in table.column_iter_mut() {
        let gap = if column.index == last { 0 } else { 2 };
        column.set_padding((0, gap));
        if column.index > 0 {
            column.set_cell_alignment(behind_the_first);
        }
    }
    table.lines().map(|line| format!("{}\n", line.trim_end())).collect()
}

/// Columns of the terminal; where there is none, as many as fit a printed page.
pub fn terminal_width() -> u16 {
    rustix::termios::tcgetwinsize(std::io::stdout()).map_or(0, |size| size.ws_col).max(PAGE_WIDTH)
}

/// What a command ends with that decided a run.
pub fn exit(outcome: &RunOutcome) -> Exit {
    if outcome.interrupted { Exit::Interrupted } else { exit_of(outcome.decision) }
}

/// What a command ends with that came to a decision.
pub fn exit_of(decision: Decision) -> Exit {
    match decision {
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
