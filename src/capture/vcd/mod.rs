//! Value change dumps: the four-state VCD of IEEE Std 1364-2005, clause 18, as simulators and logic analysers write it.
//!
//! The file streams through a fixed buffer, so its length does not matter. A tick is the dump's timescale, but no finer
//! than a nanosecond: a finer dump is rounded to the nearest, which is its resolution then. Ticks count from the dump's
//! first time. Each statement of a real or of a vector that is mapped to a sampled channel is a sample; between two of
//! them nothing is made up. `$dumpoff` to `$dumpon` is a loss, and so is x or z on a wire whose level was known before.

mod body;
mod header;
#[cfg(test)]
mod tests;
mod write;

pub use write::VcdWriter;

use super::chunks::Chunks;
use super::wires::{self, Calibrations, Coding};
use super::{CaptureSink, Channel, ForeignError, SampleChannel, Taken, Wire};
use header::Header;
use std::io::Read;

/// A dump whose definitions have been read.
pub struct VcdReader<R> {
    chunks: Chunks<R>,
    wires: Vec<Wire>,
    header: Header,
}

impl<R: Read> VcdReader<R> {
    /// Reads the definitions and finds the wires' signals.
    ///
    /// # Errors
    /// What is wrong with the definitions, with its place; a signal that is not there.
    pub fn open(from: R, wires: &[Wire]) -> Result<Self, ForeignError> {
        wires::check_unique(wires)?;
        let mut chunks = Chunks::new(from);
        let header = Header::read(&mut chunks, wires)?;
        Ok(Self { chunks, wires: wires.to_vec(), header })
    }

    /// Ticks in a second.
    pub fn ticks_per_second(&self) -> u64 {
        self.header.clock.ticks_per_second
    }

    /// Calibrations of a perfect jig that tells apart what the dump does.
    ///
    /// # Errors
    /// A vector whose steps are worth something unknown.
    pub fn perfect_calibrations(&self) -> Result<Calibrations, ForeignError> {
        let mut calibrations = [None; SampleChannel::COUNT];
        for (wire, signal) in self.wires.iter().zip(&self.header.signals) {
            if let Channel::Sample(channel) = wire.channel {
                calibrations[channel.index()] = Some(wires::perfect(wire, !signal.is_real)?);
            }
        }
        Ok(calibrations)
    }

    /// Hands everything to `sink`, in order of time. Numbers become codes by the inverse of `calibrations`; a vector
    /// without a scale of its own is taken for the converter's codes.
    ///
    /// # Errors
    /// A read that failed, and garbage. What came before was handed on.
    pub fn replay(mut self, calibrations: &Calibrations, sink: &mut dyn CaptureSink) -> Result<Taken, ForeignError> {
        let codings: Vec<Coding> = self
            .wires
            .iter()
            .zip(&self.header.signals)
            .map(|(wire, signal)| match wire.scale {
                None if !signal.is_real => Coding::Raw,
                scale => Coding::Scaled(scale.unwrap_or(1.0)),
            })
            .collect();
        let intake = wires::Intake::new(&self.wires, &codings, calibrations, sink);
        body::read(&mut self.chunks, &self.header, intake)
    }
}

/// White space, as clause 18 has it between tokens.
const fn is_blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t'..=b'\r')
}
