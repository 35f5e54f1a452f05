//! Writes a table of moments that spreadsheets and our own reader open.
//!
//! Each row is a moment at which something happened, each cell what a channel did then, an empty one that it did nothing.
//! Of a step pulse only the beginning was captured: its column has a 1 for each. What is lost is a cell that says so.

use crate::capture::{Calibrations, Channel, EdgeChannel, Happened, Tick};
use std::io::{self, Write};

/// More digits behind the point than a clock has.
const DIGITS_MAX: u32 = 12;

/// A table that is being written.
pub struct CsvWriter<W> {
    into: W,
    channels: Vec<Channel>,
    calibrations: Calibrations,
    digits: u32,
    ticks_per_second: u64,
    now: Tick,
    /// The cells of the row that is not yet written; behind those of the channels one for the remark.
    row: Vec<String>,
    failure: Option<io::Error>,
}

impl<W: Write> CsvWriter<W> {
    /// Begins a table of these channels. A remark, as that no unit was tested, has a column of its own: its name, and what
    /// its first row says.
    pub fn new(
        into: W,
        remark: Option<(&str, &str)>,
        ticks_per_second: u64,
        channels: &[Channel],
        calibrations: &Calibrations,
    ) -> Self {
        let is_exact = |digits: &u32| 10u64.pow(*digits).is_multiple_of(ticks_per_second);
        let row = channels.iter().map(|_| String::new()).chain(remark.map(|(_, says)| says.to_owned()));
        let mut writer = Self {
            into,
            channels: channels.to_vec(),
            calibrations: *calibrations,
            digits: (0..DIGITS_MAX).find(is_exact).unwrap_or(DIGITS_MAX),
            ticks_per_second,
            now: 0,
            row: row.collect(),
            failure: None,
        };
        let heads = channels.iter().map(|channel| head(*channel)).chain(remark.map(|(name, _)| name.to_owned()));
        let heads = ["time [s]".to_owned()].into_iter().chain(heads).collect::<Vec<_>>().join(",");
        writer.put(&(heads + "\r\n"));
        writer
    }

    /// What a channel is called in it.
    pub fn name(channel: Channel) -> String {
        channel.name()
    }

    /// Writes what happened, in order of time.
    pub fn happened(&mut self, at: Tick, happened: &Happened) {
        let place = match happened.channel() {
            // A cell that is no level and no number is one that a reader cannot take.
            None => Some(0),
            Some(channel) => self.channels.iter().position(|known| *known == channel),
        };
        let cell = match happened {
            Happened::Level(_, level) | Happened::Switched(_, level) => Some(u8::from(*level).to_string()),
            Happened::Code(channel, code) => {
                self.calibrations[channel.index()].map(|calibration| calibration.value(*code).to_string())
            }
            Happened::Lost(_) => Some("lost".to_owned()),
        };
        let (Some(place), Some(cell)) = (place, cell) else { return };
        // The first row stands at the beginning, from which a reader counts.
        if at != self.now || self.row.get(place).is_some_and(|cell| !cell.is_empty()) {
            self.write_row();
            self.now = at;
        }
        if let Some(waiting) = self.row.get_mut(place) {
            *waiting = cell;
        }
    }

    /// Ends the table at the capture's last moment.
    ///
    /// # Errors
    /// What could not be written.
    pub fn finish(mut self, ended: Tick) -> io::Result<W> {
        self.write_row();
        if ended > self.now {
            self.now = ended;
            self.write_row();
        }
        match self.failure {
            Some(failure) => Err(failure),
            None => Ok(self.into),
        }
    }

    fn write_row(&mut self) {
        let (ticks, power) = (u128::from(self.ticks_per_second), 10u128.pow(self.digits));
        let time = (u128::from(self.now) * power + ticks / 2) / ticks;
        let (whole, part, digits) = (time / power, time % power, self.digits as usize);
        let mut text = if digits == 0 { whole.to_string() } else { format!("{whole}.{part:0digits$}") };
        for cell in &mut self.row {
            text.push(',');
            text.push_str(cell);
            cell.clear();
        }
        text.push_str("\r\n");
        self.put(&text);
    }

    fn put(&mut self, text: &str) {
        if self.failure.is_none() {
            self.failure = self.into.write_all(text.as_bytes()).err();
        }
    }
}

/// A column's name with the unit of its numbers.
fn head(channel: Channel) -> String {
    let name = channel.name();
    match channel {
        Channel::Edge(EdgeChannel::Step) => format!("{name} [{}]", super::PULSES),
        Channel::Sample(sampled) if !sampled.unit().is_empty() => format!("{name} [{}]", sampled.unit()),
        _ => name,
    }
}
