//! What a plan has switched on at some point of it.

use super::Check;
use crate::capture::Action;

/// What is on; a run begins with everything off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Switched {
    /// The unit's supply.
    pub supply: bool,
    /// The dummy load on the pack.
    pub load: bool,
    /// The bench's nearly empty pack in place of the unit's own.
    pub low_pack: bool,
}

impl Switched {
    /// After these checks.
    pub fn after(checks: &[Check]) -> Self {
        let mut switched = Self::default();
        checks.iter().flat_map(|check| &check.moves).for_each(|planned| switched.take(&planned.action));
        switched
    }

    /// Takes in what an action switches.
    pub(super) fn take(&mut self, action: &Action) {
        match action {
            Action::Power { on } => self.supply = *on,
            Action::Load { on } => self.load = *on,
            Action::Pack { low } => self.low_pack = *low,
            _ => {}
        }
    }
}
