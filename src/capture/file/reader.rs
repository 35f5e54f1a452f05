//! Reads a capture file back, in the order in which it was written, damaged or not, a stretch at a time.

use std::io::Read;

use super::block;
use super::replay::Replay;
use super::window::Window;
use super::{CaptureError, HEAD_LENGTH, SIGNATURE, VERSION};
use crate::capture::CaptureSink;

/// The slowest and the fastest clock that a jig can have, ticks a second.
const CLOCKS: std::ops::RangeInclusive<u64> = 1..=1_000_000_000_000;

/// What a capture file held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Summary {
    /// Ticks of its clock in a second.
    pub ticks_per_second: u64,
    /// Transitions.
    pub edges: u64,
    /// Samples.
    pub samples: u64,
    /// Lines of the transcript.
    pub lines: u64,
    /// Marks.
    pub marks: u64,
    /// Losses, those found in reading included.
    pub losses: u64,
    /// Whether the file is whole: undamaged and with its end.
    pub whole: bool,
}

/// A capture file whose head has been read.
pub struct CaptureReader<R> {
    window: Window<R>,
    ticks_per_second: u64,
}

/// Reads a whole capture file into `sink`.
pub fn read(from: impl Read, sink: &mut dyn CaptureSink) -> Result<Summary, CaptureError> {
    CaptureReader::open(from)?.replay(sink)
}

impl<R: Read> CaptureReader<R> {
    /// Reads a file's head. What follows is read as it is handed out, so that the file's length does not matter.
    ///
    /// # Errors
    /// A file that is no capture, or whose head is damaged; a read that failed.
    pub fn open(from: R) -> Result<Self, CaptureError> {
        let mut window = Window::new(from);
        window.fill(HEAD_LENGTH);
        if let Some(failure) = window.failure() {
            return Err(failure.into());
        }
        if !window.bytes().starts_with(&SIGNATURE) {
            return Err(CaptureError::Foreign);
        }
        let head: &[u8; HEAD_LENGTH] = window.bytes().first_chunk().ok_or(CaptureError::DamagedHead)?;
        let [.., a, b, c, d] = *head;
        if crc32fast::hash(&head[..HEAD_LENGTH - 4]) != u32::from_le_bytes([a, b, c, d]) {
            return Err(CaptureError::DamagedHead);
        }
        let version = u16::from_le_bytes([head[8], head[9]]);
        if version > VERSION {
            return Err(CaptureError::Newer { found: version });
        }
        let ticks_per_second = u64::from_le_bytes(std::array::from_fn(|index| head[12 + index]));
        if !CLOCKS.contains(&ticks_per_second) {
            return Err(CaptureError::DamagedHead);
        }
        window.skip(HEAD_LENGTH);
        Ok(Self { window, ticks_per_second })
    }

    /// Ticks of the capture's clock in a second.
    pub fn ticks_per_second(&self) -> u64 {
        self.ticks_per_second
    }

    /// Hands everything to `sink`, in the order in which it came. A read that fails ends the capture, with a loss.
    ///
    /// # Errors
    /// No memory to unpack with.
    pub fn replay(mut self, sink: &mut dyn CaptureSink) -> Result<Summary, CaptureError> {
        let mut replay = Replay::new(self.ticks_per_second, sink)?;
        let window = &mut self.window;
        let mut skipped = 0;
        while window.fill(1) && !replay.is_ended() {
            window.fill(block::HEADER_LENGTH);
            let begun = block::begin(window.bytes());
            let block = begun.filter(|(_, length)| window.fill(*length));
            let Some((header, length, payload)) =
                block.and_then(|(header, length)| Some((header, length, block::payload(&window.bytes()[..length])?)))
            else {
                let distance = block::distance_to_sync(window.bytes());
                skipped += distance as u64;
                window.skip(distance);
                continue;
            };
            replay.damaged(std::mem::take(&mut skipped), window.place());
            replay.block(&header, payload);
            window.skip(length);
        }
        replay.damaged(skipped, window.place());
        let failure = window.failure();
        let mut behind = 0;
        while window.fill(1) {
            behind += window.bytes().len() as u64;
            window.skip(window.bytes().len());
        }
        Ok(replay.end(failure.as_ref(), behind))
    }
}
