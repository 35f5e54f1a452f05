//! The sentinel: watches what arrives from the jig for danger, at all times and whatever the plan asks for.
//!
//! It knows what the unit was told last and the jig's trips; it judges nothing. What it finds is a [`Trip`], and the
//! conductor answers with a stop: at once by cutting the supply where the unit does not obey or something is overloaded
//! (stop category 0 of IEC 60204-1), or by the unit's own stop first and the supply after it (category 1) where the unit
//! still does what it is told. None of this protects people: that takes hardware.

use super::envelope::Protection;
use crate::capture::{Action, Cue, Edge, EdgeChannel, Part, SampleChannel, Side, Tick};

/// A quantity has to be beyond its limit for this long, s: a motor's inrush is shorter.
const PERSISTS_S: f64 = 0.01;
/// A pack's voltage counts from so long after its supply was switched on, s.
const SUPPLIED_FOR_S: f64 = 0.2;

/// Something that has to stop now.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Trip {
    /// What, and what to look at.
    pub why: String,
    /// Whether the unit is asked to stop before its supply goes off.
    pub unit_stops_first: bool,
    /// Whether nothing may be switched on again before somebody has looked at the unit.
    pub ends_the_run: bool,
}

/// What the unit was told last.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Told {
    /// Nothing that says whether it moves: a control was pressed, or a maker's own text sent.
    Unknown,
    /// To move, since then.
    Move(Tick),
    /// To stop or to rest, since then.
    Rest(Tick),
}

/// A sampled quantity with its limit.
#[derive(Debug, Clone)]
struct Watched {
    channel: SampleChannel,
    what: &'static str,
    unit: &'static str,
    /// The value beyond which it trips, and whether beyond is below.
    limit: f64,
    below: bool,
    seen: usize,
    beyond_since: Option<Tick>,
}

/// Watches for danger.
#[derive(Debug, Clone)]
pub(super) struct Sentinel {
    protection: Protection,
    watched: Vec<Watched>,
    told: Told,
    /// Whether the motion under way may be watched for a standstill.
    must_step: bool,
    has_steps: bool,
    supplied_since: Option<Tick>,
    seen_steps: usize,
    seen_turns: [usize; 3],
    last_step: Option<Tick>,
    rightward: bool,
    closed: [bool; 2],
    /// Steps towards each end since its switch closed.
    beyond: [Option<u64>; 2],
    latched: bool,
}

impl Sentinel {
    /// A sentinel on a jig with these limits.
    pub fn new(protection: Protection) -> Self {
        let trips = protection.trips;
        let limits = [
            (SampleChannel::PackCurrent, "the pack's current", "A", trips.pack_current_max, false),
            (SampleChannel::PackVoltage, "the pack's voltage", "V", trips.pack_voltage_min, true),
            (SampleChannel::MotorTemperature, "the motor's temperature", "°C", trips.motor_temperature_max, false),
            (
                SampleChannel::HousingTemperature,
                "the housing's temperature",
                "°C",
                trips.housing_temperature_max,
                false,
            ),
        ];
        let watched = limits.into_iter().filter(|(channel, ..)| protection.calibrations[channel.index()].is_some());
        Self {
            watched: watched
                .map(|(channel, what, unit, limit, below)| Watched {
                    channel,
                    what,
                    unit,
                    limit,
                    below,
                    seen: 0,
                    beyond_since: None,
                })
                .collect(),
            has_steps: protection.edges.contains(&EdgeChannel::Step),
            protection,
            told: Told::Unknown,
            must_step: false,
            supplied_since: None,
            seen_steps: 0,
            seen_turns: [0; 3],
            last_step: None,
            rightward: true,
            closed: [false; 2],
            beyond: [None; 2],
            latched: false,
        }
    }

    /// A move begins. What a control or a maker's own text sets going is not known.
    pub fn begins(&mut self, action: &Action) {
        self.must_step = action.moves_the_carriage() && !matches!(action, Action::Start { .. });
        if matches!(action, Action::Press { .. } | Action::Send { .. }) {
            self.told = Told::Unknown;
        }
    }

    /// The unit was told something, or reported its rest.
    pub fn told(&mut self, cue: &Cue, at: Tick) {
        self.told = match cue {
            Cue::Commanded | Cue::ReverseCommanded => Told::Move(at),
            Cue::StopCommanded | Cue::Done => Told::Rest(at),
            _ => return,
        };
    }

    /// The unit's supply was switched. What a unit does while it starts is its own affair.
    pub fn supply(&mut self, on: bool, at: Tick) {
        self.supplied_since = on.then_some(at);
        self.told = Told::Unknown;
        self.latched = false;
    }

    /// What was looked at has been handed on.
    pub fn handed_on(&mut self) {
        self.seen_steps = 0;
        self.seen_turns = [0; 3];
        self.watched.iter_mut().for_each(|watched| watched.seen = 0);
    }

    /// The last step of the motor so far.
    pub fn last_step(&self) -> Option<Tick> {
        self.last_step
    }

    /// Looks at what has arrived since the last look; `now` is this moment on the jig's clock. Trips once, until the supply
    /// is switched again.
    pub fn look(&mut self, part: &Part, now: Tick) -> Option<Trip> {
        self.follow(part);
        let trip = self.overload(part).or_else(|| self.beyond_an_end()).or_else(|| self.disobeys(now));
        let trip = trip.filter(|_| !self.latched && self.supplied_since.is_some())?;
        self.latched = true;
        Some(trip)
    }

    fn ticks(&self, seconds: f64) -> Tick {
        (seconds * self.protection.ticks_per_second as f64) as Tick
    }

    /// Takes in steps, turns and contacts in order of time.
    fn follow(&mut self, part: &Part) {
        const TURNS: [EdgeChannel; 3] = [EdgeChannel::Direction, EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop];
        let steps = part.edges(EdgeChannel::Step);
        let mut turns: Vec<(Edge, usize)> = Vec::new();
        for (index, channel) in TURNS.into_iter().enumerate() {
            let column = part.edges(channel);
            turns.extend(column[self.seen_turns[index].min(column.len())..].iter().map(|edge| (*edge, index)));
            self.seen_turns[index] = column.len();
        }
        turns.sort_by_key(|(edge, _)| edge.tick());
        let mut seen = self.seen_steps.min(steps.len());
        for (edge, index) in turns {
            let before = seen + steps[seen..].partition_point(|step| step.tick() < edge.tick());
            self.step(before - seen);
            seen = before;
            match index {
                0 => {
                    self.rightward = edge.level();
                    self.beyond = [None; 2];
                }
                side => self.closed[side - 1] = edge.level(),
            }
            // A switch may chatter: once closed on the way towards it, it counts as closed until the motor turns.
            let ahead = usize::from(self.rightward);
            if self.closed[ahead] {
                self.beyond[ahead].get_or_insert(0);
            }
        }
        self.step(steps.len() - seen);
        self.seen_steps = steps.len();
        self.last_step = steps.last().map(|step| step.tick()).or(self.last_step);
    }

    fn step(&mut self, count: usize) {
        if let Some(beyond) = &mut self.beyond[usize::from(self.rightward)] {
            *beyond += count as u64;
        }
    }

    fn overload(&mut self, part: &Part) -> Option<Trip> {
        let (persists, supplied_for) = (self.ticks(PERSISTS_S), self.ticks(SUPPLIED_FOR_S));
        for watched in &mut self.watched {
            let calibration = self.protection.calibrations[watched.channel.index()]?;
            let column = part.samples(watched.channel);
            let fresh = &column[watched.seen.min(column.len())..];
            watched.seen = column.len();
            for sample in fresh {
                let value = calibration.value(sample.code);
                let counts = !watched.below || self.supplied_since.is_some_and(|on| sample.at >= on + supplied_for);
                let is_beyond = counts && if watched.below { value < watched.limit } else { value > watched.limit };
                let since = *watched.beyond_since.get_or_insert(sample.at);
                if !is_beyond {
                    watched.beyond_since = None;
                } else if sample.at - since >= persists {
                    let (side, remedy) = if watched.below {
                        ("below", "charge or change the pack, and look at its contacts")
                    } else {
                        ("above", "look at motor, driver and wiring before the unit is switched on again")
                    };
                    let Watched { what, unit, limit, .. } = watched;
                    let why =
                        format!("{what} is {side} the jig's trip of {limit} {unit} ({value:.2} {unit}); {remedy}");
                    return Some(Trip { why, unit_stops_first: watched.below, ends_the_run: true });
                }
            }
        }
        None
    }

    fn beyond_an_end(&self) -> Option<Trip> {
        let allowed = self.protection.trips.overrun_max * self.protection.steps_per_metre;
        let side = [Side::Left, Side::Right]
            .into_iter()
            .find(|side| self.beyond[*side as usize].is_some_and(|steps| steps as f64 > allowed))?;
        let end = if side == Side::Left { "left" } else { "right" };
        let overrun_mm = self.protection.trips.overrun_max * 1e3;
        Some(Trip {
            why: format!("the motor went on for more than {overrun_mm} mm after the {end} end stop had closed"),
            unit_stops_first: false,
            ends_the_run: false,
        })
    }

    /// No steps while told to move, steps while told to rest.
    fn disobeys(&self, now: Tick) -> Option<Trip> {
        if !self.has_steps {
            return None;
        }
        match self.told {
            Told::Move(since) if self.must_step => {
                let patience_s = self.protection.trips.standstill_max + 1.5 * self.protection.crawl_interval;
                let last = self.last_step.map_or(since, |step| step.max(since));
                (now.saturating_sub(last) > self.ticks(patience_s)).then(|| Trip {
                    why: format!("the unit was told to move and made no step for {patience_s} s"),
                    unit_stops_first: true,
                    ends_the_run: false,
                })
            }
            Told::Rest(since) => {
                let patience_s = self.protection.trips.run_on_max + self.protection.braking_s;
                self.last_step.is_some_and(|step| step > since + self.ticks(patience_s)).then(|| Trip {
                    why: format!("the unit was told to stop and was still stepping its motor {patience_s:.1} s later"),
                    unit_stops_first: false,
                    ends_the_run: false,
                })
            }
            _ => None,
        }
    }
}
