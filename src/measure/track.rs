//! The carriage's path: the encoder's two tracks decoded into positions, one entry an edge.
//!
//! A position is counted in encoder edges. Between two edges the carriage is somewhere in a cell one edge wide; at the
//! very moment of an edge it stands on a cell's border, which is why a path is known better while it moves.

use crate::capture::{Edge, Loss, Tick};

/// Where the carriage was, edge by edge.
#[derive(Debug, Clone, Default)]
pub(super) struct Track {
    ticks: Vec<Tick>,
    cells: Vec<i32>,
    start: i32,
}

impl Track {
    fn push(&mut self, tick: Tick, cell: i32) {
        self.ticks.push(tick);
        self.cells.push(cell);
    }

    /// The path up to and including `tick`.
    pub fn until(&self, tick: Tick) -> Path<'_> {
        let count = self.ticks.partition_point(|at| *at <= tick);
        Path { ticks: &self.ticks[..count], cells: &self.cells[..count], start: self.start }
    }

    /// Forgets the path up to and including `tick`; what follows starts where it ended.
    pub fn forget(&mut self, tick: Tick) {
        let count = self.ticks.partition_point(|at| *at <= tick);
        if count > 0 {
            self.start = self.cells[count - 1];
            self.ticks.drain(..count);
            self.cells.drain(..count);
        }
    }

    /// The cell that the carriage is in now.
    pub fn cell(&self) -> i32 {
        self.cells.last().copied().unwrap_or(self.start)
    }
}

/// A stretch of the carriage's path.
#[derive(Debug, Clone, Copy)]
pub(super) struct Path<'a> {
    /// When each edge came.
    pub ticks: &'a [Tick],
    cells: &'a [i32],
    start: i32,
}

impl<'a> Path<'a> {
    /// The cell before the first edge.
    pub fn start(&self) -> i32 {
        self.start
    }

    /// The cell after the last edge.
    pub fn end(&self) -> i32 {
        self.cells.last().copied().unwrap_or(self.start)
    }

    /// The cell at a moment.
    pub fn cell_at(&self, tick: Tick) -> i32 {
        self.cell_before(self.ticks.partition_point(|at| *at <= tick))
    }

    fn cell_before(&self, index: usize) -> i32 {
        if index == 0 { self.start } else { self.cells[index - 1] }
    }

    /// The border that edge number `index` crosses.
    pub fn border(&self, index: usize) -> f64 {
        f64::from(self.cells[index].max(self.cell_before(index)))
    }

    /// Whether edge number `index` goes to the right.
    pub fn is_rightward(&self, index: usize) -> bool {
        self.cells[index] > self.cell_before(index)
    }

    /// The best estimate of the position at a moment: between two borders in proportion to time, else a cell's middle.
    pub fn position_at(&self, tick: Tick) -> f64 {
        let next = self.ticks.partition_point(|at| *at <= tick);
        let middle = f64::from(self.cell_before(next)) + 0.5;
        if next == 0 || next == self.ticks.len() {
            return middle;
        }
        let (from, to) = (self.border(next - 1), self.border(next));
        if from == to {
            return middle;
        }
        let passed = (tick - self.ticks[next - 1]) as f64 / (self.ticks[next] - self.ticks[next - 1]) as f64;
        from + (to - from) * passed
    }

    /// Lowest and highest cell from `tick` on, the cell at that moment included.
    pub fn extent_from(&self, tick: Tick) -> (i32, i32) {
        let first = self.ticks.partition_point(|at| *at <= tick);
        let cell = self.cell_before(first);
        self.cells[first..].iter().fold((cell, cell), |(low, high), cell| (low.min(*cell), high.max(*cell)))
    }

    /// When the carriage first was `cells` cells away from where it was at `from`, towards the right where `rightward`.
    pub fn reaches(&self, from: Tick, cells: i32, rightward: bool) -> Option<Tick> {
        let first = self.ticks.partition_point(|at| *at <= from);
        let start = self.cell_before(first);
        let there = |cell: &i32| if rightward { *cell - start >= cells } else { start - *cell >= cells };
        self.cells[first..].iter().position(there).map(|index| self.ticks[first + index])
    }

    /// Number of edges after `from` and up to `to`.
    pub fn edges_between(&self, from: Tick, to: Tick) -> usize {
        let first = self.ticks.partition_point(|at| *at <= from);
        self.ticks.partition_point(|at| *at <= to).saturating_sub(first)
    }

    /// Number of edges.
    pub fn len(&self) -> usize {
        self.ticks.len()
    }
}

/// Decodes the two tracks. Each track may arrive in its own pieces; what is not yet certain to be in order waits.
#[derive(Debug, Clone, Default)]
pub(super) struct Quadrature {
    waiting: [Waiting; 2],
    levels: [Option<bool>; 2],
    cell: i32,
    faults: Faults,
}

#[derive(Debug, Clone, Default)]
struct Waiting {
    edges: Vec<Edge>,
    taken: usize,
}

impl Waiting {
    fn pending(&self) -> &[Edge] {
        &self.edges[self.taken..]
    }

    fn release(&mut self, taken: usize) {
        self.taken += taken;
        if self.taken == self.edges.len() {
            self.edges.clear();
            self.taken = 0;
        } else if self.taken > 4096 {
            self.edges.drain(..self.taken);
            self.taken = 0;
        }
    }
}

/// What cannot have happened, and so was not all captured.
#[derive(Debug, Clone, Default)]
struct Faults {
    /// Edges to a level that the track already had, by track.
    repeated: [u32; 2],
    /// Edges of both tracks at one moment.
    double: u32,
    /// Edges by track since the last report.
    seen: [u32; 2],
}

impl Faults {
    /// Whether an edge changes the level of its track, as it must.
    #[inline]
    fn changes(&mut self, which: usize, edge: Edge, levels: &mut [bool; 2]) -> bool {
        let changes = edge.level() != levels[which];
        levels[which] = edge.level();
        let count = if changes { &mut self.seen[which] } else { &mut self.repeated[which] };
        *count += 1;
        changes
    }
}

impl Quadrature {
    /// Takes what arrived and decodes what is certain to be in order.
    pub fn take(&mut self, a: &[Edge], b: &[Edge], track: &mut Track) {
        self.waiting[0].edges.extend_from_slice(a);
        self.waiting[1].edges.extend_from_slice(b);
        if let [Some(last_a), Some(last_b)] = self.waiting.each_ref().map(|waiting| waiting.pending().last().copied()) {
            self.decode(last_a.tick().min(last_b.tick()), track);
        }
    }

    /// Decodes all up to and including `tick`.
    pub fn decode(&mut self, tick: Tick, track: &mut Track) {
        let (a, b) = (self.waiting[0].pending(), self.waiting[1].pending());
        let (mut next_a, mut next_b) = (0, 0);
        let due = |edges: &[Edge], next: usize| edges.get(next).map_or(Tick::MAX, |edge| edge.tick());
        // The first edge of a track states its level.
        while let [None, _] | [_, None] = self.levels {
            let (at_a, at_b) = (due(a, next_a), due(b, next_b));
            if at_a.min(at_b) > tick {
                break;
            }
            let (which, edge) = if at_a <= at_b { (0, a[next_a]) } else { (1, b[next_b]) };
            self.levels[which] = Some(edge.level());
            (next_a, next_b) = (next_a + 1 - which, next_b + which);
        }
        if let [Some(level_a), Some(level_b)] = self.levels {
            let (mut levels, mut cell) = ([level_a, level_b], self.cell);
            loop {
                let (at_a, at_b) = (due(a, next_a), due(b, next_b));
                if at_a.min(at_b) > tick {
                    break;
                }
                if at_a == at_b {
                    self.faults.double += 1;
                    levels = [a[next_a].level(), b[next_b].level()];
                    (next_a, next_b) = (next_a + 1, next_b + 1);
                } else if at_a < at_b {
                    if self.faults.changes(0, a[next_a], &mut levels) {
                        // A leads B towards the right: after an edge of A the two differ on the way to the right,
                        // after an edge of B they are alike.
                        cell += if levels[0] != levels[1] { 1 } else { -1 };
                        track.push(at_a, cell);
                    }
                    next_a += 1;
                } else {
                    if self.faults.changes(1, b[next_b], &mut levels) {
                        cell += if levels[0] == levels[1] { 1 } else { -1 };
                        track.push(at_b, cell);
                    }
                    next_b += 1;
                }
            }
            (self.levels, self.cell) = (levels.map(Some), cell);
        }
        self.waiting[0].release(next_a);
        self.waiting[1].release(next_b);
    }

    /// What cannot have happened since the last report. `edges_in_view` is how many edges of one track without any of
    /// the other mean that the other is dead.
    pub fn report(&mut self, at: Tick, edges_in_view: u32) -> Vec<Loss> {
        let faults = std::mem::take(&mut self.faults);
        let mut losses = Vec::new();
        let mut lost = |what: String| losses.push(Loss { at, what });
        for (track, repeated) in ["encoder a", "encoder b"].into_iter().zip(faults.repeated) {
            if repeated > 0 {
                lost(format!("{repeated} edges of `{track}`: it changed to a level that it already had"));
            }
        }
        if faults.double > 0 {
            lost(format!("{} edges of the encoder: both tracks changed at one moment", faults.double));
        }
        for (dead, alive) in [(0, 1), (1, 0)] {
            if faults.seen[dead] == 0 && faults.seen[alive] >= edges_in_view {
                let name = ["encoder a", "encoder b"][dead];
                lost(format!("all edges of `{name}`: the other track gave {} in the meantime", faults.seen[alive]));
            }
        }
        losses
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Edges of a carriage that steps through `cells`, one a hundred ticks, from cell 0 with both tracks low.
    fn tracks(cells: &[i32]) -> [Vec<Edge>; 2] {
        let mut edges = [vec![Edge::new(0, false)], vec![Edge::new(0, false)]];
        let levels =
            |cell: i32| [[false, false], [true, false], [true, true], [false, true]][cell.rem_euclid(4) as usize];
        let mut before = 0;
        for (index, cell) in cells.iter().enumerate() {
            for (track, (was, is)) in edges.iter_mut().zip(levels(before).into_iter().zip(levels(*cell))) {
                if was != is {
                    track.push(Edge::new(100 * (index as Tick + 1), is));
                }
            }
            before = *cell;
        }
        edges
    }

    fn decoded(edges: &[Vec<Edge>; 2]) -> (Track, Quadrature) {
        let (mut track, mut quadrature) = (Track::default(), Quadrature::default());
        quadrature.take(&edges[0], &edges[1], &mut track);
        quadrature.decode(Tick::MAX - 1, &mut track);
        (track, quadrature)
    }

    #[test]
    fn counts_to_the_right_and_back() {
        let (track, mut quadrature) = decoded(&tracks(&[1, 2, 3, 4, 3, 2, 1, 0, -1]));
        let path = track.until(Tick::MAX);
        assert_eq!((path.len(), path.end(), path.cell_at(450)), (9, -1, 4));
        assert_eq!(path.position_at(250), 2.5);
        // Turned round in cell 4: where in it is not known.
        assert_eq!(path.position_at(450), 4.5);
        assert_eq!(path.position_at(550), 3.5);
        assert_eq!(path.position_at(2000), -0.5);
        assert_eq!(path.extent_from(350), (-1, 4));
        assert!(quadrature.report(0, 10).is_empty());
    }

    // Outside: the sixteen transitions of two tracks (check Q1): 4 stay, 4 up, 4 down, 4 invalid; how: closed form
    #[test]
    fn each_transition_of_two_tracks_counts_as_it_must() {
        // Along 00, 01, 11, 10 the count of a decoder with B leading rises by one; here A leads and it falls.
        let order = ["00", "01", "11", "10"];
        let bit = |state: &str, track: usize| state.as_bytes()[track] == b'1';
        for (from, before) in order.into_iter().enumerate() {
            for (to, after) in order.into_iter().enumerate() {
                // The levels are stated, then one edge of each track that changes.
                let mut edges = [0, 1].map(|track| vec![Edge::new(track as Tick, bit(before, track))]);
                for (track, column) in edges.iter_mut().enumerate() {
                    if bit(before, track) != bit(after, track) {
                        column.push(Edge::new(100, bit(after, track)));
                    }
                }
                let (track, mut quadrature) = decoded(&edges);
                let (expected, invalid) = match (to + 4 - from) % 4 {
                    0 => (0, false),
                    1 => (-1, false),
                    3 => (1, false),
                    _ => (0, true),
                };
                assert_eq!(
                    (track.cell(), !quadrature.report(7, 10).is_empty()),
                    (expected, invalid),
                    "{before} {after}"
                );
            }
        }
    }

    /// The sixteen transitions of quadrature decoding (common practice): with B leading A the count rises along 00, 01, 11,
    /// 10; both tracks at once are invalid. Here A leads, so the count falls along that order.
    // Outside: a sequence of fourteen states of two tracks (check Q2): count 1, invalid 1; how: closed form
    #[test]
    fn a_published_sequence_of_states() {
        let states = ["00", "01", "11", "10", "00", "01", "00", "10", "11", "01", "00", "00", "11", "10"];
        let level = |state: &str, track: usize| state.as_bytes()[track] == b'1';
        let mut edges = [vec![Edge::new(0, false)], vec![Edge::new(0, false)]];
        for (index, pair) in states.windows(2).enumerate() {
            for (track, column) in edges.iter_mut().enumerate() {
                if level(pair[0], track) != level(pair[1], track) {
                    column.push(Edge::new(100 * (index as Tick + 1), level(pair[1], track)));
                }
            }
        }
        let (track, mut quadrature) = decoded(&edges);
        assert_eq!(track.cell(), -1);
        assert_eq!(quadrature.report(0, 100).len(), 1);
    }

    #[test]
    fn pieces_in_any_size_give_the_same_path() {
        let cells: Vec<i32> = (1..200).chain((50..199).rev()).collect();
        let edges = tracks(&cells);
        let (whole, _) = decoded(&edges);
        let (mut track, mut quadrature) = (Track::default(), Quadrature::default());
        // The two tracks arrive in pieces of different lengths.
        let (mut a, mut b) = (edges[0].chunks(7), edges[1].chunks(3));
        for _ in 0..200 {
            quadrature.take(a.next().unwrap_or(&[]), b.next().unwrap_or(&[]), &mut track);
        }
        quadrature.decode(Tick::MAX - 1, &mut track);
        assert_eq!(track.until(Tick::MAX).ticks, whole.until(Tick::MAX).ticks);
        assert_eq!(track.until(Tick::MAX).cells, whole.until(Tick::MAX).cells);
    }

    #[test]
    fn what_cannot_have_happened_is_a_loss() {
        // Cell 1 to cell 3 at one moment.
        let (track, mut quadrature) = decoded(&tracks(&[1, 3]));
        assert_eq!(track.cell(), 1);
        assert!(quadrature.report(7, 10)[0].what.contains("both tracks"));
        assert!(quadrature.report(7, 10).is_empty(), "reported once");
        let mut edges = tracks(&[1, 2, 3, 4, 5, 6]);
        edges[0].remove(2);
        assert!(decoded(&edges).1.report(7, 10)[0].what.contains("encoder a"));
    }

    #[test]
    fn a_dead_track_is_a_loss() {
        let mut edges = tracks(&(1..100).collect::<Vec<_>>());
        edges[1].truncate(1);
        let losses = decoded(&edges).1.report(7, 40);
        assert!(losses[0].what.starts_with("all edges of `encoder b`"), "{losses:?}");
    }

    #[test]
    fn a_path_goes_on_where_the_forgotten_part_ended() {
        let (mut track, _) = decoded(&tracks(&[1, 2, 3, 4, 5]));
        track.forget(300);
        let path = track.until(Tick::MAX);
        assert_eq!((path.start(), path.len(), path.end()), (3, 2, 5));
        assert_eq!(path.reaches(0, 2, true), Some(500));
        assert_eq!(path.reaches(0, 1, false), None);
    }
}
