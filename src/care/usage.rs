//! What a session at the bench costs the jig, counted from the evidence alone: closings of its outputs, the way of the
//! encoder's head, traverses. So a stored capture gives the same count as the run that made it.

use crate::capture::{CaptureSink, EdgeChannel, Mark, OutputChannel, Part, Side, Tick};

/// The count of one session, or of several.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Usage {
    closings: [u64; OutputChannel::COUNT],
    closed: [bool; OutputChannel::COUNT],
    encoder_edges: u64,
    /// Which tracks of the encoder have stated their level.
    tracks: [bool; 2],
    traverses: u64,
    end: Option<Side>,
}

impl Usage {
    /// How often each output that was switched on was.
    pub fn closings(&self) -> impl Iterator<Item = (OutputChannel, u64)> {
        let all = (0..OutputChannel::COUNT).filter_map(OutputChannel::at);
        all.zip(self.closings).filter(|(_, closings)| *closings > 0)
    }

    /// Edges of both tracks of the encoder.
    pub fn encoder_edges(&self) -> u64 {
        self.encoder_edges
    }

    /// Ways of the carriage from one end stop to the other.
    pub fn traverses(&self) -> u64 {
        self.traverses
    }

    /// A contact that chatters at one end is at that end still.
    fn at_end(&mut self, side: Side) {
        if self.end == Some(side.opposite()) {
            self.traverses += 1;
        }
        self.end = Some(side);
    }
}

impl CaptureSink for Usage {
    fn part(&mut self, part: &Part) {
        for driven in &part.driven {
            let output = driven.output.index();
            self.closings[output] += u64::from(driven.on && !self.closed[output]);
            self.closed[output] = driven.on;
        }
        for (track, channel) in [EdgeChannel::EncoderA, EdgeChannel::EncoderB].into_iter().enumerate() {
            let edges = part.edges(channel).len() as u64;
            // The first edge of a channel states its level.
            let stated = u64::from(edges > 0 && !self.tracks[track]);
            self.tracks[track] |= edges > 0;
            self.encoder_edges += edges - stated;
        }
        let pressed = |channel, side: Side| {
            part.edges(channel).iter().filter(|edge| edge.level()).map(move |edge| (edge.tick(), side))
        };
        let mut hits: Vec<(Tick, Side)> = pressed(EdgeChannel::LeftEndStop, Side::Left).collect();
        hits.extend(pressed(EdgeChannel::RightEndStop, Side::Right));
        hits.sort_by_key(|hit| hit.0);
        hits.into_iter().for_each(|(_, side)| self.at_end(side));
    }

    fn mark(&mut self, _: &Mark) {}
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Driven;

    #[test]
    fn closings_ways_and_traverses_are_counted_across_parts() {
        let mut usage = Usage::default();
        let (supply, press) = (OutputChannel::UnitSupply, OutputChannel::Press(1));
        let driven = |at, output, on| Driven { at, output, on };
        let switched = vec![driven(1, supply, false), driven(5, supply, true), driven(6, supply, true)];
        let mut part = Part { driven: switched, ..Part::default() };
        for (channel, level) in [(EdgeChannel::EncoderA, true), (EdgeChannel::EncoderB, false)] {
            part.push_edge(channel, 0, level);
        }
        part.push_edge(EdgeChannel::EncoderA, 10, false);
        // It rests in the left switch, leaves it, and comes to the right one, which chatters.
        part.push_edge(EdgeChannel::LeftEndStop, 0, true);
        part.push_edge(EdgeChannel::LeftEndStop, 20, false);
        for (at, level) in [(0, false), (30, true), (31, false), (32, true)] {
            part.push_edge(EdgeChannel::RightEndStop, at, level);
        }
        usage.part(&part);
        let mut later = Part { driven: vec![driven(40, supply, false), driven(50, supply, true)], ..Part::default() };
        later.driven.push(driven(51, press, true));
        later.push_edge(EdgeChannel::EncoderB, 45, true);
        later.push_edge(EdgeChannel::LeftEndStop, 60, true);
        usage.part(&later);
        assert_eq!(usage.closings().collect::<Vec<_>>(), [(supply, 2), (press, 1)]);
        assert_eq!((usage.encoder_edges(), usage.traverses()), (2, 2));
    }
}
