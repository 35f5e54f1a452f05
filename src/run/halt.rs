//! Why a move did not come to its end.

use super::sentinel::Trip;

/// What stopped a move, and how far that reaches.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Halt {
    /// The unit did not do what it was told: this check is given up, the run goes on.
    Unit(String),
    /// Something is in danger: the unit is stopped, and this check given up.
    Trip(Trip),
    /// The bench failed: the run is over and invalid.
    Bench(String),
    /// Somebody interrupted: the run is over and invalid.
    Interrupted,
}

impl From<crate::jig::JigError> for Halt {
    fn from(error: crate::jig::JigError) -> Self {
        Self::Bench(format!("jig: {error}"))
    }
}

impl From<crate::port::PortError> for Halt {
    fn from(error: crate::port::PortError) -> Self {
        Self::Bench(format!("unit link: {error}"))
    }
}
