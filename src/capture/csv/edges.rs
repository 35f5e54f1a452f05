//! A table whose columns list times of edges. The columns are read side by side and merged, each at its own pace.

use super::is_line_end;
use super::layout::{Layout, fields};
use super::number::Decimal;
use crate::capture::chunks::Chunks;
use crate::capture::wires::Intake;
use crate::capture::{Channel, EdgeChannel, ForeignError, TICK_MAX, Taken, Tick, Wire};
use std::collections::VecDeque;
use std::io::{self, Read};

/// Reads all columns into `intake`.
pub fn read<R: Read>(
    open: impl Fn() -> io::Result<R>,
    layout: &Layout,
    wires: &[Wire],
    mut intake: Intake<'_>,
) -> Result<Taken, ForeignError> {
    let mut columns = Vec::new();
    for (wire, column) in layout.column_of.iter().enumerate() {
        let power = layout.edge_power[wire];
        columns.push(Column {
            chunks: Chunks::new(open()?),
            layout,
            column: *column,
            power,
            line: 0,
            ready: VecDeque::new(),
            rising: true,
            last: None,
        });
    }
    for (wire, column) in columns.iter_mut().enumerate() {
        column.fill(&mut intake)?;
        if wires[wire].channel != Channel::Edge(EdgeChannel::Step) {
            // The first edge rises, so the line was low before.
            intake.level(wire, 0, Some(false));
        }
    }
    // The clock begins a tick before the first edge: what stands at its very beginning is how lines were, not what they did.
    let first = columns.iter().filter_map(|column| column.ready.front()).min().copied().unwrap_or(0);
    let origin = first.saturating_sub(1);
    let mut now: Tick = 0;
    loop {
        let times = columns.iter().map(|column| column.ready.front().copied());
        let Some((wire, time)) =
            times.enumerate().filter_map(|(wire, time)| Some((wire, time?))).min_by_key(|next| next.1)
        else {
            return Ok(intake.finish(now));
        };
        let column = &mut columns[wire];
        column.ready.pop_front();
        // An edge that is listed twice would turn all that follow it round.
        let is_doubled = column.last.replace(time) == Some(time);
        match u64::try_from(time - origin).ok().filter(|tick| *tick >= now) {
            Some(_) if is_doubled => intake
                .lose(now, format!("an edge of `{}`, near line {}: it comes twice", wires[wire].name, column.line)),
            Some(tick) if tick > TICK_MAX => {
                let why = "it is longer after the first than any capture";
                intake.lose(now, format!("an edge of `{}`, near line {}: {why}", wires[wire].name, column.line));
            }
            Some(tick) => {
                now = tick;
                if wires[wire].channel == Channel::Edge(EdgeChannel::Step) {
                    intake.pulse(wire, now);
                } else {
                    intake.level(wire, now, Some(column.rising));
                    column.rising = !column.rising;
                }
            }
            None => intake
                .lose(now, format!("an edge of `{}`, near line {}: its times go back", wires[wire].name, column.line)),
        }
        if column.ready.is_empty() {
            column.fill(&mut intake)?;
        }
        if intake.is_hopeless() {
            let place = format!("line {}", column.line);
            intake.finish(now);
            return Err(ForeignError::hopeless(place));
        }
    }
}

/// One column on its own pass over the text.
struct Column<'l, R> {
    chunks: Chunks<R>,
    layout: &'l Layout,
    column: usize,
    /// Times are in 10^this seconds.
    power: i32,
    line: u64,
    /// Times that were read and not yet used, ns.
    ready: VecDeque<i64>,
    /// Whether the next edge rises.
    rising: bool,
    /// The time before.
    last: Option<i64>,
}

impl<R: Read> Column<'_, R> {
    /// Reads on until there is a time or the text is over.
    fn fill(&mut self, intake: &mut Intake<'_>) -> Result<(), ForeignError> {
        while self.ready.is_empty() {
            let text = self.chunks.whole(is_line_end)?;
            if text.is_empty() {
                break;
            }
            for line in text.split_inclusive(|byte| *byte == b'\n') {
                self.line += 1;
                if self.line <= self.layout.head_lines as u64 {
                    continue;
                }
                let mut cells = fields(line.trim_ascii_end(), self.layout.separator).skip(self.column);
                let field = cells.next().unwrap_or_default();
                let is_cut = !line.ends_with(b"\n") && cells.next().is_none();
                match Decimal::parse(field, self.layout.comma).and_then(|time| time.whole(-9 - self.power)) {
                    Some(time) if !is_cut => self.ready.push_back(time),
                    None if field.is_empty() => {}
                    _ => {
                        let why = if is_cut { "the text is cut off there" } else { "it is no time" };
                        intake.lose(
                            0,
                            format!("a cell of the table: column {}, line {}: {why}", self.column + 1, self.line),
                        );
                    }
                }
            }
            let used = text.len();
            self.chunks.used(used);
        }
        Ok(())
    }
}
