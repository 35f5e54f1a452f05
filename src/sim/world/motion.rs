//! The drive train between two events: step by step, and stride by stride where the steps are steady.

use super::World;
use crate::capture::{EdgeChannel, Part};
use crate::sim::SimTime;
use crate::sim::firmware::Outcome;
use crate::sim::train::MICROSTEP;

impl World {
    /// Moves the drive train step by step up to a moment, or to a step after which the controller has to think.
    pub(super) fn move_to(&mut self, until: SimTime, out: &mut Part) {
        let mut reached = until;
        while self.controller.stepper.next_at() <= until {
            if self.cruise(until, out) {
                continue;
            }
            let at = self.controller.stepper.next_at();
            self.train.move_to(at, &self.clock, out);
            self.train.stamp_end_stops(at, &self.clock, out);
            let outcome = self.controller.stepper.interrupt(self.train.end_stop_levels());
            out.push_edge(EdgeChannel::Step, self.clock.tick(at), true);
            self.train.step(self.controller.stepper.direction());
            let delay = self.controller.stepper.delay();
            if delay != self.known_delay {
                self.follow_speed(delay);
            }
            if outcome != Outcome::Going {
                self.now = at;
                self.controller.stepped(outcome, at, self.train.end_stop_levels());
                self.look_at_controller(out);
                reached = at;
                break;
            }
        }
        self.train.move_to(reached, &self.clock, out);
        self.train.stamp_end_stops(reached, &self.clock, out);
        self.now = reached;
    }

    /// Makes the next steady steps that share one stride of the physics, if there are any.
    #[inline]
    fn cruise(&mut self, until: SimTime, out: &mut Part) -> bool {
        let Some(stride_end) = self.train.stride_end() else { return false };
        let (stepper, clock) = (&mut self.controller.stepper, &self.clock);
        let stamp = |at| out.push_edge(EdgeChannel::Step, clock.tick(at), true);
        let made = stepper.cruise(stride_end, until, stamp);
        if made == 0 {
            return false;
        }
        self.train.step_within(i64::from(made - 1) * stepper.direction());
        self.train.move_to(stepper.last_at(), clock, out);
        self.train.step(stepper.direction());
        true
    }

    /// Tells the drive train how fast its field moves.
    pub(super) fn follow_speed(&mut self, delay: u32) {
        self.known_delay = delay;
        let stepper = &self.controller.stepper;
        let speed = if stepper.is_moving() { MICROSTEP * stepper.direction() as f64 / stepper.period() } else { 0.0 };
        self.train.set_field_speed(speed);
    }

    /// Takes over what the controller decided: direction, current, speed.
    pub(super) fn look_at_controller(&mut self, out: &mut Part) {
        self.controller_at = self.controller.next_wake();
        let line = self.controller.direction_line();
        if line != self.direction_line {
            self.direction_line = line;
            out.push_edge(EdgeChannel::Direction, self.tick_now(), line);
        }
        self.follow_speed(self.controller.stepper.delay());
        let drive = self.controller.drive();
        if drive != self.feed.drive() {
            self.feed.set_drive(drive, &mut self.train);
            self.use_pack();
        }
    }
}
