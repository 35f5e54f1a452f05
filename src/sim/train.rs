//! Drive train: rotor in its field, belt, carriage on the rail, and what the carriage touches. The innermost loop.
//!
//! Rotor and carriage are two masses with the belt between them, both counted along the belt (rotor angle × pulley
//! radius). A stride drifts both to its middle, pushes them by the forces there, and drifts them on, which keeps the
//! energy of what swings. The rotor is by far the quickest: its push is filtered by sinc²(ω·h/2), with which a linear
//! swing has its exact frequency in strides of any length h, as in Gautschi's method (Hairer, Lubich, Wanner, Geometric
//! Numerical Integration, XIII.1, from memory). Between steps at rest nothing is computed.

use super::SimTime;
use super::belt::{self, Belt};
use super::carriage::{CABLE_STIFFNESS, Carriage, STOP_BEYOND, STOP_DAMPING, STOP_STIFFNESS, TRAVEL};
use super::chance::{Chance, Stream};
use super::driver::{self, MICROSTEPS_PER_CYCLE};
use super::end_stop::{EndStop, EndStopMake};
use super::motor::{CYCLES_PER_TURN, Motor};
use super::sensors::{Encoder, JigClock};
use super::sine::{sine_of_small, sine_of_turns};
use crate::capture::{EdgeChannel, Part};

/// Belt travel of one electrical cycle, m.
const CYCLE: f64 = belt::PER_TURN / CYCLES_PER_TURN;
/// Belt travel of one microstep, m.
pub const MICROSTEP: f64 = CYCLE / MICROSTEPS_PER_CYCLE as f64;
/// Radius of the pulley, m.
pub const RADIUS: f64 = belt::PER_TURN / std::f64::consts::TAU;
/// How far the rotor swings within the longest stride, rad: about a quarter of a period.
const STRIDE_SWING: f64 = 1.5;
/// Detents in an electrical cycle: one each full step.
const DETENTS: f64 = 4.0;
/// Slowest movement that is not rest, m/s: a swing of the rotor by some nanometres.
const REST_SPEED: f64 = 1e-5;
/// The most by which rotor and field may differ in speed for the damping to grow with it, m/s (invented for the demo).
const DAMPED_SLIP: f64 = 0.02;
/// Distance from a switch within which each step is a stride of its own, m.
const NEAR_AN_END: f64 = 1.5e-3;

/// The drive train of a unit.
#[derive(Debug, Clone)]
pub struct Train {
    time: SimTime,
    at_rest: bool,
    // The field that the driver asks for, in microsteps, and where it stood when the stride began.
    field: i64,
    field_before: i64,
    field_speed: f64,
    // Along the belt, m and m/s.
    rotor: f64,
    rotor_speed: f64,
    carriage: f64,
    carriage_speed: f64,
    // Belt teeth jumped and the pulley's smaller diameter, m; the tooth that is riding over, by its direction.
    engagement: f64,
    riding: f64,
    cable: f64,
    // Forces in N, per mass where they are only needed so.
    peak_force: f64,
    damping: f64,
    detent_force: f64,
    belt_force: f64,
    // The rotor's swing between field and belt: (ω/2)² in 1/s², and the longest stride that it allows.
    half_swing_squared: f64,
    stride_ns_max: u64,
    per_rotor_mass: f64,
    per_carriage_mass: f64,
    belt_damping: f64,
    half_backlash: f64,
    rotor_mass: f64,
    motor: Motor,
    belt: Belt,
    body: Carriage,
    // What the carriage touches.
    free_low: f64,
    free_high: f64,
    encoder: Encoder,
    end_stops: [EndStop; 2],
    chance: Chance,
}

/// What a drive train is assembled from.
pub struct Parts<'a> {
    /// Motor.
    pub motor: &'a Motor,
    /// Belt and pulley.
    pub belt: &'a Belt,
    /// Carriage and rail.
    pub carriage: &'a Carriage,
    /// Left and right end switch.
    pub end_stops: &'a [EndStopMake; 2],
    /// Where the carriage stands, m.
    pub place: f64,
    /// The jig's encoder on it.
    pub encoder: Encoder,
    /// Seed of the contacts' chance.
    pub seed: u64,
}

impl Train {
    /// A drive train at rest without current.
    pub fn new(parts: Parts<'_>) -> Self {
        let Parts { motor, belt, carriage, end_stops, place, encoder, seed } = parts;
        let rotor_mass = motor.rotor_inertia / (RADIUS * RADIUS);
        let field = driver::nearest_table_start(place / MICROSTEP);
        let mut train = Self {
            time: 0,
            at_rest: false,
            field,
            field_before: field,
            field_speed: 0.0,
            rotor: place,
            rotor_speed: 0.0,
            carriage: place,
            carriage_speed: 0.0,
            engagement: place - place * belt.gear,
            riding: 0.0,
            cable: 0.0,
            peak_force: 0.0,
            damping: 0.0,
            detent_force: motor.detent_torque / RADIUS,
            belt_force: 0.0,
            half_swing_squared: 0.0,
            stride_ns_max: 0,
            per_rotor_mass: 1.0 / rotor_mass,
            per_carriage_mass: 1.0 / carriage.mass,
            belt_damping: 2.0 * belt.damping_ratio * (belt.stiffness * carriage.mass).sqrt(),
            half_backlash: belt.backlash / 2.0,
            rotor_mass,
            motor: motor.clone(),
            belt: belt.clone(),
            body: carriage.clone(),
            free_low: 0.0,
            free_high: 0.0,
            encoder,
            end_stops: [
                EndStop::new(end_stops[0].clone(), -1.0, place),
                EndStop::new(end_stops[1].clone(), 1.0, place),
            ],
            chance: Chance::new(seed, Stream::Contact),
        };
        train.find_free_range();
        train.energise(0.0);
        train
    }

    /// Switches a newly supplied driver's bridges on: the field takes its place nearest to the rotor.
    pub fn align_field(&mut self) {
        self.field = driver::nearest_table_start(self.rotor / MICROSTEP);
        self.field_before = self.field;
    }

    /// Sets the crest of the motor's force by the amplitude of its torque, N·m.
    pub fn set_torque(&mut self, amplitude: f64) {
        let force = amplitude / RADIUS;
        if force == self.peak_force {
            return;
        }
        self.energise(force);
    }

    fn energise(&mut self, peak_force: f64) {
        const PER_CYCLE: f64 = std::f64::consts::TAU / CYCLE;
        self.peak_force = peak_force;
        let stiffness = peak_force * PER_CYCLE;
        self.damping = 2.0 * self.motor.damping_ratio * (stiffness * self.rotor_mass).sqrt();
        if self.damping == 0.0 {
            // Without current the rotor is braked by its bearings and iron alone (invented for the demo).
            self.damping = 1.5;
        }
        let holding = stiffness + DETENTS * PER_CYCLE * self.detent_force + self.belt.stiffness;
        let swing_squared = holding * self.per_rotor_mass;
        self.half_swing_squared = 0.25 * swing_squared;
        self.stride_ns_max = (STRIDE_SWING * 1e9 / swing_squared.sqrt()) as u64;
        self.at_rest = false;
    }

    /// Moves the field by one microstep in a direction (+1 to the right), at the end of the stride made last.
    #[inline]
    pub fn step(&mut self, direction: i64) {
        self.step_within(direction);
        self.field_before = self.field;
    }

    /// Moves the field by microsteps that lie evenly within the stride to come: the field's mean place counts there.
    #[inline]
    pub fn step_within(&mut self, steps: i64) {
        self.field += if self.motor.reversed { -steps } else { steps };
        self.at_rest = false;
    }

    /// Tells the speed at which the field moves on average, m/s; 0 when stepping ends.
    pub fn set_field_speed(&mut self, speed: f64) {
        self.field_speed = if self.motor.reversed { -speed } else { speed };
    }

    /// Speed of the field, turns/s.
    pub fn turns_per_s(&self) -> f64 {
        self.field_speed * (1.0 / belt::PER_TURN)
    }

    /// How long one stride can last from now on, away from the ends: near them each step is a stride of its own.
    #[inline]
    pub fn stride_end(&self) -> Option<SimTime> {
        let away = self.carriage > NEAR_AN_END && self.carriage < TRAVEL - NEAR_AN_END;
        (away && self.end_stops.iter().all(EndStop::is_quiet)).then_some(self.time + self.stride_ns_max)
    }

    /// Moves everything up to a moment and stamps what the jig sees of it.
    #[inline]
    pub fn move_to(&mut self, until: SimTime, clock: &JigClock, out: &mut Part) {
        // Long waits are cut into even strides, so that the last one is not a splinter.
        let wait = until.saturating_sub(self.time);
        let even = if wait <= self.stride_ns_max { wait } else { wait / wait.div_ceil(self.stride_ns_max) };
        while !self.at_rest && self.time < until {
            let left = until - self.time;
            self.stride(if left < 2 * even { left } else { even }, clock, out);
        }
        self.time = self.time.max(until);
    }

    #[inline(always)]
    fn stride(&mut self, stride_ns: u64, clock: &JigClock, out: &mut Part) {
        let ns_long = stride_ns as i64 as f64;
        let seconds = ns_long * 1e-9;
        let half = 0.5 * seconds;
        let field_cycles = (self.field + self.field_before) as f64 * (0.5 / MICROSTEPS_PER_CYCLE as f64);
        self.field_before = self.field;
        let rotor = self.rotor + half * self.rotor_speed;
        let carriage = self.carriage + half * self.carriage_speed;
        let slip = (self.field_speed - self.rotor_speed).clamp(-DAMPED_SLIP, DAMPED_SLIP);
        let motor_force = self.peak_force * sine_of_small(field_cycles - rotor * (1.0 / CYCLE))
            - self.detent_force * sine_of_turns(rotor * (DETENTS / CYCLE))
            + self.damping * slip;

        let stretch = rotor * self.belt.gear + self.engagement - carriage;
        let taut = if stretch > self.half_backlash {
            stretch - self.half_backlash
        } else if stretch < -self.half_backlash {
            stretch + self.half_backlash
        } else {
            0.0
        };
        let mut belt_force = 0.0;
        if taut != 0.0 {
            belt_force = self.belt.stiffness * taut + self.belt_damping * (self.rotor_speed - self.carriage_speed);
        }
        if belt_force.abs() > self.belt.jump_force || self.riding != 0.0 {
            belt_force = self.ride(stretch, belt_force);
        }
        self.belt_force = belt_force;

        let rotor_speed = self.rotor_speed + self.rotor_push(seconds) * (motor_force - belt_force);
        self.rotor = rotor + half * rotor_speed;

        let mut rail_force = belt_force - self.body.viscous * self.carriage_speed + self.body.slope_force;
        if !(-STOP_BEYOND..=TRAVEL + STOP_BEYOND).contains(&carriage) {
            rail_force += self.hard_stop_force(carriage);
        }
        if self.body.cable_force > 0.0 {
            rail_force -= self.cable;
        }
        let push = seconds * self.per_carriage_mass;
        let (free, grip) = (self.carriage_speed + push * rail_force, push * self.body.friction);
        let carriage_speed = if free > grip {
            free - grip
        } else if free < -grip {
            free + grip
        } else {
            0.0
        };
        let from = self.carriage;
        let to = carriage + half * carriage_speed;
        self.carriage = to;

        if carriage_speed == 0.0
            && rotor_speed.abs() < REST_SPEED
            && self.rotor_speed.abs() < REST_SPEED
            && self.field_speed == 0.0
        {
            self.come_to_rest();
        } else {
            self.rotor_speed = rotor_speed;
        }
        self.carriage_speed = carriage_speed;
        if self.encoder.is_left_by(to) {
            self.encoder.travel(from, to, self.time, ns_long, clock, out);
        }
        if to < self.free_low || to > self.free_high {
            self.touch(from, to, ns_long);
        }
        if self.body.cable_force > 0.0 {
            self.pull_cable(to - from);
        }
        self.time += stride_ns;
    }

    /// Speed that the rotor gains in a stride per force: filtered as said above, and with the damping of the stride's mean
    /// speed instead of its first, so that no damping is too strong for a stride.
    #[inline(always)]
    fn rotor_push(&self, seconds: f64) -> f64 {
        let push = seconds * self.per_rotor_mass;
        let swing = self.half_swing_squared * seconds * seconds; // (ω·h/2)², 0.6 at most
        let filter = 1.0 - swing * (1.0 / 3.0 - swing * (2.0 / 45.0 - swing * (1.0 / 315.0)));
        push * filter / (1.0 + 0.5 * push * (self.damping + self.belt_damping))
    }

    /// The rotor swings by nanometres only: its friction ends that too.
    #[cold]
    fn come_to_rest(&mut self) {
        self.rotor_speed = 0.0;
        self.at_rest = true;
    }

    /// A tooth that rides over the next one: the force stays below that which lifted it until it falls in place.
    #[cold]
    fn ride(&mut self, stretch: f64, belt_force: f64) -> f64 {
        if self.riding == 0.0 {
            self.riding = if belt_force > 0.0 { 1.0 } else { -1.0 };
        }
        let forward = stretch * self.riding;
        if forward >= belt::PITCH {
            self.engagement -= self.riding * belt::PITCH;
            self.riding = 0.0;
            return 0.0;
        }
        if forward < self.half_backlash + 0.5 * self.belt.jump_force / self.belt.stiffness {
            self.riding = 0.0;
            return belt_force;
        }
        self.riding * belt::RIDE_SHARE * self.belt.jump_force
    }

    #[cold]
    fn hard_stop_force(&self, carriage: f64) -> f64 {
        let beyond = if carriage < 0.0 { carriage + STOP_BEYOND } else { carriage - TRAVEL - STOP_BEYOND };
        let force = -STOP_STIFFNESS * beyond - STOP_DAMPING * self.carriage_speed;
        // A stop pushes; it does not hold on.
        if force * beyond < 0.0 { force } else { 0.0 }
    }

    fn pull_cable(&mut self, moved: f64) {
        let greatest = self.body.cable_force;
        self.cable = (self.cable + CABLE_STIFFNESS * moved).clamp(-greatest, greatest);
    }

    /// The carriage pressed a switch or let one go during a stride.
    #[cold]
    fn touch(&mut self, from: f64, to: f64, ns_long: f64) {
        for end_stop in &mut self.end_stops {
            let (low, high) = end_stop.window();
            let line = if to < low {
                low
            } else if to > high {
                high
            } else {
                continue;
            };
            let share = if to == from { 1.0 } else { ((line - from) / (to - from)).clamp(0.0, 1.0) };
            end_stop.moved(self.time + (share * ns_long) as u64, &mut self.chance);
        }
        self.find_free_range();
    }

    fn find_free_range(&mut self) {
        let (left, right) = (self.end_stops[0].window(), self.end_stops[1].window());
        self.free_low = left.0.max(right.0);
        self.free_high = left.1.min(right.1);
    }

    /// Stamps the changes of the switches' lines up to a moment.
    #[inline]
    pub fn stamp_end_stops(&mut self, until: SimTime, clock: &JigClock, out: &mut Part) {
        for (end_stop, channel) in self.end_stops.iter_mut().zip([EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop])
        {
            while let Some((at, level)) = end_stop.take_change(until) {
                out.push_edge(channel, clock.tick(at), level);
            }
        }
    }

    /// The levels of the left and right switch's lines.
    #[inline]
    pub fn end_stop_levels(&self) -> [bool; 2] {
        [self.end_stops[0].level(), self.end_stops[1].level()]
    }

    /// The levels of the encoder's two tracks.
    pub fn encoder_levels(&self) -> (bool, bool) {
        self.encoder.levels()
    }

    /// Mechanical power that the belt takes, W.
    pub fn power(&self) -> f64 {
        self.belt_force * self.rotor_speed
    }

    /// True place of the carriage, m.
    pub fn carriage(&self) -> f64 {
        self.carriage
    }

    /// True speed of the carriage, m/s.
    pub fn carriage_speed(&self) -> f64 {
        self.carriage_speed
    }

    /// How far the rotor lags behind the field, in full steps. A multiple of four, about, was lost.
    pub fn lag_full_steps(&self) -> f64 {
        (self.field as f64 * MICROSTEP - self.rotor) / (CYCLE / 4.0)
    }
}
