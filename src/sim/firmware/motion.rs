//! Motions: what an order means in steps, what happens at a switch, and what is reported when it is over.

use super::protocol::{Order, letter};
use super::ramp::delay_for;
use super::{CALM_NS, Controller, Outcome, STEPS_PER_MM, TRAVEL_STEPS};
use crate::capture::Side;
use crate::sim::SimTime;
use crate::sim::driver::{Drive, MICROSTEPS};

/// Speed of homing, mm/s.
const HOMING_SPEED: f64 = 15.0;
/// How far homing backs off a switch that is already pressed, in steps: 8 mm.
const BACK_OFF: u32 = 640;
/// How far beyond the expected end a motion goes before it is given up, in steps: 20 mm.
const BEYOND_END: i64 = 1600;
/// The same without a known place, in steps: 600 mm.
const WHOLE_RAIL: i64 = 600 * 80;
/// Time between two increments of a crawl.
const CRAWL_NS: f64 = 2e9;
/// Speed within an increment, mm/s: 4 ms a microstep.
const CRAWL_SPEED: f64 = 3.125;

/// What is to be reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Goal {
    /// The switch of an end.
    End(Side),
    /// A place, in steps.
    Place(i64),
    /// The switch that sets the zero of position.
    Seek(Side),
    /// Clear of a switch, to seek it afterwards.
    BackOff(Side),
    /// An end, an increment at a time.
    Crawl(Side),
}

/// A motion that was ordered.
#[derive(Debug, Clone)]
pub struct Motion {
    verb: &'static str,
    goal: Goal,
    delay: u32,
    by_level: bool,
    met: bool,
}

impl Motion {
    fn new(verb: &'static str, goal: Goal, mm_per_s: f64) -> Self {
        Self { verb, goal, delay: delay_for(mm_per_s), by_level: false, met: false }
    }

    /// Whether it sets the zero of position.
    pub fn is_homing(&self) -> bool {
        matches!(self.goal, Goal::Seek(_) | Goal::BackOff(_))
    }

    /// Its word in the answer to `STATE`.
    pub fn state_word(&self) -> &'static str {
        match self.goal {
            Goal::Seek(_) | Goal::BackOff(_) => "HOME",
            Goal::Crawl(_) => "CRAWL",
            Goal::End(_) | Goal::Place(_) => "RUN",
        }
    }
}

const fn towards(side: Side) -> i64 {
    match side {
        Side::Left => -1,
        Side::Right => 1,
    }
}

impl Controller {
    /// Does what was ordered and accepted.
    pub(super) fn carry_out(&mut self, order: Order, now: SimTime, switches: [bool; 2]) {
        let motion = match order {
            Order::Who | Order::State => return,
            Order::Stop => return self.stop(now),
            Order::Level(level) => return self.select(level),
            Order::Home(side) => {
                let goal = if switches[side as usize] { Goal::BackOff(side) } else { Goal::Seek(side) };
                self.homed = false;
                Motion::new("HOME", goal, HOMING_SPEED)
            }
            Order::Go(side, speed) => Motion::new("GO", Goal::End(side), speed),
            Order::To(mm, speed) => Motion::new("TO", Goal::Place(steps(mm)), speed),
            Order::By(mm, speed) => Motion::new("BY", Goal::Place(self.stepper.position + steps(mm)), speed),
            Order::Run(side) if self.level == 1 => Motion::new("RUN", Goal::Crawl(side), CRAWL_SPEED),
            Order::Run(side) => {
                let motion = Motion::new("RUN", Goal::End(side), self.level_speed());
                Motion { by_level: true, ..motion }
            }
            Order::Crawl(side) => Motion::new("CRAWL", Goal::Crawl(side), CRAWL_SPEED),
        };
        if self.stepper.is_moving() {
            self.pending = Some(motion);
            self.stopping = false;
            self.stepper.brake();
        } else {
            self.crawl_at = SimTime::MAX;
            self.begin(motion, now, switches);
        }
    }

    /// Selects a level; a motion at the level's speed follows it.
    pub(super) fn select(&mut self, level: u8) {
        self.level = level;
        let speed = self.level_speed();
        if let Some(motion) = &self.motion
            && motion.by_level
            && level > 1
        {
            self.stepper.set_delay(delay_for(speed));
        }
    }

    fn level_speed(&self) -> f64 {
        self.make.levels[usize::from(self.level) - 1]
    }

    /// Brakes, or says at once that it stands.
    pub(super) fn stop(&mut self, now: SimTime) {
        self.pending = None;
        self.crawl_at = SimTime::MAX;
        if self.stepper.is_moving() {
            self.stopping = true;
            self.stepper.brake();
        } else {
            self.motion = None;
            self.report_done("STOP", self.position_mm(), now);
        }
    }

    fn begin(&mut self, motion: Motion, now: SimTime, switches: [bool; 2]) {
        let position = self.stepper.position;
        let (direction, steps) = match motion.goal {
            Goal::End(side) | Goal::Seek(side) => (towards(side), self.steps_to_end(side)),
            Goal::BackOff(side) => (-towards(side), BACK_OFF),
            Goal::Place(place) => (if place < position { -1 } else { 1 }, position.abs_diff(place) as u32),
            Goal::Crawl(side) => (towards(side), MICROSTEPS as u32),
        };
        let ahead = switches[usize::from(direction > 0)];
        let delay = motion.delay;
        self.motion = Some(motion);
        self.stopping = false;
        if ahead {
            self.meet(if direction > 0 { Side::Right } else { Side::Left }, now);
            return self.finish(now);
        }
        if steps == 0 {
            return self.finish(now);
        }
        self.direction_line = direction > 0;
        self.drive = Drive::Run;
        self.calm_at = SimTime::MAX;
        if matches!(self.motion, Some(Motion { goal: Goal::Crawl(_), .. })) && self.crawl_at == SimTime::MAX {
            self.crawl_at = now;
        }
        if self.crawl_at != SimTime::MAX {
            // The next increment is due by the clock, however long this one takes.
            self.crawl_at += (CRAWL_NS / (1.0 + self.make.timing.clock_error)) as u64;
        }
        self.stepper.start(now, direction, steps, delay, switches);
    }

    /// The next increment of a crawl is due.
    pub(super) fn crawl_on(&mut self, now: SimTime, switches: [bool; 2]) {
        match self.motion.take() {
            Some(motion) if matches!(motion.goal, Goal::Crawl(_)) && !self.halted => self.begin(motion, now, switches),
            other => {
                self.motion = other;
                self.crawl_at = SimTime::MAX;
            }
        }
    }

    fn steps_to_end(&self, side: Side) -> u32 {
        if !self.homed {
            return WHOLE_RAIL as u32;
        }
        let steps = match side {
            Side::Left => self.stepper.position + BEYOND_END,
            Side::Right => TRAVEL_STEPS + BEYOND_END - self.stepper.position,
        };
        steps.max(1) as u32
    }

    /// The step interrupt met a switch or made its last step.
    pub fn stepped(&mut self, outcome: Outcome, now: SimTime, switches: [bool; 2]) {
        if let Outcome::Met(side) = outcome {
            self.meet(side, now);
        }
        if self.stepper.is_moving() {
            return;
        }
        self.calm_at = now + CALM_NS;
        if let Some(next) = self.pending.take() {
            return self.begin(next, now, switches);
        }
        match self.motion.as_mut() {
            Some(motion) if !self.stopping && !self.halted && !motion.met => match motion.goal {
                Goal::BackOff(side) => {
                    motion.goal = Goal::Seek(side);
                    let motion = motion.clone();
                    if switches[side as usize] { self.finish(now) } else { self.begin(motion, now, switches) }
                }
                Goal::Crawl(_) => {}
                _ => self.finish(now),
            },
            _ => self.finish(now),
        }
    }

    /// A switch is pressed: the motion ends here, and homing learns its place.
    fn meet(&mut self, side: Side, now: SimTime) {
        let report = format!("HIT {}", letter(side));
        self.say(now, &report);
        self.pending = None;
        self.crawl_at = SimTime::MAX;
        if let Some(motion) = &mut self.motion {
            motion.met = true;
            if motion.goal == Goal::Seek(side) {
                self.stepper.position = trigger(side);
                self.homed = true;
            }
        }
    }

    fn finish(&mut self, now: SimTime) {
        let Some(motion) = self.motion.take() else { return };
        self.crawl_at = SimTime::MAX;
        if self.calm_at == SimTime::MAX {
            self.calm_at = now + CALM_NS;
        }
        let mm = match motion.goal {
            // Homing reports the trigger point that it found, not where it came to rest behind it.
            Goal::Seek(side) if self.homed => trigger(side) as f64 / STEPS_PER_MM,
            _ => self.position_mm(),
        };
        let verb = if self.stopping { "STOP" } else { motion.verb };
        self.stopping = false;
        self.report_done(verb, mm, now);
    }

    fn report_done(&mut self, verb: &str, mm: f64, now: SimTime) {
        let report = format!("DONE {verb} {mm:.2}");
        self.say(now, &report);
    }
}

/// Where a switch is, in steps, as far as the firmware knows.
const fn trigger(side: Side) -> i64 {
    match side {
        Side::Left => 0,
        Side::Right => TRAVEL_STEPS,
    }
}

fn steps(mm: f64) -> i64 {
    libm::round(mm * STEPS_PER_MM) as i64
}
