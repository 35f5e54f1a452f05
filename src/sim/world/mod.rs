//! The world as a whole: from event to event, and between two events from step to step.

mod bar;
mod samples;
mod supply;

use super::SimTime;
use super::assembly::{Assembly, WorldSettings};
use super::carriage::TRAVEL;
use super::chance::{Chance, Stream};
use super::controls::Controls;
use super::feed::Feed;
use super::firmware::{CONTROLS, Controller, Outcome, SEGMENTS};
use super::light_bar::LightBarMake;
use super::pack::Terminals;
use super::sensors::{Converters, Encoder, JigClock};
use super::train::{MICROSTEP, Train};
use super::wiring::Wiring;
use crate::capture::{Driven, EdgeChannel, OutputChannel, Part, Tick};

/// Time without a heartbeat after which an armed watchdog drops the supply.
const WATCHDOG_NS: SimTime = 250_000_000;

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
        let seed = settings.seed;
        let mut jig = Chance::new(seed, Stream::Jig);
        let clock = JigClock::drawn(&mut jig).off_by(assembly.jig.clock_error);
        let encoder = Encoder::drawn(&mut jig, assembly.place, assembly.jig.encoder_error);
        let mut converters = Converters::drawn(&mut jig, &mut Chance::new(seed ^ 0x5e45, Stream::Bar));
        converters.volts = converters.volts.drifted(assembly.jig.volts_error);
        let train = assembly.train(encoder, seed);
        Self {
            now: 0,
            opened: false,
            train,
            feed: Feed::new(&assembly, settings.air_celsius, seed),
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

    /// How many controls the unit has for the jig to press.
    pub const CONTROLS: usize = CONTROLS;

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
    fn lose_what_is_not_heard(&self, out: &mut Part) {
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

    /// Whether the unit gets its supply from the jig.
    pub fn supply_is_on(&self) -> bool {
        self.supply
    }

    /// True place of the carriage from the left switch's nominal trigger point, m.
    pub fn carriage(&self) -> f64 {
        self.train.carriage()
    }

    /// True speed of the carriage, m/s.
    pub fn carriage_speed(&self) -> f64 {
        self.train.carriage_speed()
    }

    /// How far the rotor truly lags behind the field that the driver asks for, in full steps.
    pub fn lag_full_steps(&self) -> f64 {
        self.train.lag_full_steps()
    }

    /// True share of its charge that the pack in use has left.
    pub fn charge(&self) -> f64 {
        self.feed.charge()
    }

    /// True voltage and current at the contacts of the pack in use, V and A.
    pub fn supply(&self) -> (f64, f64) {
        let Terminals { volts, amps } = self.feed.terminals();
        (volts, amps)
    }

    /// True temperatures of winding, motor case and housing, °C.
    pub fn temperatures(&self) -> [f64; 3] {
        let thermal = self.feed.thermal();
        [thermal.winding, thermal.case, thermal.housing]
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

    /// Moves the drive train step by step up to a moment, or to a step after which the controller has to think.
    fn move_to(&mut self, until: SimTime, out: &mut Part) {
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
    fn follow_speed(&mut self, delay: u32) {
        self.known_delay = delay;
        let stepper = &self.controller.stepper;
        let speed = if stepper.is_moving() { MICROSTEP * stepper.direction() as f64 / stepper.period() } else { 0.0 };
        self.train.set_field_speed(speed);
    }

    /// Takes over what the controller decided: direction, current, speed.
    fn look_at_controller(&mut self, out: &mut Part) {
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

    /// Nominal distance of the two end switches, m.
    pub const TRAVEL: f64 = TRAVEL;
}
