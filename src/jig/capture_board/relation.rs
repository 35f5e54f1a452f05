//! How a board's clock relates to the computer's, from heartbeats and their answers.
//!
//! The board stamps a heartbeat somewhere between its sending and the arrival of its answer. The shorter that round
//! trip, the better the two clocks are known to each other; and two answers that cannot both be true within the quartz's
//! tolerance show that one of the clocks jumped, or runs off.

use std::collections::VecDeque;

use crate::capture::Tick;
use crate::clock::HostTime;

/// How far two healthy clocks may be apart in rate.
const RATE_LIMIT: f64 = 500e-6;
/// Standard uncertainty of the rate between two ordinary quartzes. From memory: ±50 ppm each is usual.
const RATE_UNCERTAINTY: f64 = 40e-6;
/// How many answers are kept: a few seconds of heartbeats.
const KEPT: usize = 64;

/// A heartbeat that was answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Answered {
    /// When it was sent.
    pub sent: HostTime,
    /// When its answer had arrived.
    pub heard: HostTime,
    /// The board's clock when it arrived there.
    pub tick: Tick,
}

/// The relation of two clocks.
#[derive(Debug, Clone)]
pub struct Relation {
    nanos_per_tick: f64,
    first: Option<Answered>,
    recent: VecDeque<Answered>,
}

impl Relation {
    /// A relation to a board of which nothing is known but its rate.
    pub fn new(ticks_per_second: f64) -> Self {
        Self { nanos_per_tick: 1e9 / ticks_per_second, first: None, recent: VecDeque::with_capacity(KEPT) }
    }

    /// Takes an answer in. Says so when it contradicts the earlier ones.
    pub fn learn(&mut self, answer: Answered) -> Option<String> {
        let contradiction =
            self.first.iter().chain(self.recent.back()).find_map(|earlier| self.contradiction(earlier, &answer));
        // Whatever was known is void after a jump; a clock that runs off is compared afresh.
        if contradiction.is_some() {
            self.recent.clear();
            self.first = None;
        }
        self.first.get_or_insert(answer);
        if self.recent.len() == KEPT {
            self.recent.pop_front();
        }
        self.recent.push_back(answer);
        contradiction
    }

    /// The tick at a moment and its standard uncertainty in ticks; the beginning, in full doubt, before any answer.
    pub fn tick_at(&self, moment: HostTime) -> (Tick, Tick) {
        let readings = self.recent.iter().map(|answer| self.reading(answer, moment));
        let Some((ticks, doubt)) = readings.min_by(|a, b| a.1.total_cmp(&b.1)) else { return (0, Tick::MAX) };
        (ticks.max(0.0).round() as Tick, doubt.ceil() as Tick)
    }

    /// What one answer says of a moment: ticks and standard uncertainty. The stamp lies anywhere in the round trip, so
    /// its distribution is rectangular (JCGM 100:2008, 4.3.7).
    fn reading(&self, answer: &Answered, moment: HostTime) -> (f64, f64) {
        let half_trip = answer.heard.since(answer.sent).as_nanos() as f64 / 2.0;
        let middle = answer.sent.after(answer.heard.since(answer.sent) / 2);
        let age = nanos_between(middle, moment);
        let ticks = answer.tick as f64 + age / self.nanos_per_tick;
        let doubt = (half_trip / 3.0_f64.sqrt()).hypot(age * RATE_UNCERTAINTY) / self.nanos_per_tick;
        (ticks, doubt.max(0.5))
    }

    fn contradiction(&self, earlier: &Answered, later: &Answered) -> Option<String> {
        let board = (later.tick as f64 - earlier.tick as f64) * self.nanos_per_tick;
        let shortest = nanos_between(earlier.heard, later.sent);
        let longest = nanos_between(earlier.sent, later.heard);
        let slack = 2.0 * self.nanos_per_tick;
        let too_little = shortest * (1.0 - RATE_LIMIT) - slack - board;
        let too_much = board - longest * (1.0 + RATE_LIMIT) - slack;
        let excess = too_little.max(too_much);
        (excess > 0.0).then(|| {
            format!(
                "the board's clock jumped or is more than 500 ppm off: {:.3} ms by it are {:.3} to {:.3} ms by the computer's",
                board / 1e6,
                shortest / 1e6,
                longest / 1e6
            )
        })
    }
}

fn nanos_between(from: HostTime, to: HostTime) -> f64 {
    to.as_nanos() as f64 - from.as_nanos() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Answers of a board whose clock is `rate` too fast; heartbeats every 100 ms, round trips of `trip_us`.
    fn answers(rate: f64, trip_us: u64, count: u64) -> impl Iterator<Item = Answered> {
        (0..count).map(move |index| {
            let sent = 5_000_000_000 + index * 100_000_000;
            let stamped = sent + trip_us * 1000 / 3;
            Answered {
                sent: HostTime::from_nanos(sent),
                heard: HostTime::from_nanos(sent + trip_us * 1000),
                tick: ((stamped - 5_000_000_000) as f64 * 2e-3 * (1.0 + rate)) as Tick,
            }
        })
    }

    #[test]
    fn the_shortest_round_trip_decides() {
        let mut relation = Relation::new(2e6);
        for (trip, answer) in
            [4000, 300, 9000].into_iter().map(|trip| (trip, answers(0.0, trip, 1).next().expect("one")))
        {
            assert_eq!(relation.learn(answer), None, "{trip}");
        }
        // A third into 300 µs was assumed to be its middle: 50 µs wrong, within 300 µs/(2·√3) = 87 µs.
        let (tick, doubt) = relation.tick_at(HostTime::from_nanos(5_001_000_000));
        assert_eq!((tick, doubt), (1900, 174));
    }

    #[test]
    fn healthy_clocks_agree_for_hours() {
        let mut relation = Relation::new(2e6);
        for answer in answers(90e-6, 800, 100_000) {
            assert_eq!(relation.learn(answer), None);
        }
    }

    #[test]
    fn a_clock_that_runs_off_is_noticed() {
        let mut relation = Relation::new(2e6);
        assert!(answers(-700e-6, 800, 200).any(|answer| relation.learn(answer).is_some()));
    }

    #[test]
    fn a_jump_is_noticed_once_either_way() {
        for jump in [-60_000_i64, 60_000] {
            let mut relation = Relation::new(2e6);
            let told = answers(0.0, 500, 100)
                .enumerate()
                .filter_map(|(index, answer)| {
                    let shift = if index >= 40 { jump } else { 0 };
                    relation.learn(Answered { tick: answer.tick.saturating_add_signed(shift), ..answer })
                })
                .count();
            assert_eq!(told, 1, "jump by {jump} ticks");
        }
    }

    #[test]
    fn nothing_is_claimed_before_the_first_answer() {
        assert_eq!(Relation::new(2e6).tick_at(HostTime::from_nanos(7)), (0, Tick::MAX));
    }
}
