//! Captures as tables of text: what spreadsheets, oscilloscopes and logic analysers export.
//!
//! A line names the columns; lines before it are passed over. With a column of time each row is a moment: levels as 0 and
//! 1, sampled quantities as numbers, an empty cell where nothing is new; of `step [pulses]` each 1 is a pulse. Whether rows
//! come at a steady rate or only where something changed makes no difference. Without one each column lists the times of its
//! channel's edges, which alternate from a rising one on; of `step` each is a pulse. Such columns are read side by side,
//! since a row is no moment then.
//!
//! Separator is comma, semicolon or tab, whichever the line of names has; with the latter two a decimal comma is
//! understood. Times are in seconds unless the column's name says otherwise: `time [ms]`. A tick is a nanosecond and
//! ticks count from the first time; where edges are listed, from a tick before the first of them.

mod edges;
mod layout;
mod number;
mod rows;
#[cfg(test)]
mod tests;
mod write;

pub use write::CsvWriter;

use super::wires::{self, Calibrations, Coding, Intake};
use super::{CaptureSink, Channel, ForeignError, SampleChannel, Taken, Wire};
use layout::Layout;
use std::io::{self, Read};

/// Unit of a column whose every 1 is a pulse, as long as it may be.
const PULSES: &str = "pulses";
/// Ticks in a second.
const TICKS_PER_SECOND: u64 = 1_000_000_000;

/// A table whose columns have been found. `open` opens the text from its beginning, once for each pass over it.
pub struct CsvReader<F> {
    open: F,
    wires: Vec<Wire>,
    layout: Layout,
}

impl<R: Read, F: Fn() -> io::Result<R>> CsvReader<F> {
    /// Finds the wires' columns.
    ///
    /// # Errors
    /// A column that is not there or cannot be what it is said to be; a text that cannot be read.
    pub fn open(open: F, wires: &[Wire]) -> Result<Self, ForeignError> {
        wires::check_unique(wires)?;
        let layout = Layout::read(open()?, wires)?;
        Ok(Self { open, wires: wires.to_vec(), layout })
    }

    /// Ticks in a second.
    pub fn ticks_per_second(&self) -> u64 {
        TICKS_PER_SECOND
    }

    /// What the table's times tell apart, s: the time between rows where that is steady, else their last decimal.
    pub fn resolution_s(&self) -> f64 {
        self.layout.resolution_s
    }

    /// Calibrations of a perfect jig.
    pub fn perfect_calibrations(&self) -> Result<Calibrations, ForeignError> {
        let mut calibrations = [None; SampleChannel::COUNT];
        for wire in &self.wires {
            if let Channel::Sample(channel) = wire.channel {
                calibrations[channel.index()] = Some(wires::perfect(wire, false)?);
            }
        }
        Ok(calibrations)
    }

    /// Hands everything to `sink`, in order of time. Numbers become codes by the inverse of `calibrations`.
    ///
    /// # Errors
    /// A read that failed, and garbage. What came before was handed on.
    pub fn replay(self, calibrations: &Calibrations, sink: &mut dyn CaptureSink) -> Result<Taken, ForeignError> {
        let codings: Vec<Coding> = self.layout.scales.iter().map(|scale| Coding::Scaled(*scale)).collect();
        let intake = Intake::new(&self.wires, &codings, calibrations, sink);
        match self.layout.time {
            Some(time) => rows::read((self.open)()?, &self.layout, time, intake),
            None => edges::read(self.open, &self.layout, &self.wires, intake),
        }
    }
}

/// The end of a line.
const fn is_line_end(byte: u8) -> bool {
    byte == b'\n'
}
