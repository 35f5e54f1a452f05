//! What follows on a check that was given up: the unit gets a new start, so that the other checks can tell more.

use super::conduct::Conductor;
use super::halt::Halt;
use crate::capture::{OutputChannel, Side};
use crate::plan::Switched;
use std::time::Duration;

impl Conductor<'_, '_> {
    /// After a check was given up: switches everything to where the plan has it after that check, starts the unit afresh
    /// and sends it home where it had been, so that the other checks can tell more. The rest of the run is broken off where
    /// that fails: a unit that cannot find its end would only grind.
    pub(super) fn recover(&mut self, given_up: usize) -> Result<(), Halt> {
        self.pump_for(Duration::from_secs(1))?;
        let left = Switched::after(&self.job.plan.checks[..=given_up]);
        if left.low_pack {
            self.bench.jig.drive(OutputChannel::LowPack, true)?;
        }
        if left.load {
            self.bench.jig.drive(OutputChannel::DummyLoad, true)?;
        }
        if !left.supply {
            return Ok(());
        }
        self.switch_supply(true)?;
        self.await_start_up()?;
        if !self.homed {
            return Ok(());
        }
        self.home(Side::Left).map_err(|halt| match halt {
            Halt::Unit(why) => Halt::Unit(format!("after a new start the unit did not find its left end: {why}")),
            other => other,
        })
    }
}
