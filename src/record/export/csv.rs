//! Rows as a table of text (RFC 4180): a line of names, then one line a row; an empty cell is what is not known.

use super::fleet::Fleet;
use super::table::{Cell, Row};
use std::borrow::Cow;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use time::OffsetDateTime;
use time::macros::format_description;

/// Writes the rows of a partition.
pub fn write<R: Row>(file: &File, rows: &[R], fleet: &Fleet) -> io::Result<()> {
    let mut into = BufWriter::with_capacity(1 << 16, file);
    let names: Vec<&str> = R::COLUMNS.iter().map(|column| column.name).collect();
    write!(into, "{}\r\n", names.join(","))?;
    for row in rows {
        for (place, column) in R::COLUMNS.iter().enumerate() {
            if place > 0 {
                into.write_all(b",")?;
            }
            cell(&mut into, (column.cell)(row, fleet))?;
        }
        into.write_all(b"\r\n")?;
    }
    into.flush()
}

fn cell(into: &mut impl Write, cell: Cell) -> io::Result<()> {
    match cell {
        // An empty text is not the same as one that is not known.
        Cell::Text(text) if text.is_empty() => into.write_all(b"\"\""),
        Cell::Text(text) => into.write_all(quoted(text.as_utf8().map_err(io::Error::other)?).as_bytes()),
        Cell::Whole(number) => write!(into, "{number}"),
        Cell::Number(number) => write!(into, "{number}"),
        Cell::Flag(flag) => write!(into, "{flag}"),
        Cell::Moment(ms) => write!(into, "{}", moment(ms)),
        Cell::Unknown => Ok(()),
    }
}

/// A text as a cell, in quotes where it has to be.
pub fn quoted(text: &str) -> Cow<'_, str> {
    if text.contains([',', '"', '\n', '\r']) {
        Cow::Owned(format!("\"{}\"", text.replace('"', "\"\"")))
    } else {
        Cow::Borrowed(text)
    }
}

/// As RFC 3339 has it, always to the millisecond.
fn moment(ms: i64) -> String {
    let form = format_description!("[year]-[month]-[day]T[hour]:[minute]:[second].[subsecond digits:3]Z");
    let moment = OffsetDateTime::from_unix_timestamp_nanos(i128::from(ms) * 1_000_000);
    moment.ok().and_then(|moment| moment.format(form).ok()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_quoted_where_they_have_to_be() {
        assert_eq!(quoted("a,\"b\"\n"), "\"a,\"\"b\"\"\n\"");
        assert_eq!(quoted("plain"), "plain");
        assert_eq!(moment(1_000_000_000_120), "2001-09-09T01:46:40.120Z");
    }
}
