//! Reads a text of any length in pieces that end behind a separator, in constant memory.

use super::ForeignError;
use std::io::{ErrorKind, Read};

/// How much is read at a time.
const READ: usize = 1 << 18;
/// The longest piece between two separators; no honest token or line is longer.
const PIECE_MAX: usize = 1 << 20;

/// A text in pieces.
pub(super) struct Chunks<R> {
    from: R,
    buffer: Vec<u8>,
    start: usize,
    whole: usize,
    end: usize,
    passed: u64,
    ended: bool,
}

impl<R: Read> Chunks<R> {
    pub fn new(from: R) -> Self {
        Self { from, buffer: vec![0; READ], start: 0, whole: 0, end: 0, passed: 0, ended: false }
    }

    /// Bytes before the part that is not used yet.
    pub fn place(&self) -> u64 {
        self.passed + self.start as u64
    }

    /// What is there, up to and including the last separator; read on where there is nothing. At the end of the text what
    /// follows the last separator comes as a last piece; nothing at all means that the text is over.
    ///
    /// # Errors
    /// A read that failed; a piece longer than a mebibyte.
    pub fn whole(&mut self, is_separator: fn(u8) -> bool) -> Result<&[u8], ForeignError> {
        while self.start == self.whole && !(self.ended && self.start == self.end) {
            if self.ended {
                self.whole = self.end;
                break;
            }
            let begun = self.end - self.start;
            self.buffer.copy_within(self.start..self.end, 0);
            self.passed += self.start as u64;
            (self.start, self.whole, self.end) = (0, 0, begun);
            if begun > PIECE_MAX {
                return Err(ForeignError::malformed(
                    format!("byte {}", self.passed),
                    format!("{PIECE_MAX} bytes follow without a separator, so this is no text of that kind"),
                    "name a capture in VCD or CSV",
                ));
            }
            if self.buffer.len() < begun + READ {
                self.buffer.resize(begun + READ, 0);
            }
            match self.from.read(&mut self.buffer[begun..]) {
                Ok(0) => self.ended = true,
                Ok(count) => {
                    self.end += count;
                    let fresh = &self.buffer[begun..self.end];
                    if let Some(last) = fresh.iter().rposition(|byte| is_separator(*byte)) {
                        self.whole = begun + last + 1;
                    }
                }
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => return Err(error.into()),
            }
        }
        Ok(&self.buffer[self.start..self.whole])
    }

    /// So many bytes of what was given are used.
    pub fn used(&mut self, count: usize) {
        self.start = (self.start + count).min(self.whole);
    }
}
