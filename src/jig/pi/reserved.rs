//! Keeps a second program off the pins: the kernel lets any number of them drive one.

use rustix::fs::{FlockOperation, flock};
use rustix::io::Errno;
use std::fs::File;
use std::path::Path;

/// Pins that are this program's while it lives; the kernel frees those of one that was killed.
pub(super) struct Reserved {
    _locked: File,
}

impl Reserved {
    /// Reserves the pins behind a device of the kernel.
    ///
    /// # Errors
    /// Another program has them, or the device cannot be opened.
    pub(super) fn behind(device: &Path) -> Result<Self, String> {
        let file = File::open(device).map_err(|error| format!("{}: {error}", device.display()))?;
        match flock(&file, FlockOperation::NonBlockingLockExclusive) {
            Ok(()) => Ok(Self { _locked: file }),
            Err(Errno::WOULDBLOCK) => Err("another program drives them".to_owned()),
            Err(error) => Err(format!("{}: {error}", device.display())),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pins_belong_to_one_program_at_a_time() {
        let device = tempfile::NamedTempFile::new().expect("a file in the device's place");
        let first = Reserved::behind(device.path()).expect("free");
        let second = Reserved::behind(device.path());
        assert_eq!(second.err().as_deref(), Some("another program drives them"));
        drop(first);
        Reserved::behind(device.path()).expect("free again");
    }

    #[test]
    fn a_device_that_is_not_there_is_named() {
        let missing = Reserved::behind(Path::new("/dev/no-such-pins")).err().expect("missing");
        assert!(missing.starts_with("/dev/no-such-pins: "), "{missing}");
    }
}
