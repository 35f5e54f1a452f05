//! A table whose rows are moments.

use super::is_line_end;
use super::layout::{Layout, TimeColumn, fields};
use super::number::{Decimal, real};
use crate::capture::chunks::Chunks;
use crate::capture::wires::Intake;
use crate::capture::{ForeignError, TICK_MAX, Taken, Tick};
use std::io::Read;
use std::ops::Range;

/// Reads all rows into `intake`.
pub fn read(from: impl Read, layout: &Layout, time: TimeColumn, intake: Intake<'_>) -> Result<Taken, ForeignError> {
    let mut rows = Rows { layout, time, cells: Vec::new(), intake, origin: None, now: 0, line: 0 };
    let mut chunks = Chunks::new(from);
    loop {
        let text = chunks.whole(is_line_end)?;
        if text.is_empty() {
            return Ok(rows.intake.finish(rows.now));
        }
        for line in text.split_inclusive(|byte| *byte == b'\n') {
            rows.line += 1;
            if rows.line > layout.head_lines as u64 {
                rows.row(line);
            }
        }
        if rows.intake.is_hopeless() {
            let place = format!("line {}", rows.line);
            rows.intake.finish(rows.now);
            return Err(ForeignError::hopeless(place));
        }
        let used = text.len();
        chunks.used(used);
    }
}

struct Rows<'a, 'l> {
    layout: &'l Layout,
    time: TimeColumn,
    /// Where the fields of the row are.
    cells: Vec<Range<usize>>,
    intake: Intake<'a>,
    origin: Option<i64>,
    now: Tick,
    line: u64,
}

impl Rows<'_, '_> {
    fn row(&mut self, line: &[u8]) {
        let is_cut = !line.ends_with(b"\n");
        let line = line.trim_ascii_end();
        if line.is_empty() {
            return;
        }
        self.cells.clear();
        let begin = line.as_ptr() as usize;
        self.cells.extend(fields(line, self.layout.separator).map(|field| {
            let at = field.as_ptr() as usize - begin;
            at..at + field.len()
        }));
        let is_short = self.cells.len() < self.layout.columns;
        if is_short || (is_cut && !self.is_last_cell_whole()) {
            return self.lose(if is_cut { "cut off" } else { "too short" });
        }
        let time = &line[self.cells[self.time.column].clone()];
        let Some(time) = Decimal::parse(time, self.layout.comma).and_then(|time| time.whole(-9 - self.time.power))
        else {
            return self.lose("without a time that is one");
        };
        let origin = *self.origin.get_or_insert(time);
        match u64::try_from(time - origin).ok().filter(|tick| *tick >= self.now) {
            Some(tick) if tick <= TICK_MAX => self.now = tick,
            Some(_) => return self.lose("longer after the beginning than any capture"),
            None => return self.lose("earlier than the one before"),
        }
        for wire in 0..self.layout.column_of.len() {
            self.cell(wire, &line[self.cells[self.layout.column_of[wire]].clone()]);
        }
    }

    /// Whether the last cell of a row without a line end can be no longer than it is: one digit of a level. A cell that
    /// nobody asked for does not matter.
    fn is_last_cell_whole(&self) -> bool {
        let last = self.layout.columns - 1;
        let wire = self.layout.column_of.iter().position(|column| *column == last);
        let length = self.cells[last].len();
        last != self.time.column && wire.is_none_or(|wire| !self.intake.is_sampled(wire) && length == 1)
    }

    fn cell(&mut self, wire: usize, field: &[u8]) {
        if field.is_empty() {
            return;
        }
        if self.intake.is_sampled(wire) {
            // What is no number is none that a channel can have.
            let number = real(field, self.layout.comma).unwrap_or(f64::NAN);
            return self.intake.number(wire, self.now, number);
        }
        match level(field, self.layout.comma) {
            Some(Some(true)) if self.layout.are_pulses[wire] => self.intake.pulse(wire, self.now),
            Some(level) => self.intake.level(wire, self.now, level),
            None => self.lose("with a level that is neither 0 nor 1"),
        }
    }

    fn lose(&mut self, what: &str) {
        let line = self.line;
        self.intake.lose(self.now, format!("a row of the table: line {line} is {what}"));
    }
}

/// A level; x and z are not known; `None` for anything else.
fn level(field: &[u8], comma: bool) -> Option<Option<bool>> {
    match field {
        b"0" | b"L" | b"l" => Some(Some(false)),
        b"1" | b"H" | b"h" => Some(Some(true)),
        b"x" | b"X" | b"z" | b"Z" => Some(None),
        _ if field.eq_ignore_ascii_case(b"low") || field.eq_ignore_ascii_case(b"false") => Some(Some(false)),
        _ if field.eq_ignore_ascii_case(b"high") || field.eq_ignore_ascii_case(b"true") => Some(Some(true)),
        _ => match real(field, comma)? {
            0.0 => Some(Some(false)),
            1.0 => Some(Some(true)),
            _ => None,
        },
    }
}
