//! A run's evidence on disk while the run goes.

use crate::capture::file::CaptureWriter;
use crate::capture::{CaptureSink, Mark, Part};
use crate::care::Usage;
use crate::run::Evidence;
use std::fs::File;
use std::io::{self, BufWriter};
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// The capture file in a run's staged folder.
pub struct FolderEvidence {
    writer: CaptureWriter<BufWriter<File>>,
    /// A second hold on the file, to make it durable.
    file: File,
    /// What the run costs the jig.
    usage: Usage,
}

impl FolderEvidence {
    /// Its place in a run's folder.
    pub const FILE: &'static str = "captures/run.capture";

    /// Creates the capture file in `folder`.
    pub fn create(folder: &Path, ticks_per_second: u64) -> io::Result<Self> {
        let path = folder.join(Self::FILE);
        if let Some(captures) = path.parent() {
            std::fs::create_dir_all(captures)?;
        }
        let file = File::create_new(path)?;
        let writer = CaptureWriter::new(BufWriter::new(file.try_clone()?), ticks_per_second)?;
        Ok(Self { writer, file, usage: Usage::default() })
    }

    /// What the run has cost the jig so far.
    pub fn usage(&self) -> &Usage {
        &self.usage
    }

    /// Ends the file.
    ///
    /// # Errors
    /// What the disk said; that somebody took the file away, which no write notices.
    pub fn finish(self) -> io::Result<()> {
        self.writer.finish()?;
        self.file.sync_all()?;
        if self.file.metadata()?.nlink() == 0 {
            return Err(io::Error::other("the capture file was taken away during the run"));
        }
        Ok(())
    }
}

impl CaptureSink for FolderEvidence {
    fn part(&mut self, part: &Part) {
        self.usage.part(part);
        self.writer.part(part);
    }

    fn mark(&mut self, mark: &Mark) {
        self.writer.mark(mark);
    }
}

impl Evidence for FolderEvidence {
    fn secure(&mut self) -> Result<(), String> {
        let failed = |error: &io::Error| {
            format!("the evidence cannot be stored: {error}; make room on the disk, then run again")
        };
        if let Some(error) = self.writer.failure() {
            return Err(failed(error));
        }
        self.file.sync_data().map_err(|error| failed(&error))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_capture_file_that_is_taken_away_is_missed() {
        let folder = tempfile::tempdir().expect("a folder for the test");
        let evidence = FolderEvidence::create(folder.path(), 2_000_000).expect("it can be made");
        std::fs::remove_file(folder.path().join(FolderEvidence::FILE)).expect("somebody tidies up");
        assert!(evidence.finish().expect_err("it is gone").to_string().contains("taken away"));
    }
}
