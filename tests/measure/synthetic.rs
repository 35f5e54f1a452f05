//! Captures made by arithmetic: a carriage that follows its steps exactly (but for a slack), seen by a jig whose clock,
//! encoder and channels are off by known amounts. No physics, no firmware, and none of the simulated bench's code.

use railproof::capture::{
    Action, Calibration, CaptureSink, Cue, Driven, EdgeChannel, Loss, Mark, MarkKind, OutputChannel, Part, Phase,
    SampleChannel, Side, Tick,
};
use railproof::measure::{CheckEvidence, JigFacts, LookCloser, PackFacts, Reading, Session, Setup, UnitFacts, find};
use railproof::stats::Estimate;
use rand::{Rng, RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

/// What is true of the jig and only known to within its uncertainties.
#[derive(Clone, Copy, Default)]
pub struct Truth {
    /// Relative error of the clock beyond its calibration.
    pub clock: f64,
    /// Relative error of the encoder's scale.
    pub encoder: f64,
    /// Relative error of the gain of pack voltage and current, and their offset in V and A.
    pub volt: (f64, f64),
    pub ampere: (f64, f64),
    /// Standard deviation of an edge's stamp, s.
    pub stamp: f64,
    /// Noise of a voltage and a current sample, V and A.
    pub noise: (f64, f64),
    /// Noise of a sample of the whole bar's light or colour.
    pub light_noise: f64,
}

/// A move at constant acceleration, cruise and again constant acceleration.
#[derive(Clone, Copy)]
pub struct Trapezoid {
    pub distance: f64,
    pub speed: f64,
    pub acceleration: f64,
}

impl Trapezoid {
    fn ramp(&self) -> f64 {
        (self.speed * self.speed / (2.0 * self.acceleration)).min(0.5 * self.distance)
    }

    /// When `way` has been covered, s after the start.
    pub fn time(&self, way: f64) -> f64 {
        let (ramp, a) = (self.ramp(), self.acceleration);
        let peak = (2.0 * a * ramp).sqrt();
        if way <= ramp {
            (2.0 * way.max(0.0) / a).sqrt()
        } else if way <= self.distance - ramp {
            peak / a + (way - ramp) / peak
        } else {
            self.duration() - (2.0 * (self.distance - way).max(0.0) / a).sqrt()
        }
    }

    pub fn duration(&self) -> f64 {
        let (ramp, a) = (self.ramp(), self.acceleration);
        let peak = (2.0 * a * ramp).sqrt();
        2.0 * peak / a + (self.distance - 2.0 * ramp) / peak
    }
}

/// The setup of the invented unit and its jig.
pub fn setup() -> Setup {
    let channel = |gain: f64, gain_uncertainty: f64, offset_uncertainty: f64| {
        Some(Calibration { gain, offset: 0.0, gain_uncertainty, offset_uncertainty })
    };
    let mut calibrations = [None; SampleChannel::COUNT];
    calibrations[SampleChannel::PackVoltage.index()] = channel(1.25e-3, 1e-3, 2e-3);
    calibrations[SampleChannel::PackCurrent.index()] = channel(0.5e-3, 3e-3, 1e-3);
    for sensor in [SampleChannel::MotorTemperature, SampleChannel::HousingTemperature, SampleChannel::AirTemperature] {
        calibrations[sensor.index()] = channel(0.0625, 0.0, 0.29);
    }
    for segment in 0..6 {
        calibrations[SampleChannel::Light(segment).index()] = channel(1.0 / 1024.0, 0.05, 0.0);
    }
    calibrations[SampleChannel::LightFlicker.index()] = channel(1.0 / 4096.0, 0.05, 1e-3);
    for colour in [SampleChannel::Red, SampleChannel::Green, SampleChannel::Blue] {
        calibrations[colour.index()] = channel(1e-4, 0.02, 5e-4);
    }
    Setup {
        unit: UnitFacts {
            steps_per_metre: 80_000.0,
            acceleration: 1.6,
            microsteps: 16,
            step_timer: Some(2e6),
            belt_pitch: 2e-3,
            pulley_turn: 40e-3,
            travel: 0.56,
            levels: vec![0.1e-3, 1e-3, 5e-3, 15e-3, 40e-3, 90e-3],
            segments: 6,
            refresh: None,
            crawl_increment: 0.2e-3,
            crawl_interval: 2.0,
            pack: PackFacts { energy: Some((7.2 * 2200e-3 * 3600.0, 0.03)), brown_out: Some(4.6) },
            housing_limit: Some(50.0),
        },
        jig: JigFacts {
            ticks_per_second: 2_000_000,
            clock_error: 0.0,
            clock_uncertainty: 10e-6,
            stamp_uncertainty: 0.1e-6,
            encoder_edges_per_metre: 40_000.0,
            encoder_uncertainty: 50e-6,
            edges: EdgeChannel::ALL.to_vec(),
            calibrations,
            lit_above: 0.5,
        },
    }
}

/// A bench in the making of its capture.
pub struct World {
    pub setup: Setup,
    pub truth: Truth,
    pub session: Session,
    pub part: Part,
    pub now: f64,
    /// Motor position in microsteps.
    pub motor: i64,
    /// Where the carriage truly is, m.
    pub carriage: f64,
    /// Play between motor and carriage, m.
    pub slack: f64,
    /// The carriage goes the other way than the direction line says.
    pub reversed: bool,
    /// Switches that never close, left and right.
    pub dead: [bool; 2],
    /// Way from the motor to where the carriage would stand without play, m; a slip or a stall moves it.
    pub offset: f64,
    pub rng: Xoshiro256PlusPlus,
    cell: i64,
    pressed: [bool; 2],
    ordinal: usize,
    last: [Tick; EdgeChannel::ALL.len()],
}

impl World {
    /// A carriage at rest `at` metres from the left switch, everything exact.
    pub fn new(at: f64) -> Self {
        Self::with(at, Truth::default(), 1)
    }

    /// The same with a jig that is off.
    pub fn with(at: f64, truth: Truth, seed: u64) -> Self {
        let setup = setup();
        let motor = (at * setup.unit.steps_per_metre).round() as i64;
        let mut world = Self {
            session: Session::new(setup.clone()),
            part: Part::default(),
            now: 0.0,
            motor,
            carriage: motor as f64 / setup.unit.steps_per_metre,
            slack: 0.0,
            reversed: false,
            dead: [false; 2],
            offset: 0.0,
            rng: Xoshiro256PlusPlus::seed_from_u64(seed),
            cell: 0,
            pressed: [false; 2],
            ordinal: 0,
            last: [0; EdgeChannel::ALL.len()],
            setup,
            truth,
        };
        world.cell = world.cell_of(world.carriage);
        let levels = levels(world.cell);
        world.part.push_edge(EdgeChannel::EncoderA, 0, levels[0]);
        world.part.push_edge(EdgeChannel::EncoderB, 0, levels[1]);
        world.part.push_edge(EdgeChannel::Direction, 0, true);
        world.part.push_edge(EdgeChannel::LeftEndStop, 0, false);
        world.part.push_edge(EdgeChannel::RightEndStop, 0, false);
        world.now = 0.1;
        world
    }

    /// Puts the carriage somewhere else before anything is captured.
    pub fn place(&mut self, carriage: f64) {
        self.carriage = carriage;
        self.cell = self.cell_of(carriage);
        let levels = levels(self.cell);
        self.part.edges[EdgeChannel::EncoderA as usize].clear();
        self.part.edges[EdgeChannel::EncoderB as usize].clear();
        self.part.push_edge(EdgeChannel::EncoderA, 0, levels[0]);
        self.part.push_edge(EdgeChannel::EncoderB, 0, levels[1]);
    }

    /// The carriage jumps by `distance` within 10 ms while the motor rests.
    pub fn jump(&mut self, distance: f64) {
        let (start, from, end) = (self.now, self.carriage, self.carriage + distance);
        self.borders(end, &|position: f64| start + 0.01 * (position - from) / distance);
        self.carriage = end;
        self.offset += distance;
        self.now += 0.02;
    }

    fn edges_per_metre(&self) -> f64 {
        self.setup.jig.encoder_edges_per_metre / (1.0 + self.truth.encoder)
    }

    fn cell_of(&self, position: f64) -> i64 {
        (position * self.edges_per_metre()).floor() as i64
    }

    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.rng)
    }

    /// The jig's tick at a true time.
    pub fn tick(&self, time: f64) -> Tick {
        (time * self.setup.jig.ticks_per_second as f64 / (1.0 + self.truth.clock)) as Tick
    }

    pub fn edge(&mut self, channel: EdgeChannel, time: f64, level: bool) {
        let late = if self.truth.stamp > 0.0 { self.truth.stamp * self.normal() } else { 0.0 };
        let tick = self.tick(time + late).max(self.last[channel as usize]);
        self.last[channel as usize] = tick;
        self.part.push_edge(channel, tick, level);
    }

    /// Has the session look closer; before anything is delivered.
    pub fn looking_closer(mut self) -> Self {
        self.session = Session::new(self.setup.clone()).looking_closer(LookCloser::Everywhere);
        self
    }

    /// Samples the whole bar's light from now on; `light` is told the seconds since.
    pub fn sample_flicker(&mut self, rate: f64, seconds: f64, light: impl Fn(f64) -> f64) {
        for index in 0..(rate * seconds) as usize {
            let since = index as f64 / rate;
            let seen = light(since) + self.truth.light_noise * self.normal();
            let at = self.tick(self.now + since);
            self.part.push_sample(SampleChannel::LightFlicker, at, (seen * 4096.0).round() as i32);
        }
    }

    /// Samples red, green and blue ten times a second from now on.
    pub fn sample_colour(&mut self, seconds: f64, light: [f64; 3]) {
        for index in 0..(10.0 * seconds) as usize {
            let at = self.tick(self.now + 0.1 * index as f64);
            for (channel, part) in
                [SampleChannel::Red, SampleChannel::Green, SampleChannel::Blue].into_iter().zip(light)
            {
                let seen = part + self.truth.light_noise * self.normal();
                self.part.push_sample(channel, at, (seen * 1e4).round() as i32);
            }
        }
    }

    fn deliver(&mut self, kind: MarkKind) {
        self.session.part(&self.part);
        self.part.clear();
        self.session.mark(&Mark { at: self.tick(self.now), doubt: 20, kind });
    }

    pub fn begin(&mut self) {
        self.ordinal = 0;
        self.deliver(MarkKind::CheckBegins { check: 0 });
    }

    /// A phase; the unit is done at its end.
    pub fn phase(&mut self, action: Action, moves: impl FnOnce(&mut Self)) {
        let phase = Phase { check: 0, ordinal: self.ordinal, label: format!("move {}", self.ordinal), action };
        self.ordinal += 1;
        self.deliver(MarkKind::PhaseBegins(phase));
        self.now += 0.02;
        self.cue(Cue::Commanded);
        self.now += 0.01;
        moves(self);
        self.cue(Cue::Done);
        self.now += 0.2;
        self.deliver(MarkKind::PhaseEnds);
        self.now += 0.001;
    }

    pub fn cue(&mut self, cue: Cue) {
        self.deliver(MarkKind::Cue(cue));
    }

    pub fn drive(&mut self, output: OutputChannel, on: bool) {
        let at = self.tick(self.now);
        self.part.driven.push(Driven { at, output, on });
    }

    pub fn lose(&mut self, what: &str) {
        let at = self.tick(self.now);
        self.part.losses.push(Loss { at, what: what.into() });
    }

    /// Ends the check.
    pub fn end(&mut self) -> CheckEvidence {
        self.deliver(MarkKind::CheckEnds { check: 0 });
        self.session.take_check().expect("a check has just ended")
    }

    /// Steps of a trapezoid, each late by what `late` says. The motor leaves each step's place with the next pulse.
    pub fn trapezoid(&mut self, rightward: bool, profile: Trapezoid, late: impl Fn(&mut Xoshiro256PlusPlus) -> f64) {
        let count = (profile.distance * self.setup.unit.steps_per_metre).round() as i64;
        let start = self.now;
        let times: Vec<f64> = (0..count)
            .map(|step| start + profile.time(step as f64 / self.setup.unit.steps_per_metre) + late(&mut self.rng))
            .collect();
        let sign = if rightward { 1.0 } else { -1.0 };
        let from = self.motor as f64 / self.setup.unit.steps_per_metre;
        self.edge(EdgeChannel::Direction, start - 1e-4, rightward);
        for time in &times {
            self.edge(EdgeChannel::Step, *time, true);
        }
        self.follow(from, sign, profile.distance, |way| start + profile.time(way));
        self.motor += if rightward { count } else { -count };
        self.now = start + profile.duration();
    }

    /// Steps at given true times, the carriage following each at once.
    pub fn steps(&mut self, rightward: bool, times: &[f64]) {
        let sign = if rightward { 1.0 } else { -1.0 };
        let step = 1.0 / self.setup.unit.steps_per_metre;
        self.edge(EdgeChannel::Direction, times[0] - 1e-4, rightward);
        for (index, time) in times.iter().enumerate() {
            self.edge(EdgeChannel::Step, *time, true);
            let next = times.get(index + 1).copied().unwrap_or(time + 1e-3);
            let rise = (next - time).min(1e-3);
            let from = self.motor as f64 * step;
            self.follow(from, sign, step, |way| time + rise * way / step);
            self.motor += if rightward { 1 } else { -1 };
        }
        self.now = times[times.len() - 1] + 1e-3;
    }

    /// Moves the carriage with a motor that goes from `from` over `distance`, `time` saying when each way is covered.
    pub fn follow(&mut self, from: f64, sign: f64, distance: f64, time: impl Fn(f64) -> f64) {
        // Where the carriage stands when the motor, with play taken up in this direction, is at `from`.
        let sense = if self.reversed { -sign } else { sign };
        let base = if self.reversed { -from } else { from } + self.offset - sense * 0.5 * self.slack;
        let when = |position: f64| time(((position - base) * sense).clamp(0.0, distance));
        let end = base + sense * distance;
        let moved = if sense > 0.0 { end > self.carriage } else { end < self.carriage };
        if !moved {
            return;
        }
        self.borders(end, &when);
        for (side, place) in [(Side::Left, 0.0), (Side::Right, self.setup.unit.travel)] {
            let inside = if side == Side::Left { end <= place } else { end >= place };
            if inside != self.pressed[side as usize] && !self.dead[side as usize] {
                self.pressed[side as usize] = inside;
                let channel = [EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop][side as usize];
                self.edge(channel, when(place), inside);
            }
        }
        self.carriage = end;
    }

    fn borders(&mut self, end: f64, when: &impl Fn(f64) -> f64) {
        let last = self.cell_of(end);
        while self.cell != last {
            let rightward = last > self.cell;
            let border = if rightward { self.cell + 1 } else { self.cell };
            let next = if rightward { self.cell + 1 } else { self.cell - 1 };
            let time = when(border as f64 / self.edges_per_metre());
            let (before, after) = (levels(self.cell), levels(next));
            for (index, channel) in [EdgeChannel::EncoderA, EdgeChannel::EncoderB].into_iter().enumerate() {
                if before[index] != after[index] {
                    self.edge(channel, time, after[index]);
                }
            }
            self.cell = next;
        }
    }

    /// Samples voltage and current at 250 Hz from `from` to `to`.
    pub fn sample_pack(&mut self, from: f64, to: f64, volts: impl Fn(f64) -> f64, amperes: impl Fn(f64) -> f64) {
        let count = ((to - from) * 250.0).round() as usize;
        for index in 0..count {
            let time = from + index as f64 / 250.0;
            let at = self.tick(time);
            let (volt_noise, ampere_noise) = (self.truth.noise.0 * self.normal(), self.truth.noise.1 * self.normal());
            let volt = (volts(time) - self.truth.volt.1) / (1.0 + self.truth.volt.0) + volt_noise;
            let ampere = (amperes(time) - self.truth.ampere.1) / (1.0 + self.truth.ampere.0) + ampere_noise;
            self.part.push_sample(SampleChannel::PackVoltage, at, (volt / 1.25e-3).round() as i32);
            self.part.push_sample(SampleChannel::PackCurrent, at, (ampere / 0.5e-3).round() as i32);
        }
    }
}

fn levels(cell: i64) -> [bool; 2] {
    [[false, false], [true, false], [true, true], [false, true]][cell.rem_euclid(4) as usize]
}

/// Readings of a measurand.
pub fn read(name: &str, check: &CheckEvidence) -> Vec<Reading> {
    find(name).unwrap_or_else(|| panic!("no measurand {name}")).read(check, &setup())
}

/// The values of a measurand, none of which may be withheld.
pub fn values(name: &str, check: &CheckEvidence) -> Vec<Estimate> {
    read(name, check)
        .into_iter()
        .map(|reading| reading.result.unwrap_or_else(|why| panic!("{name}: {why:?}")))
        .collect()
}

/// The only value of a measurand.
pub fn value(name: &str, check: &CheckEvidence) -> Estimate {
    let mut values = values(name, check);
    assert_eq!(values.len(), 1, "{name}: {values:?}");
    values.remove(0)
}

/// A uniform deviate.
pub fn uniform(rng: &mut impl Rng, from: f64, to: f64) -> f64 {
    from + (to - from) * rng.random::<f64>()
}

/// On time.
pub fn exact(_: &mut Xoshiro256PlusPlus) -> f64 {
    0.0
}
