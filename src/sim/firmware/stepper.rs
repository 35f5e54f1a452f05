//! Step interrupt: the one place of the firmware that moves the motor. A timer in compare mode calls it; how late it is
//! served depends on what else the controller does.

use super::ramp::{Ramp, TIMER_HZ};
use crate::capture::Side;
use crate::sim::SimTime;
use crate::sim::chance::{Chance, Stream};

/// How promptly interrupts are served.
#[derive(Debug, Clone, PartialEq)]
pub struct Timing {
    /// Error of the controller's clock, relative: positive is fast.
    pub clock_error: f64,
    /// By how many ticks the timer's compare register is too high: in its clear-on-match mode a timer counts from 0 up to the
    /// register, which takes one tick more than the number in it. Sound firmware writes one less.
    pub late_ticks: u32,
    /// Time from the compare match to the pulse when nothing is in the way, ns.
    pub latency_ns: f64,
    /// By how much that varies from the length of the interrupted instruction, ns.
    pub latency_spread_ns: f64,
    /// Time for which another interrupt (the UART's, the clock tick's) can be in the way, ns.
    pub blocked_ns: f64,
    /// Period of the light bar's refresh, ns; zero where it needs no masking of interrupts.
    pub refresh_ns: u64,
    /// Time for which a refresh masks interrupts, ns.
    pub masked_ns: u64,
}

impl Timing {
    /// A 16 MHz 8-bit controller: some 30 cycles to enter the interrupt, up to four for the instruction that is finished
    /// first, and now and then another handler of up to 4 µs (common practice, no source).
    pub const fn prompt() -> Self {
        Self {
            clock_error: 0.0,
            late_ticks: 0,
            latency_ns: 2_000.0,
            latency_spread_ns: 250.0,
            blocked_ns: 4_000.0,
            refresh_ns: 0,
            masked_ns: 0,
        }
    }

    /// Period of the light bar's refresh in firmware that masks interrupts for it, ns.
    pub const REFRESH_NS: u64 = 20_000_000;
    /// Time masked for six segments of 24 bits at 1.25 µs, ns (common practice for such lights, no source).
    pub const MASKED_NS: u64 = 180_000;
}

/// What a step led to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Another step follows.
    Going,
    /// A switch was met; braking.
    Met(Side),
    /// That was the last step.
    Ended,
}

/// Time for which a switch must have been open before it counts as met again, ns: outlasts its bounce.
const OPEN_NS: SimTime = 20_000_000;
/// Binary digits of a nanosecond's fraction in the timer's sums: a motion may take five hours, and the timer's rate is
/// rounded by 10⁻⁹.
const FINE: u32 = 20;
/// Time between direction and first step, and least time between two pulses, ns.
const SETUP_NS: u64 = 5_000;

/// The step interrupt and its timer.
#[derive(Debug, Clone)]
pub struct Stepper {
    timing: Timing,
    /// The timer's tick, the latency that is always there and that which varies, in [`FINE`] parts of a nanosecond.
    tick: u64,
    latency: u64,
    latency_spread: u64,
    blocked: u64,
    chance: Chance,
    /// When the present motion's timer was started, and the time since then up to the next match in [`FINE`] parts.
    started: SimTime,
    matches: u64,
    next_at: SimTime,
    last_at: SimTime,
    ramp: Ramp,
    delay: u32,
    remaining: u32,
    braking: bool,
    direction: i64,
    /// Steps from the left switch, by the firmware's own count.
    pub position: i64,
    last_pressed: [SimTime; 2],
}

impl Stepper {
    /// A stepper at rest.
    pub fn new(timing: Timing, seed: u64) -> Self {
        let fine = |ns: f64| (ns * (1_u64 << FINE) as f64) as u64;
        Self {
            tick: fine(1e9 / f64::from(TIMER_HZ) / (1.0 + timing.clock_error)),
            latency: fine(timing.latency_ns),
            latency_spread: fine(timing.latency_spread_ns),
            blocked: fine(timing.blocked_ns),
            timing,
            chance: Chance::new(seed, Stream::Controller),
            started: 0,
            matches: 0,
            next_at: SimTime::MAX,
            last_at: 0,
            ramp: Ramp::to_delay(1),
            delay: 0,
            remaining: 0,
            braking: false,
            direction: 1,
            position: 0,
            last_pressed: [0; 2],
        }
    }

    /// Starts a motion: `steps` steps in a direction at a speed given by its delay. `pressed` are the switches' levels.
    pub fn start(&mut self, now: SimTime, direction: i64, steps: u32, delay: u32, pressed: [bool; 2]) {
        self.ramp = Ramp::to_delay(delay);
        (self.direction, self.remaining, self.braking) = (direction, steps, false);
        self.started = now + SETUP_NS;
        self.matches = 0;
        self.last_at = now;
        for (last, pressed) in self.last_pressed.iter_mut().zip(pressed) {
            if pressed {
                *last = now;
            }
        }
        self.schedule(self.ramp.first_delay());
    }

    /// Brakes to rest.
    pub fn brake(&mut self) {
        self.braking = true;
    }

    /// Chooses another speed on the way.
    pub fn set_delay(&mut self, delay: u32) {
        self.ramp.set_target(delay);
    }

    /// Loses its supply: nothing more happens.
    pub fn cut(&mut self) {
        self.next_at = SimTime::MAX;
        self.delay = 0;
    }

    /// When the next pulse goes out; the end of time at rest.
    #[inline(always)]
    pub fn next_at(&self) -> SimTime {
        self.next_at
    }

    /// When the last pulse went out.
    #[inline(always)]
    pub fn last_at(&self) -> SimTime {
        self.last_at
    }

    /// Whether it is moving.
    pub fn is_moving(&self) -> bool {
        self.next_at != SimTime::MAX
    }

    /// The direction of motion: +1 to the right.
    #[inline(always)]
    pub fn direction(&self) -> i64 {
        self.direction
    }

    /// The delay that is commanded, in ticks.
    #[inline(always)]
    pub fn delay(&self) -> u32 {
        self.delay
    }

    /// The same in seconds.
    pub fn period(&self) -> f64 {
        self.counted(self.delay) as f64 * (1e-9 / (1_u64 << FINE) as f64)
    }

    /// What the timer makes of a delay, in [`FINE`] parts of a nanosecond.
    #[inline(always)]
    fn counted(&self, delay: u32) -> u64 {
        u64::from(delay + self.timing.late_ticks) * self.tick
    }

    /// Makes steps at a steady speed that are due by `until`, the first and those by `stride_end`, and hands their moments
    /// to `pulse`. No switch may be pressed. Returns how many they were.
    #[inline]
    pub fn cruise(&mut self, stride_end: SimTime, until: SimTime, mut pulse: impl FnMut(SimTime)) -> u32 {
        let steady = if self.braking { 0 } else { self.ramp.steady_steps(self.remaining) };
        let mut made = 0;
        while made < steady && self.next_at <= until {
            pulse(self.next_at);
            self.last_at = self.next_at;
            self.schedule(self.delay);
            made += 1;
            if self.next_at > stride_end {
                break;
            }
        }
        self.remaining -= made;
        self.position += i64::from(made) * self.direction;
        made
    }

    /// Makes the step that is due and finds the next. `pressed` are the switches' levels at this moment.
    #[inline]
    pub fn interrupt(&mut self, pressed: [bool; 2]) -> Outcome {
        let at = self.next_at;
        self.position += self.direction;
        self.remaining = self.remaining.saturating_sub(1);
        let mut outcome = Outcome::Going;
        if pressed != [false; 2] {
            outcome = self.look_at_switches(at, pressed);
        }
        match self.ramp.next_delay(if self.braking { 0 } else { self.remaining }) {
            Some(delay) => {
                self.last_at = at;
                self.schedule(delay);
                outcome
            }
            None => {
                self.cut();
                if outcome == Outcome::Going { Outcome::Ended } else { outcome }
            }
        }
    }

    #[cold]
    fn look_at_switches(&mut self, at: SimTime, pressed: [bool; 2]) -> Outcome {
        let mut outcome = Outcome::Going;
        for (index, side) in [Side::Left, Side::Right].into_iter().enumerate() {
            if !pressed[index] {
                continue;
            }
            if at - self.last_pressed[index] > OPEN_NS && !self.braking {
                self.braking = true;
                outcome = Outcome::Met(side);
            }
            self.last_pressed[index] = at;
        }
        outcome
    }

    #[inline(always)]
    fn schedule(&mut self, delay: u32) {
        self.delay = delay;
        self.matches += self.counted(delay);
        let due = self.matches;
        let masked = if self.timing.masked_ns > 0 { self.masked(delay) } else { 0 };
        let bits = self.chance.bits();
        let part = |whole: u64, bits: u64| (whole >> 16) * (bits & 0xffff);
        let mut latency = self.latency + part(self.latency_spread, bits);
        if bits >> 56 == 0 {
            latency += part(self.blocked, bits >> 16);
        }
        let served = self.started + masked + ((due + latency) >> FINE);
        self.next_at = served.max(self.last_at + SETUP_NS);
    }

    /// How long the light bar's refresh still masks interrupts at the next match, ns. Of several matches within one mask
    /// the timer's flag keeps one: the others cost their time without a step.
    fn masked(&mut self, delay: u32) -> u64 {
        let into_period = (self.started + (self.matches >> FINE)) % self.timing.refresh_ns;
        let masked = self.timing.masked_ns.saturating_sub(into_period);
        let period = self.counted(delay);
        self.matches += (masked << FINE) / period * period;
        masked
    }
}
