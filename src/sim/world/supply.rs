//! The unit's supply as it is switched on and off, and as it breaks down.

use super::World;
use crate::sim::driver::Drive;
use crate::sim::firmware::BROWN_OUT_VOLTS;
use crate::sim::pack::Terminals;

impl World {
    pub(super) fn switch_supply(&mut self, on: bool) {
        if on == self.supply {
            return;
        }
        self.supply = on;
        if on {
            self.feed.renew_table();
            self.controller.power_up(self.now);
        } else {
            self.controller.power_down(self.now);
        }
    }

    /// Lets the pack in use live up to now, and draws from it what is drawn now.
    pub(super) fn use_pack(&mut self) -> Terminals {
        let terminals = self.feed.pass(self.now, self.lit_under_supply());
        if self.supply && terminals.volts < BROWN_OUT_VOLTS {
            self.controller.power_up(self.now);
            self.controller_at = self.controller.next_wake();
            self.feed.renew_table();
            self.feed.set_drive(Drive::Off, &mut self.train);
            self.follow_speed(0);
            return self.feed.redraw(self.lit_under_supply());
        }
        terminals
    }

    fn lit_under_supply(&self) -> Option<u8> {
        self.controller.is_powered().then(|| self.controller.lit())
    }
}
