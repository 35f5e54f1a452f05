//! A file seen through a window that moves along it, so that its length does not matter.

use std::io::{ErrorKind, Read};

/// How much is read at least.
const READ: usize = 1 << 18;

/// What was read and not yet used.
pub(super) struct Window<R> {
    from: R,
    bytes: Vec<u8>,
    start: usize,
    end: usize,
    passed: u64,
    ended: bool,
    failure: Option<std::io::Error>,
}

impl<R: Read> Window<R> {
    pub fn new(from: R) -> Self {
        Self { from, bytes: Vec::new(), start: 0, end: 0, passed: 0, ended: false, failure: None }
    }

    /// The bytes that are there.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes[self.start..self.end]
    }

    /// Bytes of the file before them.
    pub fn place(&self) -> u64 {
        self.passed
    }

    /// The read that failed, if one did; the file ends there.
    pub fn failure(&mut self) -> Option<std::io::Error> {
        self.failure.take()
    }

    /// Reads on until so many bytes are there; false where the file ends before.
    pub fn fill(&mut self, length: usize) -> bool {
        while self.end - self.start < length && !self.ended {
            self.bytes.copy_within(self.start..self.end, 0);
            self.end -= self.start;
            self.start = 0;
            if self.bytes.len() < self.end + READ {
                self.bytes.resize(self.end + READ, 0);
            }
            match self.from.read(&mut self.bytes[self.end..]) {
                Ok(0) => self.ended = true,
                Ok(count) => self.end += count,
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => (self.failure, self.ended) = (Some(error), true),
            }
        }
        self.end - self.start >= length
    }

    /// Moves on; not beyond what is there.
    pub fn skip(&mut self, count: usize) {
        let count = count.min(self.end - self.start);
        self.start += count;
        self.passed += count as u64;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_passes_over_a_long_file_in_little_memory() {
        let mut window = Window::new(std::io::repeat(7).take(100 << 20));
        while window.fill(1000) {
            window.skip(999);
        }
        assert!(window.bytes().len() < 1000 && window.bytes.len() < 2 * READ, "{} bytes", window.bytes.len());
        window.skip(usize::MAX);
        assert_eq!(window.place(), 100 << 20);
        assert!(!window.fill(1));
    }
}
