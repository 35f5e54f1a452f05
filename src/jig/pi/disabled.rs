//! The Raspberry Pi jig where there can be none.

use super::PiWiring;
use crate::clock::ComputerClock;
use crate::jig::{Jig, JigError};

/// Says that this is no Raspberry Pi.
pub fn open(_wiring: &PiWiring, _clock: &ComputerClock) -> Result<Box<dyn Jig>, JigError> {
    Err(JigError::Absent {
        what: "this system has no pins: the jig file is for a Raspberry Pi under Linux".to_owned(),
        remedy: "run on the bench's Raspberry Pi, or choose another jig file".to_owned(),
    })
}
