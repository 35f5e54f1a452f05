//! What a run is carried out on.

use crate::clock::Clock;
use crate::jig::Jig;
use crate::port::Port;
use crate::unit::Unit;

/// A bench with a unit on it: clock, unit link and jig, real or not.
pub struct Bench<'a> {
    /// When to give up.
    pub clock: &'a dyn Clock,
    /// The unit's serial link.
    pub port: &'a mut dyn Port,
    /// What senses and switches.
    pub jig: &'a mut dyn Jig,
    /// The unit's model.
    pub unit: &'a Unit,
}
