//! What the bench switches: outputs, the wires of the jig's own check, the emergency stop and the guard, the watchdog.

use super::World;
use crate::capture::{Driven, EdgeChannel, OutputChannel, Part, Tick};
use crate::sim::SimTime;
use crate::sim::firmware::CONTROLS;

/// Time without a heartbeat after which an armed watchdog drops the supply.
const WATCHDOG_NS: SimTime = 250_000_000;

impl World {
    /// How many controls the unit has for the jig to press.
    pub const CONTROLS: usize = CONTROLS;

    /// Switches an output now and says when, on the jig's clock.
    pub fn drive(&mut self, output: OutputChannel, on: bool, out: &mut Part) -> Tick {
        self.open(out);
        let at = self.tick_now();
        out.driven.push(Driven { at, output, on });
        match output {
            OutputChannel::UnitSupply => {
                self.sample_flicker(out);
                self.switch_supply(on);
            }
            OutputChannel::DummyLoad => {
                self.use_pack();
                self.feed.set_load(on);
            }
            OutputChannel::LowPack => {
                self.use_pack();
                self.feed.set_low_pack(on);
            }
            OutputChannel::Press(control) => self.controls.press(usize::from(control), on, self.now),
            OutputChannel::Auxiliary(_) => {}
        }
        self.switch_check_wires(output, on, at, out);
        self.look_at_controller(out);
        self.use_pack();
        at
    }

    /// Wires and references of the jig's own check see an output switch.
    fn switch_check_wires(&mut self, output: OutputChannel, on: bool, at: Tick, out: &mut Part) {
        for input in self.wiring.switch(output, on) {
            out.push_edge(input, at, on);
        }
        for (channel, value) in self.wiring.references(output) {
            match self.converters.of(channel) {
                Some(converter) if on => converter.connect(value),
                Some(converter) => converter.disconnect(),
                None => {}
            }
        }
        self.lose_what_is_not_heard(out);
    }

    /// Whether the bench has an output.
    pub fn has_output(output: OutputChannel) -> bool {
        !matches!(output, OutputChannel::Press(control) if usize::from(control) >= CONTROLS)
    }

    /// Supply off, load off, full pack, nothing pressed, nothing of the jig's own check on.
    pub fn make_safe(&mut self, out: &mut Part) {
        for output in (0..OutputChannel::COUNT).filter_map(OutputChannel::at).filter(|output| Self::has_output(*output))
        {
            if !matches!(output, OutputChannel::Auxiliary(_)) || self.wiring.is_on(output) {
                self.drive(output, false, out);
            }
        }
    }

    /// An input with a broken line keeps the level that it began with.
    pub(super) fn lose_what_is_not_heard(&self, out: &mut Part) {
        if let Some(deaf) = self.deaf {
            out.edges[deaf as usize].retain(|edge| edge.tick() == 0);
        }
    }

    /// Sets the emergency-stop chain (true is healthy) or the guard (true is closed); nothing for other channels.
    pub fn set_input(&mut self, input: EdgeChannel, level: bool, out: &mut Part) {
        self.open(out);
        let index = match input {
            EdgeChannel::EmergencyStop => 0,
            EdgeChannel::Guard => 1,
            _ => return,
        };
        if self.inputs[index] != level {
            self.inputs[index] = level;
            out.push_edge(input, self.tick_now(), level);
        }
    }

    /// Arms the board's watchdog, or disarms it: when armed, the supply is dropped 250 ms after the last heartbeat.
    pub fn arm_watchdog(&mut self, armed: bool) {
        self.watchdog_armed = armed;
        self.watchdog = if armed { self.now + WATCHDOG_NS } else { SimTime::MAX };
    }

    /// The bench lives.
    pub fn heartbeat(&mut self) {
        if self.watchdog_armed {
            self.watchdog = self.now + WATCHDOG_NS;
        }
    }
}
