//! Counts the edges of an encoder with their direction, as somebody moves the carriage by hand.
//!
//! Edges of the two tracks come in parts, and one track's may come later than the other's. So they are kept until the jig
//! has said that everything up to a moment is there, and are followed in the order of time.

use crate::capture::{EdgeChannel, Part, Tick};

/// The count so far, and the edges that it does not hold yet.
#[derive(Debug, Clone, Default)]
pub struct Quadrature {
    count: i64,
    /// Levels of both tracks, once they are known.
    levels: [Option<bool>; 2],
    waiting: Vec<(Tick, usize, bool)>,
}

impl Quadrature {
    const TRACKS: [EdgeChannel; 2] = [EdgeChannel::EncoderA, EdgeChannel::EncoderB];

    /// Takes the edges of a part.
    pub fn take(&mut self, part: &Part) {
        for (track, channel) in Self::TRACKS.into_iter().enumerate() {
            self.waiting.extend(part.edges(channel).iter().map(|edge| (edge.tick(), track, edge.level())));
        }
    }

    /// The count when everything up to `settled` has come: edges towards the right end less those towards the left.
    pub fn count(&mut self, settled: Tick) -> i64 {
        self.waiting.sort_by_key(|(tick, ..)| *tick);
        let here = self.waiting.partition_point(|(tick, ..)| *tick <= settled);
        for (_, track, level) in self.waiting.drain(..here) {
            let other = self.levels[1 - track];
            let known = self.levels[track].replace(level);
            // The first of a track states its level.
            if let (Some(known), Some(other)) = (known, other)
                && known != level
            {
                // A leads B towards the right end: it changes to what B is not, and B to what A is.
                let rightward = (level == other) == (track == 1);
                self.count += if rightward { 1 } else { -1 };
            }
        }
        self.count
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Moves by so many quarter periods from one at which both are low, an edge every ten ticks from `begin` on.
    fn moved(from: i64, by: i64, begin: Tick) -> Vec<(Tick, usize, bool)> {
        let levels = |quarter: i64| {
            let quarter = quarter.rem_euclid(4);
            [quarter == 1 || quarter == 2, quarter >= 2]
        };
        let steps = (1..=by.abs()).map(|step| from + step * by.signum());
        steps
            .enumerate()
            .map(|(index, now)| {
                let (was, is) = (levels(now - by.signum()), levels(now));
                let track = usize::from(was[0] == is[0]);
                (begin + 10 * index as Tick, track, is[track])
            })
            .collect()
    }

    fn part(edges: &[(Tick, usize, bool)]) -> Part {
        let mut part = Part::default();
        edges.iter().for_each(|(tick, track, level)| part.push_edge(Quadrature::TRACKS[*track], *tick, *level));
        part
    }

    #[test]
    fn edges_count_up_to_the_right_and_down_to_the_left() {
        let mut quadrature = Quadrature::default();
        quadrature.take(&part(&[(0, 0, false), (0, 1, false)]));
        quadrature.take(&part(&moved(0, 4001, 100)));
        assert_eq!(quadrature.count(100_000), 4001);
        quadrature.take(&part(&moved(4001, -5003, 200_000)));
        assert_eq!(quadrature.count(1_000_000), -1002);
    }

    #[test]
    fn a_track_that_comes_late_is_waited_for() {
        let edges = moved(0, 40, 100);
        let (a, b): (Vec<_>, Vec<_>) = edges.into_iter().partition(|(_, track, _)| *track == 0);
        let mut quadrature = Quadrature::default();
        quadrature.take(&part(&[(0, 0, false), (0, 1, false)]));
        quadrature.take(&part(&a));
        assert_eq!(quadrature.count(99), 0);
        quadrature.take(&part(&b));
        assert_eq!(quadrature.count(1000), 40);
    }
}
