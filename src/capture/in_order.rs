//! Evidence in order of time over all channels, for what is written as one sequence.
//!
//! Parts hand out channel by channel, and a jig may hand over the samples of one channel in blocks, later than the edges of
//! another. So what arrives is kept for a while of the capture's own time, sorted, and handed on. What arrives later still
//! cannot be told in its place any more, and is told as lost.

use super::{CaptureSink, Channel, EdgeChannel, Mark, OutputChannel, Part, SampleChannel, Tick};

/// How long what arrives is kept, s: no jig hands anything over so late.
const KEPT_S: u64 = 5;
/// So much waits before it is looked through.
const LOOKED_THROUGH: usize = 1 << 17;
/// So much is kept at most.
const HELD_MAX: usize = 1 << 22;

/// Something at a moment.
#[derive(Debug, Clone, PartialEq)]
pub enum Happened {
    /// A line's level from then on.
    Level(EdgeChannel, bool),
    /// A converter's code.
    Code(SampleChannel, i32),
    /// An output that was switched.
    Switched(OutputChannel, bool),
    /// What is missing about then.
    Lost(Box<str>),
}

impl Happened {
    /// The channel that it happened on.
    pub fn channel(&self) -> Option<Channel> {
        match self {
            Self::Level(channel, _) => Some(Channel::Edge(*channel)),
            Self::Code(channel, _) => Some(Channel::Sample(*channel)),
            Self::Switched(output, _) => Some(Channel::Output(*output)),
            Self::Lost(_) => None,
        }
    }
}

/// Hands on in order what comes as parts and marks.
pub struct InOrder<F> {
    take: F,
    kept: Tick,
    waiting: Vec<(Tick, Happened)>,
    newest: Tick,
    /// The last moment that was handed on.
    done: Tick,
    look_at: usize,
}

impl<F: FnMut(Tick, &Happened)> InOrder<F> {
    /// `take` gets what happened, in order of time.
    pub fn new(ticks_per_second: u64, take: F) -> Self {
        let kept = KEPT_S.saturating_mul(ticks_per_second);
        Self { take, kept, waiting: Vec::new(), newest: 0, done: 0, look_at: LOOKED_THROUGH }
    }

    /// Hands on what is left; gives the last moment, be it a mark's.
    pub fn finish(mut self) -> Tick {
        self.hand_on(Tick::MAX);
        self.newest
    }

    /// Hands on all up to a moment.
    fn hand_on(&mut self, upto: Tick) {
        self.waiting.sort_by_key(|(at, _)| *at);
        let ready = self.waiting.partition_point(|(at, _)| *at <= upto);
        for (at, happened) in self.waiting.drain(..ready) {
            if at >= self.done {
                self.done = at;
                (self.take)(at, &happened);
            } else {
                let name = happened.channel().map_or_else(String::new, Channel::name);
                let what = format!("what `{name}` did at tick {at}: it came after what happened at tick {}", self.done);
                (self.take)(self.done, &Happened::Lost(what.into()));
            }
        }
    }
}

impl<F: FnMut(Tick, &Happened)> CaptureSink for InOrder<F> {
    fn part(&mut self, part: &Part) {
        for channel in EdgeChannel::ALL {
            // The step line's level at the beginning is no pulse.
            let edges = part.edges(channel).iter().filter(|edge| edge.level() || channel != EdgeChannel::Step);
            self.waiting.extend(edges.map(|edge| (edge.tick(), Happened::Level(channel, edge.level()))));
        }
        for channel in (0..SampleChannel::COUNT).filter_map(SampleChannel::at) {
            let samples = part.samples(channel).iter();
            self.waiting.extend(samples.map(|sample| (sample.at, Happened::Code(channel, sample.code))));
        }
        let driven = part.driven.iter();
        self.waiting.extend(driven.map(|driven| (driven.at, Happened::Switched(driven.output, driven.on))));
        // A loss is told about when it was seen, which nothing else has to wait for.
        let losses = part.losses.iter();
        self.waiting.extend(losses.map(|loss| (loss.at.max(self.done), Happened::Lost(loss.what.clone().into()))));
        self.newest = self.waiting.iter().rev().map(|(at, _)| *at).take(part.entries()).fold(self.newest, Tick::max);
        if self.waiting.len() > self.look_at {
            self.hand_on(self.newest.saturating_sub(self.kept));
            if self.waiting.len() > HELD_MAX {
                self.hand_on(self.waiting[HELD_MAX / 2].0);
            }
            self.look_at = self.waiting.len() + LOOKED_THROUGH;
        }
    }

    fn mark(&mut self, mark: &Mark) {
        self.newest = self.newest.max(mark.at);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::MarkKind;

    #[test]
    fn channels_are_merged_and_what_is_late_is_lost() {
        let mut part = Part::default();
        let (step, direction) = (EdgeChannel::Step, EdgeChannel::Direction);
        for at in (0..LOOKED_THROUGH as u64).map(|step| 10 * step) {
            part.push_edge(step, at, true);
        }
        part.push_sample(SampleChannel::PackVoltage, 25, 5);
        let mut told = Vec::new();
        // A clock that ticks once in a while: all but the newest 500 ticks are handed on.
        let mut in_order = InOrder::new(100, |at, happened: &Happened| told.push((at, happened.clone())));
        in_order.part(&part);
        let last = 10 * (LOOKED_THROUGH as u64 - 1);
        part.clear();
        part.push_edge(direction, last - 95, true);
        part.push_edge(EdgeChannel::Guard, 15, true);
        in_order.part(&part);
        in_order.mark(&Mark { at: last + 7, doubt: 0, kind: MarkKind::CheckBegins { check: 0 } });
        assert_eq!(in_order.finish(), last + 7);
        assert!(told.is_sorted_by_key(|(at, _)| *at) && told.len() == LOOKED_THROUGH + 3);
        assert_eq!(told[3], (25, Happened::Code(SampleChannel::PackVoltage, 5)));
        assert!(told.contains(&(last - 95, Happened::Level(direction, true))));
        let lost = format!("what `guard` did at tick 15: it came after what happened at tick {}", last - 500);
        assert!(told.contains(&(last - 500, Happened::Lost(lost.into()))));
    }
}
