//! Evidence that is kept in memory.

use railproof::capture::file::CaptureWriter;
use railproof::capture::{CaptureSink, Mark, Part};
use railproof::run::Evidence;

/// Evidence that is kept as a capture file in memory.
pub struct Kept(pub CaptureWriter<Vec<u8>>);

impl CaptureSink for Kept {
    fn part(&mut self, part: &Part) {
        self.0.part(part);
    }

    fn mark(&mut self, mark: &Mark) {
        self.0.mark(mark);
    }
}

impl Evidence for Kept {
    fn secure(&mut self) -> Result<(), String> {
        self.0.failure().map_or(Ok(()), |error| Err(error.to_string()))
    }
}
