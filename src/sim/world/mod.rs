//! The world as a whole: from event to event, and between two events from step to step.

mod bar;
mod motion;
mod outputs;
mod samples;
mod supply;
mod truth;

use super::SimTime;
use super::assembly::{Assembly, WorldSettings};
use super::chance::{Chance, Stream};
use super::controls::Controls;
use super::feed::Feed;
use super::firmware::{Controller, SEGMENTS};
use super::light_bar::LightBarMake;
use super::sensors::{Converters, Encoder, JigClock};
use super::train::Train;
use super::wiring::Wiring;
use crate::capture::{EdgeChannel, Part, Tick};

/// A unit on its bench, in simulated time.
#[derive(Debug, Clone)]
pub struct World {
    now: SimTime,
    opened: bool,
    // The unit.
    train: Train,
    controller: Controller,
    segments: [f64; SEGMENTS],
    dead_segment: Option<usize>,
    light_bar: LightBarMake,
    controls: Controls,
    known_delay: u32,
    direction_line: bool,
    feed: Feed,
    supply: bool,
    // The jig.
    clock: JigClock,
    converters: Converters,
    noise: Chance,
    bar_noise: Chance,
    wiring: Wiring,
    deaf: Option<EdgeChannel>,
    inputs: [bool; 2],
    pack_tick: Tick,
    light_tick: Tick,
    temperature_tick: Tick,
    flicker_tick: Tick,
    pack_at: SimTime,
    light_at: SimTime,
    temperature_at: SimTime,
    // When the next sample of flicker is due, and when those due are taken.
    flicker_from: SimTime,
    flicker_at: SimTime,
    // The next of all samples, and when the controller has something to do.
    sample_at: SimTime,
    controller_at: SimTime,
    watchdog: SimTime,
    watchdog_armed: bool,
}

impl World {
    /// A world at its beginning: the unit without supply, the carriage somewhere on its rail.
    pub fn new(settings: &WorldSettings) -> Self {
        let assembly = Assembly::drawn(settings);
        let (seed, make) = (settings.seed, settings.make());
        let mut jig = Chance::new(make, Stream::Jig);
        let clock = JigClock::drawn(&mut jig).off_by(assembly.jig.clock_error);
        let encoder = Encoder::drawn(&mut jig, assembly.place, assembly.jig.encoder_error);
        let mut converters = Converters::drawn(&mut jig, &mut Chance::new(make ^ 0x5e45, Stream::Bar));
        converters.volts = converters.volts.drifted(assembly.jig.volts_error);
        let train = assembly.train(encoder, seed);
        Self {
            now: 0,
            opened: false,
            train,
            feed: Feed::new(&assembly, settings.air(), seed),
            controller: Controller::new(assembly.firmware, assembly.garbled, seed),
            segments: assembly.segments,
            dead_segment: assembly.dead_segment,
            light_bar: assembly.light_bar,
            controls: Controls::new(assembly.controls, seed),
            known_delay: 0,
            direction_line: false,
            supply: false,
            clock,
            converters,
            noise: Chance::new(seed, Stream::Noise),
            bar_noise: Chance::new(seed ^ 0xba45, Stream::Bar),
            wiring: Wiring::new(&settings.wiring, seed),
            deaf: assembly.jig.deaf,
            inputs: [true; 2],
            pack_tick: 0,
            light_tick: 0,
            temperature_tick: 0,
            flicker_tick: 0,
            pack_at: 0,
            light_at: 0,
            temperature_at: 0,
            flicker_from: 0,
            flicker_at: 0,
            sample_at: 0,
            controller_at: SimTime::MAX,
            watchdog: SimTime::MAX,
            watchdog_armed: false,
        }
    }

    /// The present moment.
    pub fn now(&self) -> SimTime {
        self.now
    }

    /// The present moment on the jig's clock.
    pub fn tick_now(&self) -> Tick {
        self.tick_at(self.now)
    }

    /// A moment on the jig's clock.
    pub fn tick_at(&self, moment: SimTime) -> Tick {
        self.clock.tick(moment)
    }

    /// Lets time pass until a moment; appends what the jig stamps and samples until then.
    pub fn advance(&mut self, until: SimTime, out: &mut Part) {
        self.open(out);
        while self.now < until {
            self.advance_to_event(until, out);
        }
        self.lose_what_is_not_heard(out);
    }

    /// Lets time pass until a moment, or until a byte of the unit has arrived at the bench.
    pub fn advance_until_said(&mut self, until: SimTime, out: &mut Part) {
        self.open(out);
        loop {
            let goal = self.next_said_at().map_or(until, |said| said.min(until));
            if self.now >= goal {
                break;
            }
            self.advance_to_event(goal, out);
        }
        self.lose_what_is_not_heard(out);
    }

    /// The bench sends bytes now; they reach the unit one after the other.
    pub fn unit_hears(&mut self, bytes: &[u8]) {
        self.controller.uart.bench_sends(self.now, bytes);
        self.controller_at = self.controller.next_wake();
    }

    /// When all that the bench has sent will have reached the unit.
    pub fn sent_at(&self) -> SimTime {
        self.controller.uart.sent_at()
    }

    /// Appends the unit's bytes that have arrived at the bench by now.
    pub fn take_said(&mut self, into: &mut Vec<u8>) {
        while let Some(byte) = self.controller.uart.take_for_bench(self.now) {
            into.push(byte);
        }
    }

    /// When the unit's next byte arrives or arrived at the bench, if one is on its way.
    pub fn next_said_at(&self) -> Option<SimTime> {
        self.controller.uart.next_for_bench()
    }

    /// States the levels of all inputs at tick 0.
    fn open(&mut self, out: &mut Part) {
        if self.opened {
            return;
        }
        self.opened = true;
        let (a, b) = self.train.encoder_levels();
        let [left, right] = self.train.end_stop_levels();
        let levels = [false, self.direction_line, a, b, left, right, self.inputs[0], self.inputs[1]];
        let released = [false; EdgeChannel::CONTROLS.len()];
        for (channel, level) in EdgeChannel::ALL.into_iter().zip(levels.into_iter().chain(released)) {
            out.push_edge(channel, 0, level);
        }
    }

    /// Moves to the next event, `goal` at the latest, and lets it happen.
    fn advance_to_event(&mut self, goal: SimTime, out: &mut Part) {
        let contact_at = self.controls.next_change();
        let event = self.sample_at.min(self.feed.dip_ends()).min(self.watchdog).min(self.controller_at).min(contact_at);
        let reached = event.min(goal).max(self.now);
        self.move_to(reached, out);
        if self.now < reached || event > self.now {
            return;
        }
        if contact_at <= self.now {
            self.change_contacts(out);
        }
        if self.controller_at <= self.now {
            self.sample_flicker(out);
            self.controller.wake(self.now, self.train.end_stop_levels());
            self.look_at_controller(out);
        }
        if self.feed.dip_ends() <= self.now {
            self.feed.end_dip();
        }
        if self.sample_at <= self.now {
            self.sample(out);
        }
        if self.watchdog <= self.now {
            self.watchdog = SimTime::MAX;
            self.make_safe(out);
        }
    }

    /// Lets the controls' contacts change up to now.
    fn change_contacts(&mut self, out: &mut Part) {
        while let Some((control, at, closed)) = self.controls.take_change(self.now) {
            if let Some(&channel) = EdgeChannel::CONTROLS.get(control) {
                out.push_edge(channel, self.clock.tick(at), closed);
            }
            self.controller.contact(control, closed, self.now);
        }
        self.controller_at = self.controller.next_wake();
    }
}
