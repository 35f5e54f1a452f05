//! The world without its controller: motor, belt, carriage, switches, packs, heat and controls, moved by the wires of a
//! controller that is somewhere else, instruction by instruction.
//!
//! Whoever holds the wires lets time pass up to each change of one of them, tells the change, and gets back what the
//! mechanics does to the lines that it drives itself, stamped on the clock of his choice.

use super::SimTime;
use super::assembly::{Assembly, WorldSettings};
use super::chance::{Chance, Stream};
use super::controls::Controls;
use super::driver::Drive;
use super::feed::Feed;
use super::firmware::{BROWN_OUT_VOLTS, SEGMENTS};
use super::light_bar::STRAY_LIGHT;
use super::sensors::{Encoder, JigClock};
use super::train::{MICROSTEP, Train};
use crate::capture::{EdgeChannel, OutputChannel, Part};

/// How often the supply is looked at.
const SUPPLY_NS: SimTime = 4_000_000;
/// How often heat flows.
const HEAT_NS: SimTime = 1_000_000_000;
/// A pause between two steps that is longer than the last one by this factor ends the motion.
const PAUSE: SimTime = 2;
/// The longest pause within a motion: a step at 1 mm/s takes 12.5 ms.
const PAUSE_NS_MAX: SimTime = 30_000_000;

/// The lines of the controller that the driver and the light bar follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wire {
    /// A step pulse begins.
    Step,
    /// Direction of the next step: true is to the right.
    Direction(bool),
    /// The driver is enabled.
    Enabled(bool),
    /// The driver is told to hold.
    Holding(bool),
    /// So many segments of the light bar are lit.
    Lit(u8),
}

/// What sensors put out just now, without the noise of what converts it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// At the contacts of the pack in use, V.
    pub volts: f64,
    /// Out of that pack, A.
    pub amps: f64,
    /// Motor case, housing, air, °C.
    pub celsius: [f64; 3],
    /// Light of each segment; 1 is a fully lit one.
    pub light: [f64; SEGMENTS],
}

/// A drive unit without its controller, on its bench.
#[derive(Debug, Clone)]
pub struct Mechanics {
    now: SimTime,
    opened: bool,
    clock: JigClock,
    train: Train,
    feed: Feed,
    controls: Controls,
    segments: [f64; SEGMENTS],
    dead_segment: Option<usize>,
    supply: bool,
    browned_out: bool,
    rightwards: bool,
    enabled: bool,
    holding: bool,
    lit: u8,
    stepped_at: SimTime,
    motion_ends: SimTime,
    supply_at: SimTime,
    heat_at: SimTime,
}

impl Mechanics {
    /// A unit at its beginning, without supply. What it does is stamped on an exact clock of `ticks_per_second`.
    pub fn new(settings: &WorldSettings, ticks_per_second: u64) -> Self {
        let assembly = Assembly::drawn(settings);
        let seed = settings.seed;
        let encoder = Encoder::drawn(&mut Chance::new(seed, Stream::Jig), assembly.place, assembly.jig.encoder_error);
        let train = assembly.train(encoder, seed);
        Self {
            now: 0,
            opened: false,
            clock: JigClock::exact(ticks_per_second),
            train,
            feed: Feed::new(&assembly, settings.air(), seed),
            controls: Controls::new(assembly.controls, seed),
            segments: assembly.segments,
            dead_segment: assembly.dead_segment,
            supply: false,
            browned_out: false,
            rightwards: false,
            enabled: false,
            holding: false,
            lit: 0,
            stepped_at: 0,
            motion_ends: SimTime::MAX,
            supply_at: 0,
            heat_at: HEAT_NS,
        }
    }

    /// Lets time pass until a moment; appends the edges of encoder, end switches and the controls' contacts until then. The
    /// first ones, at tick 0, say how their lines stand.
    pub fn advance(&mut self, until: SimTime, out: &mut Part) {
        self.open(out);
        while self.now < until {
            let event = self.supply_at.min(self.heat_at).min(self.motion_ends).min(self.feed.dip_ends());
            let reached = event.min(self.controls.next_change()).min(until).max(self.now);
            self.train.move_to(reached, &self.clock, out);
            self.train.stamp_end_stops(reached, &self.clock, out);
            self.now = reached;
            self.happen(out);
        }
    }

    fn open(&mut self, out: &mut Part) {
        if self.opened {
            return;
        }
        self.opened = true;
        let (a, b) = self.train.encoder_levels();
        let [left, right] = self.train.end_stop_levels();
        let lines = [EdgeChannel::EncoderA, EdgeChannel::EncoderB, EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop];
        for (channel, level) in lines.into_iter().zip([a, b, left, right]) {
            out.push_edge(channel, 0, level);
        }
    }

    /// Does what is due.
    fn happen(&mut self, out: &mut Part) {
        while let Some((control, at, closed)) = self.controls.take_change(self.now) {
            if let Some(&channel) = EdgeChannel::CONTROLS.get(control) {
                out.push_edge(channel, self.clock.tick(at), closed);
            }
        }
        if self.motion_ends <= self.now {
            self.motion_ends = SimTime::MAX;
            self.train.set_field_speed(0.0);
            self.feed.energise(&mut self.train);
        }
        if self.feed.dip_ends() <= self.now {
            self.feed.end_dip();
        }
        if self.supply_at <= self.now {
            self.supply_at += SUPPLY_NS;
            let moving = self.motion_ends != SimTime::MAX;
            if moving {
                self.feed.shake(self.now, SUPPLY_NS as f64 * 1e-9);
            }
            self.feed.smooth(self.train.power());
            self.use_pack();
            if moving {
                self.feed.energise(&mut self.train);
            }
        }
        if self.heat_at <= self.now {
            self.heat_at += HEAT_NS;
            self.use_pack();
            self.feed.warm(HEAT_NS as f64 * 1e-9);
        }
    }

    /// A wire of the controller changes now.
    pub fn wire(&mut self, wire: Wire) {
        match wire {
            Wire::Step => self.step(),
            Wire::Direction(rightwards) => self.rightwards = rightwards,
            Wire::Enabled(on) => self.enabled = on,
            Wire::Holding(on) => self.holding = on,
            Wire::Lit(segments) => self.lit = segments,
        }
        self.look_at_driver();
    }

    /// The field moves on; how fast it moves is known from the step before.
    fn step(&mut self) {
        let direction = if self.rightwards { 1 } else { -1 };
        let since = self.now - self.stepped_at;
        self.stepped_at = self.now;
        if since == 0 || since > PAUSE_NS_MAX {
            self.motion_ends = self.now + PAUSE_NS_MAX;
        } else {
            self.motion_ends = self.now + PAUSE * since;
            self.train.set_field_speed(MICROSTEP * direction as f64 / (since as f64 * 1e-9));
        }
        self.train.step(direction);
    }

    fn look_at_driver(&mut self) {
        let drive = match (self.supply && self.enabled, self.holding) {
            (false, _) => Drive::Off,
            (true, true) => Drive::Hold,
            (true, false) => Drive::Run,
        };
        if drive == self.feed.drive() {
            return;
        }
        self.feed.set_drive(drive, &mut self.train);
        self.use_pack();
    }

    /// The bench switches an output now.
    pub fn switch(&mut self, output: OutputChannel, on: bool) {
        self.use_pack();
        match output {
            OutputChannel::UnitSupply => {
                self.supply = on;
                if on {
                    self.feed.renew_table();
                }
            }
            OutputChannel::DummyLoad => self.feed.set_load(on),
            OutputChannel::LowPack => self.feed.set_low_pack(on),
            OutputChannel::Press(control) => self.controls.press(usize::from(control), on, self.now),
            OutputChannel::Auxiliary(_) => {}
        }
        self.look_at_driver();
        self.use_pack();
    }

    fn use_pack(&mut self) {
        let terminals = self.feed.pass(self.now, self.supply.then_some(self.lit));
        if self.supply && terminals.volts < BROWN_OUT_VOLTS {
            self.browned_out = true;
            self.feed.renew_table();
        }
    }

    /// Whether the supply has broken down since this was last asked: a controller resets then.
    pub fn take_brown_out(&mut self) -> bool {
        std::mem::take(&mut self.browned_out)
    }

    /// What the sensors put out.
    pub fn seen(&self) -> Seen {
        let (terminals, thermal) = (self.feed.terminals(), self.feed.thermal());
        let lit = if self.supply { usize::from(self.lit) } else { 0 };
        Seen {
            volts: terminals.volts,
            amps: terminals.amps,
            celsius: [thermal.case, thermal.housing, thermal.air],
            light: std::array::from_fn(|segment| {
                let dark = segment >= lit || self.dead_segment == Some(segment);
                if dark { STRAY_LIGHT } else { self.segments[segment] }
            }),
        }
    }

    /// True place of the carriage from the left switch's nominal trigger point, m.
    pub fn carriage(&self) -> f64 {
        self.train.carriage()
    }
}
