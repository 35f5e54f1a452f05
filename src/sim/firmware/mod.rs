//! The unit's controller: start-up, line protocol, controls, light bar, watch over its supply. Motions are in
//! [`motion`], the step interrupt in [`stepper`].

mod motion;
mod protocol;
mod ramp;
mod stepper;
mod uart;

pub use stepper::{Outcome, Stepper, Timing};
pub use uart::Uart;

use std::collections::VecDeque;

use self::motion::Motion;
use self::protocol::{Order, Refusal};
use super::SimTime;
use super::chance::{Chance, Stream};
use super::driver::Drive;
use crate::capture::Side;

/// Steps to the millimetre.
pub const STEPS_PER_MM: f64 = 80.0;
/// Travel that the firmware takes for granted, in steps.
const TRAVEL_STEPS: i64 = 560 * 80;
/// Controls: knob right, knob left, knob push, stop key.
pub const CONTROLS: usize = 4;
/// Segments of the light bar.
pub const SEGMENTS: usize = 6;
/// What each control is called in the unit's reports.
const CONTROL_NAMES: [&str; CONTROLS] = ["knob right", "knob left", "knob push", "stop key"];
/// Time from supply to banner.
const START_UP_NS: SimTime = 800_000_000;
/// Time for which a control's contact must be closed before it counts.
const HELD_NS: f64 = 10e6;
/// Longest round of the main loop.
const LOOP_NS: f64 = 600e3;
/// Time at rest after which the driver goes down to its hold current.
const CALM_NS: SimTime = 100_000_000;
/// Supply below which the controller resets, V.
pub const BROWN_OUT_VOLTS: f64 = 4.6;
/// Supply below which moves are refused and `PACK LOW` is reported, V.
const LOW_VOLTS: f64 = 6.05;
/// Supply above which the pack is good again, V.
const GOOD_VOLTS: f64 = 6.4;
/// Supply below which a motion is given up, V.
const HALT_VOLTS: f64 = 5.4;
/// Readings (at 250 Hz) for which a low supply must last.
const LOW_READINGS: u32 = 25;
/// Longest line that is understood.
const LINE_MAX: usize = 80;
/// Most lines that wait to be obeyed.
const ORDERS_MAX: usize = 16;

/// How a controller is made and programmed.
#[derive(Debug, Clone, PartialEq)]
pub struct FirmwareMake {
    /// Version as the banner says it.
    pub version: &'static str,
    /// Serial number as the banner says it.
    pub serial: String,
    /// Clock and interrupts.
    pub timing: Timing,
    /// Speeds of the levels, mm/s; the first is the crawl's mean and not used as a speed.
    pub levels: [f64; SEGMENTS],
    /// Probability that a line is not heard.
    pub lost_commands: f64,
    /// Says nothing: its transmit wire is off.
    pub mute: bool,
    /// Whether the driver keeps its hold current at rest.
    pub holds: bool,
}

impl FirmwareMake {
    /// As shipped.
    pub fn sound(version: &'static str, serial: String) -> Self {
        Self {
            version,
            serial,
            timing: Timing::prompt(),
            levels: [0.1, 1.0, 5.0, 15.0, 40.0, 90.0],
            lost_commands: 0.0,
            mute: false,
            holds: true,
        }
    }
}

/// Whether the controller has its supply.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Power {
    Off,
    StartingUp(SimTime),
    Up,
}

/// The controller at work.
#[derive(Debug, Clone)]
pub struct Controller {
    make: FirmwareMake,
    power: Power,
    /// The step interrupt.
    pub stepper: Stepper,
    /// The service connector.
    pub uart: Uart,
    chance: Chance,
    drive: Drive,
    calm_at: SimTime,
    direction_line: bool,
    level: u8,
    homed: bool,
    halted: bool,
    motion: Option<Motion>,
    pending: Option<Motion>,
    stopping: bool,
    crawl_at: SimTime,
    heard: Vec<u8>,
    orders: VecDeque<(SimTime, String)>,
    pressed: [SimTime; CONTROLS],
    volts: f64,
    pack_low: bool,
    low_readings: u32,
    halt_readings: u32,
}

impl Controller {
    /// A controller without supply.
    pub fn new(make: FirmwareMake, garbled: f64, seed: u64) -> Self {
        let stepper = Stepper::new(make.timing.clone(), seed);
        let uart = Uart::new(make.timing.clock_error, garbled, seed);
        Self {
            make,
            power: Power::Off,
            stepper,
            uart,
            chance: Chance::new(seed ^ 0x5eed, Stream::Controller),
            drive: Drive::Off,
            calm_at: SimTime::MAX,
            direction_line: false,
            level: 3,
            homed: false,
            halted: false,
            motion: None,
            pending: None,
            stopping: false,
            crawl_at: SimTime::MAX,
            heard: Vec::with_capacity(LINE_MAX),
            orders: VecDeque::new(),
            pressed: [SimTime::MAX; CONTROLS],
            volts: 0.0,
            pack_low: false,
            low_readings: 0,
            halt_readings: 0,
        }
    }

    /// Gets its supply: starts up with everything forgotten.
    pub fn power_up(&mut self, now: SimTime) {
        self.power_down(now);
        self.power = Power::StartingUp(now + START_UP_NS);
    }

    /// Loses its supply.
    pub fn power_down(&mut self, now: SimTime) {
        self.power = Power::Off;
        self.stepper.cut();
        self.stepper.position = 0;
        self.uart.unit_dies(now);
        self.drive = Drive::Off;
        self.direction_line = false;
        (self.calm_at, self.crawl_at) = (SimTime::MAX, SimTime::MAX);
        (self.level, self.homed, self.halted, self.stopping) = (3, false, false, false);
        (self.motion, self.pending) = (None, None);
        self.heard.clear();
        self.orders.clear();
        self.pressed = [SimTime::MAX; CONTROLS];
        (self.pack_low, self.low_readings, self.halt_readings) = (false, 0, 0);
    }

    /// Whether it has its supply.
    pub fn is_powered(&self) -> bool {
        self.power != Power::Off
    }

    /// What the driver does with the motor.
    pub fn drive(&self) -> Drive {
        self.drive
    }

    /// The level of the direction line; high is to the right.
    pub fn direction_line(&self) -> bool {
        self.direction_line
    }

    /// How many segments the firmware lights.
    pub fn lit(&self) -> u8 {
        if self.power == Power::Up { self.level } else { 0 }
    }

    /// Its clock and interrupts.
    pub fn timing(&self) -> &Timing {
        &self.make.timing
    }

    /// When it next has something to do.
    pub fn next_wake(&self) -> SimTime {
        let mut wake = self.uart.next_for_unit();
        if let Power::StartingUp(ready) = self.power {
            wake = wake.min(ready);
        }
        if let Some(&(due, _)) = self.orders.front() {
            wake = wake.min(due);
        }
        for &seen in &self.pressed {
            wake = wake.min(seen);
        }
        wake.min(self.calm_at).min(self.crawl_at)
    }

    /// Does what is due. `switches` are the levels of the left and right end switch.
    pub fn wake(&mut self, now: SimTime, switches: [bool; 2]) {
        while let Some(byte) = self.uart.take_for_unit(now) {
            self.hear(byte, now);
        }
        if let Power::StartingUp(ready) = self.power
            && ready <= now
        {
            self.power = Power::Up;
            self.rest_driver();
            let banner = format!("DUNLIN 600 READY {}", self.identity());
            self.say(now, &banner);
        }
        while self.orders.front().is_some_and(|&(due, _)| due <= now) {
            if let Some((_, line)) = self.orders.pop_front() {
                self.obey(&line, now, switches);
            }
        }
        for control in 0..CONTROLS {
            if self.pressed[control] <= now {
                self.pressed[control] = SimTime::MAX;
                self.act_on(control, now, switches);
            }
        }
        if self.calm_at <= now {
            self.calm_at = SimTime::MAX;
            self.rest_driver();
        }
        if self.crawl_at <= now {
            self.crawl_on(now, switches);
        }
    }

    /// Reads its supply.
    pub fn read_supply(&mut self, now: SimTime, volts: f64) {
        self.volts = volts;
        if self.power != Power::Up {
            return;
        }
        self.low_readings = if volts < LOW_VOLTS { self.low_readings + 1 } else { 0 };
        if self.low_readings == LOW_READINGS && !self.pack_low {
            self.pack_low = true;
            let report = format!("PACK LOW {volts:.2}");
            self.say(now, &report);
        }
        if volts > GOOD_VOLTS {
            self.pack_low = false;
        }
        self.halt_readings = if volts < HALT_VOLTS && self.stepper.is_moving() { self.halt_readings + 1 } else { 0 };
        if self.halt_readings == LOW_READINGS {
            self.halted = true;
            self.pending = None;
            self.stepper.brake();
        }
    }

    /// The contact of a control closes or opens. It counts once it has been closed for a while without a break.
    pub fn contact(&mut self, control: usize, closed: bool, now: SimTime) {
        if self.power != Power::Up {
            return;
        }
        let held = HELD_NS + self.chance.between(0.0, LOOP_NS);
        self.pressed[control] = if closed { now + held as u64 } else { SimTime::MAX };
    }

    fn hear(&mut self, byte: u8, now: SimTime) {
        if self.power != Power::Up {
            return;
        }
        match byte {
            b'\n' => {
                let line = String::from_utf8_lossy(&self.heard).trim_end_matches('\r').to_string();
                self.heard.clear();
                let lost = self.chance.happens(self.make.lost_commands);
                if !lost && self.orders.len() < ORDERS_MAX {
                    let due = now + self.chance.between(0.1 * LOOP_NS, LOOP_NS) as u64;
                    let after = self.orders.back().map_or(0, |&(due, _)| due);
                    self.orders.push_back((due.max(after), line));
                }
            }
            _ if self.heard.len() < LINE_MAX => self.heard.push(byte),
            _ => {}
        }
    }

    /// Says a line at the next round of the main loop.
    fn say(&mut self, now: SimTime, line: &str) {
        let at = now + self.chance.between(0.1 * LOOP_NS, LOOP_NS) as u64;
        if !self.make.mute {
            self.uart.unit_says(at, line);
        }
    }

    fn identity(&self) -> String {
        format!("FW {} SN {}", self.make.version, self.make.serial)
    }

    fn obey(&mut self, line: &str, now: SimTime, switches: [bool; 2]) {
        match self.consider(line) {
            Err(refusal) => self.say(now, refusal.line()),
            Ok(Order::Who) => {
                let answer = format!("I AM DUNLIN 600 {}", self.identity());
                self.say(now, &answer);
            }
            Ok(Order::State) => {
                let answer = format!(
                    "STATE {} L{} AT {:.2} PACK {:.2}",
                    self.state_word(),
                    self.level,
                    self.position_mm(),
                    self.volts
                );
                self.say(now, &answer);
            }
            Ok(order) => {
                let echo = format!("OK {line}");
                self.say(now, &echo);
                self.carry_out(order, now, switches);
            }
        }
    }

    /// Whether it can do what a line says.
    fn consider(&self, line: &str) -> Result<Order, Refusal> {
        let order = Order::understood(line)?;
        let moves = !matches!(order, Order::Who | Order::State | Order::Stop | Order::Level(_));
        if !moves {
            return Ok(order);
        }
        if self.halted {
            return Err(Refusal::Halted);
        }
        if self.pack_low {
            return Err(Refusal::PackLow);
        }
        let homing = self.motion.as_ref().is_some_and(Motion::is_homing);
        if homing || self.motion.is_some() && matches!(order, Order::Home(_) | Order::Crawl(_)) {
            return Err(Refusal::Busy);
        }
        if !self.homed && matches!(order, Order::Go(..) | Order::To(..) | Order::By(..)) {
            return Err(Refusal::NotHomed);
        }
        let place = match order {
            Order::To(mm, _) => mm,
            Order::By(mm, _) => self.position_mm() + mm,
            _ => 0.0,
        };
        if (-0.01..=560.01).contains(&place) { Ok(order) } else { Err(Refusal::Range) }
    }

    fn act_on(&mut self, control: usize, now: SimTime, switches: [bool; 2]) {
        let report = format!("KEY {}", CONTROL_NAMES[control]);
        self.say(now, &report);
        match control {
            0 => self.select(self.level.saturating_add(1).min(SEGMENTS as u8)),
            1 => self.select(self.level.saturating_sub(1).max(1)),
            2 if self.motion.is_none() && !self.halted && !self.pack_low => {
                let in_right_half = self.homed && self.stepper.position > TRAVEL_STEPS / 2;
                let farther = if in_right_half { Side::Left } else { Side::Right };
                self.carry_out(Order::Run(farther), now, switches);
            }
            _ if self.motion.is_some() => self.stop(now),
            _ => {}
        }
    }

    fn state_word(&self) -> &'static str {
        match &self.motion {
            _ if self.halted => "HALT",
            None => "REST",
            Some(motion) => motion.state_word(),
        }
    }

    /// Where it believes the carriage to be, mm.
    fn position_mm(&self) -> f64 {
        self.stepper.position as f64 / STEPS_PER_MM
    }

    /// The driver's current at rest.
    fn rest_driver(&mut self) {
        self.drive = if self.make.holds { Drive::Hold } else { Drive::Off };
    }
}
